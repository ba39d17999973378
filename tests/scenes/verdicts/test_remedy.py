"""How far to open a flag, how deep a part stands in the beam: similar triangles and the arc tangent."""

import re

import numpy as np
import pytest

from geometry.body import Kind
from geometry.flags import flag
from geometry.frame import pose
from geometry.outline import Circle, RoundedRectangle
from geometry.parts import hood
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of
from scenes.verdicts.remedy import least_clear, light_of, remedy_words
from tests.raytrace.made import holed, plate_of_glass
from tests.scenes.check_made import FOCAL_MM, PUPIL_MM, RADIUS_MM, beam_right_mm, plan, wall_on_the_right

HINGE_AT_MM, LENGTH_MM = 80.0, 60.0


def words(*parts, **more):
    return remedy_words(plan(*parts, **more))


def right_flag(angle_deg, hinge_mm):
    made = {"length_mm": LENGTH_MM, "width_mm": 400, "thickness_mm": 1.5, "name": "right flag"}
    return flag(pose(), side="right", angle_deg=angle_deg, hinge_mm=hinge_mm, at_mm=HINGE_AT_MM, **made)


def edge_mm(at_mm, grown=1.0):
    """Outermost ray to the right: the pencil of the frame's edge, 18 mm on the image plane, and the pupil's radius."""
    return 18.0 * grown / FOCAL_MM * (PUPIL_MM + at_mm) + RADIUS_MM


def test_a_flag_is_opened_by_the_whole_degrees_that_clear_the_outermost_ray():
    hinge_mm = edge_mm(HINGE_AT_MM) + 10.0  # outside the beam, so the flag's far edge decides
    least_deg = least_free_deg(hinge_mm)
    assert 20 < least_deg < 60
    assert words(right_flag(10.0, hinge_mm)).startswith(f"open the right flag by {least_deg - 10} degrees: then clear, ")


def least_free_deg(hinge_mm):
    """The least whole angle at which the flag's far edge keeps the room of a fixed pupil, and out of a frame 2 % wider."""
    far = np.radians(np.arange(0, 90))
    out_mm, at_mm = hinge_mm + LENGTH_MM * np.sin(far), HINGE_AT_MM + LENGTH_MM * np.cos(far)
    room_mm = (out_mm - edge_mm(at_mm)) / np.hypot(1.0, 18.0 / FOCAL_MM)
    return int(np.flatnonzero((room_mm >= 2.5) & (out_mm > edge_mm(at_mm, 1.02)))[0])


def test_a_flag_that_no_angle_clears_is_taken_off_and_the_rest_judged_again():
    in_beam = right_flag(10.0, edge_mm(HINGE_AT_MM) - 20.0)
    far_mask = holed(60, RoundedRectangle(400, 400), name="mask", kind=Kind.MASK)  # room the rest has
    assert re.match(r"take the right flag off: then clear, \d+\.\d mm of room$", words(in_beam, far_mask))


def test_no_flag_is_opened_further_than_120_degrees():
    """A flag at 55 degrees, whose hinge stands in the beam: opened by 115 it would lie along the hood it hangs on."""
    told = words(right_flag(55.0, edge_mm(HINGE_AT_MM) - 1.0))
    assert told.startswith("take the right flag off")
    assert "170" not in told


def test_where_nothing_tried_clears_a_state_that_is_said_first_with_what_stands_deepest():
    """An opening so small that one 200 mm wider is too: 400 mm ahead the beam is 2 x 18 / 20 (40 + 400) = 792 mm wide and more."""
    told = remedy_words(boxed(tray(400, 40), ahead_mm=4))
    assert re.match(r"no change tried clears it: the tray stands \d+\.\d mm in the beam, and bringing the box closer ", told)
    assert "mm inside" not in told


def test_a_mask_that_no_cut_out_near_its_own_clears_is_left_out():
    told = words(holed(400, RoundedRectangle(40, 40), name="mask", kind=Kind.MASK))
    assert told.startswith("leave the mask out: then clear")


@pytest.mark.parametrize(("radius_mm", "wider"), [(60, True), (90, False)])
def test_a_seal_that_has_to_be_wider_than_the_barrel_is_said_to_stand_in_a_beam_that_is(radius_mm, wider):
    """30 mm ahead the corners of the beam are (40 + 30) / 20 x 21.6 = 75.7 mm out and more; the barrel is 80 mm across."""
    told = words(holed(30, Circle(radius_mm), name="seal", kind=Kind.SEAL))
    assert ("(the beam is wider there than the 80 mm barrel)" in told) == wider


def test_a_wider_seal_that_would_leave_a_gap_round_the_barrel_says_so_in_the_same_sentence():
    """The frame's corner, 21.6 mm out at f = 18 mm, is 21.6 / 18 x 70 = 84 mm out 30 mm ahead; the barrel's radius is 47.5."""
    lens = 'name="18"\nfocal_mm=18\nf_number=2.8\nfront_diameter_mm=95\nfront_to_sensor_mm=150\npupil_behind_front_mm=40'
    box = 'mount="rods-15"\nahead_mm=30\nback={width_mm=400,height_mm=400,thickness_mm=2,bore_mm=240}\n'
    text = f'brimline=1\n[camera]\nwidth_mm=36\nheight_mm=24\n[[lens]]\n{lens}\n[box]\n{box}seal={{kind="ring", inner_mm=112}}\n'
    asked = '[check]\nf_numbers=[2.8]\nfocus_mm=["infinity"]'
    told = remedy_words(states_of(parse_scene(text + asked, source="s.toml"))[0])
    narrow = text.replace("bore_mm=240", "bore_mm=150")
    assert "leave the seal out (" in remedy_words(states_of(parse_scene(narrow + asked, source="s.toml"))[0])
    across_mm = int(re.findall(r"replace the seal by one of at least (\d+) mm across", told)[0])
    gap = f"which leaves a gap of {(across_mm - 95) / 2:.1f} mm all round: cover it, or stray light gets in)"
    assert f"(the beam is wider there than the 95 mm barrel, {gap}" in told


def test_all_parts_in_the_light_are_changed_and_the_box_is_judged_again():
    # A frame of 36 x 24 mm at f = 20 mm, pupil 40 mm behind: 100 mm ahead of it light fills 90 and 60 mm each way and the pupil's
    # radius, with 2.5 mm of room for a fixed pupil at right angles to the light; a clear frame may grow by 2 % besides.
    told = words(holed(60, RoundedRectangle(170, 160), name="mask", kind=Kind.MASK), right_flag(10.0, edge_mm(HINGE_AT_MM) + 10.0))
    across, upright = map(int, re.findall(r"cut-out of at least (\d+) x (\d+) mm", told)[0])
    needed = 2 * (90 + RADIUS_MM + 2.5 * np.hypot(0.9, 1))
    assert needed <= across <= needed + 2.0
    assert upright == 160
    assert re.search(r"and open the right flag by \d+ degrees: then clear, 2\.\d mm of room$", told)


def steep_hood(depth_mm, front_mm):
    return hood(pose(), at_mm=20.0, depth_mm=depth_mm, rear_mm=(140.0, 140.0), front_mm=front_mm)


def test_a_hood_is_cut_to_the_depth_up_to_which_its_walls_leave_the_beam_its_room():
    # Walls from 70 mm out, 20 mm ahead, to 80 mm out at 80 mm; the beam's edge rises by 18/20 of the way (similar triangles).
    told = words(steep_hood(60.0, (160.0, 400.0)))
    depth, across = map(float, re.findall(r", or cut it to (\d+) mm deep, ([\d.]+) x [\d.]+ mm at its front: then clear", told)[0])
    depths = np.arange(1.0, 61.0)
    wall_mm = 70.0 + 10.0 * depths / 60.0
    room_mm = (wall_mm - edge_mm(20.0 + depths)) / np.hypot(1.0, 18.0 / FOCAL_MM)
    enough = (room_mm >= 2.5) & (wall_mm > edge_mm(20.0 + depths, 1.02))
    assert depth == depths[enough].max()
    assert across == pytest.approx(140.0 + 20.0 * depth / 60.0, abs=0.05)
    cut = steep_hood(depth, (across, 140.0 + 260.0 * depth / 60.0))
    assert words(cut) == ""
    assert words(steep_hood(depth + 1.0, (140.0 + 20.0 * (depth + 1.0) / 60.0, 400.0))) != ""


def test_a_hood_that_flags_may_hang_on_is_not_cut_shorter():
    assert "cut it to" not in words(steep_hood(60.0, (160.0, 400.0)), right_flag(60.0, edge_mm(HINGE_AT_MM) + 40.0))


def test_what_no_change_helps_is_told_and_not_called_clear():
    wall = wall_on_the_right(beam_right_mm(18) - 3.0, name="rod", kind=Kind.ROD)
    assert "check again then, for now the rod is" in words(wall)


@pytest.mark.parametrize("gap_mm", [8.0, 30.0])
def test_parts_with_room_ask_for_nothing(gap_mm):
    assert words(holed(60, RoundedRectangle(2 * (beam_right_mm(18) + RADIUS_MM + gap_mm), 2000))) == ""


@pytest.mark.parametrize("root", [0.2, 3.0, 7.5, 33.4, 119.0])
@pytest.mark.parametrize("bend", [0.2, 1.0, 5.0])
def test_the_least_whole_number_is_found_in_a_few_looks(root, bend):
    looks = []

    def rising(x):
        looks.append(x)
        return x**bend - root**bend

    assert least_clear(rising, rising(0), 120) == np.ceil(root)
    assert len(looks) <= 13  # one at each end, four guesses, seven halvings


def test_a_clearance_that_stays_negative_has_no_answer_and_one_without_end_counts():
    assert least_clear(lambda x: x - 200.0, -200.0, 120) is None
    assert least_clear(lambda x: np.inf if x >= 41 else -2.0, -2.0, 120) == 41


def test_a_seal_that_grips_the_barrel_is_pushed_back_and_not_replaced_by_one_that_does_not_close():
    # The barrel is 80 mm across; 30 mm ahead of it the frame's beam is 126 mm wide, and no donut of 128 mm grips 80.
    seal = holed(30, Circle(40.0), name="donut", kind=Kind.SEAL)
    told = words(seal)
    assert told.startswith("push the donut back over the barrel, behind the lens front: then clear")
    loose = words(holed(30, Circle(45.0), name="step ring", kind=Kind.SEAL))
    assert loose.startswith("replace the step ring by one of at least ")


def test_the_room_that_advice_leaves_is_told_with_the_filters_in_and_with_the_trays_empty():
    glass = plate_of_glass(20.0, thickness_mm=8.0)
    told = words(holed(60, RoundedRectangle(170, 160), name="mask", kind=Kind.MASK), glasses=[glass])
    inside, empty = map(float, re.findall(r"([\d.]+) mm of room with the filters in and ([\d.]+) mm with the trays empty", told)[0])
    assert inside > empty >= 2.4  # the plate draws the beam in (docs/physics.md, "Glass")


def boxed(*tables, ahead_mm):
    """A state of the made lens, at infinity, with a box of these tables so far ahead of it."""
    text = f"""brimline = 1
camera = {{ width_mm = 36, height_mm = 24, pixels = [12, 8] }}
check = {{ f_numbers = [4], focus_mm = ["infinity"] }}
[[lens]]
name = "20"
focal_mm = {FOCAL_MM}
f_number = 4
front_diameter_mm = 80
pupil_behind_front_mm = {PUPIL_MM}
[box]
ahead_mm = {ahead_mm}
"""
    (state,) = states_of(parse_scene("\n".join([text, *tables]), "made.toml"))
    return state


def tray(at_mm, opening_mm, name="tray"):
    return f'[[box.stage]]\nname = "{name}"\nat_mm = {at_mm}\ndepth_mm = 8\nopening_mm = [{opening_mm}, {opening_mm}]\n'


def test_the_box_is_said_to_come_closer_by_the_least_mm_that_clear_the_outermost_ray():
    # The tray's far edge stands 30 + 20 + 8 mm ahead, where light needs 0.9 (40 + 58) mm and the pupil's radius, and 2.5 mm of room
    # at right angles to the light; its opening leaves 85 mm each way.
    needed_mm = (85.0 - RADIUS_MM - 2.5 * np.hypot(0.9, 1)) / 0.9 - PUPIL_MM
    by_mm = int(np.ceil(58.0 - needed_mm))
    told = remedy_words(boxed(tray(20, 170), ahead_mm=30))
    assert re.search(rf", or bring the box {by_mm} mm closer to the lens: then clear, [23]\.\d mm of room$", told)
    assert remedy_words(boxed(tray(20, 170), ahead_mm=30 - by_mm)) == ""


def test_the_box_is_not_said_to_come_closer_where_a_part_would_meet_the_lens_first():
    # 60 mm inside, the tray's rear face cannot pass a lens front of 80 mm, and 6 mm of way is not enough for the light.
    told = remedy_words(boxed(tray(2, 76), ahead_mm=5))
    assert told.startswith("replace the tray by a stage of at least ")
    assert "closer" not in told


@pytest.mark.parametrize(("width_mm", "asked"), [(143.5, True), (240.0, False)])
def test_a_tray_that_has_to_be_wider_than_its_glass_asks_for_larger_glass(width_mm, asked):
    glass = f"filter = {{ width_mm = {width_mm}, height_mm = {width_mm}, thickness_mm = 4, index = 1.5 }}\n"
    told = remedy_words(boxed(tray(20, 140) + glass, ahead_mm=8))
    assert re.search(r"^replace the tray by a stage of at least 149 x 140 mm inside", told)
    assert (", with glass to cover it in place of the " in told) == asked


def test_where_many_parts_stand_in_and_a_closer_box_clears_none_of_it_that_is_said():
    # The first tray stands 12 mm ahead of the lens front, which it cannot pass: 11 mm closer, at the far edge of tray d, then
    # 1 + 30 + 8 mm ahead, light needs 0.9 (40 + 39) mm and the pupil's radius, where its opening leaves 35 mm.
    many = [tray(at_mm, 70, f"tray {letter}") for at_mm, letter in ((7, "a"), (17, "b"), (27, "c"), (37, "d"))]
    told = remedy_words(boxed(*many, ahead_mm=5))
    assert told.endswith("stand too far in, and bringing the box closer does not clear it; use a wider box")


def test_where_many_parts_stand_in_a_box_that_clears_closer_by_is_said_to_come_closer():
    many = [tray(at_mm, 170, f"tray {letter}") for at_mm, letter in ((7, "a"), (8, "b"), (9, "c"), (10, "d"))]
    told = remedy_words(boxed(*many, ahead_mm=40))
    by_mm = int(re.search(r"bring the box (\d+) mm closer to the lens: then clear", told).group(1))
    assert remedy_words(boxed(*many, ahead_mm=40 - by_mm)) == ""
    assert remedy_words(boxed(*many, ahead_mm=41 - by_mm)) != ""


@pytest.mark.parametrize("ahead_mm", [8, 30])
def test_whether_a_part_fails_is_the_sign_of_what_it_has_to_spare(ahead_mm):
    state = boxed(*(tray(3 * number, 84 + 16 * number, f"tray {number}") for number in range(1, 14)), ahead_mm=ahead_mm)
    light = light_of(state, ())
    spare = [light.spare_mm(part) for part in state.box.parts]
    assert min(spare) < 0.0 < max(spare)
    assert [light.fails(part) for part in state.box.parts] == [one < 0.0 for one in spare]
    assert [light.spare_mm(part, 0.0) for part in state.box.parts] == pytest.approx([min(one, 0.0) for one in spare])
