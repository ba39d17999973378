"""A part that stands in a filter: where rays go there nobody knows, so that no figure of light or room is told beside the fault."""

from dataclasses import replace

import pytest

from geometry.overlap import glass_overlap_notes
from scenes.runtime.engines import engine_of
from scenes.states.clear_rule import Limits, Word
from scenes.verdicts.check import check_state
from scenes.verdicts.overview import answer_line, overview_lines
from scenes.verdicts.text import state_sentence, table_lines
from tests.raytrace.made import block, plate_of_glass
from tests.scenes.check_made import WALL_AT_MM, plan
from tests.scenes.questions.check.test_results_json import check, clear_state, guide
from tests.scenes.questions.check.test_results_json import state as judged

POST = block((-180.0, -50.0, 59.5), (-130.0, 50.0, 60.5), name="post")  # 37 mm beside the light, by similar triangles


@pytest.fixture(scope="module")
def in_glass():
    free = plan(POST, glasses=[plate_of_glass(WALL_AT_MM)])
    notes = glass_overlap_notes(free.box.parts, [glass.slab for glass in free.box.glasses])
    assert len(notes) == 1
    return tuple(
        check_state(one, engine_of("coverage"), columns=24, limits=Limits(visible_loss_stops=0.1))[0]
        for one in (free, replace(free, notes=notes))
    )


def test_a_part_in_a_filter_leaves_no_room_and_no_margin(in_glass):
    free, state = in_glass
    assert free.word is Word.CLEAR
    assert free.parts[0].clearance_mm > 20.0
    (guide,) = state.guides
    assert (state.word, guide.room_mm, guide.margin.percent, guide.trays_empty) == (Word.TIGHT, None, 0.0, None)
    assert [part.clearance_mm for part in state.parts] == [None]


def test_a_part_in_a_filter_leaves_no_loss_to_be_told(in_glass):
    _, state = in_glass
    for lines in (table_lines(check(state)), overview_lines(check(state))):
        told = "\n".join(lines)
        assert "not told" in told
        assert "none" not in told
        assert " clear" not in told.replace("first clear up", "")
    assert "no light can be told, for the post stands in" in state_sentence(state)


def test_the_answer_says_of_which_states_no_light_can_be_told(in_glass):
    _, state = in_glass
    assert "does not vignette" not in answer_line([check(state)])
    both = answer_line([check(state, clear_state())])
    assert "1 of 2 states: no light can be told, for the post stands in" in both
    assert "the box stays out of the frame" in both


def test_what_is_found_of_the_other_states_is_a_sentence_of_its_own(in_glass):
    _, state = in_glass
    tight, dark = judged(guide(word=Word.TIGHT, loss=0.0, part=None)), judged()

    def told(*others):
        return answer_line([check(state, *others)])

    assert "Of the others:" not in told(clear_state(), clear_state())
    assert told(clear_state(), clear_state()).endswith(". The 2 other states are clear: the box stays out of their frames.")
    assert told(clear_state()).endswith(". The other state: 18, infinity, f/2 is clear: the box stays out of the frame.")
    many = told(clear_state(), tight, dark)
    assert ". Of the 3 other states 1 vignettes and 1 is tight. Worst: 18, infinity, f/2: the left flag" in many
    assert told(clear_state(), tight).endswith(
        ". Of the 2 other states none vignettes, but 1 is tight. Tightest: 18, infinity, f/2."
    )
