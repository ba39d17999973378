"""A walking pupil whose rows go far beyond the picture: its lens sees less, by its numbers, than somebody measured it for.

Lenses are measured for larger pictures than they are used with: 36 x 24 has 1.5 times the diagonal of the small film gauges (common
practice). So a walk is told that goes farther still, or just to the corner that another projection, or a focal length with another
digit, would have.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from raytrace.optics.projection import PROJECTIONS, Projection, slopes
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.lens import Lens, focal_lengths

FAR_SHARE = 2.0  # of the corner's tangent
BEYOND_SHARE = 1.2  # less than this is rounded up to, or measured to be safe
SAME_SHARE, SAME_FOCAL_SHARE = 0.02, 0.025  # of a tangent: rows are measured to half a degree
FARTHEST_DEG = 85.0


@dataclass(frozen=True, slots=True)
class _Corner:
    """The tangent of the field at the picture's corner, and what the lens would have to be for it."""

    tangent: float
    words: str


def far_walk_words(lens: Lens, camera: Camera) -> Iterator[str]:
    """A walk whose last row lies far beyond the picture's corner at the shortest focal length."""
    if lens.pupil_walk is None or lens.prescription is not None or {"pupil_walk", "focal_mm"} & set(lens.confirmed):
        return
    last_deg, focal_mm = lens.pupil_walk[-1][0], focal_lengths(lens)[0]
    own = _corner_tan(lens, camera, lens.projection, focal_mm)
    if own is None or last_deg >= FARTHEST_DEG:
        return
    last = math.tan(math.radians(last_deg))
    if last < BEYOND_SHARE * own:
        return
    meant = next((one.words for one in _others(lens, camera, last) if abs(last / one.tangent - 1.0) <= SAME_SHARE), "")
    if meant or last >= FAR_SHARE * own:
        by = f'focal_mm = {plain(focal_mm)} and projection = "{lens.projection}"'
        yield (
            f"pupil_walk goes to {plain(last_deg)} deg, but by {by} the picture's corner is at {_degrees(own)} deg{meant}: "
            "is one of the three wrong? A narrower field sees less of the box"
        )


def _degrees(tangent: float) -> str:
    return f"{math.degrees(math.atan(tangent)):.1f}"


def _others(lens: Lens, camera: Camera, last: float) -> Iterator[_Corner]:
    """Corners of other projections, and of a focal length that a digit, or two swapped, make of this one."""
    focal_mm = focal_lengths(lens)[0]
    for projection in PROJECTIONS:
        tangent = _corner_tan(lens, camera, projection, focal_mm)
        if projection != lens.projection and tangent is not None:
            yield _Corner(tangent, f'; "{projection}" would have it at {_degrees(tangent)} deg')
    for other_mm in sorted(_misread_mm(focal_mm)):
        tangent = _corner_tan(lens, camera, lens.projection, other_mm)
        if tangent is not None and abs(last / tangent - 1.0) <= SAME_FOCAL_SHARE:
            yield _Corner(last, f"; focal_mm = {plain(other_mm)} would have it at {_degrees(tangent)} deg")


def _misread_mm(focal_mm: float) -> set[float]:
    """Focal lengths that are a digit, or two digits swapped, from one in whole mm."""
    if focal_mm != round(focal_mm):
        return set()
    digits = str(round(focal_mm))
    found = {digits[:place] + digit + digits[place + 1 :] for place in range(len(digits)) for digit in "0123456789"}
    found |= {digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :] for k in range(len(digits) - 1)}
    return {float(one) for one in found if float(one) >= 1.0} - {focal_mm}


def _corner_tan(lens: Lens, camera: Camera, projection: Projection, focal_mm: float) -> float | None:
    """Tangent of the field at the corner farthest from the lens axis, at infinity; None where the lens pictures none there."""
    half = math.hypot(camera.width_mm, camera.height_mm) / 2
    right, up = (side / 2 + abs(off) for side, off in zip((camera.width_mm, camera.height_mm), camera.offset_mm, strict=True))
    field = slopes(right, up, projection, focal_mm, lens.squeeze, distortion=lens.distortion, half_diagonal_mm=half)
    return float(np.hypot(field.tan_right, field.tan_up)) if bool(field.valid) else None
