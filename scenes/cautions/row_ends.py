"""State rows that end before the farthest focus looked at: a row at infinity that was lost leaves no other trace.

It is told, and nothing is extrapolated. From the rows that are left the values go on to infinity by little, 42.7 mm where 48 was
measured in the example of the tests, so that bounds widened by that would pass for a proof that they are not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from raytrace.optics.zoom import StateRow
from scenes.rig.stated_field import rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, focus_distances_of

# Of the way in 1 / focus from the nearest row to infinity. A row ten times as far as the nearest passes for infinity.
FAR_SHARE = 0.1
# What each column moves by before it counts as moving: half fields, as tangents, are measured to a hundredth.
DEPTH_MM, TRAVEL_MM, FIELD_SHARE, MAGNIFICATION_SHARE = 1.0, 1.0, 0.01, 0.05
PUPIL, FIELD, TRAVEL, MAGNIFICATION = "pupil_behind_front_mm", "half_field_deg", "front_travel_mm", "pupil_magnification"


def far_rows_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """Values that change with focus, by rows that end before the farthest focus looked at: from there on the last ones are held."""
    if lens.prescription is not None:
        return
    for focal_mm in dict.fromkeys(row.focal_mm for row in rows_of(lens)):
        rows = sorted((row for row in rows_of(lens) if row.focal_mm == focal_mm), key=lambda row: -row.focus_mm)
        asked_mm = max(focus_distances_of(scene, lens, focal_mm), default=0.0)
        if rows_end_near([row.focus_mm for row in rows], asked_mm) and (told := [*_moving(lens, rows)]):
            are, they = ("is", "it moves") if len(told) == 1 else ("are", "they move")
            where = "infinity" if math.isinf(asked_mm) else plain(asked_mm)
            yield (
                f"{_listed(told)} {are} last given at focus_mm = {plain(rows[0].focus_mm)} and held from there to {where}, "
                f"although {they} with focus; is the row for {where} missing? Measure it there"
            )
            return


def rows_end_near(focus_mm: Sequence[float], asked_mm: float) -> bool:
    """Whether rows at these distances, the farthest first, end well before one that is looked at."""
    return len(focus_mm) > 1 and 1.0 / focus_mm[0] - 1.0 / asked_mm > FAR_SHARE / focus_mm[-1]


def _moving(lens: Lens, rows: list[StateRow]) -> Iterator[str]:
    """Columns that change over the rows of one focal length, each with its farthest value; not those that are confirmed."""
    columns: tuple[tuple[str, Callable[[StateRow], tuple[float, ...]], float], ...] = (
        (PUPIL, lambda row: () if lens.pupil_walk is not None else row.pupil_mm or (), DEPTH_MM),
        (FIELD, _fields, 0.0),
        (TRAVEL, lambda row: () if row.front_travel_mm is None else (row.front_travel_mm,), TRAVEL_MM),
        (MAGNIFICATION, lambda row: () if row.pupil_magnification is None else (row.pupil_magnification,), 0.0),
    )
    for key, values_of, least in columns:
        values = [values_of(row) for row in rows]
        if key in lens.confirmed or not all(values):
            continue
        moved = max(max(column) - min(column) for column in zip(*values, strict=True))
        share = {FIELD: FIELD_SHARE, MAGNIFICATION: MAGNIFICATION_SHARE}.get(key, 0.0)
        if moved >= least + share * max(values[0]):
            yield f"{key} = {_shown(key, rows[0], values[0])}"


def _fields(row: StateRow) -> tuple[float, ...]:
    return tuple(math.tan(math.radians(deg)) for deg in (row.half_field_deg, row.half_field_up_deg) if deg is not None)


def _shown(key: str, row: StateRow, values: tuple[float, ...]) -> str:
    """The farthest row's value; of a pupil known within bounds or in two directions the deepest."""
    return plain(round(row.half_field_deg or 0.0, 2) if key == FIELD else round(max(values), 2))


def _listed(words: list[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    return " and ".join([*filter(None, [", ".join(words[:-1])]), words[-1]])
