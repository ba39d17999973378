"""Walks that run far beyond the corner of the picture: the focal length or the projection may be another lens's."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from raytrace.optics.projection import PROJECTIONS, Projection, slopes
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.lens import Lens, focal_lengths

# Rows are measured a little beyond the corner; a larger sensor of the same family needs half as much again (common practice).
FAR_DEG, FAR_SHARE = 8.0, 1.3
SHORT_DEG, PAST_DEG = 1.0, 2.0  # a walk that ends at another corner ends at the degree, or at a round row past it
LEAST_FOCAL_MM = 4.0
FISHEYE_DEG = 45.0  # corners of straight lines nearer than this are no fisheye's (common practice)


def walk_reach_words(lens: Lens, camera: Camera) -> Iterator[str]:
    """A walk whose last row is far beyond the corner of the picture, with what would put the corner just there."""
    if lens.pupil_walk is None or {"pupil_walk", "focal_mm"} & set(lens.confirmed):
        return
    if any(row.half_field_deg is not None for row in lens.state):
        return
    focal_mm, last_deg = focal_lengths(lens)[0], lens.pupil_walk[-1][0]
    corner_deg = _corner_deg(lens, camera, focal_mm, lens.projection)
    if corner_deg is None or last_deg < corner_deg + FAR_DEG or _tan(last_deg) < FAR_SHARE * _tan(corner_deg):
        return
    puts = f'focal_mm = {plain(focal_mm)} and projection = "{lens.projection}" put the picture\'s corner at {corner_deg:.1f} deg'
    bent = _projections(lens, camera, focal_mm, last_deg) if corner_deg >= FISHEYE_DEG else ()
    known = [*bent, *_focals(lens, camera, focal_mm, last_deg)]
    if known:
        yield f"{puts}, and pupil_walk runs to {plain(last_deg)}, just the corner of {' or '.join(known)}: is a number wrong?"
    else:
        ask = "check focal_mm, projection and the camera's width_mm and height_mm, unless it was measured for a larger picture"
        yield f"{puts}, and pupil_walk runs to {plain(last_deg)}, far beyond it: {ask}"


def _projections(lens: Lens, camera: Camera, focal_mm: float, last_deg: float) -> Iterator[str]:
    for other in PROJECTIONS:
        if other != lens.projection and _is_there(_corner_deg(lens, camera, focal_mm, other), last_deg):
            yield f'projection = "{other}"'


def _focals(lens: Lens, camera: Camera, focal_mm: float, last_deg: float) -> Iterator[str]:
    """The focal length with one digit changed, or two swapped, that puts the corner nearest to the last row."""
    off = {}
    for other_mm in _slipped(focal_mm):
        corner_deg = _corner_deg(lens, camera, other_mm, lens.projection)
        if corner_deg is not None and _is_there(corner_deg, last_deg):
            off[other_mm] = abs(corner_deg - last_deg)
    if off:
        yield f"focal_mm = {plain(min(off, key=off.__getitem__))}"


def _slipped(focal_mm: float) -> set[float]:
    digits = plain(focal_mm)
    changed = {digits[:k] + one + digits[k + 1 :] for k, old in enumerate(digits) if old != "." for one in "0123456789"}
    changed |= {
        digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :] for k in range(len(digits) - 1) if "." not in digits[k : k + 2]
    }
    return {float(one) for one in changed if one[0] != "0" and float(one) >= LEAST_FOCAL_MM} - {focal_mm}


def _is_there(corner_deg: float | None, last_deg: float) -> bool:
    return corner_deg is not None and -SHORT_DEG <= last_deg - corner_deg <= PAST_DEG


def _corner_deg(lens: Lens, camera: Camera, focal_mm: float, projection: Projection) -> float | None:
    """The field at the farthest corner of the recorded area at infinity; None where the lens does not picture it."""
    (right, up), half = camera.offset_mm, (camera.width_mm / 2, camera.height_mm / 2)
    seen = slopes(
        half[0] + abs(right),
        half[1] + abs(up),
        projection,
        focal_mm,
        lens.squeeze,
        distortion=lens.distortion,
        half_diagonal_mm=float(np.hypot(*half)),
    )
    return float(np.degrees(np.arctan(np.hypot(seen.tan_right, seen.tan_up)))) if bool(seen.valid) else None


def _tan(field_deg: float) -> float:
    return float(np.tan(np.radians(min(field_deg, 89.0))))
