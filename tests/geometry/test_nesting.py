"""Parts on sheets: instances whose best answer is known by exhaustive search, and what must hold for any."""

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.errors import GeometryError
from geometry.nesting import Piece, nested


def pieces(*sizes, may_turn=True):
    return [Piece(name=f"{number}", width_mm=w, height_mm=h, may_turn=may_turn) for number, (w, h) in enumerate(sizes)]


def sheets(laid):
    return max(one.sheet for one in laid) + 1


@pytest.mark.parametrize(
    ("sizes", "sheet", "may_turn", "gap", "best"),
    [
        ([(6, 6), (6, 4), (4, 6), (4, 4)], (10, 10), False, 0, 1),
        ([(3, 2)] * 4 + [(1, 1)], (5, 5), True, 0, 1),  # a pinwheel: no straight cut goes through
        ([(51, 51)] * 5, (100, 100), True, 0, 5),  # the areas alone say 2
        ([(333, 10)] * 3, (1000, 10), False, 0, 1),
        ([(333, 10)] * 3, (1000, 10), False, 2, 2),  # 1003 mm with two gaps
        ([(332, 10)] * 3, (1000, 10), False, 2, 1),  # exactly 1000
    ],
)
def test_known_instances_take_as_few_sheets_as_can_be(sizes, sheet, may_turn, gap, best):
    assert sheets(nested(pieces(*sizes, may_turn=may_turn), sheet, gap_mm=gap)) == best


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(5, 120), st.integers(5, 90)), min_size=1, max_size=14), st.sampled_from([0.0, 3.0]))
def test_no_two_parts_come_nearer_than_the_gap_and_none_over_the_margin(sizes, gap):
    laid = nested(pieces(*sizes), (200, 150), gap_mm=gap, margin_mm=5)
    assert len(laid) == len(sizes)
    boxes = [
        (one.sheet, shapely.box(one.left_mm, one.low_mm, one.left_mm + one.size_mm[0], one.low_mm + one.size_mm[1])) for one in laid
    ]
    room = shapely.box(5, 5, 195, 145).buffer(1e-6)
    for k, (sheet, box) in enumerate(boxes):
        assert room.covers(box)
        for other, there in boxes[:k]:
            if other == sheet:
                assert box.intersection(there).area < 1e-6
                assert box.distance(there) >= gap - 1e-6


def test_a_part_larger_than_the_sheet_is_told_by_its_name_and_both_sizes():
    with pytest.raises(GeometryError, match=r"^0 is 120.0 x 30.0 mm and does not fit a sheet of 100 x 50 mm with 2 mm left"):
        nested(pieces((120, 30)), (100, 50), margin_mm=2)


def test_the_same_parts_lie_the_same_each_time():
    sizes = [(30, 20), (50, 10), (20, 20), (70, 35), (30, 20)]
    assert nested(pieces(*sizes), (100, 80), gap_mm=2) == nested(pieces(*sizes), (100, 80), gap_mm=2)
