"""A tilt that is tried is the tilt of the box that is judged."""

import numpy as np
import pytest

from geometry import overlap
from scenes.changes import tilts
from scenes.changes.tilts import BOX_KEY, Refit
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of

SCENE = """brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "20"
focal_mm = 20
f_number = 4
front_diameter_mm = 80
pupil_behind_front_mm = 40
box = {{ {own} }}
[box]
[box.back]
width_mm = 300
height_mm = 260
bore_mm = 200
thickness_mm = 4
"""


@pytest.mark.parametrize("own", ["tilt_deg = 2", "ahead_mm = 6", "offset_mm = [0, 3]"])
def test_a_tilt_of_the_whole_box_is_judged_where_a_lens_has_a_place_of_its_own_for_the_box(own):
    (state,) = states_of(parse_scene(SCENE.format(own=own), source="tilted.toml"))
    fit = Refit(state).fit((BOX_KEY,), 10.0)
    assert fit.box is not None
    plate = fit.box.parts[0].body.inner[0].pose
    # Of a plate turned about x by t the normal is (0, +-sin t, cos t), by the definition of a turn.
    assert plate.rotation[2, 2] == pytest.approx(np.cos(np.radians(10.0)))
    assert abs(plate.rotation[1, 2]) == pytest.approx(np.sin(np.radians(10.0)))
    before = state.box.parts[0].body.inner[0].pose
    assert plate.origin_mm == pytest.approx(before.origin_mm)  # it turns about the middle of the back plate


SMALL_BORE = SCENE.replace("front_mm = 40", "front_mm = [38, 46]").replace("bore_mm = 200", "bore_mm = 100")


def test_a_tried_box_is_made_into_triangles_once_for_all_pupil_depths_and_its_overlaps_are_told_once(monkeypatch):
    (state,) = states_of(parse_scene(SMALL_BORE.format(own="ahead_mm = 4"), source="tilted.toml"))
    made, told = [], []
    tracer, notes = tilts.mesh_tracer, overlap.overlap_notes
    monkeypatch.setattr(tilts, "mesh_tracer", lambda *boxes: made.append(1) or tracer(*boxes))
    monkeypatch.setattr(overlap, "overlap_notes", lambda parts: told.append(1) or notes(parts))
    refit = Refit(state)
    assert len(state.variants) > 1
    assert not refit.is_clear
    assert not refit.meets_now
    so_far = len(told)
    assert refit.fit((BOX_KEY,), 10.0).beam.then_stops > 0
    assert (len(made), len(told) - so_far) == (2, 1)  # the box as it is, and tilted
