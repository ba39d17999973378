"""States whose plane in focus lies within the box. Lengths are worked by hand: the plane stands at focus less front to sensor."""

import pytest

from geometry.notes import Severity
from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states.clear_rule import Word
from scenes.states.state import states_of
from scenes.verdicts.check import map_grid, run_check

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "35"
focal_mm = 35
f_number = 4.0
front_diameter_mm = 80
front_to_sensor_mm = 150
pupil_walk = [[0, 30, 1, 1], [60, 30, 1, 1]]
[box]
[[box.mask]]
at_mm = {at}
thickness_mm = 2
opening_mm = [{width}, {width}]
[check]
focus_mm = [{focus}]
"""


def _state(at, focus, width=20):
    scene = parse_scene(SCENE.format(at=at, focus=focus, width=width), source="s.toml")
    (plan,) = states_of(scene)
    (state,) = run_check([plan], engine_of("coverage"), columns=48).states
    return state


def test_a_small_mask_beyond_the_plane_in_focus_is_no_clear_frame_but_a_fault():
    # focus 220, the lens 150 long: the plane stands 70 ahead of the front; the mask ends 75 + 2 ahead, 7 beyond
    state = _state(at=75, focus=220)
    fault = next(note for note in state.notes if note.severity is Severity.FAULT)
    assert state.word is Word.TIGHT
    assert fault.part == "mask"
    assert fault.text.startswith("reaches 7 mm beyond the plane in focus: that plane lies in the box, 70 mm ahead of the lens")


def test_what_is_to_be_done_names_the_part_and_how_far_it_is_beyond():
    state = _state(at=75, focus=220)
    assert state.guides[0].next_step == (
        "check a farther focus too, or bring the mask back: it reaches 7 mm beyond the plane in focus"
    )


@pytest.mark.parametrize("at", [30, 68])
def test_a_part_that_ends_before_the_plane_or_in_it_is_no_fault(at):
    state = _state(at=at, focus=220, width=300)
    assert not any(note.severity is Severity.FAULT for note in state.notes)
    assert state.word is Word.CLEAR


def test_a_map_that_no_block_can_be_proven_of_is_coarse_unless_its_pixels_are_asked_for():
    coverage = engine_of("coverage")
    beyond, before = (states_of(parse_scene(SCENE.format(at=at, focus=220, width=20), source="s.toml"))[0] for at in (75, 30))
    assert map_grid(beyond, coverage, None).columns == 256
    assert map_grid(before, coverage, None).columns == coverage.columns(before.grid) > 256
    assert [map_grid(beyond, coverage, asked).columns for asked in (1000, "full")] == [1000, beyond.grid.columns]


CLOSE_UP = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "35"
focal_mm = 35
f_number = 4.0
front_diameter_mm = 80
front_to_sensor_mm = 150
pupil_walk = [[0, 30, 1, 1], [60, 30, 1, 1]]
[box]
[[box.stage]]
at_mm = 10
depth_mm = 10
opening_mm = [200, 200]
filter = {{ width_mm = 210, height_mm = 210, thickness_mm = 4, kind = "close-up", power_dioptre = {power} }}
[[box.mask]]
at_mm = {at}
thickness_mm = 1
opening_mm = [400, 400]
[check]
focus_mm = [{focus}]
"""


def _close_up_fault(**scene):
    (plan,) = states_of(parse_scene(CLOSE_UP.format(**scene), source="s.toml"))
    return next((note for note in plan.notes if note.doubts_light), None)


# The plane stands 1 / (1 / s + D / 1000) ahead of the close-up lens, which is 15 ahead of the front (any thin-lens text): 100 at
# infinity and +10; with the lens's own plane 650 - 150 = 500 ahead, 1 / (1 / 485 + 0.01) = 82.9; none nearer with -2.
@pytest.mark.parametrize(("power", "focus", "plane_mm"), [(10, '"infinity"', 115.0), (10, 650, 97.9)])
def test_behind_a_close_up_lens_a_part_beyond_the_nearer_plane_is_a_fault(power, focus, plane_mm):
    assert _close_up_fault(power=power, focus=focus, at=plane_mm - 2) is None
    fault = _close_up_fault(power=power, focus=focus, at=plane_mm + 4)
    assert fault.part == "mask"
    assert f"{plane_mm:.0f} mm ahead of the lens front at this focus behind its close-up lens" in fault.text
    assert "use less power, or bring it back" in fault.text


def test_a_close_up_lens_of_negative_power_leaves_the_plane_where_light_past_the_glass_has_it():
    assert _close_up_fault(power=-2, focus=650, at=520) is not None
    assert _close_up_fault(power=-2, focus=650, at=480) is None
