"""results.json, map.npz and the table, for made-up verdicts whose numbers are known."""

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geometry.body import Kind
from geometry.notes import Note, Severity
from raytrace.beam.frame_margin import Margin
from raytrace.shares import Bound, Made, VignetteMap
from scenes.io.writing import as_json
from scenes.questions.check.results_json import Provenance, map_arrays, results_dict
from scenes.states.clear_rule import Limits, Word
from scenes.states.keys import StateLabel
from scenes.verdicts.check import CheckResult, FailedState, StateResult
from scenes.verdicts.rooms import PartResult
from scenes.verdicts.text import WIDTH, loss_words, nearest_words, notes_lines, summary, table_lines, without_front
from scenes.verdicts.verdict import GuideVerdict, PartLoss, TraysEmpty, Worst, with_trays_empty

DOCS = Path(__file__).parents[4] / "docs" / "results.md"
MADE_BY = Provenance(engine="reference", scene_title="Test", scene_file="t.toml", scene_sha256="ab")


def guide(word=Word.IN_FRAME, loss=1.25, name="frame", part="left flag", step="open the left flag", margin=-12.34):
    blame = None if part is None else PartLoss(part=part, kind=Kind.FLAG, alone_stops=1.2)
    worst = Worst(
        loss_stops=loss,
        worst_case_stops=loss * 1.01,
        range_stops=(loss / 2, loss),
        where="" if part is None else "bottom left",
        x_mm=-17.123456,
        y_mm=-11.0,
        blame=blame,
        others=(),
    )
    return GuideVerdict(
        guide=name,
        word=word,
        worst=worst,
        corners_stops=(0.0, 0.0, 0.0, loss),
        on_axis_stops=0.0,
        glass_axis_stops=0.12,
        glass_corner_minus_axis_stops=0.05,
        margin=Margin(percent=margin, part=0, where="left"),
        next_step=step,
    )


def state(*guides, key="18_inf_f2", lens="18", focus=np.inf, word=None, notes=()):
    guides = guides or (guide(),)
    return StateResult(
        plan=StateLabel(key=key, lens_name=lens, is_zoom=False, focal_mm=18.0, focus_mm=focus, f_number=2.0),
        pupils=("pupil as stated",),
        word=word or max((g.word for g in guides), key=list(Word).index),
        guides=guides,
        parts=(PartResult(name="left flag", kind=Kind.FLAG, clearance_mm=-3.14159, range_mm=(-3.2, -3.1), where="left"),),
        notes=tuple(notes),
        unlit_share=0.0,
        columns=12,
        rows=8,
        made=Made(engine="reference", rays_per_point=256, seed=5, bounds=(Bound(what="chords", size=0.001, unit="share"),)),
    )


def check(*states, failed=()):
    return CheckResult(states=states or (state(),), failed=tuple(failed), limits=Limits(visible_loss_stops=0.1))


def clear_state(**more):
    return state(guide(word=Word.CLEAR, loss=0.0, part=None, step="", margin=9.0), **more)


def test_results_are_plain_json_without_nan_or_infinity():
    dark = state(guide(loss=np.inf))
    read = json.loads(as_json(results_dict(check(dark, state(focus=350.0)), MADE_BY)))
    assert (read["brimline"], read["version"]) == ("check", 2)
    assert read["states"][0]["worst"]["loss_stops"] is None
    assert [entry["focus_mm"] for entry in read["states"]] == ["infinity", 350.0]


def test_every_key_is_told_in_the_documents_and_the_other_way_round():
    page = DOCS.read_text()
    data = results_dict(check(failed=[FailedState(key="k", lens_name="l", why="w")]), MADE_BY)

    def keys(value):
        if isinstance(value, dict):
            return set(value) | {k for v in value.values() for k in keys(v)}
        return {k for item in value for k in keys(item)} if isinstance(value, list) else set()

    told = set(re.findall(r"`([a-z_0-9 ]+)`", page))
    assert keys(data) - told - {str(word) for word in Word} == set()
    arrays = re.findall(r"^\| `(\w+)`(?: \(W\), `(\w+)` \(H\))? \|", page.split("## map.npz")[1], re.MULTILINE)
    assert {name for pair in arrays for name in pair if name} == set(map_arrays(tiny_map()))


def test_keys_stand_in_the_documented_order():
    assert list(results_dict(check(), MADE_BY))[:6] == ["brimline", "version", "program", "scene", "exit_status", "engine"]
    assert list(results_dict(check(), MADE_BY)["states"][0])[:5] == ["key", "lens", "focal_mm", "focus_mm", "f_number"]


def test_numbers_are_rounded_to_what_they_are_good_for():
    entry = results_dict(check(), MADE_BY)["states"][0]
    assert (entry["worst"]["x_mm"], entry["margin_percent"], entry["parts"][0]["clearance_mm"]) == (-17.12, -12.3, -3.14)


def tiny_map():
    share = np.array([[1.0, 0.5, 0.0], [1.0, 1.0, 0.25]], dtype=np.float32)
    return VignetteMap(
        x_mm=np.array([-1.0, 0.0, 1.0]),
        y_mm=np.array([0.5, -0.5]),
        clear_share=share,
        glass=np.full((2, 3), 0.2512345, dtype=np.float32),
        lens=np.ones((2, 3), dtype=np.float32),
        blocked_by=np.where(share < 1, 0, -1).astype(np.int16),
        stderr=np.zeros((2, 3), dtype=np.float32),
        alone=np.zeros((0, 2, 3), dtype=np.float32),
        part_names=("left flag",),
    )


def test_map_arrays_keep_what_a_map_promises():
    arrays = map_arrays(tiny_map())
    assert np.array_equal(arrays["transmission"], arrays["clear_share"] * arrays["glass"])
    assert np.allclose(arrays["loss_stops"], [[0, 1, np.inf], [0, 0, 2]])  # -log2 of 1, 1/2, 0, 1/4
    assert np.abs(arrays["glass"] - 0.2512345).max() <= 2.0**-17  # half a step
    assert {str(arrays[name].dtype) for name in arrays} == {"float32", "int16", "<U9"}
    assert arrays["parts"].tolist() == ["left flag"]


def test_the_table_fits_a_hundred_columns():
    long = state(guide(name="g" * 60, part="p" * 60, step="word " * 60), guide(), lens="l" * 60, key="k" * 60)
    lines = table_lines(check(long, failed=[FailedState(key="x", lens_name="x", why="why " * 50)]))
    assert max(map(len, lines)) <= WIDTH


def test_the_table_reads_as_a_person_would_say_it():
    assert table_lines(check())[2:4] == [
        "✗ 18, infinity, f/2               in frame  1.25 stops  bottom left         left flag         -12.3%",
        "    -> open the left flag",
    ]


def test_guides_of_a_state_stand_under_it_and_the_worst_says_what_to_do():
    mild = guide(word=Word.TIGHT, loss=0.02, name="extraction", step="leave it")
    lines = table_lines(check(state(mild, guide())))[2:-1]
    assert [line.split("  ")[0].strip() or line.strip() for line in lines] == [
        "18, infinity, f/2",
        "≈",
        "✗",
        "-> open the left flag",
        "nearest to the beam: left flag, 3.1 mm in the beam, left",
    ]


def test_without_the_letters_the_table_uses_plain_signs():
    assert "".join(table_lines(check(state(), clear_state()), plain=True)).isascii()


def test_the_summary_counts_and_names_the_worst():
    assert summary(check(clear_state(), state())) == (
        "2 states: 1 clear, 1 in frame. The worst is 18, infinity, f/2: the left flag takes 1.25 stops at the bottom left corner."
    )


def test_the_summary_of_a_clear_show_says_so():
    assert summary(check(clear_state())) == "1 state: 1 clear. The box stays out of every frame."


FAILED = (FailedState(key="k", lens_name="l", why="w"),)


@pytest.mark.parametrize(
    ("word", "failed", "status"),
    [(Word.CLEAR, (), 0), (Word.TIGHT, (), 0), (Word.SHADING, (), 1), (Word.IN_FRAME, (), 1), (Word.CLEAR, FAILED, 2)],
)
def test_the_exit_status_follows_the_worst_word(word, failed, status):
    assert check(state(guide(word=word)), failed=failed).exit_status == status


FAULT = Note("filter", "is smaller than its opening", Severity.FAULT)


def test_a_fault_of_the_box_shows_in_verdict_summary_and_exit_status():
    found = check(clear_state(notes=[FAULT]), clear_state(notes=[FAULT], key="b"))
    data = results_dict(found, MADE_BY)
    assert (data["verdict"], data["exit_status"], data["counts"]["faults"]) == ("faulty", 1, 1)
    assert summary(found).endswith("But the box has 1 fault, named above, and cannot be used as it stands.")


def test_a_caution_leaves_a_clear_run_clear():
    found = check(clear_state(notes=[Note("mask", "look", Severity.CAUTION)]))
    assert (results_dict(found, MADE_BY)["verdict"], found.exit_status) == ("clear", 0)


def test_a_state_whose_name_is_long_keeps_its_stop_in_the_table():
    name = "25-50 long zoom of the second unit"
    assert f"  {name}, focus 600 mm, f/2" in table_lines(check(state(lens=name, focus=600.0)))


def test_a_finite_focus_is_said_to_be_one():
    assert "28, focus 300 mm, f/2" in table_lines(check(state(lens="28", focus=300.0)))[2]


@pytest.mark.parametrize(("stops", "told"), [(0.09, False), (0.27, True)])
def test_what_filters_take_in_the_corners_is_told_from_a_tenth_of_a_stop(stops, told):
    lines = table_lines(check(state(replace(guide(), glass_corner_minus_axis_stops=stops))))
    assert ("    the filters take 0.27 stop more in the corners than on the axis" in lines) is told


def test_without_a_state_the_table_has_no_head():
    lines = table_lines(CheckResult(states=(), failed=FAILED, limits=Limits(visible_loss_stops=0.1)))
    assert not any("worst loss" in line for line in lines)
    assert "? k: could not be computed: w" in lines


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0004, "none"),
        (0.004, "<0.01 stop"),
        (0.34, "0.34 stop"),
        (1.0, "1.00 stop"),
        (1.5, "1.50 stops"),
        (9.9, "9.90 stops"),
        (10.0, "all light"),
        (np.inf, "all light"),
    ],
)
def test_losses_read_as_words(value, words):
    assert loss_words(value) == words


def test_notes_are_said_once_with_their_lenses_and_facts_stay_in_the_file():
    fault = Note("filter", "is smaller than its opening", Severity.FAULT)
    fact = Note("18", "its pupil is taken as fixed", Severity.FACT)
    lines = notes_lines(check(state(notes=[fault, fact]), state(key="b", notes=[fault]), state(key="c", lens="21")))
    assert lines == ["fault: filter: is smaller than its opening (with 18)"]


def test_of_several_parts_the_one_deepest_in_the_beam_is_named_as_nearest():
    parts = (
        PartResult(name="hood", kind=Kind.HOOD, clearance_mm=12.0, where="top"),
        PartResult(name="mask", kind=Kind.MASK, clearance_mm=-0.64, where="bottom right, 31.0 mm ahead of the lens front"),
        PartResult(name="far flag", kind=Kind.FLAG, clearance_mm=math.inf),
        PartResult(name="unknown", kind=Kind.SOLID),
    )
    assert nearest_words(parts) == "mask, 0.6 mm in the beam, bottom right, 31.0 mm ahead of the lens front"
    assert nearest_words(parts[2:]) == ""


def test_rooms_of_parts_are_lines_of_their_own_within_the_tables_width():
    part = PartResult(
        name="a part with a name longer than its column",
        kind=Kind.MASK,
        clearance_mm=-123.4,
        where="bottom right, 131.0 mm ahead of the lens front",
        room_percent=-12.34,
    )
    lines = table_lines(check(replace(state(), parts=(part,))))
    (line,) = [line for line in lines if "frame -12.3%" in line]
    assert line.endswith("bottom right, 131.0 mm ahead")
    assert max(map(len, lines)) <= WIDTH
    assert results_dict(check(replace(state(), parts=(part,))), MADE_BY)["states"][0]["parts"][0]["room_percent"] == -12.3


def test_tables_leave_out_what_a_place_is_told_from():
    assert without_front("top, 31.0 mm ahead of the lens front") == "top, 31.0 mm ahead"
    assert without_front("top, 2.5 mm behind the lens front") == "top, 2.5 mm behind"


def test_a_verdict_that_rests_on_errors_says_so():
    doubtful = guide(word=Word.SHADING, loss=0.0996)  # counted with its errors 0.1006, above the 0.1 stop that is visible
    text = " ".join(" ".join(table_lines(check(state(doubtful)))).split())
    assert "shading, for with the errors of this way of computing it may be 0.10 stop" in text
    assert "errors of this way" not in " ".join(table_lines(check(state(guide(word=Word.SHADING, loss=0.3)))))


def with_little_room(room_mm=1.2, **more):
    return replace(guide(word=Word.TIGHT, loss=0.0, part=None, margin=9.0, **more), room_mm=room_mm, room_needed_mm=2.5)


def test_a_frame_with_less_room_than_a_fixed_pupil_may_be_wrong_by_says_so():
    def text(*guides):
        return " ".join(" ".join(table_lines(check(state(*guides)))).split())

    assert "not clear, for room 1.20 mm, less than the 2.5 mm a fixed pupil can be out by" in text(with_little_room())
    assert "fixed pupil" not in text(with_little_room(2.6))
    assert "fixed pupil" not in text(replace(with_little_room(), room_needed_mm=0.0))  # a walk was given
    both = text(with_little_room(name="open gate"), with_little_room(2.31, name="extraction"))
    assert "not clear, for open gate: room 1.20 mm, less than" in both
    assert "extraction: room 2.31 mm, less than" in both


@pytest.mark.parametrize(("room_mm", "needed_mm"), [(-3.0, 2.5), (-3.0, 0.0), (0.0, 0.0), (None, 0.0)])
def test_a_part_in_the_beam_never_leaves_room_enough(room_mm, needed_mm):
    inside = replace(guide(), room_mm=room_mm, room_needed_mm=needed_mm)
    data = results_dict(check(state(inside)), MADE_BY)
    assert data["states"][0]["guides"][0]["room"]["enough"] is False


def test_a_fixed_pupil_s_lack_of_room_is_counted_in_the_summary_and_told_as_data():
    found = check(clear_state(), state(with_little_room()))
    assert summary(found).endswith("1 tight state has less room than the 2.5 mm a fixed pupil can be out by.")
    data = results_dict(found, MADE_BY)
    assert data["states"][1]["guides"][0]["room"] == {"mm": 1.2, "needed_mm": 2.5, "enough": False}
    assert data["limits"]["fixed_pupil_mm"] == 2.5


@pytest.mark.parametrize(
    ("percent", "words"),
    [
        ((42.4, 42.4), "42 % wider"),
        ((-11.2, -11.2), "11 % narrower"),
        ((8.6, -3.0), "across 9 % wider, upright 3 % narrower"),
    ],
)
def test_a_field_that_is_a_guess_says_so_and_by_how_much(percent, words):
    guessed = replace(clear_state(focus=350.0), field_guess_percent=percent)
    text = " ".join(" ".join(table_lines(check(guessed))).split())
    assert f"field at this focus: a guess, {words} than at infinity; half_field_deg replaces it" in text
    data = results_dict(check(guessed), MADE_BY)["states"][0]
    assert data["field_guess_percent"] == max(percent)
    assert (data["field_guess_across_percent"], data["field_guess_upright_percent"]) == percent
    assert "a guess" not in "\n".join(table_lines(check(clear_state(focus=350.0))))


def test_of_guides_that_fare_alike_the_one_with_less_margin_is_blamed():
    wide, narrow = with_little_room(name="open gate"), replace(with_little_room(name="extraction"), margin=Margin(percent=15.0))
    assert state(narrow, wide).blamed.guide == "open gate"


@pytest.mark.parametrize("word", [Word.CLEAR, Word.TIGHT])
def test_a_frame_that_loses_light_with_the_trays_empty_says_so(word):
    # The loss with the trays empty is told beside what is told of the box as it is, whichever of the two words that is.
    empty = TraysEmpty(room_mm=-1.68, part="mask", where="top right", enough=False, loss_stops=0.157)
    told = with_trays_empty(guide(word=word, loss=0.0, part=None, step="do not bring the mask any further in", margin=9.0), empty)
    assert told.word is Word.TIGHT
    assert "keep the filters in" in told.next_step
    one = with_trays_empty(guide(word=word, loss=0.0, part=None), replace(empty, filters=1))
    assert "keep the filter in" in one.next_step
    lost = with_trays_empty(guide(word=word, loss=0.0, part=None), replace(empty, loss_stops=3.13)).next_step
    assert "and 3.13 stops are lost" in lost
    assert "with the trays empty the mask stands 1.7 mm in the beam, top right, and 0.16 stop is lost" in told.next_step
