"""Masks that take no light, or hang on nothing, are told; sizes inside a hood by straight lines from its rear to its front."""

import ezdxf
import pytest

from scenes.cautions.doubtful_numbers import doubtful_box_notes
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene, plans_of
from scenes.states.state import states_of

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 94
pupil_behind_front_mm = 40
[box]
ahead_mm = 4
[box.back]
width_mm = 220
height_mm = 190
bore_mm = 110
[[box.mask]]
name = "mask"
at_mm = {at}
{opening}
[box.hood]
at_mm = 20
depth_mm = 80
rear_mm = [170, 120]
front_mm = [250, 200]
"""


def told(at, opening, more=""):
    (state, *_) = states_of(parse_scene(SCENE.format(at=at, opening=opening) + more, source="s.toml"))
    return [note.text for note in doubtful_box_notes(state.fitted, state.box.parts) if note.part in {"mask", "top flag"}]


@pytest.mark.parametrize(
    ("at", "opening", "words"),
    [
        (15, "opening_mm = [150, 100]", ""),
        (15, "opening_mm = [180, 100]", ""),  # lets no more through at the sides than the hood, but less above and below
        (15, "opening_diameter_mm = 210", "wider and higher than the hood is there, 170 x 120 mm"),
        (60, "opening_mm = [205, 155]", ""),
        (60, "opening_mm = [215, 165]", "wider and higher than the hood is there, 210 x 160 mm"),  # half way: 170 + 40, 120 + 40
        (103, "opening_mm = [240, 190]", ""),  # clipped to the front edge at 100
        (126, "opening_mm = [240, 190]", "26 mm ahead of the hood's front edge, at 100 mm"),
    ],
)
def test_a_mask_that_takes_nothing_beside_the_hood_or_stands_free_of_it_is_told(at, opening, words):
    texts = told(at, opening)
    assert [words in text for text in texts] == ([True] if words else [])


@pytest.mark.parametrize(("hinge_mm", "told_so"), [(95, False), (130, False), (450, True)])
def test_a_flag_hinged_far_outside_of_a_box_without_a_hood_is_told(hinge_mm, told_so):
    """The plate reaches 95 mm up from the centre line."""
    without = SCENE.split("[box.hood]", maxsplit=1)[0].format(at=15, opening="opening_mm = [150, 100]")
    flag = f'[[box.flag]]\nside = "top"\nangle_deg = 30\nlength_mm = 80\nwidth_mm = 200\nhinge_mm = {hinge_mm}\nat_mm = 40\n'
    (state, *_) = states_of(parse_scene(without + flag, source="s.toml"))
    texts = [note.text for note in doubtful_box_notes(state.fitted, state.box.parts) if note.part == "top flag"]
    assert any("355 mm outside of the box, which reaches 95 mm" in text for text in texts) == told_so


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        ("at_mm = 20", "at_mm = -30", "at_mm = -30 begins behind the back plate"),
        ("ahead_mm = 4", "ahead_mm = -110", "at_mm = 20 with ahead_mm = -110 ends 10 mm behind the lens front"),
    ],
)
def test_a_hood_behind_its_plate_or_behind_the_lens_front_is_told(right, wrong, words):
    """It is 80 mm deep from 20 mm on, so that it ends at 100."""
    scene = SCENE.format(at=15, opening="opening_mm = [150, 100]")
    for text, told_so in ((scene, False), (scene.replace(right, wrong), True)):
        (state, *_) = states_of(parse_scene(text, source="s.toml"))
        assert any(words in note.text for note in doubtful_box_notes(state.fitted, state.box.parts)) == told_so


def test_a_mask_wholly_behind_the_back_plate_is_told():
    for at, told_so in ((15, False), (0, False), (-28, True)):
        text = SCENE.format(at=at, opening="opening_mm = [150, 100]")
        (state, *_) = states_of(parse_scene(text, source="s.toml"))
        words = "at_mm = -28 stands it behind the back plate"
        assert any(words in note.text for note in doubtful_box_notes(state.fitted, state.box.parts)) == told_so


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        (
            "opening_mm = [138, 97]\nouter_mm = [170, 97.4]",
            "outer_mm = [170, 97.4] leaves a rim of 0.2 mm round opening_mm = [138, 97]",
        ),
        (
            "opening_mm = [138, 97]\nouter_mm = [140, 130]",
            "outer_mm = [140, 130] leaves a rim of 1.0 mm round opening_mm = [138, 97]",
        ),
        ("opening_diameter_mm = 148\nouter_mm = [150, 150]", "leaves a rim of 1.0 mm round opening_diameter_mm = 148"),
        ("opening_diameter_mm = 138\nouter_mm = [150, 150]", None),
    ],
)
def test_a_tray_with_next_to_no_rim_is_told_whatever_its_opening(stage, words):
    lens = '[[lens]]\nname = "25"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\npupil_behind_front_mm = 40\n'
    text = f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 4\n[[box.stage]]\nat_mm = 8\ndepth_mm = 8\n{stage}\n'
    (state,) = states_of(parse_scene(text, source="s.toml"))
    found = [note.text for note in state.notes if "leaves a rim" in note.text]
    assert [words in text for text in found] == [True] * (words is not None)


def test_a_mask_drawn_to_the_edge_of_its_sheet_is_told(tmp_path):
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline([(-74, -54), (74, -54), (74, 54), (-74, 54)], close=True)
    drawing.saveas(tmp_path / "cut.dxf")
    lens = '[[lens]]\nname = "25"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\npupil_behind_front_mm = 40\n'
    mask = 'at_mm = 8\noutline = "cut.dxf"\nouter_mm = [150, 110]\n'
    (tmp_path / "s.toml").write_text(
        f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 4\n[[box.mask]]\n{mask}', encoding="utf-8"
    )
    notes = [note.text for plan in plans_of(load_scene(tmp_path / "s.toml")) for note in plan.notes]
    assert any("leaves a rim of 1.0 mm round its drawn opening of 148 x 108 mm" in text for text in notes)


@pytest.mark.parametrize(("at", "is_told"), [(19, True), (99, False)])
def test_a_mask_that_sticks_out_of_the_box_behind_the_hood_is_told(at, is_told):
    found = told(at, "opening_mm = [160, 110]\nouter_mm = [256, 220]")
    assert any("sticks out of the box around it" in text for text in found) is is_told
