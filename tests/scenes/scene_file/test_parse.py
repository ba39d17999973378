"""Scene text to values: the contract's own example, what a scene says about one lens, and where faults stand."""

import datetime as dt
import math
import tomllib
from importlib.resources import files

import pytest

from geometry.notes import Severity
from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.scene import box_for, f_numbers_of, focal_lengths, focus_distances_of
from scenes.scene_file.toml_lines import key_lines
from scenes.states.state import states_of

BARE = """brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "18"
focal_mm = 18
f_number = 2.0
front_diameter_mm = 114
pupil_behind_front_mm = 38
[box]
"""
DEMOS = sorted(item.name for item in files("scenes").joinpath("demo").iterdir() if item.name.endswith(".toml"))


def demo_text(name):
    return files("scenes").joinpath("demo", name).read_text(encoding="utf-8")


def complaints(text):
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "s.toml")
    return str(caught.value).splitlines()


def with_lens(lines):
    return parse_scene(BARE.replace("[box]\n", lines + "\n[box]\n"), "s.toml").lens[0]


@pytest.mark.parametrize("name", DEMOS)
def test_demo_scenes_are_read(name):
    scene = parse_scene(demo_text(name), name)
    assert len(scene.lens) >= 5
    assert len(scene.box.stage) == 2


def test_camera_lens_and_an_empty_box_are_a_scene():
    scene = parse_scene(BARE, "s.toml")
    assert scene.box.back == scene.box.stage == scene.box.flag == ()
    assert scene.check.focus_mm == (math.inf, "close")


def test_a_named_format_gives_its_size():
    camera = parse_scene(BARE, "s.toml").camera
    assert (camera.width_mm, camera.height_mm) == (36.0, 24.0)  # SMPTE 96M slide camera area
    assert camera.pixels == (1024, 683)  # square photosites: 1024 * 24 / 36 = 682.7


def test_pupil_depth_is_a_number_bounds_or_one_for_each_direction():
    plain = BARE.replace("pupil_behind_front_mm = 38", "pupil_behind_front_mm = {}")
    depth = [parse_scene(plain.format(t), "s").lens[0].pupil_behind_front_mm for t in ("38", "[34, 42]")]
    assert [(d.horizontal, d.is_certain) for d in depth] == [((38.0, 38.0), True), ((34.0, 42.0), False)]
    both = parse_scene(plain.replace("{}", "{ horizontal = 65, vertical = [150, 160] }"), "s").lens[0].pupil_behind_front_mm
    assert (both.horizontal, both.vertical, both.is_round) == ((65.0, 65.0), (150.0, 160.0), False)


def test_an_anamorphic_pupil_is_narrower_by_the_squeeze():
    # front afocal of power 1/S: pupil width / S (derived, see docs/physics.md)
    assert with_lens("squeeze = 2.0").pupil_width_factor == 0.5
    assert with_lens("squeeze = 2.0\npupil_width_factor = 1.0").pupil_width_factor == 1.0
    assert with_lens("").pupil_width_factor == 1.0


def test_a_zoom_takes_its_focal_length_from_its_rows():
    rows = "".join(f'[[lens.state]]\nfocal_mm = {f}\nfocus_mm = "infinity"\nfront_travel_mm = 0\n' for f in (24, 70))
    text = BARE.replace("focal_mm = 18\n", "").replace("[box]\n", rows + "[box]\n")
    lens = parse_scene(text, "s.toml").lens[0]
    assert (lens.focal_mm, focal_lengths(lens)) == (24.0, (24.0, 70.0))


def test_a_wanted_f_number_beyond_the_lens_is_checked_at_its_widest():
    scene = parse_scene(BARE + "[check]\nf_numbers = [1.4, 2.0, 5.6]\n", "s.toml")
    assert f_numbers_of(scene, scene.lens[0]) == (2.0, 5.6)


def test_close_is_each_lens_own_nearest_focus():
    text = BARE.replace("[box]", "front_to_sensor_mm = 168\nclose_focus_mm = 350\n[box]")
    scene = parse_scene(text + '[check]\nfocus_mm = ["infinity", "close"]\n', "s.toml")
    assert focus_distances_of(scene, scene.lens[0]) == (math.inf, 350.0)


def test_a_check_that_names_no_focus_looks_at_infinity_and_at_the_nearest_focus():
    text = BARE.replace("[box]", "front_to_sensor_mm = 168\nclose_focus_mm = 350\n[box]")
    scene = parse_scene(text, "s.toml")
    assert focus_distances_of(scene, scene.lens[0]) == (math.inf, 350.0)


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ("close_focus_mm = 350", "front_to_sensor_mm is not given: measure it from front rim to image plane"),
        ("close_focus_mm = 70\nfront_to_sensor_mm = 60", "it is nearer than 4 focal lengths: give half_field_deg in state rows"),
    ],
)
def test_a_nearest_focus_that_cannot_be_looked_at_is_left_out_with_a_caution_that_says_why(lines, why):
    scene = parse_scene(BARE.replace("[box]", lines + "\n[box]"), "s.toml")
    assert focus_distances_of(scene, scene.lens[0]) == (math.inf,)
    cautions = {note.text for plan in states_of(scene) for note in plan.notes if note.severity is Severity.CAUTION}
    assert any(text.startswith("its nearest focus") and text.endswith(f"is not looked at: {why}") for text in cautions)


def test_a_zoom_is_looked_at_close_up_where_its_focal_length_allows_it():
    rows = "".join(f"[[lens.state]]\nfocal_mm = {focal}\n" for focal in (18, 100))
    text = BARE.replace("[box]", f"front_to_sensor_mm = 168\nclose_focus_mm = 350\n{rows}[box]")
    states = [(plan.focal_mm, plan.focus_mm) for plan in states_of(parse_scene(text, "s.toml"))]
    assert states == [(18.0, math.inf), (18.0, 350.0), (100.0, math.inf)]  # 350 mm is nearer than 4 x 100 mm


def test_the_box_of_a_lens_has_only_its_parts_at_its_place():
    masks = '[[box.mask]]\nat_mm = 4\nopening_mm = [90, 60]\nlenses = ["18"]\n'
    other = masks.replace('"18"', '"21"').replace("90", "80")
    second = BARE[BARE.index("[[lens]]") : BARE.index("[box]")].replace('"18"', '"21"') + "box = { ahead_mm = 6 }\n"
    scene = parse_scene(BARE.replace("[box]", second + "[box]\nahead_mm = 4") + masks + other, "s.toml")
    boxes = [box_for(scene, lens) for lens in scene.lens]
    assert [(box.mask[0].opening_mm, len(box.mask), box.ahead_mm) for box in boxes] == [((90, 60), 1, 4), ((80, 60), 1, 6)]


def test_one_table_may_stand_for_an_array_of_one():
    one = parse_scene(BARE + "[box.mask]\nat_mm = 4\nopening_mm = [90, 60]\n", "s.toml")
    many = parse_scene(BARE + "[[box.mask]]\nat_mm = 4\nopening_mm = [90, 60]\n", "s.toml")
    assert one == many


def test_a_place_in_an_array_is_not_named_where_none_is_written():
    found = complaints(BARE + "[box.hood]\nat_mm = 4\ndepth_mm = 60\nrear_mm = [160, 120]\nfront_mm = [250, -1]\n")
    assert found == ["s.toml:15: box.hood.front_mm: value 2 must be 20 to 1500 mm, got -1; for example front_mm = [260, 190]"]


def test_the_sun_needs_a_moment_with_its_offset():
    sun = "[[light]]\nsun = { latitude_deg = 34.05, longitude_deg = -118.24, time = %s, camera_heading_deg = 180 }\n"
    scene = parse_scene(BARE + sun % "2024-12-21T15:00:00-08:00", "s.toml")
    assert scene.light[0].sun.time == dt.datetime(2024, 12, 21, 23, tzinfo=dt.UTC)
    assert complaints(BARE + sun % "2024-12-21T15:00:00") == [
        (
            "s.toml:12: light[1].sun.time: must say its offset from UTC, got 2024-12-21T15:00:00; "
            "add Z, or the local offset such as -07:00"
        )
    ]


def test_values_cannot_be_changed_in_place():
    scene = parse_scene(BARE, "s.toml")
    with pytest.raises(ValueError, match="frozen"):
        scene.lens[0].focal_mm = 20.0


def test_lines_are_those_of_the_keys():
    rows = ["# a", "[a]", "b.c = 1", 'd = """', "x = 1", '"""', "[[e]]", "f = [", "  1,", "  { g = 2 }, # ]", "]"]
    rows += ["[[e]]", '"h i" = 3', "[e.j]", "k = '#'", "l = 4", ""]
    text = "\n".join(rows)
    tomllib.loads(text)
    lines = key_lines(text)
    expected = {
        ("a",): 2, ("a", "b", "c"): 3, ("a", "d"): 4, ("e", 0): 7, ("e", 0, "f"): 8, ("e", 0, "f", 0): 9,
        ("e", 0, "f", 1, "g"): 10, ("e", 1): 12, ("e", 1, "h i"): 13, ("e", 1, "j", "k"): 15, ("e", 1, "j", "l"): 16,
    }  # fmt: skip
    assert {path: lines.get(path) for path in expected} == expected


@pytest.mark.parametrize("name", DEMOS)
def test_every_key_of_the_demo_stands_on_the_line_that_writes_it(name):
    text = demo_text(name)
    rows, checked = text.splitlines(), 0
    for path, line in key_lines(text).items():
        if isinstance(path[-1], str):
            assert path[-1] in rows[line - 1], (path, line)
            checked += 1
    assert checked > 150


def test_all_faults_of_a_file_come_at_once():
    text = BARE.replace("18\nf", "-18\nf").replace("format", "fromat") + '[[box.flag]]\nside = "up"\nlenses = ["19"]\n'
    found = complaints(text)
    assert [line.split(": ")[0] for line in found] == ["s.toml:3", "s.toml:6", *["s.toml:11"] * 3, "s.toml:12", "s.toml:13"]
