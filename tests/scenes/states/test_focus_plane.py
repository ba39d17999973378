"""States whose plane in focus lies within the box. Lengths are worked by hand: the plane stands at focus less front to sensor."""

import pytest

from geometry.notes import Severity
from scenes.questions.check.check import map_grid, run_check
from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states.clear_rule import Word
from scenes.states.state import states_of

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
