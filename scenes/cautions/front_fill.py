"""A front glass far wider than the light that its lens is said to send through it: all its pupil depths may be too shallow.

Front elements are as large as the light of the picture's corners is wide there, at some setting of the lens. Of patents that cover
36 x 24 with diameters for their front it is 1.09 to 1.6 times as wide, for rims cut what is farther out: docs/physics.md, "Numbers
that speak against each other".
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from scenes.rig.stated_field import four_depths, rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.lens import Lens, focal_lengths

FILLED_SHARE = 0.7  # a lens for 65 mm film (60 mm across its corners) still fills 0.8 of its front with 36 x 24
SHARED_FRONT_MM, FILLED_OF_SHARED = 80.0, 0.62  # sets share such fronts (common practice), so that some of their glass stays empty
USUAL_SHARE = 0.9
COVERED_MM = 43.27  # from corner to corner of 36 x 24: many a lens is used with a smaller picture than it covers

Depths = tuple[float, float, float, float]


def front_fill_words(lens: Lens, camera: Camera) -> Iterator[str]:
    """A front glass that the light of no setting comes near to filling, of a lens no longer than its picture's diagonal."""
    glass_mm, checked = lens.front_glass_mm, {"pupil_behind_front_mm", "front_glass_mm", "pupil_walk"} & set(lens.confirmed)
    diagonal_mm = max(COVERED_MM, math.hypot(camera.width_mm, camera.height_mm))
    if glass_mm is None or checked or lens.prescription is not None or lens.projection != "rectilinear":
        return
    if focal_lengths(lens)[0] > diagonal_mm:
        return
    reaches = {setting: _reach_mm(lens, camera, diagonal_mm, *setting) for setting in _settings(lens)}
    (focal_mm, depths), reach_mm = max(reaches.items(), key=lambda found: found[1])
    pupil_mm = focal_mm / lens.f_number / 2
    least = FILLED_OF_SHARED if lens.front_diameter_mm >= SHARED_FRONT_MM else FILLED_SHARE
    if 2.0 * (reach_mm + pupil_mm) < least * glass_mm:
        key, deep = "pupil_behind_front_mm" if lens.pupil_walk is None else "pupil_walk", depths[3]
        filling_mm = deep * (USUAL_SHARE * glass_mm / 2 - pupil_mm) / reach_mm if reach_mm > 0.0 else math.inf
        about = f"; about {filling_mm:.0f} would fill it" if math.isfinite(filling_mm) else ""
        yield (
            f"{key} = {plain(round(deep, 1))}, where it is deepest for its field, lets the light of the picture's corners through "
            f"{2 * (reach_mm + pupil_mm):.0f} mm of front_glass_mm = {plain(glass_mm)}, and hardly a front is made so large "
            f"for nothing{about}: measure pupil and front again"
        )


def _settings(lens: Lens) -> list[tuple[float, Depths]]:
    """Focal lengths with the pupil depths there; those on the axis of a walk."""
    if lens.pupil_walk is not None:
        return [(focal_mm, (lens.pupil_walk[0][1],) * 4) for focal_mm in focal_lengths(lens)]
    stated = [(row.focal_mm, row.pupil_mm) for row in rows_of(lens) if row.pupil_mm is not None]
    own = four_depths(lens.pupil_behind_front_mm)
    return stated or [(focal_mm, own) for focal_mm in focal_lengths(lens) if own is not None]


def _reach_mm(lens: Lens, camera: Camera, diagonal_mm: float, focal_mm: float, depths: Depths) -> float:
    """How far from the axis the middle of a corner's light passes the front."""
    half = diagonal_mm / math.hypot(camera.width_mm, camera.height_mm) / 2 / focal_mm
    return half * math.hypot(lens.squeeze * camera.width_mm * depths[1], camera.height_mm * depths[3])
