"""Which ghosts between sensor and filter there can be: plane trigonometry, and bundles of rays reflected one by one."""

import numpy as np
import pytest

from geometry.frame import rotation_about_x
from raytrace.ghosts.paths import Light, Mirror, ghosts_of, pupil_mm
from raytrace.ghosts.returning import light_back, overlap_share, pupil_share
from raytrace.optics.fresnel import Plate
from raytrace.optics.lens import FixedPupil, LensState
from tests.raytrace.made import plate_of_glass

RADIUS_MM = 9.0


def lens(behind_mm=40.0, half=(RADIUS_MM, RADIUS_MM), **more):
    pupil = FixedPupil(behind_front_mm=(behind_mm, behind_mm), half_size_mm=half)
    values = {"focus_mm": np.inf, "field_focal_mm": 50.0, "object_z_mm": np.inf, "f_number": 50 / 18}
    return LensState(name="a", focal_mm=50.0, pupil=pupil, **(values | more))


def mirror(at_mm, tilt_deg=0.0):
    normal = rotation_about_x(tilt_deg) @ np.array([0.0, 0.0, 1.0])
    return Mirror(name="g", normal=normal, centre_mm=np.array([0.0, 0.0, at_mm]), plate=Plate(index=1.5))


def toward(right_deg, up_deg):
    d = np.array([-np.tan(np.radians(right_deg)), np.tan(np.radians(up_deg)), 1.0])
    return (d / np.linalg.norm(d))[None]


def traced_share(state, plate, direction, sharp_mm=np.inf, count=60000):
    """Rays out of every place of the pupil, mirrored and followed back to its plane: plain vectors, nothing of the project's."""
    rng = np.random.default_rng(3)
    turn, radius = 2 * np.pi * rng.random(count), np.sqrt(rng.random(count))
    half = np.array(state.pupil.half_size_mm)
    start = np.column_stack([half * np.column_stack([np.cos(turn), np.sin(turn)]) * radius[:, None], np.zeros(count)])
    u = direction[0] / direction[0, 2]
    way = np.broadcast_to(u, (count, 3)) if np.isinf(sharp_mm) else sharp_mm * u - start
    centre = plate.centre_mm - pupil_mm(state)
    reach = ((centre - start) @ plate.normal) / (way @ plate.normal)
    at = start + reach[:, None] * way
    back = way - 2 * (way @ plate.normal)[:, None] * plate.normal
    end = at - (at[:, 2] / back[:, 2])[:, None] * back
    return float(((end[:, :2] / half) ** 2).sum(axis=1).__le__(1.0).mean())


@pytest.mark.parametrize("plate_mm", [20.0, 35.0, 90.0])
def test_a_ghost_is_gone_where_its_light_returns_a_pupils_diameter_off_the_axis(plate_mm):
    # 2 p tan(angle) = 2 R: plane trigonometry
    p = plate_mm + 40.0
    last = np.degrees(np.arctan(2 * RADIUS_MM / (2 * p)))
    assert pupil_share(lens(), mirror(plate_mm), toward(0.0, last - 0.05))[0] > 0
    assert pupil_share(lens(), mirror(plate_mm), toward(0.0, last + 0.05))[0] == 0
    assert pupil_share(lens(), mirror(plate_mm), toward(0.0, 0.0))[0] == pytest.approx(1.0)


@pytest.mark.parametrize("tilt_deg", [0.0, 2.5, -4.0])
@pytest.mark.parametrize("angles", [(0.0, 0.0), (1.5, 2.0), (-3.0, 4.0), (0.0, -5.5)])
@pytest.mark.parametrize("half", [(9.0, 9.0), (6.0, 11.0)])
def test_what_comes_back_is_what_single_rays_say(tilt_deg, angles, half):
    state, plate, direction = lens(half=half), mirror(30.0, tilt_deg), toward(*angles)
    assert pupil_share(state, plate, direction)[0] == pytest.approx(traced_share(state, plate, direction), abs=0.01)


@pytest.mark.parametrize("angles", [(0.0, 0.0), (2.0, 3.0)])
def test_light_in_the_sharp_plane_comes_back_as_a_smaller_disc(angles):
    sharp = 600.0
    state, plate, direction = lens(focus_mm=640.0, object_z_mm=sharp - 40.0), mirror(30.0), toward(*angles)
    # the lens taken as thin sends the light out to its own sharp plane, which is nearer 600 mm than 2 %
    assert pupil_share(state, plate, direction, light_mm=sharp)[0] == pytest.approx(
        traced_share(state, plate, direction, sharp), abs=0.03
    )


def test_two_equal_circles_a_radius_apart_share_what_the_handbook_says():
    # (2 pi / 3 - sqrt(3) / 2) R^2 of pi R^2: the lens of two circles through each other's middles, any handbook
    assert overlap_share(np.array([1.0]), 1.0)[0] == pytest.approx((2 * np.pi / 3 - np.sqrt(3) / 2) / np.pi)
    assert overlap_share(np.array([0.2, 0.9, 2.0]), 0.5) == pytest.approx([1.0, overlap_share(np.array([0.9]), 0.5)[0], 0.0])


def test_of_a_wide_light_the_part_near_the_axis_comes_back():
    wide = Light(name="window", direction=toward(0.0, 12.0)[0], half_width_deg=10.0)
    assert pupil_share(lens(), mirror(30.0), wide.direction[None])[0] == 0
    assert 0 < light_back((lens(),), mirror(30.0), wide) < 0.5


def test_of_several_pupils_the_one_that_catches_most_counts():
    light = Light(name="lamp", direction=toward(0.0, 8.0)[0])
    assert light_back((lens(),), mirror(30.0), light) == 0
    assert light_back((lens(), lens(behind_mm=10.0)), mirror(30.0), light) > 0


def test_a_ghost_whose_light_does_not_come_back_is_not_told_and_one_that_half_does_is_as_much_weaker():
    glass = plate_of_glass(30.0)
    lights = [Light(name="far out", direction=toward(0.0, 12.0)[0]), Light(name="near", direction=toward(0.0, 2.0)[0])]
    state = lens(half_diagonal_mm=21.6)
    found = ghosts_of(
        state, lights, [glass], sensor_reflectance=0.05, on_sensor=[True, True], back=lambda m, li: light_back((state,), m, li)
    )
    whole = ghosts_of(state, lights, [glass], sensor_reflectance=0.05, on_sensor=[True, True])
    assert [ghost.light for ghost in found] == ["near"]
    assert found[0].share / whole[1].share == pytest.approx(traced_share(state, mirror(30.0), lights[1].direction[None]), abs=0.01)
