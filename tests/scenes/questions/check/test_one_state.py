"""One state in one process: what the head of its picture says, and that another process leaves the same."""

import errno
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from geometry.notes import Note, Severity
from scenes.io.folders.result_folder import Staging
from scenes.questions.check import one_state
from scenes.questions.check.one_state import StateRequest, cut_sentence, record_state
from scenes.runtime.engines import engine_of
from scenes.runtime.progress import silent
from scenes.runtime.worker_pool import Worker, no_aside
from scenes.scene_file.parse import parse_scene
from scenes.sheets.section_of_state import section_sheets
from scenes.states.clear_rule import Limits, Word
from scenes.states.state import states_of
from scenes.verdicts.check import check_state
from scenes.verdicts.text import guide_words, state_sentence
from scenes.verdicts.verdict import TraysEmpty
from tests.scenes.check_made import plan, wall_on_the_right


def checked(*notes):
    state, _ = check_state(
        plan(wall_on_the_right(400.0), notes=notes), engine_of("coverage"), columns=12, limits=Limits(visible_loss_stops=0.1)
    )
    return state


def test_a_clear_picture_of_a_box_with_a_fault_tells_of_the_fault():
    fault = Note("stage 1 filter", "does not cover the opening", Severity.FAULT)
    assert state_sentence(checked()) == "nothing visible is lost; the frame could be more than 50 % wider"
    assert state_sentence(checked(fault)).startswith("the box has a fault, see the table; ")


def test_a_frame_without_room_is_not_said_to_be_wider():
    state = checked()
    tight = tuple(replace(guide, margin=replace(guide.margin, percent=-0.4, capped=False)) for guide in state.guides)
    assert state_sentence(replace(state, guides=tight)) == "nothing visible is lost; the frame could be no wider"


def test_a_frame_that_is_tight_for_want_of_its_filters_says_so_on_its_picture():
    state = checked()
    empty = TraysEmpty(room_mm=2.24, part="mask", where="right", enough=False)
    tight = tuple(replace(guide, word=Word.TIGHT, trays_empty=empty) for guide in state.guides)
    words = "nothing visible is lost, but with the trays empty the mask has 2.2 mm of room"
    assert state_sentence(replace(state, guides=tight)) == words


@pytest.mark.parametrize(("clearance_mm", "words"), [(2.4, "Nearest to the beam: "), (-93.9, "Deepest in the beam: ")])
def test_a_cut_says_of_a_part_in_the_beam_that_it_stands_deepest_not_nearest(clearance_mm, words):
    state = checked()
    assert cut_sentence(replace(state, parts=(replace(state.parts[0], clearance_mm=clearance_mm),))).startswith(words)


def request(folder, flat=True):
    folder.mkdir(exist_ok=True)
    return StateRequest(
        engine="reference",
        device="cpu",
        columns=12,
        limits=Limits(visible_loss_stops=0.1),
        threads=1,
        rooms=False,
        staging=Staging(folder),
        flat=flat,
        solid=False,
    )


def files_of(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    ("flat", "names"), [(False, {"map.npz"}), pytest.param(True, {"map.npz", "map.png"}, marks=pytest.mark.slow)]
)
def test_another_process_finds_and_writes_the_same(tmp_path, flat, names):
    state = plan(wall_on_the_right(20.0), pupils=(38, 42))
    here = record_state(state, request(tmp_path / "here", flat))
    worker = Worker(partial(no_aside, True))
    there = worker.call(partial(record_state, state, request(tmp_path / "there", flat)), silent)
    worker.end()
    assert set(files_of(tmp_path / "here")) == {f"{state.key}/{name}" for name in names}
    assert files_of(tmp_path / "here") == files_of(tmp_path / "there")
    assert here.check == there.check
    if flat:
        np.testing.assert_array_equal(here.entry.map_.clear_share, there.entry.map_.clear_share)


def test_a_state_that_fails_is_a_sentence_and_leaves_nothing_to_draw(tmp_path):
    recorded = record_state(plan(guides=("no guide",)), request(tmp_path))
    assert (len(recorded.check.failed), recorded.entry, recorded.views) == (1, None, ())
    assert "\n" not in recorded.check.failed[0].why


@pytest.mark.parametrize(("drawing", "name"), [("_write_picture", "map.png"), ("_view", "section.png")])
def test_a_drawing_that_fails_costs_its_picture_and_not_the_state(tmp_path, monkeypatch, drawing, name):
    def fail(*_):
        raise ValueError("nothing to draw")

    monkeypatch.setattr(one_state, drawing, fail)
    recorded = record_state(plan(wall_on_the_right(20.0)), replace(request(tmp_path, flat=drawing == "_write_picture"), solid=True))
    (state,) = recorded.check.states
    assert f"{state.key}/{name} was left out: nothing to draw" in recorded.trouble
    assert f"{state.key}/{name}" not in state.files
    assert f"{state.key}/map.npz" in state.files


BARE = """brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [12, 8]
[[lens]]
name = "20"
focal_mm = 20
f_number = 4
front_diameter_mm = 80
pupil_behind_front_mm = 40
[box]
"""
LONE_FLAG = '[[box.flag]]\nside = "top"\nangle_deg = 40\nhinge_mm = 70\nat_mm = 20\nlength_mm = 100\nwidth_mm = 200\n'
LEANING_TRAY = "[[box.stage]]\nat_mm = 2\ndepth_mm = 6\nopening_mm = [150, 120]\ntilt_deg = 1.5\n"


@pytest.mark.parametrize("box", [LONE_FLAG, LEANING_TRAY], ids=["a lone top flag", "a leaning tray"])
def test_a_box_without_hood_and_mask_is_drawn_from_every_side_and_cut(tmp_path, box):
    (state,) = states_of(parse_scene(BARE + box, "bare.toml"))
    asked = replace(request(tmp_path, flat=False), solid=True)
    recorded = record_state(state, asked)
    assert (recorded.trouble, [path.name for _, path, _ in recorded.views]) == ((), ["box.png", "section.png"])
    sheets = section_sheets(state, "20", "bare")
    assert list(sheets) == ["cut-side", "cut-top"]


@pytest.mark.parametrize("writing", ["_write_map", "_write_picture"])
def test_a_full_disk_ends_the_run_instead_of_failing_state_after_state(tmp_path, monkeypatch, writing):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(one_state, writing, full)
    with pytest.raises(OSError, match="No space left"):
        record_state(plan(wall_on_the_right(20.0)), request(tmp_path))


def test_a_picture_of_the_whole_frame_names_the_guide_that_its_verdict_is_of():
    state = checked()
    inner = replace(state.guides[0], guide="scope extraction", margin=replace(state.guides[0].margin, percent=30.0))
    assert guide_words(state) == "Frame guide: whole frame"
    assert guide_words(replace(state, guides=(state.guides[0], inner))) == "scope extraction, worst of 2 frame guides"
