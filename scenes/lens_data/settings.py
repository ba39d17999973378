"""Readings put in order: one setting for each focus, and each zoom position, with all that was read there."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from scenes.lens_data.reading import Reading, refusal
from scenes.scene_file.messages import plain

ALIKE_FOCUS = 0.01  # of a distance: samples nearer to one another stand in one row
FOCUS_SHARES = (ALIKE_FOCUS, 0.02, 0.05, 0.1, 0.2, 0.5)  # a clip of a focus pull comes to fewer rows
ALIKE_ZOOM = 0.003  # of the ring's whole turn
ALIKE_FOCAL = 0.005  # of a focal length
MOST_ROWS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One zoom position (0 for a prime) and one focus, with the readings taken there."""

    zoom: int
    focus_mm: float
    readings: tuple[Reading, ...]

    def values(self, name: str) -> list[float]:
        """What the readings say of one thing, where they do."""
        return [value for reading in self.readings if (value := getattr(reading, name)) is not None]


def settings_of(readings: Sequence[Reading]) -> list[Setting]:
    """Settings from the shortest zoom position to the longest, from infinity to the nearest focus; SceneError without a focus."""
    for reading in readings:
        if reading.focus_mm is None:
            raise refusal(
                reading.source, "", "does not say at which focus it was taken, and a row has to; give focus_mm in a table"
            )
        if not reading.focus_mm > 0.0:
            raise refusal(reading.source, reading.keys["focus_mm"], f"must be more than 0, got {plain(reading.focus_mm)} mm")
    for share in FOCUS_SHARES:
        settings = _settings(readings, share)
        if len(settings) <= MOST_ROWS:
            return settings
    raise refusal(
        readings[0].source,
        "",
        f"must come to at most {MOST_ROWS} settings, got {len(settings)}; name one lens's files only, and fewer zoom positions",
    )


def _settings(readings: Sequence[Reading], share: float) -> list[Setting]:
    return [setting for zoom, at_zoom in enumerate(_by_zoom(readings)) for setting in _focus_settings(zoom, at_zoom, share)]


def _focus_settings(zoom: int, readings: Sequence[Reading], share: float) -> Iterator[Setting]:
    """Settings of one zoom position. Coarse ones hold their neighbours' readings too, so that none between rows is left out."""
    groups = _by_focus(readings, share)
    around = 0 if share == ALIKE_FOCUS else 1
    for place, group in enumerate(groups):
        near = [reading for other in groups[max(0, place - around) : place + around + 1] for reading in other]
        yield Setting(zoom=zoom, focus_mm=max(r.focus_mm or 0.0 for r in group), readings=tuple(near))


def _by_zoom(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Readings of each zoom position: by the ring's encoder where all have one, else by the focal length of a table."""
    if all(reading.zoom is not None for reading in readings):
        return _grouped(readings, [reading.zoom or 0.0 for reading in readings], lambda first, last: last - first > ALIKE_ZOOM)
    if all(reading.nominal_mm is not None for reading in readings):
        return _grouped(
            readings, [reading.nominal_mm or 0.0 for reading in readings], lambda first, last: last > first * (1.0 + ALIKE_FOCAL)
        )
    return [list(readings)]


def _by_focus(readings: Sequence[Reading], share: float) -> list[list[Reading]]:
    """Readings of each focus, the farthest first."""
    nearness = [0.0 if math.isinf(reading.focus_mm or 0.0) else 1.0 / (reading.focus_mm or 1.0) for reading in readings]
    return _grouped(readings, nearness, lambda first, last: last > first * (1.0 + share) or first == 0.0 < last)


def _grouped(readings: Sequence[Reading], keys: Sequence[float], apart: Callable[[float, float], bool]) -> list[list[Reading]]:
    """Readings in the order of their keys, a new group wherever a key stands apart from its group's first."""
    order = sorted(range(len(readings)), key=keys.__getitem__)
    groups: list[list[Reading]] = []
    first = math.nan
    for place in order:
        if not groups or apart(first, keys[place]):
            groups.append([])
            first = keys[place]
        groups[-1].append(readings[place])
    return groups
