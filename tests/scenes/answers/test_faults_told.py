"""A fault that leaves the light in doubt is told first by every question, which then never ends with 0: docs/physics.md."""

import json
from dataclasses import replace

import pytest

from scenes.questions.masks.cut_files import engraving
from scenes.registry import questions
from scenes.show import load
from scenes.states.judgement import judge_state
from tests.scenes.questions.design.made import hood, lens
from tests.scenes.questions.design.made import scene as design_scene
from tests.scenes.test_cli import run

LENS = """
brimline = 1
[camera]
format = "36x24"
pixels = [60, 40]
[[lens]]
name = "25"
focal_mm = 25
f_number = 4.0
front_diameter_mm = 114
front_to_sensor_mm = 150
pupil_behind_front_mm = [39, 40]
close_focus_mm = 600
"""
STAGE = """
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 8
opening_mm = [138, 97]
filter = { size = "4x5.65" }
"""
MASK = """
[[box.mask]]
name = "mask"
at_mm = 30
opening_mm = [150, 110]
"""
REST = """
[[box.flag]]
side = "top"
angle_deg = 70
length_mm = 60
width_mm = 200
hinge_mm = 90
at_mm = 40
[[light]]
name = "low sun"
sun = { latitude_deg = 50, longitude_deg = 10, time = 2027-03-21T11:00:00Z, camera_heading_deg = 0 }
[check]
focus_mm = ["infinity"]
"""
SOUND = f"{LENS}[box]\nahead_mm = 2\n{STAGE}{MASK}{REST}"
MASK_IN_GLASS = SOUND.replace("at_mm = 30\nopening_mm = [150, 110]", "at_mm = 11\nopening_mm = [130, 95]")
BEHIND = f"{LENS}[box]\nahead_mm = -32\n{MASK.replace('150, 110', '112, 96')}{REST}"
# What check calls no state clear for: the words that tell it, and the scene.
KINDS = {
    "a part in a filter": ("stands in tray filter", MASK_IN_GLASS),
    "the barrel in a filter": ("barrel: stands in tray filter", SOUND.replace("ahead_mm = 2", "ahead_mm = -14")),
    "parts in one place": ("overlaps mask", SOUND.replace("at_mm = 30", "at_mm = 14").replace("filter =", "# filter =")),
    "a radius for the front glass": (
        "is it the radius?",
        SOUND.replace("close_focus_mm = 600", "close_focus_mm = 600\nfront_glass_mm = 45"),
    ),
    "a plate behind the lens front": ("does not go over the lens front", BEHIND),
    "a part beyond the plane in focus": (
        "beyond the plane in focus",
        SOUND.replace('["infinity"]', "[180]").replace("close_focus_mm = 600", "close_focus_mm = 170"),
    ),
    "a pupil ahead of the front": ("ahead of the front rim", SOUND.replace("[39, 40]", "-40")),
}
OPTIONS = {"beam": {"at_mm": 20}, "leaks": {"columns": 8}, "tolerances": {"count": 4}}
OWN_TESTS = {"check", "compare", "design"}  # one is held against; the others need stills, or limits
SLOW = {"ghosts", "leaks"}


def show(tmp_path, text):
    path = tmp_path / "scene.toml"
    path.write_text(text)
    return load(path)


def assert_told(reply, words):
    assert reply.exit_status == reply.json["exit_status"] == 1
    assert words in " ".join(reply.json["cautions"][0 : len(reply.faults)])
    assert reply.text.startswith("fault: ")
    assert "until then nothing counts as clear" in " ".join(reply.text.split())


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_that_keeps_check_from_clear_is_told_first_beside_any_figure(tmp_path, kind):
    words, text = KINDS[kind]
    found = show(tmp_path, text)
    judged = judge_state(found.states[0])
    assert any(words in f"{note.part}: {note.text}" for note in judged.faults)
    assert not judged.clear
    assert_told(found.ask("beam", at_mm=20), words)


@pytest.mark.parametrize(
    "question", [pytest.param(name, marks=[pytest.mark.slow] * (name in SLOW)) for name in questions() if name not in OWN_TESTS]
)
def test_every_question_tells_a_fault_of_the_box_first_and_never_ends_with_0(tmp_path, question):
    assert_told(show(tmp_path, MASK_IN_GLASS).ask(question, **OPTIONS.get(question, {})), "mask: stands in tray filter")


def test_design_calls_no_box_clear_for_a_lens_with_a_fault_of_its_own(tmp_path):
    small = lens("24", 24, 2.8, 40, more="front_glass_mm = 38\nfront_to_sensor_mm = 150")
    found = show(tmp_path, design_scene(small, hood())).design()
    assert found.exit_status == 1
    assert "No box found could be shown to be clear" in found.text
    assert "is it the radius?" in " ".join(found.text.split())


def test_a_command_prints_the_fault_and_its_json_holds_it(tmp_path, capsys):
    path = tmp_path / "scene.toml"
    path.write_text(MASK_IN_GLASS)
    status, out, _ = run(capsys, "beam", path, "--at", "20")
    assert (status, out.startswith("fault: tray: overlaps mask")) == (1, True)
    status, out, err = run(capsys, "beam", path, "--at", "20", "--json")
    assert (status, json.loads(out)["exit_status"]) == (1, 1)
    assert "fault: mask: stands in tray filter" in err


def test_a_sound_box_is_told_no_fault_of(tmp_path):
    reply = show(tmp_path, SOUND).beam(at_mm=20)
    assert (reply.faults, reply.exit_status) == ((), 0)
    assert reply.text.startswith("Beam")


def test_flags_in_each_others_way_are_no_fault_of_the_angles_that_flags_looks_for(tmp_path):
    second = REST.replace('side = "top"', 'side = "top"\nname = "second"')[: REST.index("[[light]]") + len('\nname = "second"')]
    text = SOUND.replace(REST, second + REST[: REST.index("[[light]]")]) + '[check]\nfocus_mm = ["infinity"]\n'
    crossed = show(tmp_path, text)
    assert crossed.beam(at_mm=20).exit_status == 1
    found = crossed.flags()
    assert (found.faults, found.exit_status) == ((), 0)
    assert found.json["meet_as_set"]


DO_NOT_CUT = "do not cut: the scene has a fault"
STOPS_AS_DENSITY = SOUND.replace('"4x5.65" }', '"4x5.65", kind = "density", density = 3 }')
CUT_FILES = {"masks": ("mask-1.dxf", "mask-1.svg", "box-masks.toml", "masks.pdf"), "make": ("flats/", "sheets/")}


@pytest.mark.parametrize("question", CUT_FILES)
def test_files_to_cut_from_say_on_themselves_that_nobody_is_to_while_a_fault_stands(tmp_path, question):
    for name, text, is_told in (("sound", SOUND, False), ("faulty", STOPS_AS_DENSITY, True)):
        reply, folder = show(tmp_path, text).ask(question), tmp_path / name
        names = reply.save(folder)
        told = [name for name in names if name.startswith(CUT_FILES[question]) and not name.endswith(".pdf")]
        assert told
        for one in told:
            assert (DO_NOT_CUT in (folder / one).read_text("utf-8")) == is_told, one
        assert ("read-first.txt" in names) == is_told
    assert "density = 3 takes 10 stops" in (tmp_path / "faulty" / "read-first.txt").read_text("utf-8")


def test_what_is_engraved_on_a_mask_of_a_scene_at_fault_is_printed_on_its_template_too(tmp_path):
    reply = show(tmp_path, STOPS_AS_DENSITY).masks()
    (mask,) = [replace(mask, in_doubt=True) for mask in reply.answer.report.masks]
    assert engraving(mask)[-1] == DO_NOT_CUT
