"""What the head of a picture says of a state."""

from dataclasses import replace

from geometry.notes import Note, Severity
from scenes.check import check_state
from scenes.engines import engine_of
from scenes.record import _sentence, guide_words
from scenes.verdict import Limits
from tests.scenes.check_made import plan, wall_on_the_right


def checked(*notes):
    state, _ = check_state(plan(wall_on_the_right(400.0), notes=notes), engine_of("coverage"), columns=12, limits=Limits())
    return state


def test_a_clear_picture_of_a_box_with_a_fault_tells_of_the_fault():
    fault = Note("stage 1 filter", "does not cover the opening", Severity.FAULT)
    assert _sentence(checked()) == "nothing visible is lost; the frame could be more than 50 % wider"
    assert _sentence(checked(fault)).startswith("the box has a fault, see the table; ")


def test_a_frame_without_room_is_not_said_to_be_wider():
    state = checked()
    tight = tuple(replace(guide, margin=replace(guide.margin, percent=-0.4, capped=False)) for guide in state.guides)
    assert _sentence(replace(state, guides=tight)) == "nothing visible is lost; the frame could be no wider"


def test_a_picture_of_the_whole_frame_names_the_guide_that_its_verdict_is_of():
    state = checked()
    inner = replace(state.guides[0], guide="scope extraction", margin=replace(state.guides[0].margin, percent=30.0))
    assert guide_words(state) == "Verdict of whole frame"
    assert (
        guide_words(replace(state, guides=(state.guides[0], inner))) == "Verdict of scope extraction, which fares worst of 2 guides"
    )
