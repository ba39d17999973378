"""What holds a box: rods beside its back plate by plain geometry, joints counted, and the whole range judged with the rods bent."""

import re

import pytest

from scenes.answers.answer import exit_status_of, faults_of
from scenes.questions.make.answer import answer
from scenes.questions.make.text import clear_words, plate_words
from scenes.states.load import load_scene
from tests.scenes.questions.make.small_box import BOX, loaded
from tests.scenes.states.test_lens_judgement import SCENE, half_width_mm

# rods-15: 15 mm thick, 60 mm apart, 85 mm below the lens axis, so from 77.5 to 92.5 mm below it (scenes/data/rods.toml)
HOLES = "".join(f"\n[[make.hole]]\nat_mm = [{x}, {y}]\ndiameter_mm = {d}\n" for x, y, d in ((30, -85, 15.4), (-30, -85, 15.4)))


@pytest.mark.parametrize(
    ("high", "more", "make", "said"),
    [
        (170, "", "", "its edge runs into the left rod (30 mm left, 85 mm below the middle) and the right rod"),
        (154, "", "", ""),  # ends 77 mm below: half a mm above the rods
        (156, "", "", "its edge runs into"),
        (190, "", "", "no hole is large enough there for the left rod"),  # 95 mm below: 2.5 mm of plate under the rods
        (185.1, "", "", "its edge runs into"),  # 0.05 mm of plate under the rods would fall out
        (190, "", HOLES, ""),
        (190, "", HOLES.replace("15.4", "14.8"), "no hole is large enough there for the left rod"),
        (190, "", HOLES.replace("[-30", "[-31"), "no hole is large enough there for the left rod (30 mm left"),
        (170, "offset_mm = [0, 9]", "", ""),  # the plate 9 mm higher, its edge 76 mm below the axis
        (170, "offset_mm = [0, 9]\ntilt_deg = 20", "", "its edge runs into"),  # leaning, it reaches lower by up to its thickness
        (170, 'mount = "clamp"', "", ""),
    ],
)
def test_rods_that_the_back_plate_is_in_the_way_of_are_told(tmp_path, high, more, make, said):
    box = BOX.replace("height_mm = 170", f"height_mm = {high}").replace(
        'mount = "rods-15"', more if "mount" in more else f'mount = "rods-15"\n{more}'
    )
    report = answer(loaded(tmp_path, make, box=box)).report
    words = " ".join(plate_words(report))
    assert (said in words) if said else words == ""


def test_what_holds_the_parts_together_is_counted_and_said_to_be_open(tmp_path):
    found = answer(loaded(tmp_path))
    joints = {one.name: one.note for one in found.report.bought if one.name.startswith("joint")}
    # back plate to 4, tray 8 to 16, mask 20 to 21, hood from 24 on
    assert [(name, note.split(";")[0]) for name, note in joints.items()] == [
        ("joint, back plate to tray", "4 mm apart"), ("joint, tray to mask", "4 mm apart"), ("joint, mask to hood", "3 mm apart"),
    ]  # fmt: skip
    (hinges,) = (one for one in found.report.bought if "hinge" in one.name)
    for note in (*joints.values(), hinges.note):
        assert note.endswith("yours to choose")
    assert any(
        words.startswith("joints: what holds back plate, trays, masks, hoods and flags together") for words in found.data()["taken"]
    )


LIMP = '[make]\nrod_length_mm = 260\nrod_material = "limp"\n[[make.own]]\nname = "limp"\ndensity_g_cm3 = 0.1\nmodulus_gpa = 6\n'


def masked(tmp_path, width, height, make=""):
    """A lens whose field is widest at a focus between the two that are checked, and a mask."""
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(middle=34, width=width).replace("400]", f"{height}]\nouter_mm = [430, 430]") + make)
    return answer(load_scene(path))


def test_a_box_that_is_not_clear_at_a_focus_between_is_not_called_clear(tmp_path):
    ends, middle = half_width_mm(31, float("inf")), half_width_mm(34, 1200)
    found = masked(tmp_path, ends + middle, 400)
    assert all(one.clear for one in found.report.carried[0].states)
    assert found.exit_status == 1
    assert clear_words(found.report).startswith("Clear as drawn in 2 states at the widest stop, but not between: the a is clear")


def half_height_mm(field_deg, focus_mm):
    """Half the beam's height: of a frame two thirds as high as wide."""
    return half_width_mm(field_deg, focus_mm, scale=1.02 * 12 / 18)


def test_a_box_that_bends_its_rods_into_the_beam_between_two_states_is_told(tmp_path):
    ends, middle = half_height_mm(31, float("inf")), half_height_mm(34, 1200)
    found = masked(tmp_path, 300, 2 * middle + 0.8, LIMP)
    (box,) = found.report.carried
    assert 0.5 < box.sag.drop_mm < middle - ends - 0.5  # 0.4 mm of room in the middle: too much there, and not at the ends
    assert box.clear
    assert all(one.sagged_clear for one in box.states)
    assert not box.between_bent.clear
    assert found.exit_status == 1
    assert "with the rods bent not between the 2 states judged: the a is clear from infinity to " in clear_words(found.report)
    stiff = masked(tmp_path, 300, 2 * middle + 0.8, LIMP.replace("modulus_gpa = 6", "modulus_gpa = 210"))
    assert stiff.exit_status == 0


def test_with_as_much_more_room_as_is_told_the_box_stays_clear_with_its_rods_bent(tmp_path):
    opening_mm = 2 * half_height_mm(34, 1200) + 0.3
    found = masked(tmp_path, 300, opening_mm, LIMP)
    assert found.exit_status == 1
    more_mm = float(re.search(r"give the box about ([\d.]+) mm more room", found.next_step)[1])
    (box,) = found.report.carried
    assert box.sag.drop_mm < more_mm < 3 * box.sag.drop_mm  # it leans forward besides: lower by what it leans over 60 mm
    assert masked(tmp_path, 300, opening_mm + 2 * more_mm + 0.2, LIMP).exit_status == 0
    assert masked(tmp_path, 300, opening_mm + more_mm, LIMP).exit_status == 1


ROUND = "[make]\nbend_radius_mm = {}\n"


def hooded(tmp_path, spare_mm, make=""):
    """A straight hood on the lens, wider and higher than the beam is at its front edge by some more on each side."""
    size = [2 * (half(31, float("inf")) + spare_mm) for half in (half_width_mm, half_height_mm)]
    hood = f'[box]\nmount = "clamp"\n[box.hood]\nat_mm = 1\ndepth_mm = 60\nrear_mm = {size}\nfront_mm = {size}\n'
    path = tmp_path / "scene.toml"
    before, after = SCENE.format(middle=31, width=1).split("[box]")
    path.write_text(before + hood + after[after.index("[check]") :] + make)
    return answer(load_scene(path))


def test_bends_that_round_the_corners_of_a_hood_into_the_beam_are_not_called_clear(tmp_path):
    """A bend of radius R comes (sqrt 2 - 1) R into a right-angled corner; the beam's own is round by the pupil of 30 / 4 mm."""
    assert hooded(tmp_path, 0.3, ROUND.format(1.5)).exit_status == 0
    found = hooded(tmp_path, 0.3, ROUND.format(20))
    assert found.exit_status == 1
    assert clear_words(found.report).startswith(
        "Clear with sharp corners, but not with the hood's bends as round as they are made: "
    )
    assert "take a smaller bend_radius_mm" in found.next_step
    (box,) = found.report.carried
    pupil_mm = 30 / 4 / 2
    room_mm = 0.3 * 2**0.5 - (2**0.5 - 1) * (20 - pupil_mm)  # along the diagonal, by the wide corner of the frame itself
    assert box.states[0].room_mm == pytest.approx(room_mm, abs=1.5)  # the frame that is judged is 2 % larger, and less leans
    assert hooded(tmp_path, 0.3, ROUND.format(20) + 'joint = "panels"\n').exit_status == 0
    assert hooded(tmp_path, 20 * (1 - 0.5**0.5) + 0.3, ROUND.format(20)).exit_status == 0  # as much wider as the arc comes in


def test_a_hood_that_is_not_clear_with_sharp_corners_either_is_told_to_check(tmp_path):
    found = hooded(tmp_path, -2.0, ROUND.format(20))
    assert clear_words(found.report).startswith("Not clear as drawn: ")
    assert found.next_step.startswith("run brimline check")


def test_nothing_is_made_without_a_word_of_glass_that_leaves_a_gap(tmp_path):
    """The frame is clear, but light passes beside the glass: `check` has a fault, and so has what is cut from."""
    small = BOX.replace("width_mm = 160, height_mm = 120,", "width_mm = 148, height_mm = 120,")  # before an opening of 150 x 110
    assert small != BOX
    found = answer(loaded(tmp_path, box=small))
    (fault,) = faults_of(found)
    assert "does not cover the opening of tray" in fault
    assert exit_status_of(found) == 1
