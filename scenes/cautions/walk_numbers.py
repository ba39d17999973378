"""Rows of a walking pupil that no lens's rows look like: its depths run smoothly, and rims cut its height before its width.

What real ones look like was traced through the six published lenses in tests/data and one more of theirs: docs/physics.md, "Numbers
that speak against each other".
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, WalkRow

OFF_MM, OFF_SHARE = 5.0, 0.1  # of the depth beside: a few degrees from one row to the next
BACK_MM, BACK_SHARE = 1.0, 0.03  # a walk that turns back by more than it is measured to
LEAST_ROWS, FAR_MM, FAR_SHARE, STEEPER_END = 3, 10.0, 0.3, 1.8  # of a last row, which nothing follows
# Against the field squared the last step of the published walks, ended at any row, is at most 1.21 times as steep as the steepest
# before: what a last row falls beyond 1.5 times that is a step of its own.
ENDS_STEEPER, EXCESS_MM, EXCESS_SHARE = 1.5, 2.5, 0.05
STEEPER = 3.0  # than before and after, against the field squared, along which the published walks hardly bend
SIZE_STEP = 0.3  # of the row before: pupils that close toward the edge lose less from row to row
SIZES = ((2, "tangential"), (3, "sagittal"))  # columns of a walk
# Where a rim cuts the published pupils' width (sagittal) below 0.9 of the axis', their height is 0.4 less than that or lower.
CUT_SIZE, LOWER = 0.8, 0.15
RISE = 1.05  # what a rim has cut off stays cut off farther out
FULL_SIZES = (0.85, 1.35)  # of pupils that no rim cuts, up to 45 degrees


def walk_out_of_line_words(lens: Lens) -> Iterator[str]:
    """A row of a walk that lies out of line with those beside it, or whose pupil is smaller than rims make it."""
    if lens.pupil_walk is None or "pupil_walk" in lens.confirmed:
        return
    rows = lens.pupil_walk
    yield from _depth_words(rows)
    told = [*_step_words(rows)] or [*_cut_words(rows)] or [*_rise_words(rows)]
    yield from told[:1]


def _depth_words(rows: Sequence[WalkRow]) -> Iterator[str]:
    place = next((place for place in range(1, len(rows) - 1) if _dips(rows, place) or _leaps(rows, place)), None)
    if place is None and (_drops(rows) or _turns_back(rows)):
        end = f"{plain(rows[-1][1])} mm at {plain(rows[-1][0])} deg, far out of line with {plain(rows[-2][1])} mm"
        yield f"pupil_walk ends at {end} and the rows before; is a digit wrong? Measure it again"
    elif place is not None:
        before, row, after = rows[place - 1 : place + 2]
        yield (
            f"pupil_walk = {plain(row[1])} mm at {plain(row[0])} deg is far out of line with the rows beside it, "
            f"{plain(before[1])} and {plain(after[1])} mm; is a digit wrong? Measure it again"
        )


def _dips(rows: Sequence[WalkRow], place: int) -> bool:
    """Whether a row lies far below one of those beside it, and below the other."""
    beside_mm = sorted((rows[place - 1][1], rows[place + 1][1]))
    down_mm, back_mm = beside_mm[1] - rows[place][1], beside_mm[0] - rows[place][1]
    return down_mm > max(OFF_MM, OFF_SHARE * abs(beside_mm[1])) and back_mm > max(BACK_MM, BACK_SHARE * abs(beside_mm[0]))


def _leaps(rows: Sequence[WalkRow], place: int) -> bool:
    """Whether the depth falls far to this row, and hardly before and after."""
    slopes = [(b[1] - a[1]) / (b[0] ** 2 - a[0] ** 2) for a, b in pairwise(rows)]
    beside = [*slopes[: place - 1][-1:], slopes[place]]
    step_mm = rows[place - 1][1] - rows[place][1]
    is_far = step_mm > max(OFF_MM, OFF_SHARE * abs(rows[place - 1][1]))
    return place > 1 and is_far and abs(slopes[place - 1]) > STEEPER * max(map(abs, beside))


def _drops(rows: Sequence[WalkRow]) -> bool:
    """Whether the depth falls far to the last row, and hardly before."""
    slopes = [(b[1] - a[1]) / (b[0] ** 2 - a[0] ** 2) for a, b in pairwise(rows)]
    if len(rows) <= LEAST_ROWS:
        return False
    fallen_mm, steeper = rows[-2][1] - rows[-1][1], abs(slopes[-1]) / max(1e-9, *map(abs, slopes[:-1]))
    is_far = fallen_mm > max(FAR_MM, FAR_SHARE * abs(rows[0][1])) and steeper > STEEPER_END
    leaps = fallen_mm * (1.0 - ENDS_STEEPER / max(steeper, ENDS_STEEPER)) > max(EXCESS_MM, EXCESS_SHARE * abs(rows[-2][1]))
    return is_far or leaps


def _turns_back(rows: Sequence[WalkRow]) -> bool:
    """Whether the depth goes one way, ever faster, and all at once the other way at the last row."""
    slopes = [(b[1] - a[1]) / (b[0] ** 2 - a[0] ** 2) for a, b in pairwise(rows)]
    *before, last = slopes
    if len(before) < 2 or last * before[-1] >= 0.0 or any(slope * before[-1] < 0.0 for slope in before):
        return False
    back_mm = abs(rows[-1][1] - rows[-2][1])
    grows = abs(before[-1]) >= abs(before[0])
    return grows and back_mm > max(BACK_MM, BACK_SHARE * abs(rows[-2][1]))


def _step_words(rows: Sequence[WalkRow]) -> Iterator[str]:
    for before, row in pairwise(rows):
        for column, what in SIZES:
            if row[column] < SIZE_STEP * before[column]:
                yield (
                    f"pupil_walk has a {what} size of {plain(row[column])} at {plain(row[0])} deg after {plain(before[column])} at "
                    f"{plain(before[0])} deg, a fraction of the pupil; is a point in the wrong place? It would be "
                    f"{plain(round(10 * row[column], 3))}"
                )


def _cut_words(rows: Sequence[WalkRow]) -> Iterator[str]:
    """A pupil that is narrower than on the axis, though not much lower: rims cut its height first."""
    for row in rows:
        if row[3] < CUT_SIZE and row[2] > row[3] - LOWER:
            yield (
                f"pupil_walk has sizes of {plain(row[2])} x {plain(row[3])} at {plain(row[0])} deg: the rims of a lens take the "
                f"tangential size long before the sagittal, which stays near 1{_doubled_words(row)}; measure it again"
            )


def _doubled_words(row: WalkRow) -> str:
    twice = 2.0 * row[2], 2.0 * row[3]
    is_full = all(FULL_SIZES[0] <= size <= FULL_SIZES[1] for size in twice)
    return f"; is it half a diameter? It would be {plain(round(twice[0], 3))} x {plain(round(twice[1], 3))}" if is_full else ""


def _rise_words(rows: Sequence[WalkRow]) -> Iterator[str]:
    """A pupil that is cut at one field and grows again farther out."""
    for row, after in pairwise(rows):
        for column, what in SIZES:
            if row[column] < CUT_SIZE and after[column] > RISE * row[column]:
                yield (
                    f"pupil_walk has a {what} size of {plain(row[column])} at {plain(row[0])} deg and {plain(after[column])} at "
                    f"{plain(after[0])} deg: what the rims of a lens have cut off stays cut off; is one wrong? Measure it again"
                )
