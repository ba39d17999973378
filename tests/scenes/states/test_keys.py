"""No two states share a file name: by the rule that a folder holds one file of a name, whatever the case of its letters."""

import pytest

from scenes.io.file_names import file_names
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import Resources
from scenes.states.full_range import range_plans
from scenes.states.load import Loaded
from scenes.states.names import state_words
from scenes.states.state import states_of

CAMERA = "brimline = 1\n[camera]\nwidth_mm = 36\nheight_mm = 24\npixels = [12, 8]\n[box]\n"
ZOOM_ROWS = """state = [
  { focal_mm = 25, pupil_behind_front_mm = 40 }, { focal_mm = 35, pupil_behind_front_mm = 42 },
]
"""


def lens(name, focal=35, more=""):
    return f"""[[lens]]
name = "{name}"
focal_mm = {focal}
f_number = 2.8
front_diameter_mm = 80
front_to_sensor_mm = 150
pupil_behind_front_mm = 40
{more}
"""


def keys(*lenses, check=""):
    return [state.key for state in states_of(parse_scene(CAMERA + "".join(lenses) + check, "keys.toml"))]


def test_ordinary_states_have_short_names():
    check = '[check]\nfocus_mm = ["infinity", 600]\nf_numbers = [2.8, 5.6]\n'
    assert keys(lens("18 wide", 18), check=check) == [
        "18-wide_inf_f2.8",
        "18-wide_inf_f5.6",
        "18-wide_at_600_f2.8",
        "18-wide_at_600_f5.6",
    ]
    zoom = lens("25-50", 25, ZOOM_ROWS)
    assert keys(zoom) == ["25-50_25mm_inf_f2.8", "25-50_35mm_inf_f2.8"]


@pytest.mark.parametrize(
    ("lenses", "check"),
    [
        ((lens("50"),), "[check]\nfocus_mm = [123456.1, 123456.2]\n"),
        ((lens("50"),), "[check]\nf_numbers = [2.800001, 2.800002]\n"),
        ((lens("25_35mm"), lens("25", 25, ZOOM_ROWS)), ""),
        ((lens("25_35mm"), lens("25", 25, ZOOM_ROWS), lens("25_35mm_lens1")), ""),
        ((lens("25_35MM"), lens("25", 25, ZOOM_ROWS)), ""),
    ],
)
def test_states_that_would_share_a_name_get_longer_ones(lenses, check):
    found = [key.casefold() for key in keys(*lenses, check=check)]
    assert len(set(found)) == len(found) > 1
    assert keys(*lenses, check=check) == keys(*lenses, check=check)


def test_a_name_is_longer_only_where_it_would_be_shared():
    plain, *others = keys(lens("18", 18), lens("25_35mm"), lens("25", 25, ZOOM_ROWS))
    assert plain == "18_inf_f2.8"
    assert others == ["25_35mm_lens2_inf_f2.8", "25_25mm_inf_f2.8", "25_lens3_35mm_inf_f2.8"]
    assert keys(lens("50"), check="[check]\nfocus_mm = [123456.1, 123456.2, 600]\n") == [
        "50_at_123456.1_f2.8",
        "50_at_123456.2_f2.8",
        "50_at_600_f2.8",
    ]


def test_every_state_of_a_whole_range_has_its_own_name():
    rows = "state = [\n  { focal_mm = 25, half_field_deg = 30 }, { focal_mm = 35, half_field_deg = 24 },\n]\n"
    scene = parse_scene(CAMERA + lens("25", 25, rows) + "[check]\nfocus_mm = [123456.1, 123456.2]\n", "keys.toml")
    plans = range_plans(Loaded(scene=scene, resources=Resources(), file_name="keys.toml", sha256=""), scene.lens[0])
    assert len({plan.key for plan in plans}) == len(plans) > 4


def test_a_prime_whose_name_looks_like_a_zoom_setting_is_no_zoom():
    prime, *_ = states_of(parse_scene(CAMERA + lens("25_35mm_x"), "keys.toml"))
    assert state_words(prime) == "25_35mm_x, infinity, f/2.8"


def test_a_state_is_shown_by_its_name_alone():
    state, *_ = states_of(parse_scene(CAMERA + lens("50"), "keys.toml"))
    assert repr(state) == "State('50_inf_f2.8')"


def test_a_state_rebuilds_its_own_box_as_it_is():
    state, *_ = states_of(parse_scene(CAMERA + lens("50"), "keys.toml"))
    assembly, box = state.rebuilt(state.fitted)
    assert [part.name for part in assembly.parts] == [part.name for part in state.assembly.parts]
    assert len(box.glasses) == len(state.box.glasses)


def test_names_of_files_differ_even_where_case_does_not_count():
    assert file_names(["top flag", "Top flag", "top/flag", "", "side"], "flag") == {
        "top flag": "top-flag_1",
        "Top flag": "Top-flag_2",
        "top/flag": "top-flag_3",
        "": "flag",
        "side": "side",
    }


def test_what_numbers_tell_of_a_lens_is_worked_out_once_for_all_of_its_states():
    check = '[check]\nfocus_mm = ["infinity", 600]\nf_numbers = [2.8, 5.6]\n'
    slow = lens("35 slow", 35).replace("f_number = 2.8", "f_number = 28")
    states = states_of(parse_scene(CAMERA + lens("35") + slow + check, "keys.toml"))
    first = states[0].lens_notes.contradictions
    told = [state.lens_notes.contradictions for state in states if state.lens_name == "35"]
    assert all(one is first for one in told)
    assert len(told) > 1
