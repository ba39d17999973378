"""Rooms at corners and edges against similar triangles, and against the number of the table."""

import numpy as np
import pytest

from raytrace.optics.camera import Guide
from scenes.questions.check.edge_rooms import PLACES, edge_rooms
from scenes.questions.check.map_sheet import map_figure
from scenes.states.judgement import judgement_of
from scenes.verdicts.text import room_label
from tests.scenes.check_made import FOCAL_MM, PUPIL_MM, RADIUS_MM, WALL_AT_MM, plan, wall_on_the_right
from tests.scenes.questions.check.test_map_sheet import even
from tests.scenes.sheets.figure_faults import faults

FRAME = Guide(name="frame", half_width_mm=15, half_height_mm=9)
WALL_MM = 90.0  # inner face, at the operator's right


def rooms_of(state, guide=FRAME):
    return {room.place: room for room in edge_rooms(state, guide.name)}


def test_the_room_beside_a_wall_is_least_where_its_light_passes_and_grows_away_from_it():
    state = plan(wall_on_the_right(WALL_MM), guides=(FRAME,))
    rooms = rooms_of(state)
    assert set(rooms) == set(PLACES)
    assert rooms["right"].room_mm == pytest.approx(room_mm(15), abs=0.05)
    assert rooms["top right"].room_mm == pytest.approx(rooms["right"].room_mm, abs=0.05)
    assert rooms["top"].room_mm == pytest.approx(room_mm(2 / 3 * 15), abs=0.05)  # an edge less its corners
    assert rooms["left"].room_mm > rooms["top"].room_mm > rooms["right"].room_mm


def room_mm(field_mm):
    """From the wall's edge square to the beam of a field point: in its plane to the pencil's rim, times the beam's slant."""
    reach_mm = field_mm / FOCAL_MM * (PUPIL_MM + WALL_AT_MM) + RADIUS_MM
    return (WALL_MM - reach_mm) * np.cos(np.arctan(field_mm / FOCAL_MM))


def test_the_least_room_is_the_tables_and_no_other_is_below_it():
    state = plan(wall_on_the_right(WALL_MM), guides=(FRAME,))
    rooms = rooms_of(state)
    (least,) = [room for room in rooms.values() if room.least]
    assert least.room_mm == judgement_of(state, FRAME).room_mm
    assert least.room_mm == min(room.room_mm for room in rooms.values())
    assert least.right == 1


def test_a_clear_state_shows_its_rooms_instead_of_an_empty_field():
    state = plan(wall_on_the_right(WALL_MM), guides=(FRAME,))
    rooms = edge_rooms(state, "frame")
    figure = map_figure(even(1.0), (FRAME,), title="20", verdict_word="clear", blame=None, visible_loss_stops=0.1, rooms=rooms)
    (part,) = {room.part for room in rooms}
    words = [text.get_text() for text in figure.texts]
    assert all(any(text.startswith(room_label(room.room_mm)) and text.endswith(part) for text in words) for room in rooms)
    assert [axes.get_label() for axes in figure.axes] == ["picture"]  # nothing is lost: no scale of loss
    right = [
        t.get_position()[0] for t in figure.texts if t.get_text().startswith(room_label(next(r for r in rooms if r.least).room_mm))
    ]
    assert np.min(right) > 0.5  # the wall stands at the operator's right, and so does its room


def test_rooms_stand_inside_the_guide_that_they_are_of_not_at_the_recorded_areas_corners():
    low = Guide(name="low", half_width_mm=15, half_height_mm=6, centre_mm=(0.0, -2.0))
    rooms = edge_rooms(plan(wall_on_the_right(WALL_MM), guides=(low,)), "low")
    figure = map_figure(even(1.0), (low,), title="20", verdict_word="clear", blame=None, visible_loss_stops=0.1, rooms=rooms)
    assert not faults(figure)
    (axes,) = figure.axes
    top, bottom = (figure.transFigure.inverted().transform(axes.transData.transform((0.0, up)))[1] for up in (4.0, -8.0))
    labels = [text for text in figure.texts if text.get_text().endswith(rooms[0].part)]
    assert len(labels) == len(PLACES)
    renderer = figure.canvas.get_renderer()
    spans = [text.get_window_extent(renderer).transformed(figure.transFigure.inverted()) for text in labels]
    assert all(bottom < span.y0 < span.y1 < top for span in spans)
