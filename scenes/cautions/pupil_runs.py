"""Pupil depths over focus and zoom: they run smoothly, so that a row with a wrong digit stands out of line.

How far and how evenly real ones run was measured on the patents of seventeen internally focusing primes, macros and zooms, through
the surfaces ahead of their stops: docs/physics.md, "Numbers that speak against each other".
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import median_low

from raytrace.optics.conjugate import magnification_of_focus
from raytrace.optics.zoom import StateRow
from scenes.cautions.runs import FASTER, LEAST_ROWS, Run
from scenes.rig.stated_field import LEAST_FOCUS_SLACK, rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import NEAREST_FOCUS_IN_FOCAL_LENGTHS

LEAST_STEP_MM, STEP_SHARE = 4.0, 0.1  # of the depth: measured to a mm or two, or to a few percent
WHOLE_SHARE = 8.0  # of the way that the lens would go if moved as a whole: 0.05 to 1 of the patents, 4.1 of a 100 mm f/1.2
ZOOM_STEP_MM, ZOOM_STEP_SHARE = 6.0, 0.1
# Against the logarithm of the focal length, along which the steps of the patents grow: the first is 0.2 to 1.04 of the next.
ZOOM_FASTER = 1.5
# Of the step beside it, where pupils go deeper as the zoom goes in: 1.04, 1.04 and 0.2 of the patents.
WIDE_END_FASTER, LONG_END_SLOWER, LEAST_FIRST_STEP = 1.25, 1.5, 0.1
# Of two focal lengths: the depth goes as the focal length to this power at most; -0.72 to 1.37 of the patents' ends, 1.75 of the
# two longer ones of JP S53-131852.
TWO_ROWS, STEEPEST = 2, 1.8
# Of four focal lengths and more, where three run on with growing steps, the fourth is held to them more closely.
MANY_ROWS, EVEN_STEP_MM, EVEN_STEP_SHARE, SAME_SLOPE = 4, 4.0, 0.07, 1.04


def run_words(lens: Lens) -> Iterator[str]:
    """A depth that is out of line with those at other focus distances and focal lengths."""
    rows = [row for row in rows_of(lens) if row.pupil_mm is not None]
    if "pupil_behind_front_mm" in lens.confirmed or lens.pupil_walk is not None:
        return
    for across in (True, False):
        told = [*_focus_words(lens, rows, across=across)] or [*_zoom_words(rows, across=across)]
        if told:
            yield told[0]
            return


def _focus_words(lens: Lens, rows: Sequence[StateRow], *, across: bool) -> Iterator[str]:
    runs = [_focus_run(rows, focal_mm, across=across) for focal_mm in dict.fromkeys(row.focal_mm for row in rows)]
    for run in runs:
        yield from _out_of_line_words(run)
    if len(runs) == 1:
        yield from _far_apart_words(lens, runs[0])
    else:
        for run in runs:
            yield from _alone_words(run, [other for other in runs if other is not run])


def _focus_run(rows: Sequence[StateRow], focal_mm: float, *, across: bool) -> Run:
    """The rows of one focal length from far to near, against 1 / focus."""
    some = sorted((row for row in rows if row.focal_mm == focal_mm), key=lambda row: -row.focus_mm)
    return Run(
        rows=tuple(some),
        places=tuple(1.0 / row.focus_mm for row in some),
        values=tuple(_middle_mm(row, across=across) for row in some),
        way=_way(some, across=across),
    )


def _way(rows: Sequence[StateRow], *, across: bool) -> str:
    two = any(row.pupil_mm is not None and row.pupil_mm[:2] != row.pupil_mm[2:] for row in rows)
    return "" if not two else " horizontal" if across else " vertical"


def _out_of_line_words(run: Run) -> Iterator[str]:
    """The row that is farthest off where the others, alone, are not."""
    if len(run.rows) < LEAST_ROWS:
        return
    off = [_off_mm(run, place) for place in range(len(run.rows))]
    place = max(range(len(off)), key=lambda number: off[number])
    if off[place] > _least_step_mm(run.without(place)):
        others = ", ".join(_rounded(depth) for depth in run.without(place).values)
        yield (
            f"{_depth_words(run, place)} at focus {_at(run.rows[place])} is far out of line with the "
            f"rows beside it, {others}; is a digit wrong or missing? In line it would be about {run.in_line(place):.0f}: "
            "measure it again"
        )


def _off_mm(run: Run, place: int) -> float:
    """How far a row is out of line, beyond what the whole lens would be moved by: of the first and last, against the next."""
    beside = [run.rows[number] for number in (place - 1, place + 1) if 0 <= number < len(run.rows)]
    whole_mm = _whole_mm(run.rows[place], beside[0]) if len(beside) == 1 else 0.0
    return run.off(place, at_least=whole_mm)


def _far_apart_words(lens: Lens, run: Run) -> Iterator[str]:
    """Two depths of a prime that lie farther apart than its focusing takes any pupil."""
    for (far, near), (one, other) in zip(pairwise(run.rows), pairwise(run.values), strict=True):
        whole_mm, apart_mm = _whole_mm(far, near), abs(other - one)
        if apart_mm > _least_step_mm(run) + WHOLE_SHARE * lens.squeeze * whole_mm:
            yield (
                f"{_pair_words(run, far, near)}, where moving the whole lens would take {whole_mm:.1f} mm: pupils move with focus "
                "by a few times that at most; is a digit wrong? Measure both again"
            )


def _alone_words(run: Run, others: Sequence[Run]) -> Iterator[str]:
    """Two depths of a zoom that lie farther apart than its pupil moves over the same focus at other focal lengths."""
    for (far, near), (one, other) in zip(pairwise(run.rows), pairwise(run.values), strict=True):
        moved_mm = median_low([_moved_mm(another, far.focus_mm, near.focus_mm) for another in others])
        if abs(other - one) > _least_step_mm(run) + FASTER * moved_mm:
            yield (
                f"{_pair_words(run, far, near)} at focal_mm = {plain(far.focal_mm)}, where at other focal lengths the pupil moves "
                f"by {moved_mm:.1f} mm; is a digit wrong? Measure both again"
            )


def _moved_mm(run: Run, far_mm: float, near_mm: float) -> float:
    by_focus = {row.focus_mm: depth for row, depth in zip(run.rows, run.values, strict=True)}
    return abs(by_focus[near_mm] - by_focus[far_mm]) if {far_mm, near_mm} <= set(by_focus) else math.inf


def _zoom_words(rows: Sequence[StateRow], *, across: bool) -> Iterator[str]:
    """A depth of a zoom that is shallower than the run of its others has it."""
    for focus_mm in dict.fromkeys(row.focus_mm for row in rows):
        some = sorted((row for row in rows if row.focus_mm == focus_mm), key=lambda row: row.focal_mm)
        run = Run(
            rows=tuple(some),
            places=tuple(math.log(row.focal_mm) for row in some),
            values=tuple(_middle_mm(row, across=across) for row in some),
            way=_way(some, across=across),
        )
        yield from _too_shallow_words(run) if len(some) >= LEAST_ROWS else _too_steep_words(run)


def _too_steep_words(run: Run) -> Iterator[str]:
    """Two depths of a zoom of which the one at the long end is deeper by more than any zoom has it: the other may be a half."""
    if len(run.rows) != TWO_ROWS or min(run.values) <= 0.0:
        return
    (short, long), (shallow, deep) = run.rows, run.values
    longer = long.focal_mm / short.focal_mm
    if deep - shallow * longer**STEEPEST > max(ZOOM_STEP_MM, ZOOM_STEP_SHARE * shallow):
        yield (
            f"{_depth_words(run, 0)} at focal_mm = {plain(short.focal_mm)} and {_rounded(deep)} at {plain(long.focal_mm)}, focus "
            f"{_at(short)}, make the pupil {plain(round(deep / shallow, 1))} times as deep over a zoom of "
            f"{plain(round(longer, 2))} times, more than published zooms have it; is one half or double of what it is? "
            "Measure both again"
        )


def _too_shallow_words(run: Run) -> Iterator[str]:
    """The depth that is farthest off, and the others that it may be instead."""
    off_mm = {place: max(_shallow_mm(run, place), _bent_mm(run, place)) for place in range(len(run.rows))}
    found = sorted((place for place in off_mm if off_mm[place] > 0.0), key=lambda place: -off_mm[place])
    if not found:
        return
    place, *others = found
    row, told = run.rows[place], ", ".join(_rounded(depth) for depth in run.without(place).values)
    and_these = "".join(f", and {_rounded(run.values[other])} at {plain(run.rows[other].focal_mm)}" for other in others)
    yield (
        f"{_depth_words(run, place)} at focal_mm = {plain(row.focal_mm)}, focus {_at(row)}, is far out of line with the other "
        f"focal lengths, {told}; is a digit wrong? In line it would be about {run.in_line(place):.0f}: measure it again{and_these}"
    )


def _shallow_mm(run: Run, place: int) -> float:
    """By how much a row is shallower than any zoom's, by those beside it [mm]."""
    return _shallowest_mm(run, place) - run.values[place] - _zoom_step_mm(run, place)


def _bent_mm(run: Run, place: int) -> float:
    """By how much a row lies below the lines that its others run on along, where these go deeper in steps that grow [mm]."""
    others = run.without(place)
    steps = list(zip(pairwise(others.places), pairwise(others.values), strict=True))
    slopes = [(d - c) / (b - a) for (a, b), (c, d) in steps]
    if len(run.rows) < MANY_ROWS or slopes[0] <= 0.0 or any(one > SAME_SLOPE * other for one, other in pairwise(slopes)):
        return -math.inf
    here, lines = run.places[place], []
    if place >= LEAST_ROWS - 1:
        lines.append(others.values[place - 1] + slopes[place - 2] * (here - others.places[place - 1]))
    if place <= len(others.rows) - 2:
        lines.append(others.values[place] + slopes[place] * (here - others.places[place]))
    return max(lines) - run.values[place] - max(EVEN_STEP_MM, EVEN_STEP_SHARE * others.mean)


def _zoom_step_mm(run: Run, place: int) -> float:
    return max(ZOOM_STEP_MM, ZOOM_STEP_SHARE * run.without(place).mean)


def _shallowest_mm(run: Run, place: int) -> float:
    """The shallowest that a row of a zoom may be by its others: a pupil that goes deeper toward longer focal lengths goes on so."""
    if 0 < place < len(run.rows) - 1:
        return _shallowest_between_mm(run, place)
    after = run.next_to(place)
    away = abs(run.places[place] - run.places[after])
    beyond = after + (1 if place == 0 else -1)
    rises = (run.values[beyond] - run.values[after]) / (run.places[beyond] - run.places[after])
    if rises <= 0.0:
        return run.values[after] - ZOOM_FASTER * run.without(place).steepest() * away
    return run.values[after] + (-WIDE_END_FASTER * rises if place == 0 else rises / LONG_END_SLOWER) * away


def _shallowest_between_mm(run: Run, place: int) -> float:
    """Of a row between two: where the first step is the smallest that a zoom has against the next."""
    (low, here, high), (shallow, _, deep) = run.places[place - 1 : place + 2], run.values[place - 1 : place + 2]
    if deep <= shallow:
        return -math.inf
    slope = LEAST_FIRST_STEP * (deep - shallow) / (LEAST_FIRST_STEP * (here - low) + high - here)
    return shallow + slope * (here - low)


def _pair_words(run: Run, far: StateRow, near: StateRow) -> str:
    one, other = run.rows.index(far), run.rows.index(near)
    apart_mm = _rounded(abs(run.values[one] - run.values[other]))
    return f"{_depth_words(run, one)} at focus {_at(far)} and {_rounded(run.values[other])} at {_at(near)} lie {apart_mm} mm apart"


def _depth_words(run: Run, place: int) -> str:
    return f"pupil_behind_front_mm = {_rounded(run.values[place])}{run.way}"


def _whole_mm(one: StateRow, other: StateRow) -> float:
    """How far a lens would go from one focus to another if it moved as a whole [mm]."""
    nearest_mm = NEAREST_FOCUS_IN_FOCAL_LENGTHS * one.focal_mm * LEAST_FOCUS_SLACK
    m = [magnification_of_focus(row.focal_mm, max(row.focus_mm, nearest_mm)) for row in (one, other)]
    return one.focal_mm * abs(m[0] - m[1])


def _least_step_mm(run: Run) -> float:
    return max(LEAST_STEP_MM, STEP_SHARE * abs(run.mean))


def _at(row: StateRow) -> str:
    return "infinity" if math.isinf(row.focus_mm) else f"{plain(row.focus_mm)} mm"


def _middle_mm(row: StateRow, *, across: bool) -> float:
    least, most = (row.pupil_mm or (0.0,) * 4)[0 if across else 2 :][:2]
    return (least + most) / 2


def _rounded(depth_mm: float) -> str:
    return plain(round(depth_mm, 1))
