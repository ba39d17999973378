"""How fine a map is where nothing is asked for: a second's work, not a minute's."""

import math
from pathlib import Path

from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene
from scenes.states.state import states_of
from scenes.verdicts.check import check_state, map_grid

SLOW = Path(__file__).parents[2] / "data" / "slow"  # boxes of the random generator whose maps took longest
ROUND_TRAYS = """
brimline = 1
[camera]
width_mm = 44
height_mm = 24
[[lens]]
name = "x"
focal_mm = 64.5
f_number = {stop}
pupil_behind_front_mm = 80
front_diameter_mm = 99
[box]
ahead_mm = 6
""" + "".join(
    f"""
[[box.stage]]
at_mm = {at}
depth_mm = 6
opening_mm = [80, 44]
corner_mm = 20
tilt_deg = 4
"""
    for at in (10, 22, 34, 46)
)


def answered(state, columns):
    engine = engine_of("coverage")
    return check_state(state, engine, columns=columns)[0], map_grid(state, engine, None)


def assert_same_answer(coarse, fine, pixel_mm):
    """The same words, worst places within a pixel of the coarser map, losses within the error they are told with."""
    for one, other in zip(coarse.guides, fine.guides, strict=True):
        assert one.word == other.word
        assert math.dist((one.worst.x_mm, one.worst.y_mm), (other.worst.x_mm, other.worst.y_mm)) <= pixel_mm
        losses = one.worst.loss_stops, other.worst.loss_stops
        assert losses[0] == losses[1] or abs(losses[0] - losses[1]) <= other.worst.worst_case_stops - losses[1]


def test_a_map_is_coarser_where_trays_cut_the_large_pupils_of_every_pixel_and_the_answer_is_that_of_a_fine_one():
    (state,) = states_of(parse_scene(ROUND_TRAYS.format(stop=1.8), "trays.toml"))
    coarse, grid = answered(state, None)
    fine, _ = answered(state, 512)
    assert coarse.columns < fine.columns == 512 < grid.columns
    assert_same_answer(coarse, fine, 44 / coarse.columns)


def test_a_map_of_small_pupils_is_as_fine_as_any():
    (state,) = states_of(parse_scene(ROUND_TRAYS.format(stop=16.0), "trays.toml"))
    found, grid = answered(state, None)
    assert found.columns == grid.columns


def test_a_map_is_coarser_where_the_edge_of_a_filter_divides_the_light_and_the_answer_is_that_of_a_fine_one():
    (state,) = states_of(load_scene(SLOW / "glass-edge-210018085.toml").scene)
    coarse, grid = answered(state, None)
    fine, _ = answered(state, 640)
    assert coarse.columns < fine.columns == 640 < grid.columns
    assert_same_answer(coarse, fine, grid.width_mm / coarse.columns)
