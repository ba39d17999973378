"""Boxes with gaps put together by hand, for stray-light tests that need no scene."""

import numpy as np

from geometry import parts as build
from geometry.body import Assembly
from geometry.openings import Fit, LensFront
from geometry.walls import enclosure_of
from raytrace.optics.lens import FixedPupil, LensState
from raytrace.stray.mirror import MirrorScene
from raytrace.stray.world import World
from tests.raytrace.made import plate_of_glass

BARREL_MM = 100.0
BORE_MM = 112.0
PUPIL_BEHIND_MM = 40.0


def lens(*, focal_mm=20.0, f_number=80.0, behind_mm=PUPIL_BEHIND_MM):
    """A rectilinear lens, by default with a pupil of a quarter millimetre: the ring's edges are then sharp."""
    radius = focal_mm / f_number / 2
    pupil = FixedPupil(behind_front_mm=(behind_mm, behind_mm), half_size_mm=(radius, radius))
    return LensState(
        name="a", focal_mm=focal_mm, f_number=f_number, focus_mm=np.inf, field_focal_mm=focal_mm, object_z_mm=np.inf, pupil=pupil
    )


def ring_box(*, ahead_mm=-6.0, bore_mm=BORE_MM, right_mm=0.0, up_mm=0.0, seal=None, stage=True):
    """A back plate with a bore round the barrel, a wide tray without glass, a hood."""
    box = build.box_pose(ahead_mm=ahead_mm, offset_right_mm=right_mm, offset_up_mm=up_mm, back_thickness_mm=1.0)
    parts = [build.back_plate(box, width_mm=260, height_mm=240, thickness_mm=1.0, bore_mm=bore_mm)]
    if seal:
        parts += build.seal(box, kind=seal, inner_mm=BARREL_MM, outer_mm=bore_mm, back_thickness_mm=1.0, barrel_front_mm=-ahead_mm)
    if stage:
        parts.append(build.tray(box, at_mm=24.0, depth_mm=10.0, opening=build.opening(size_mm=(230, 200))))
    parts.append(build.hood(box, at_mm=40.0, depth_mm=60.0, rear_mm=(240, 210), front_mm=(300, 250)))
    return box, Assembly(parts=tuple(parts))


def fit(box, *, soft=False, slots=()):
    return Fit(box=box, front=LensFront(outside_mm=BARREL_MM, glass_mm=90.0), soft_seal=soft, slots=slots)


def ring_scene(*, face_mm=20.0, thickness_mm=0.02, glass=None, **box):
    """The ring-gap box with one thin clear filter whose rear face lies `face_mm` ahead of the rim."""
    place, assembly = ring_box(**box)
    glasses = (glass or plate_of_glass(face_mm + thickness_mm / 2, thickness_mm=thickness_mm, size_mm=(600, 600)),)
    world = World.of(enclosure_of(assembly, fit(place)))
    return MirrorScene(glasses=glasses, world=world, caught_radius_mm=BARREL_MM / 2)
