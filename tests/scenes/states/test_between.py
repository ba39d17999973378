"""Lenses between their states: what was judged is told, whatever else about it cannot be worked out."""

import numpy as np
import pytest

from raytrace.optics.lens import pencils_for
from raytrace.reference import reference_shares
from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states import unconfirmed
from scenes.states.between import between_states
from scenes.states.clear_rule import Word
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene
from scenes.states.state import states_of
from scenes.verdicts.check import run_check

CLEAR = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "35"
focal_mm = 35
f_number = 2.8
close_focus_mm = 1000
front_diameter_mm = 80
pupil_behind_front_mm = 30
[box]
ahead_mm = 5
[[box.mask]]
at_mm = 10
opening_mm = [150, 120]
"""


def test_a_lens_whose_slips_cannot_be_worked_out_is_clear_as_long_as_its_pupil_is_as_stated(tmp_path, monkeypatch):
    def refuse(_):
        raise MemoryError

    path = tmp_path / "clear.toml"
    path.write_text(CLEAR)
    monkeypatch.setattr(unconfirmed, "clear_while", refuse)
    (judged,) = between_states(states_of(load_scene(path).scene))
    assert judged.clear
    assert judged.clear_while.words == "as long as its pupil is no deeper than stated"


# The margin of this one is told as 2.03 %: in truth 6 % and more, but its beam is widened for what lies between field points.
BY_A_HAIR = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "21"
focal_mm = 21
f_number = 2.8
front_diameter_mm = 114
pupil_walk = [[0, 40, 1, 1], [15, 39.5, 0.99, 1], [30, 38.5, 0.96, 0.99], [40, 37.3, 0.9, 0.98], [47, 26.5, 0.86, 0.97]]
[box]
ahead_mm = 4
[[box.mask]]
at_mm = 28
opening_diameter_mm = 140
"""


def test_a_state_that_is_clear_by_a_hair_is_so_in_its_lenss_range():
    states = states_of(parse_scene(BY_A_HAIR, source="s.toml"))
    checked = run_check(states, engine_of("coverage"), columns=96)
    assert [state.word for state in checked.states] == [Word.CLEAR]
    (judged,) = between_states(states, checked.called_clear)
    assert judged.words == "clear at infinity"
    (unasked,) = between_states(states)
    assert not unasked.clear  # a range by itself asks for a little more


def test_a_state_that_is_called_dark_is_so_in_its_lenss_range(tmp_path):
    path = tmp_path / "clear.toml"
    path.write_text(CLEAR)
    states = states_of(load_scene(path).scene)
    (judged,) = between_states(states, {state.key: False for state in states})
    assert judged.words.startswith("not clear")


@pytest.mark.parametrize("seed", range(12))
def test_the_range_of_a_random_walk_is_clear_only_where_its_state_is_which_lets_all_rays_by(seed):
    """Walks with steep last rows, a row at the corner's field, and jumps, by masks about as wide as the beam."""
    rng = np.random.default_rng(seed)
    fields = [0.0, *np.sort(rng.uniform(8.0, 43.0, 3)).round(1), rng.choice([45.9, 47.0, 49.0])]
    depths = np.maximum(40.0 - np.cumsum([0.0, *rng.uniform(0.1, 3.0, 3), rng.uniform(0.0, 12.0)]), 8.0).round(1)
    walk = ", ".join(f"[{field:g}, {depth:g}, 1, 1]" for field, depth in zip(fields, depths, strict=True))
    before, after = BY_A_HAIR.split("pupil_walk = ")
    text = f"{before}pupil_walk = [{walk}]\n{after.partition(chr(10))[2]}".replace("= 140", f"= {rng.uniform(136.0, 152.0):.1f}")
    (state,) = states_of(parse_scene(text, source="s.toml"))
    (judged,) = between_states([state])
    is_clear = judge_state(state).clear
    assert is_clear or not judged.clear
    if is_clear:
        corners = [(x, y) for x in (-18.0, 18.0) for y in (-12.0, 12.0)]
        points_mm = np.concatenate([rng.uniform(-1.0, 1.0, (200, 2)) * (18.0, 12.0), corners])
        for lens in state.variants:
            assert reference_shares(pencils_for(lens, points_mm), state.box, rng=rng).clear_share.min() == 1.0
