"""Flags that reach beyond the plane in focus, and blades folded back: against straight rays through the pupil's rim."""

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from geometry.flags import boards
from scenes.changes.flag_angles import flag_states
from scenes.changes.flag_summaries import summaries
from scenes.questions.flags.text import set_words
from scenes.states.load import load_scene, plans_of

FOCAL_MM, F_NUMBER, FRONT_TO_SENSOR_MM, PUPIL_MM, HALF_FIELD_DEG = 30.0, 2.0, 120.0, 40.0, 31.0
SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "30"
focal_mm = 30
f_number = 2.0
front_diameter_mm = 90
front_to_sensor_mm = 120
pupil_walk = [[0, 40, 1, 1], [60, 40, 1, 1]]
[[lens.state]]
focus_mm = {focus}
half_field_deg = 31
[box]
tilt_deg = {tilt}
[[box.flag]]
side = "top"
angle_deg = 60
at_mm = {at}
hinge_mm = {hinge}
length_mm = 110
width_mm = {width}
thickness_mm = 3
[check]
focus_mm = [{focus}]
"""


def state_of(tmp_path, **values):
    path = tmp_path / "near.toml"
    path.write_text(SCENE.format(**values))
    loaded = load_scene(path)
    (state,) = flag_states(plans_of(loaded))[0].flags
    return state


def edge_rays(focus_mm):
    """(points on the pupil's rim, directions) of the rays to points round the frame's edge in the plane in focus.

    A field point is seen from the pupil's middle at the tangent of its height over 18 mm / tan 31 deg; rays go on straight.
    """
    side, rim = np.linspace(-1, 1, 21), np.linspace(0, 2 * np.pi, 49)[:-1]
    edge = np.concatenate([[(18 * s, y), (x, 12 * s)] for s in side for x in (-18, 18) for y in (-12, 12)])
    plane_mm = focus_mm - FRONT_TO_SENSOR_MM
    seen = np.tan(np.radians(HALF_FIELD_DEG)) / 18 * (plane_mm + PUPIL_MM)
    to = np.column_stack([edge * seen, np.full(len(edge), plane_mm)])
    radius = FOCAL_MM / F_NUMBER / 2
    start = np.column_stack([radius * np.cos(rim), radius * np.sin(rim), np.full(len(rim), -PUPIL_MM)])
    pairs = np.repeat(start, len(to), axis=0), np.tile(to, (len(start), 1))
    return pairs[0], pairs[1] - pairs[0]


def is_met(rays, state, angle_deg):
    """Whether any ray runs through the blade ahead of the lens front: the half spaces of its corners, each ray clipped by them."""
    (blade,) = boards(state.flag.hinge, state.flag.bars, angle_deg)
    planes = ConvexHull(blade.body.corners_mm).equations
    start, direction = rays
    height, slope = start @ planes[:, :3].T + planes[:, 3], direction @ planes[:, :3].T
    with np.errstate(divide="ignore"):
        at = -height / slope
    enters = np.where(slope < 0, at, -np.inf).max(axis=1)
    leaves = np.where(slope > 0, at, np.inf).min(axis=1)
    at_front = -start[:, 2] / direction[:, 2]
    return bool(np.any(np.maximum(enters, at_front) < leaves))


@pytest.mark.parametrize("tilt", [0, 14, -9])
@pytest.mark.parametrize("plane_mm", [75, 110, 150])
def test_a_flag_is_held_off_the_rays_beyond_the_plane_in_focus_and_no_farther(tmp_path, tilt, plane_mm):
    focus_mm = FRONT_TO_SENSOR_MM + plane_mm
    state = state_of(tmp_path, focus=focus_mm, tilt=tilt, at=45, hinge=70, width=260)
    rays = edge_rays(focus_mm)
    for least_deg in (state.limits.touch_deg, state.limits.visible_deg):
        assert not any(is_met(rays, state, angle) for angle in np.arange(least_deg, 90, 2.0))
    assert is_met(rays, state, state.limits.touch_deg - 0.5)  # rounded up to 0.1; the rays drawn miss a little of the beam
    assert state.focus_in_reach


def test_a_far_plane_in_focus_is_not_in_reach(tmp_path):
    assert not state_of(tmp_path, focus=900, tilt=0, at=45, hinge=70, width=260).focus_in_reach


def test_the_plane_in_focus_in_reach_is_told(tmp_path):
    (flag,) = summaries([state_of(tmp_path, focus=FRONT_TO_SENSOR_MM + 110, tilt=0, at=45, hinge=70, width=260)])
    assert "far in it reaches beyond the plane in focus with 30 (focus 230 mm, f/2)" in set_words(flag)


@pytest.mark.parametrize("hinge", [22, 23, 24])
def test_a_blade_folded_back_into_the_beam_behind_its_hinge_is_opened_less_far(tmp_path, hinge):
    # the box leans back by 24 deg, so that a blade folded back hangs down toward the lens
    state = state_of(tmp_path, focus=900, tilt=-24, at=110, hinge=hinge, width=260)
    rays = edge_rays(900)
    limits = state.limits
    assert is_met(rays, state, 180.0)
    assert limits.touch_deg < limits.touch_most_deg < 180
    assert not any(is_met(rays, state, angle) for angle in np.linspace(limits.touch_deg, limits.touch_most_deg, 40))
    assert is_met(rays, state, min(limits.touch_most_deg + 1.5, 180.0))
