"""The room that a fixed pupil asks for, and what a frame without it is called.

The 2.5 mm: real rays through US 4,448,497 ex. 1 at 50 mm and US 4,099,850 at 28 mm pass a box's edge 1.31 to 2.43 mm further out
than those from a pupil fixed at its place on the axis (tests/raytrace/test_lens.py traces them).
"""

from dataclasses import replace

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.camera import Guide, whole_frame
from raytrace.optics.lens import WalkingPupil
from scenes.runtime.engines import engine_of
from scenes.states.clear_rule import Limits, Word, has_room, lack_words, room_needed_mm
from scenes.states.notes import walk_notes
from scenes.verdicts.check import check_state
from tests.scenes.check_made import GRID, PUPIL_MM, RADIUS_MM, beam_right_mm, lens, plan, wall_on_the_right

EDGE_MM = beam_right_mm(18) + RADIUS_MM  # where the outermost ray passes the wall: similar triangles
SLANT = np.hypot(1.0, 18 / 20)  # of a gap in the wall's plane, by the gap at right angles to the outermost ray


def judged(state):
    return check_state(state, engine_of("coverage"), columns=12, limits=Limits(visible_loss_stops=0.1))[0]


def walking(state, *rows):
    pupil = WalkingPupil(behind_front_mm=PUPIL_MM, half_size_mm=(RADIUS_MM, RADIUS_MM), rows=rows)
    return replace(state, variants=tuple(replace(lens, pupil=pupil) for lens in state.variants))


@pytest.mark.parametrize(("gap_mm", "word"), [(2.44, Word.TIGHT), (2.56, Word.CLEAR)])
def test_a_fixed_pupil_is_called_clear_from_two_and_a_half_millimetres_of_room_on(gap_mm, word):
    result = judged(plan(wall_on_the_right(EDGE_MM + gap_mm * SLANT)))
    assert result.blamed.margin.percent > 2.0  # room enough, were the pupil known
    assert result.word is word
    assert result.blamed.room_mm == pytest.approx(gap_mm, abs=0.02)
    assert ("pupil_walk" in result.blamed.next_step) == (word is Word.TIGHT)


def test_a_pupil_whose_walk_is_known_needs_no_more_room_than_the_frame_does():
    state = plan(wall_on_the_right(EDGE_MM + 2.3 * SLANT))
    # much like a flat pupil: at the frame's edge, tan 0.9, cos = 0.743 of it stands square to the chief ray
    result = judged(walking(state, (0.0, PUPIL_MM, 1.0, 1.0), (42.0, PUPIL_MM, 0.743, 1.0)))
    assert result.word is Word.CLEAR
    assert result.blamed.room_mm == pytest.approx(2.3, abs=0.1)


@pytest.mark.parametrize(("last_deg", "needed_mm"), [(44.5, 0.0), (43.5, 2.5)])
def test_a_walk_that_ends_short_of_the_corner_leaves_the_pupil_as_unknown_as_a_fixed_one(last_deg, needed_mm):
    # the corner lies 21.63 mm out at f = 20: tan 1.0817; nine tenths of it is tan 44.23 deg
    state = walking(plan(), (0.0, PUPIL_MM, 1.0, 1.0), (last_deg, PUPIL_MM, 0.7, 1.0))
    own = [replace(lens, half_diagonal_mm=np.hypot(18, 12)) for lens in state.variants]
    assert room_needed_mm(own) == needed_mm
    assert bool(walk_notes("20", own)) == (needed_mm > 0)


def test_a_fisheye_s_walk_is_known_when_it_is_told_to_the_last_field_that_counts():
    wide = replace(lens(focal_mm=10), half_diagonal_mm=18.0, projection="equidistant")  # 1.8 rad = 103 deg
    assert room_needed_mm(walking(replace(plan(), variants=(wide,)), (0, 40, 1, 1), (80, 40, 1, 1)).variants) == 0.0
    assert room_needed_mm(walking(replace(plan(), variants=(wide,)), (0, 40, 1, 1), (60, 40, 1, 1)).variants) == 2.5


def test_bounds_on_the_pupil_do_not_say_that_it_stands_still():
    assert room_needed_mm([lens(38.0), lens(42.0)]) == 2.5


def test_each_guide_has_its_own_room():
    left = Guide(name="left part", half_width_mm=14, half_height_mm=10, centre_mm=(-4, 0))  # ends at 10 mm right, 40 mm short
    result = judged(plan(wall_on_the_right(EDGE_MM + 2.3 * SLANT), guides=(left, whole_frame(GRID))))
    assert [guide.word for guide in result.guides] == [Word.CLEAR, Word.TIGHT]
    assert result.blamed.guide == whole_frame(GRID).name
    assert [guide.room_mm for guide in result.guides] == pytest.approx([(40.0 + 2.3 * SLANT) / np.hypot(1.0, 0.5), 2.3], abs=0.02)


def test_room_that_could_not_be_measured_is_no_room(monkeypatch):
    def broken(*_, **__):
        raise GeometryError("no section")

    monkeypatch.setattr("raytrace.judge.judgement.judge", broken)
    result = judged(plan(wall_on_the_right(EDGE_MM + 60)))
    assert result.word is Word.TIGHT
    assert "could not be measured" in result.blamed.lack_words
    assert judged(walking(plan(wall_on_the_right(EDGE_MM + 60)), (0, 40, 1, 1), (50, 40, 1, 1))).word is Word.TIGHT
    assert any(note.doubts_light and "could not be measured" in note.text for note in result.notes)


def test_a_box_without_parts_is_clear_of_any_pupil():
    assert judged(plan()).word is Word.CLEAR


def test_room_that_is_told_as_enough_is_enough():
    assert has_room(2.496, 2.5)
    assert not has_room(2.49, 2.5)
    assert "room 2.49 mm" in lack_words(2.49, 2.5)
    assert not has_room(None, 2.5)
    assert has_room(None, 0.0)
