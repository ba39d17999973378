"""The numbers that a lens was judged by, as words: lengths as stated in the scene, angles and sizes by hand."""

import math
from dataclasses import replace

import ezdxf
import trimesh

from scenes.runtime.engines import engine_of
from scenes.states.load import load_scene, plans_of
from scenes.states.numbers_used import numbers_by_lens, numbers_used, with_lights
from scenes.states.state import states_of
from scenes.verdicts.check import run_check
from scenes.verdicts.text import numbers_lines

SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
offset_mm = [0, 1.5]
[[camera.guide]]
name = "scope"
aspect = 2.4
[[lens]]
name = "35"
focal_mm = 35
f_number = 2
front_diameter_mm = 95
front_glass_mm = 82
pupil_behind_front_mm = [28, 34]
front_to_sensor_mm = 140
close_focus_mm = 1000
[[lens]]
name = "50"
focal_mm = 50
f_number = 2
confirmed = ["focal_mm"]
front_diameter_mm = 95
pupil_behind_front_mm = 41
projection = "equisolid"
distortion = [-0.02, 0]
box = { ahead_mm = 7 }
[check]
f_numbers = [2.8]
focus_mm = ["infinity"]
[box]
ahead_mm = 5
offset_mm = [0, -2]
[[box.back]]
width_mm = 240
height_mm = 210
bore_mm = 120
[[box.seal]]
kind = "donut"
inner_mm = 93
[[box.stage]]
at_mm = 6
opening_mm = [170, 140]
corner_mm = 3
depth_mm = 8
filter = { width_mm = 175, height_mm = 150, kind = "density", density = 0.6 }
[[box.mask]]
at_mm = 16
outline = "cut.dxf"
lenses = ["35"]
[[box.hood]]
at_mm = 20
depth_mm = 30
rear_mm = [190, 150]
front_mm = [230, 180]
[[box.flag]]
side = "top"
angle_deg = 40
length_mm = 80
width_mm = 225
[[box.solid]]
name = "bracket"
file = "bracket.stl"
unit = "cm"
at_mm = 60
"""
WIDE_DEG = 2 * math.degrees(math.atan(18 / 35))
# The picture's centre lies 1.5 mm up, so it sees from -10.5 to 13.5 mm
HIGH_DEG = math.degrees(math.atan(13.5 / 35)) + math.degrees(math.atan(10.5 / 35))


def loaded(tmp_path, left_mm=80, right_mm=80):
    drawing = ezdxf.new(units=4)
    corners = [(-left_mm, -55), (right_mm, -55), (right_mm, 55), (-left_mm, 55)]
    drawing.modelspace().add_lwpolyline(corners, close=True)
    drawing.saveas(tmp_path / "cut.dxf")
    bracket = trimesh.creation.box((20.0, 2.0, 3.0))
    bracket.apply_translation((0.0, 15.0, 0.0))
    bracket.export(tmp_path / "bracket.stl")
    (tmp_path / "a.toml").write_text(SCENE)
    return load_scene(tmp_path / "a.toml")


def used(tmp_path, lens="35"):
    found = loaded(tmp_path)
    return numbers_used([state for state in states_of(found.scene, found.resources) if state.lens_name == lens])


def test_camera_and_lens_are_told_as_stated_with_what_the_lens_sees(tmp_path):
    found = used(tmp_path)
    assert found.camera == "36 x 24 recorded, 1.5 up of the lens axis, of it scope 36 x 15"
    behind = "pupil 28 to 34 and sensor 140 behind the front"
    sees = f"sees {WIDE_DEG:.1f} x {HIGH_DEG:.1f} deg, focus to infinity (goes to 1000)"
    assert found.lens == f"f/2.8 (opens to f/2), rectilinear, front 95 across (glass 82), {behind}, {sees}"


def lens_words(tmp_path, old, new, focus='"infinity"'):
    """What the 35 mm lens was judged by, in the scene with some lines of it in other words."""
    assert old in SCENE
    text = SCENE.replace(old, new, 1).replace('focus_mm = ["infinity"]', f"focus_mm = [{focus}]")
    loaded(tmp_path)
    (tmp_path / "b.toml").write_text(
        text.replace("pupil_behind_front_mm = 41", "pupil_behind_front_mm = 41\nfront_to_sensor_mm = 150")
    )
    found = load_scene(tmp_path / "b.toml")
    return numbers_used([state for state in states_of(found.scene, found.resources) if state.lens_name == "35"]).lens


def test_a_walking_pupil_is_told_row_by_row_with_its_sizes(tmp_path):
    walk = "pupil_walk = [[0, 33, 1, 1], [15, 32.2, 1.01, 1.0], [45, 25.4, 1.1, 1.02]]"
    told = lens_words(tmp_path, "pupil_behind_front_mm = [28, 34]", walk)
    assert (
        ", pupil walks 33, 32.2, 25.4 behind the front by 45 deg, sizes 1 to 1.1 x 1 to 1.02, sensor 140 behind the front, " in told
    )


def test_the_two_depths_of_an_anamorphic_lens_are_told_apart(tmp_path):
    two = "pupil_behind_front_mm = { horizontal = [28, 34], vertical = 60 }\nsqueeze = 1.5"
    assert ", pupil 28 to 34 across, 60 upright and sensor 140 behind the front, " in lens_words(
        tmp_path, "pupil_behind_front_mm = [28, 34]", two
    )


def test_a_half_field_that_rows_state_is_told_at_the_nearest_focus_too(tmp_path):
    rows = "".join(
        f"[[lens.state]]\nfocus_mm = {focus}\npupil_behind_front_mm = 30\nhalf_field_deg = {deg}\n"
        for focus, deg in (('"infinity"', 27), ("1000", 28.5))
    )
    told = lens_words(tmp_path, '[[lens]]\nname = "50"', f'{rows}[[lens]]\nname = "50"', '"infinity", 1000')
    assert "sees 54.0 x " in told
    assert " deg (57.0 x " in told
    assert " at 1000), focus to 1000" in told


def test_a_picture_that_is_not_that_of_straight_lines_is_told_as_such(tmp_path):
    told = used(tmp_path, "50").lens
    assert ", equisolid, distortion -0.02, 0, front 95 across" in told
    assert told.endswith(", focus to infinity, taken as confirmed: focal_mm")


def test_each_part_is_told_with_its_numbers_and_files_by_what_was_read_of_them(tmp_path):
    assert used(tmp_path).box == (
        ("box", "5 ahead of the front, 2 down of the lens axis"),
        ("back plate", "240 x 210, bore 120"),
        ("seal", "donut, 93 inside, 120 outside"),
        ("stage 1", "at 6, 170 x 140 with corners of 3, 8 deep, glass 175 x 150, 4 thick, density 0.6"),
        ("mask", "at 16, 160 x 110 as read from cut.dxf"),
        ("hood", "at 20, 190 x 150 to 230 x 180, 30 deep"),
        ("top flag", "at 40 deg, 80 long, 225 wide, hinged at 50, 90 off the middle"),
        ("bracket", "200 x 20 x 30 as read from bracket.stl, from 47 to 77 ahead, its middle 150 up"),
    )


def test_the_outside_of_trays_and_masks_is_told(tmp_path):
    loaded(tmp_path)
    text = SCENE.replace("corner_mm = 3", "corner_mm = 3\nouter_mm = [200, 160]").replace(
        "at_mm = 16", "at_mm = 16\nouter_mm = [190, 150]"
    )
    (tmp_path / "b.toml").write_text(text)
    found = load_scene(tmp_path / "b.toml")
    state, *_ = states_of(found.scene, found.resources)
    rows = dict(numbers_used([state]).box)
    assert ", 8 deep, 200 x 160 outside, glass " in rows["stage 1"]
    assert rows["mask"] == "at 16, 160 x 110 as read from cut.dxf, 190 x 150 outside"


def test_lights_are_told_after_the_box_with_place_size_and_direction(tmp_path):
    loaded(tmp_path)
    lights = (
        '[[light]]\nname = "key"\nposition_mm = [-1500, 2000, -300]\nsize_mm = 600\n'
        '[[light]]\nname = "back"\nazimuth_deg = 150\nelevation_deg = 20\nwidth_deg = 2\n'
        '[[light]]\nname = "sun"\nsun = { latitude_deg = 34, longitude_deg = -118, time = 2026-06-21T17:30:00-07:00, '
        "camera_heading_deg = 280 }\n"
    )
    (tmp_path / "b.toml").write_text(SCENE + lights)
    found = load_scene(tmp_path / "b.toml")
    used = numbers_by_lens(states_of(found.scene, found.resources))
    assert with_lights(used, found.scene.light)[0].box[-3:] == (
        ("key", "light 1500 left and 2000 up, 300 behind the lens front, 600 wide"),
        ("back", "light at azimuth 150 deg, elevation 20 deg, 2 deg wide"),
        ("sun", "sun at latitude 34, longitude -118, 2026-06-21T17:30:00-07:00, camera heads 280 deg"),
    )


def test_a_drawing_that_lies_to_one_side_is_told_by_its_own_width(tmp_path):
    """From 95 mm left to 70 mm right of the middle: 165 mm."""
    found = loaded(tmp_path, left_mm=95, right_mm=70)
    state, *_ = states_of(found.scene, found.resources)
    assert dict(numbers_used([state]).box)["mask"] == "at 16, 165 x 110, 12.5 left of the middle, as read from cut.dxf"


def test_what_lenses_share_is_told_once_and_what_only_some_have_with_their_names(tmp_path):
    found = loaded(tmp_path)
    states = states_of(found.scene, found.resources)
    lines = numbers_lines(replace(run_check(states, engine_of("coverage")), numbers=numbers_by_lens(states)))
    assert sum(line.startswith("  hood:") for line in lines) == 1
    assert "  box, with 35: 5 ahead of the front, 2 down of the lens axis" in lines
    assert "  box, with 50: 7 ahead of the front, 2 down of the lens axis" in lines
    assert "  mask, with 35: at 16, 160 x 110 as read from cut.dxf" in lines


def test_how_far_a_front_comes_out_and_the_pupil_magnification_are_told(tmp_path):
    rows = "pupil_magnification = 1.8\nclose_focus_mm = 1000\n"
    rows += '[[lens.state]]\nfocus_mm = "infinity"\nfront_travel_mm = 0\n[[lens.state]]\nfocus_mm = 1000\nfront_travel_mm = 3.5\n'
    told = lens_words(tmp_path, "close_focus_mm = 1000\n", rows)
    assert " behind the front, front out by up to 3.5, pupil magnification 1.8, sees " in told


def test_glass_of_another_index_a_cut_out_off_its_middle_and_where_a_mesh_stands_are_told(tmp_path):
    rows = dict(used(tmp_path).box)
    assert rows["bracket"] == "200 x 20 x 30 as read from bracket.stl, from 47 to 77 ahead, its middle 150 up"
    found = loaded(tmp_path, left_mm=80, right_mm=70)  # x of a drawing runs to the operator's right
    first = next(iter(states_of(found.scene, found.resources)))
    assert dict(numbers_used([first]).box)["mask"].startswith("at 16, 150 x 110, 5 left of the middle, as read from cut.dxf")
    text = (tmp_path / "a.toml").read_text().replace("height_mm = 150, kind", "height_mm = 150, index = 1.7, kind")
    (tmp_path / "a.toml").write_text(text)
    found = load_scene(tmp_path / "a.toml")
    first = next(iter(states_of(found.scene, found.resources)))
    assert dict(numbers_used([first]).box)["stage 1"].endswith("glass 175 x 150, 4 thick, index 1.7, density 0.6")


def test_a_loss_that_counts_later_than_usual_and_a_pupil_of_another_width_are_read_back(tmp_path):
    usual = {one.name: one for one in numbers_by_lens(plans_of(loaded(tmp_path)))}
    text = SCENE.replace('focus_mm = ["infinity"]', 'focus_mm = ["infinity"]\nvisible_loss_stops = 0.5', 1)
    text = text.replace('confirmed = ["focal_mm"]', 'confirmed = ["focal_mm"]\npupil_width_factor = 0.95', 1)
    (tmp_path / "a.toml").write_text(text)
    own = {one.name: one for one in numbers_by_lens(plans_of(load_scene(tmp_path / "a.toml")))}
    assert "a loss counts" not in usual["50"].camera
    assert "pupil width" not in usual["50"].lens
    assert own["50"].camera.endswith(", a loss counts from 0.5 stop on")
    assert "pupil width 0.95 of its height" in own["50"].lens


def test_a_mask_that_is_thicker_than_masks_are_is_told_with_its_thickness(tmp_path):
    loaded(tmp_path)
    text = (tmp_path / "a.toml").read_text().replace('outline = "cut.dxf"', 'outline = "cut.dxf"\nthickness_mm = 2.5')
    (tmp_path / "a.toml").write_text(text)
    found = load_scene(tmp_path / "a.toml")
    first = next(iter(states_of(found.scene, found.resources)))
    assert dict(numbers_used([first]).box)["mask"] == "at 16, 160 x 110 as read from cut.dxf, 2.5 thick"


def test_the_numbers_of_a_lens_that_loses_light_are_told_too(tmp_path):
    found = loaded(tmp_path)
    text = (tmp_path / "a.toml").read_text().replace("pupil_behind_front_mm = 41", "pupil_behind_front_mm = 180")
    (tmp_path / "a.toml").write_text(text)
    found = load_scene(tmp_path / "a.toml")
    states = states_of(found.scene, found.resources)
    check = replace(run_check(states, engine_of("coverage")), numbers=numbers_by_lens(states))
    assert {str(state.word) for state in check.states if state.lens_name == "50"} == {"in frame"}
    assert "pupil 180 behind" in " ".join(" ".join(numbers_lines(check)).split())
