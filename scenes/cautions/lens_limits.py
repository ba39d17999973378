"""Numbers of a lens beyond what its others leave possible: focal length, squeezed pupil, travel of the front, field close up."""

from __future__ import annotations

import math
from collections.abc import Iterator

from raytrace.optics.conjugate import magnification_of_focus
from raytrace.optics.zoom import StateRow
from scenes.rig.stated_field import LEAST_FOCUS_SLACK, LEAST_PUPIL_MAGNIFICATION, rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, focal_lengths, stated_depths

SAME_FOCAL_SHARE = 1.1  # marked and measured focal lengths differ by less
SHALLOW_SHARE, SHALLOWEST_SHARE = 0.9, 0.5  # of the least depth: depths and squeeze are measured to better than the first
# A group that is moved for focus goes f^2 / (s - f), at most its own focal length. Those of whole lenses are the lens's; front
# groups of zooms have about 1.4 times the longest (common practice), and those of an anamorphic lens the squeeze more.
LONG_GROUP, LONGEST_GROUP = 2.0, 3.0
LONG_TRAVEL_MM, LONGEST_TRAVEL_MM = 2.0, 5.0  # and as much again, for cams that do something else too
NARROWER_SHARE = 1.02  # half fields are measured to about that
WIDE_DEG, WIDE_MAGNIFICATION = 25.0, 0.8  # pupils of lenses so wide: 1 where they are symmetric, 2 and more of retrofocus ones


def focal_row_words(lens: Lens) -> Iterator[str]:
    """A focal length of the lens outside of those that its rows stand for: the rows alone are looked at."""
    short, long = focal_lengths(lens)[0], focal_lengths(lens)[-1]
    if not short / SAME_FOCAL_SHARE <= lens.focal_mm <= SAME_FOCAL_SHARE * long:
        rows = plain(short) if short == long else f"{plain(short)} to {plain(long)}"
        yield (
            f"focal_mm = {plain(lens.focal_mm)} of the lens speaks against its state rows, focal_mm = {rows}: nothing else is "
            "looked at"
        )


def shallow_pupil_words(lens: Lens) -> Iterator[str]:
    """A horizontal pupil far shallower than its squeeze can make it: d/S + e/S^2 is 1/S^2 of the vertical d + e or more."""
    return _shallow_words(lens, 0.0, SHALLOWEST_SHARE)


def doubtful_pupil_words(lens: Lens) -> Iterator[str]:
    """The same, by less."""
    if "pupil_behind_front_mm" not in lens.confirmed:
        yield from _shallow_words(lens, SHALLOWEST_SHARE, SHALLOW_SHARE)


def _shallow_words(lens: Lens, least: float, most: float) -> Iterator[str]:
    for depth in stated_depths(lens):
        nearest_mm = depth.vertical[0] / lens.squeeze**2
        if lens.squeeze > 1.0 and least * nearest_mm <= depth.horizontal[0] < most * nearest_mm:
            yield (
                f"pupil_behind_front_mm = {{ horizontal = {plain(depth.horizontal[0])}, vertical = {plain(depth.vertical[0])} }} "
                f"speaks against squeeze = {plain(lens.squeeze)}, which brings the horizontal pupil no nearer than "
                f"{plain(round(nearest_mm, 1))} mm"
            )
            return


def travel_words(lens: Lens) -> Iterator[str]:
    """A front that comes out farther than any focusing asks for."""
    return _long_travel_words(lens, (LONGEST_GROUP, LONGEST_TRAVEL_MM), (math.inf, 0.0))


def doubtful_travel_words(lens: Lens) -> Iterator[str]:
    """The same, where a design may ask for it."""
    if "front_travel_mm" not in lens.confirmed:
        yield from _long_travel_words(lens, (LONG_GROUP, LONG_TRAVEL_MM), (LONGEST_GROUP, LONGEST_TRAVEL_MM))


def _long_travel_words(lens: Lens, beyond: tuple[float, float], within: tuple[float, float]) -> Iterator[str]:
    for far, near in _ends_of_focus(lens):
        if far.front_travel_mm is None or near.front_travel_mm is None:
            continue
        out_mm = near.front_travel_mm - far.front_travel_mm
        if _most_travel_mm(lens, near, *beyond) < out_mm <= _most_travel_mm(lens, near, *within):
            unit_mm = _most_travel_mm(lens, near, 1.0, 0.0)
            yield (
                f"front_travel_mm = {plain(near.front_travel_mm)} at focus {plain(near.focus_mm)} mm is far for focal_mm = "
                f"{plain(near.focal_mm)}, which moved as a whole would come out {plain(round(unit_mm, 1))} mm; is a point missing? "
                f"It would be {plain(near.front_travel_mm / 10)}"
            )
            return


def _most_travel_mm(lens: Lens, near: StateRow, group: float, more_mm: float) -> float:
    """How far a front group of so many times the longest focal length would come out."""
    if math.isinf(group):
        return math.inf
    longest = max(focal_lengths(lens)) if group > 1.0 else near.focal_mm
    group_mm = group * longest * (lens.squeeze if group > 1.0 else 1.0)
    return group_mm * min(1.0, group_mm / max(near.focus_mm - group_mm, group_mm)) + more_mm


def _ends_of_focus(lens: Lens) -> Iterator[tuple[StateRow, StateRow]]:
    """The rows of the farthest and of each nearer focus, for each focal length."""
    rows = rows_of(lens)
    for focal_mm in dict.fromkeys(row.focal_mm for row in rows):
        far, *nearer = sorted((row for row in rows if row.focal_mm == focal_mm), key=lambda row: -row.focus_mm)
        yield from ((far, near) for near in reversed(nearer))


def narrower_words(lens: Lens) -> Iterator[str]:
    """A field that narrows toward close focus by more than moving the whole lens does: most stay, or grow.

    Of an anamorphic lens the field upright alone, for its squeeze may change as well.
    """
    if "half_field_deg" in lens.confirmed or lens.prescription is not None:
        return
    for far, near in _ends_of_focus(lens):
        m = magnification_of_focus(near.focal_mm, max(near.focus_mm, 4.0 * near.focal_mm * LEAST_FOCUS_SLACK))
        least = WIDE_MAGNIFICATION if (far.half_field_deg or 0.0) >= WIDE_DEG and lens.squeeze == 1.0 else LEAST_PUPIL_MAGNIFICATION
        whole = 1.0 + m / (near.pupil_magnification or lens.pupil_magnification or least)
        ways = [] if lens.squeeze > 1.0 else [(far.half_field_deg, near.half_field_deg)]
        for far_deg, near_deg in (*ways, (far.half_field_up_deg, near.half_field_up_deg)):
            if far_deg is None or near_deg is None or not math.isinf(far.focus_mm):
                continue
            if _tan(far_deg) / _tan(near_deg) > NARROWER_SHARE * whole:
                yield (
                    f"half_field_deg = {plain(near_deg)} at focus {plain(near.focus_mm)} mm is narrower than {plain(far_deg)} at "
                    "infinity by more than moving the whole lens makes it; most lenses stay as wide or grow wider: measure it again"
                )
                return


def _tan(angle_deg: float) -> float:
    return math.tan(math.radians(angle_deg))
