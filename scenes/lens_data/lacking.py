"""Everything that a lens still needs and its files do not hold, asked for at once instead of one run after another."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from scenes.lens_data.given import Given
from scenes.lens_data.reading import Reading, refusal


def insist_on_all(readings: Sequence[Reading], given: Given) -> None:
    """SceneError that lists what is missing, where that is more than one thing; each alone has a sentence of its own."""
    lacking = list(_lacking(readings, given))
    if len(lacking) > 1:
        raise refusal(
            readings[0].source, "", f"does not hold all that a lens needs; give {', '.join(lacking[:-1])} and {lacking[-1]}"
        )


def _lacking(readings: Sequence[Reading], given: Given) -> Iterator[str]:
    """What to give, each with what it is."""
    if _none(readings, "nominal_mm", "effective_mm", "pinhole_mm"):
        yield "the column focal_mm (focal length)"
    if _none(readings, "pupil_behind_front_mm", "pupil_from_sensor_mm"):
        yield "the column pupil_behind_front_mm (front rim to entrance pupil, measured by parallax)"
    near = any(math.isfinite(reading.focus_mm or math.inf) for reading in readings)
    from_sensor = not _none(readings, "pupil_from_sensor_mm")
    if given.front_to_sensor_mm is None and from_sensor:
        yield "--front-to-sensor-mm (front rim to image plane at infinity)"
    if given.front_travel_mm is None and near and from_sensor and _none(readings, "front_travel_mm"):
        yield "the column front_travel_mm or --front-travel-mm (how far the front rim moves forward up close; 0 if it stands still)"
    if given.f_number is None:
        yield "--f-number (the widest stop)"
    if given.front_diameter_mm is None:
        yield "--front-diameter-mm (outside of the barrel at the front)"


def _none(readings: Sequence[Reading], *names: str) -> bool:
    return all(getattr(reading, name) is None for reading in readings for name in names)
