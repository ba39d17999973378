"""Where a zoom's front stands over its focal lengths: a cam takes it one way, or there and back once, and turns it gently.

Wide zooms whose front goes out and back turn about the middle of their range; none swings twice (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from raytrace.optics.zoom import StateRow
from scenes.rig.stated_field import rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens

LEAST_ROWS = 4  # of three any is there and back once
LEAST_SWING_MM, SHARP_SWING_MM = 2.0, 5.0  # fronts are measured to a mm


def zoom_travel_words(lens: Lens) -> Iterator[str]:
    """A front that swings to and fro over the zoom, or turns back at one end faster than it ever goes on."""
    if "front_travel_mm" in lens.confirmed:
        return
    stated = [row for row in rows_of(lens) if row.front_travel_mm is not None]
    for focus_mm in dict.fromkeys(row.focus_mm for row in stated):
        rows = sorted((row for row in stated if row.focus_mm == focus_mm), key=lambda row: row.focal_mm)
        if len(rows) >= LEAST_ROWS and (_swings(rows) or _turns_sharply(rows) or _turns_sharply(rows[::-1])):
            told = ", ".join(f"{plain(row.front_travel_mm or 0.0)} at {plain(row.focal_mm)}" for row in rows)
            at = "" if math.isinf(focus_mm) else f" with focus {plain(focus_mm)} mm"
            yield (
                f"front_travel_mm = {told}{at} goes to and fro over the zoom; fronts go one way, or gently there and back once: is "
                "a digit wrong? Measure them again"
            )
            return


def _swings(rows: Sequence[StateRow]) -> bool:
    """Whether the front turns about more than once."""
    signs = [math.copysign(1.0, step_mm) for step_mm in _steps_mm(rows) if abs(step_mm) > LEAST_SWING_MM]
    return sum(one != other for one, other in pairwise(signs)) > 1


def _turns_sharply(rows: Sequence[StateRow]) -> bool:
    """Whether its first step is against all others and steeper than any of them: no smooth curve through them does that."""
    steps_mm = _steps_mm(rows)
    if any(steps_mm[0] * step_mm >= 0.0 for step_mm in steps_mm[1:]):
        return False
    ways = [abs(math.log(other.focal_mm / one.focal_mm)) for one, other in pairwise(rows)]
    slopes = [abs(step_mm) / way for step_mm, way in zip(steps_mm, ways, strict=True)]
    return abs(steps_mm[0]) > SHARP_SWING_MM and slopes[0] > max(slopes[1:])


def _steps_mm(rows: Sequence[StateRow]) -> list[float]:
    return [(other.front_travel_mm or 0.0) - (one.front_travel_mm or 0.0) for one, other in pairwise(rows)]
