"""How fine a map is where nothing is asked for: a second's work, not a minute's."""

from pathlib import Path

import pytest

from scenes.runtime.engines import DIVIDED_COLUMNS, engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene
from scenes.states.state import states_of
from scenes.verdicts.check import check_state

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


@pytest.mark.parametrize(("stop", "least", "most"), [(1.8, 160, 400), (16.0, 1024, 1024)])
def test_a_map_is_coarser_where_trays_cut_the_large_pupils_of_every_pixel(stop, least, most):
    (state,) = states_of(parse_scene(ROUND_TRAYS.format(stop=stop), "trays.toml"))
    assert least <= check_state(state, engine_of("coverage"), columns=None)[0].columns <= most
    assert check_state(state, engine_of("coverage"), columns=500)[0].columns == 500


def test_a_map_is_coarser_where_the_edge_of_a_filter_divides_the_light():
    (state,) = states_of(load_scene(SLOW / "glass-edge-210018085.toml").scene)
    assert check_state(state, engine_of("coverage"), columns=None)[0].columns == DIVIDED_COLUMNS
