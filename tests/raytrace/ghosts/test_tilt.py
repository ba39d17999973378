"""Rooms of many lights' ghosts at once: closed forms, each light by itself, and all ghosts told one by one."""

import numpy as np
import pytest

from raytrace.ghosts.paths import Light, disc_directions, mirrors_of, pupil_mm
from raytrace.ghosts.seen import GhostView, ghosts_in_the_way, ghosts_seen
from raytrace.ghosts.tilt import room_mm, rooms_mm
from raytrace.optics.camera import PixelGrid, whole_frame
from tests.raytrace.ghosts.test_mirrored import AXIS, lens, toward
from tests.raytrace.made import plate_of_glass

GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=6, rows=4)
GUIDES = (whole_frame(GRID),)
FAST = lens(f_number=1.0)  # its pupil catches light of much of the picture


def view(state):
    return GhostView(lens=state, pupils=(state,), grid=GRID, guides=GUIDES, sensor_reflectance=0.05)


def lights(count=30, seed=5):
    """Points and wide lights all over the picture, far and near."""
    rng = np.random.default_rng(seed)
    places, wide, far = rng.uniform(-11, 11, (count, 2)), rng.uniform(0, 2, count), rng.choice([np.inf, 3000.0], count)
    return tuple(
        Light(name=f"light {k}", direction=toward(*places[k]), half_width_deg=wide[k] * (k % 3 == 0), distance_mm=float(far[k]))
        for k in range(count)
    )


def test_the_ghost_of_a_point_in_the_middle_leaves_by_the_closed_form():
    # f tan(2 t) below the middle, less half the frame's height: 50 tan 16 deg - 12 = 2.337269 mm
    mirrors = mirrors_of([plate_of_glass(0, tilt_deg=8.0)], AXIS, pupil_mm(FAST))
    assert room_mm(FAST, [Light(name="lamp", direction=AXIS)], mirrors, GUIDES) == pytest.approx(2.337269, abs=5e-7)


@pytest.mark.parametrize("tilt_deg", [0.0, 3.0, -5.0])
def test_the_room_of_many_lights_is_that_of_each_by_itself(tilt_deg):
    glasses = [plate_of_glass(20, tilt_deg=tilt_deg), plate_of_glass(34, tilt_deg=tilt_deg)]
    mirrors = mirrors_of(glasses, AXIS, pupil_mm(FAST))
    together = rooms_mm(FAST, lights(), mirrors, GUIDES)
    assert together == pytest.approx([room_mm(FAST, [light], mirrors, GUIDES) for light in lights()], abs=1e-9)
    assert np.isfinite(together).sum() > 5
    assert room_mm(FAST, lights(), mirrors, GUIDES) == together.min()


@pytest.mark.parametrize(("rear_deg", "front_deg"), [(0.0, 0.0), (2.5, 2.5), (0.0, 3.0), (-1.0, 4.0)])
def test_ghosts_in_the_way_are_those_of_all_that_lie_in_frame_and_do_not_hide(rear_deg, front_deg):
    glasses = [plate_of_glass(20, tilt_deg=rear_deg), plate_of_glass(34, tilt_deg=front_deg)]
    every = ghosts_seen(view(FAST), glasses, lights(), [True] * len(lights()))
    wanted = [(one.ghost.light, one.names, one.share) for one in every if one.in_frame and not one.hides]
    found = [(one.ghost.light, one.names, one.share) for one in ghosts_in_the_way(view(FAST), glasses, lights())]
    assert found == wanted
    assert 0 < len(found) < len(every)


def test_the_rim_of_a_light_is_worked_out_once_however_many_tilts_are_tried():
    light = Light(name="lamp", direction=toward(3, 4), half_width_deg=1.0)
    assert disc_directions(light) is disc_directions(light)
    assert np.degrees(np.arccos(disc_directions(light)[1:] @ disc_directions(light)[0])) == pytest.approx(1.0, abs=1e-9)
