"""Zooms, breathing and extending fronts: a lens's own rows of measured states, and what it is in between.

Between rows values run straight along the focal length, and straight along 1 / focus distance, which is how focusing mechanisms and
pupils move to first order; beyond the outermost rows the outermost values hold, and of the field it is said where they do.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRow:
    """What is known of a lens at one focal length and focus. None: not stated in this row.

    pupil_mm holds (horizontal low, horizontal high, vertical low, vertical high) depths behind the front.
    """

    focal_mm: float
    focus_mm: float
    pupil_mm: tuple[float, float, float, float] | None = None
    front_travel_mm: float | None = None
    half_field_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InBetween:
    """A lens's own values at a focal length and focus; None where no row states them.

    field_is_held says that the half field is that of another focal length or focus, held beyond the rows that state one.
    """

    pupil_mm: tuple[float, float, float, float] | None
    front_travel_mm: float | None
    half_field_deg: float | None
    field_is_held: bool = False


def in_between(rows: Sequence[StateRow], focal_mm: float, focus_mm: float) -> InBetween:
    """Values of the lens at a focal length [mm] and focus distance [mm, inf allowed]."""

    def of(pick: Callable[[StateRow], float | None]) -> float | None:
        return _value(rows, pick, focal_mm, focus_mm)

    pupil = tuple(of(lambda row, k=k: None if row.pupil_mm is None else row.pupil_mm[k]) for k in range(4))  # type: ignore[misc]
    known = tuple(value for value in pupil if value is not None)
    return InBetween(
        pupil_mm=(known[0], known[1], known[2], known[3]) if len(known) == 4 else None,
        front_travel_mm=of(lambda row: row.front_travel_mm),
        half_field_deg=of(lambda row: row.half_field_deg),
        field_is_held=_field_is_held(rows, focal_mm, focus_mm),
    )


def _field_is_held(rows: Sequence[StateRow], focal_mm: float, focus_mm: float) -> bool:
    """Whether a focal length and focus lie beyond the rows that state a half field."""
    stating = [(row.focal_mm, _nearness(row.focus_mm)) for row in rows if row.half_field_deg is not None]
    if not stating:
        return False
    low, high, here = np.min(stating, axis=0), np.max(stating, axis=0), np.array([focal_mm, _nearness(focus_mm)])
    return bool(np.any(here < low) or np.any(here > high))


def _value(rows: Sequence[StateRow], pick: Callable[[StateRow], float | None], focal_mm: float, focus_mm: float) -> float | None:
    by_focus: dict[float, list[tuple[float, float]]] = defaultdict(list)
    for row in rows:
        value = pick(row)
        if value is not None:
            by_focus[_nearness(row.focus_mm)].append((row.focal_mm, value))
    if not by_focus:
        return None
    nearness = sorted(by_focus)
    along_focal = [_straight(focal_mm, by_focus[near]) for near in nearness]
    return float(np.interp(_nearness(focus_mm), nearness, along_focal))


def _nearness(focus_mm: float) -> float:
    return 1.0 / focus_mm if np.isfinite(focus_mm) else 0.0


def _straight(focal_mm: float, pairs: list[tuple[float, float]]) -> float:
    ordered = sorted(pairs)
    return float(np.interp(focal_mm, [pair[0] for pair in ordered], [pair[1] for pair in ordered]))
