"""The first page of a check: the answer first, a row a lens, what to do; nothing wider than the page."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from geometry.notes import Note, Severity
from scenes.questions.check.run import ANSWER, EVERY_STATE, OVERVIEW, page_lines
from scenes.states.clear_rule import Word
from scenes.verdicts.overview import answer_line, overview_lines
from scenes.verdicts.text import state_sentence
from scenes.verdicts.verdict import TraysEmpty
from tests.scenes.questions.check.test_results_json import FAILED, WIDTH, check, clear_state, guide, state


def test_the_first_line_is_the_answer_for_the_whole_run():
    told = answer_line([check(clear_state(), state()), check(clear_state())])
    assert told == "1 of 3 states vignettes. Worst: 18, infinity, f/2: the left flag takes 1.25 stops at the bottom left corner."


def test_a_run_without_vignetting_says_so_and_counts_what_is_tight():
    tight = state(guide(word=Word.TIGHT, loss=0.0, part=None))
    assert answer_line([check(clear_state(), tight)]) == "No vignetting, but 1 of 2 states is tight. Tightest: 18, infinity, f/2."
    assert answer_line([check(clear_state(), clear_state())]) == "Both states are clear: the box stays out of every frame."


def test_a_clear_answer_sends_people_to_numbers_that_may_be_wrong():
    slip = Note("hood", "at_mm = -30 begins behind the back plate", Severity.CAUTION, may_be_slip=True)
    doubted = [replace(clear_state(), notes=(slip,)), replace(clear_state(), notes=(slip,))]
    assert answer_line([check(*doubted)]).endswith("First read the caution.")
    more = replace(clear_state(), notes=(slip, replace(slip, part="seal")))
    assert answer_line([check(more, *doubted)]).endswith("First read the 2 cautions.")
    beside = replace(clear_state(), notes=(slip, replace(slip, part="seal", may_be_slip=False)))
    assert answer_line([check(beside)]).endswith("First read the 2 cautions.")  # as many as the page lists
    plain = replace(clear_state(), notes=(replace(slip, may_be_slip=False),))
    assert "First read" not in answer_line([check(plain)])


def test_the_first_line_says_where_a_tight_frame_loses_visible_light_with_the_trays_empty():
    tight = guide(word=Word.TIGHT, loss=0.0, part=None)
    empty = TraysEmpty(room_mm=-1.2, part="front tray", where="bottom left", enough=False, loss_stops=0.13)
    dark, faint = (state(replace(tight, trays_empty=one)) for one in (empty, replace(empty, loss_stops=0.09)))
    first = "No vignetting, but 2 of 3 states are tight"
    assert answer_line([check(dark, faint, clear_state())]).startswith(f"{first}, and 1 of them loses light with the trays empty.")
    assert answer_line([check(dark, dark, clear_state())]).startswith(f"{first} and lose light with the trays empty.")
    assert answer_line([check(faint, faint, clear_state())]).startswith(f"{first}. ")
    assert answer_line([check(dark)]) == "18, infinity, f/2 does not vignette, but is tight and loses light with the trays empty."


def test_where_all_states_are_alike_the_answer_says_all():
    tight = state(guide(word=Word.TIGHT, loss=0.0, part=None))
    assert answer_line([check(*[tight] * 4)]).startswith("No vignetting, but all 4 states are tight.")
    assert answer_line([check(*[state()] * 4)]).startswith("All 4 states vignette. Worst: ")
    assert answer_line([check(state(), state())]).startswith("Both states vignette.")


def test_the_darkening_comes_before_a_fault_that_does_not_explain_it_away():
    fault = Note("filter", "is smaller than its opening", Severity.FAULT)
    dark, clear = (answer_line([check(one(notes=[fault]), clear_state())]) for one in (state, clear_state))
    assert dark.startswith("1 of 2 states vignettes.")
    assert dark.endswith("The box has 1 fault and cannot be used as it stands.")
    told = "The box has 1 fault and cannot be used as it stands. Apart from the fault, both states are clear"
    assert clear.startswith(told)
    assert state_sentence(state(notes=[fault])).endswith("; the box has a fault, see the table")


def test_states_that_could_not_be_computed_are_in_the_answer():
    assert answer_line([check(failed=FAILED)]).endswith("could not be computed.")
    told = answer_line([check(clear_state(), failed=FAILED)])
    assert told == "18, infinity, f/2 is clear: the box stays out of the frame. 1 state could not be computed."


def test_states_of_one_lens_with_the_same_remedy_stand_together():
    lines = overview_lines(check(state(), state(focus=600.0), clear_state()))
    assert "✗ 18: infinity, f/2 | focus 600 mm, f/2" in lines
    assert lines.count("    -> open the left flag") == 1
    assert "Clear: 18: infinity, f/2." in lines


def test_no_line_is_wider_than_the_page_and_plain_signs_are_ascii():
    long = state(guide(name="g" * 60, part="p" * 60, step="word " * 60), guide(), lens="l" * 60, key="k" * 60)
    assert max(map(len, overview_lines(check(long, failed=FAILED)))) <= WIDTH
    assert "".join(overview_lines(check(state(), clear_state()), plain=True)).isascii()


def test_quiet_is_the_answer_alone_and_verbose_adds_every_state():
    done = [SimpleNamespace(check=check(state(), clear_state()), results={"scene": {"title": "Show"}}, trouble=())]
    quiet, page, every = ([*page_lines(done, None, detail, plain=False)] for detail in (ANSWER, OVERVIEW, EVERY_STATE))
    assert len(quiet) == 2  # one sentence pair, wrapped
    assert page[: len(quiet)] == every[: len(quiet)] == quiet
    assert not any("margin" in line for line in page)
    assert any("margin" in line for line in every)
