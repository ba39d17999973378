"""Corners that a drawing has lost, or of which a number was changed: it would mirror itself but for them, or a number is missing.

DXF reference, POLYLINE and VERTEX: a polyline in the old form (R12) states no number of corners; group code 5 is the handle.
"""

import io
import math

import ezdxf
import pytest

from scenes.io.dxf.outline import read_outline


def r12(points, *, closed=True):
    document = ezdxf.new("R12")
    document.modelspace().add_polyline2d(points, format="xyb" if len(points[0]) == 3 else "xy", close=closed)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def without_vertex(text, number):
    """A DXF in which a whole VERTEX, with its place and handle, is gone."""
    things = text.split("  0\nVERTEX\n")
    return "  0\nVERTEX\n".join(thing for at, thing in enumerate(things) if at != number + 1)


def told(text):
    return read_outline(text.encode(), "m.dxf").doubts


# The same left and right: four shoulders reach in between a narrow top and foot.
SHOULDERS = [(-60, -20), (-40, -20), (-40, -40), (40, -40), (40, -20), (60, -20), (60, 20), (40, 20), (40, 40), (-40, 40)]
SHOULDERS += [(-40, 20), (-60, 20)]
# The same above and below, with a corner that reaches in on the axis.
WAISTED = [(-60, -35), (-20, -40), (0, -30), (20, -40), (60, -35), (60, 35), (20, 40), (0, 30), (-20, 40), (-60, 35)]
BULGE = math.tan(math.pi / 8)  # of a quarter of a circle: DXF reference, LWPOLYLINE, 42
ROUNDED = [(-60, -30, 0), (-60, 30, -BULGE), (-50, 40, 0), (50, 40, -BULGE), (60, 30, 0), (60, -30, -BULGE)]
ROUNDED += [(50, -40, 0), (-50, -40, -BULGE)]


@pytest.mark.parametrize("points", [SHOULDERS, WAISTED, ROUNDED])
def test_a_whole_cut_out_in_the_old_form_is_read_without_a_word(points):
    assert told(r12(points)) == ()


@pytest.mark.parametrize("number", range(len(SHOULDERS)))
def test_a_lost_corner_of_a_cut_out_that_is_the_same_left_and_right_is_told(number):
    x, y = SHOULDERS[number]
    kept = [point for at, point in enumerate(SHOULDERS) if at != number]
    (doubt,) = told(r12(kept))
    assert f"has nothing opposite its corner at x {-x}, y {y} mm, and would be the same left and right but for that" in doubt


@pytest.mark.parametrize(("number", "y"), [(2, 30), (7, -30)])
def test_a_lost_corner_on_the_axis_is_told_by_what_is_below_or_above(number, y):
    (doubt,) = told(r12([point for at, point in enumerate(WAISTED) if at != number]))
    assert f"has nothing opposite its corner at x 0, y {y} mm, and would be the same above and below but for that" in doubt


@pytest.mark.parametrize("number", range(len(ROUNDED)))
def test_a_lost_end_of_a_rounding_is_told(number):
    doubts = told(r12([point for at, point in enumerate(ROUNDED) if at != number]))
    assert any("would be the same left and right but for that" in doubt for doubt in doubts)


@pytest.mark.parametrize("number", [1, 3, 5, 7])
@pytest.mark.parametrize("bulge", [0.0, -2 * BULGE])
def test_a_rounding_that_has_lost_its_bulge_or_has_another_is_told(number, bulge):
    x, y, _ = ROUNDED[number]
    (doubt,) = told(r12([*ROUNDED[:number], (x, y, bulge), *ROUNDED[number + 1 :]]))
    assert "mm than opposite, and would be the same left and right but for that; has a curve been lost" in doubt


def test_a_corner_moved_along_a_straight_edge_is_told_though_all_corners_lie_on_the_outline_opposite():
    tongue = [(-60, -40), (0, -40), (-6, -25), (6, -25), (10, -40), (60, -40), (60, 40), (-60, 40)]  # the second was at x -10
    (doubt,) = told(r12(tongue))
    assert "has nothing opposite its corner at x 10, y -40 mm, and would be the same left and right but for that" in doubt


# Meant lopsided, so that no mirror shows a corner that has moved; with dimensions that hold on to it.
UNEVEN = [(-60, -65), (0, -65), (5, -40), (15, -30), (30, -65), (60, -60), (80, -45), (70, 65), (-30, 60), (-75, 15)]


def measured(points, *ends):
    document = ezdxf.new("R2010", setup=True, units=4)
    space = document.modelspace()
    space.add_lwpolyline(points, close=True)
    space.add_arc((300, 0), 10, 0, 180)
    space.add_line((290, 0), (310, 0))
    for start, end in ends:
        space.add_aligned_dim(p1=start, p2=end, distance=8, override={"dimlfac": 1.0}).render()
    stream = io.StringIO()
    document.write(stream)
    return told(stream.getvalue())


@pytest.mark.parametrize(("number", "out"), [(6, (160, -45)), (3, (15, -60)), (7, (70, 95))])
def test_a_corner_that_has_moved_out_from_the_end_of_a_dimension_is_told(number, out):
    sizes = [(UNEVEN[6], UNEVEN[1]), (UNEVEN[3], UNEVEN[5]), (UNEVEN[7], UNEVEN[9])]
    moved = [*UNEVEN[:number], out, *UNEVEN[number + 1 :]]
    assert measured(UNEVEN, *sizes) == ()
    x, y = UNEVEN[number]
    (doubt,) = measured(moved, *sizes)
    assert doubt.startswith(
        f"a dimension ends at x {x}, y {y} mm, within the cut-out as it was read and on no line of it; has a number"
    )


@pytest.mark.parametrize("place", [(0, 20), (-40, 0), (300, 0)])
def test_a_dimension_from_an_axis_or_the_middle_of_an_arc_is_no_cause_for_doubt(place):
    assert measured(UNEVEN, (place, UNEVEN[6])) == ()


@pytest.mark.parametrize("number", [1, 4, 7, 10])
def test_a_number_changed_in_a_corner_is_told(number):
    x, y = SHOULDERS[number]
    moved = [*SHOULDERS[:number], (1.2 * x, 1.2 * y), *SHOULDERS[number + 1 :]]
    (doubt,) = told(r12(moved))
    assert "would be the same left and right but for that; has a corner been lost, or a number changed?" in doubt


MEANT = {
    "a slanted corner": [(-60, -40), (60, -40), (60, 20), (40, 40), (-60, 40)],
    "a notch at one side": [(-60, -40), (60, -40), (60, -10), (50, -10), (50, 10), (60, 10), (60, 40), (-60, 40)],
    "a step at one corner": [(-60, -40), (60, -40), (60, 20), (40, 20), (40, 40), (-60, 40)],
    "a rounding at one corner": [(-60, -40, 0), (60, -40, 0), (60, 30, BULGE), (50, 40, 0), (-60, 40, 0)],
    "higher above": [(-60, -30), (60, -30), (60, 40), (-60, 40)],
    "a roof": [(-60, -40), (60, -40), (60, 30), (0, 40), (-60, 30)],
    "a keystone": [(-50, -40), (50, -40), (60, 40), (-60, 40)],
    "slanted corners below": [(-40, -40), (40, -40), (60, -20), (60, 40), (-60, 40), (-60, -20)],
    "round above": [(-60, -40, 0), (60, -40, 0), (60, 0, 1), (-60, 0, 0)],
    "leaning": [(-60, -40), (40, -40), (60, 40), (-40, 40)],
    "a corner in a straight line": [(-60, -40), (13, -40), (60, -40), (60, 40), (22, 40), (-60, 40)],
    "less than a millimetre": [(-60, -40), (60, -40), (60.4, 40.6), (-60, 40)],
    "many corners": [(60 * math.cos(k / 7), 40 * math.sin(k / 7)) for k in range(44)],
}


@pytest.mark.parametrize("name", MEANT)
def test_a_cut_out_that_is_meant_to_have_two_sides_is_read_without_a_word(name):
    assert told(r12(MEANT[name])) == ()


def test_circles_and_arcs_are_read_without_a_word():
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    space.add_arc((0, 0), 50, 0, 180)
    space.add_arc((0, 0), 50, 180, 360)
    stream = io.StringIO()
    document.write(stream)
    assert told(stream.getvalue()) == ()


LOPSIDED = [(-60, -40), (60, -40), (55, 0), (30, 10), (47, 40), (10, 31), (-20, 40), (-60, 20)]


@pytest.mark.parametrize("number", range(1, len(LOPSIDED) - 1))
def test_a_number_that_is_missing_in_the_row_of_a_polylines_corners_is_told(number):
    whole = r12(LOPSIDED)
    assert told(whole) == ()
    (doubt,) = told(without_vertex(whole, number))
    assert "numbers the corners of a polyline in a row from " in doubt
    assert doubt.endswith("; has a corner been lost?")


def test_numbers_that_the_corners_share_with_other_things_are_read_without_a_word():
    document = ezdxf.new("R12")
    space = document.modelspace()
    line = space.add_polyline2d(LOPSIDED[:4], close=True)
    space.add_text("A", dxfattribs={"height": 4})
    line.append_vertices(LOPSIDED[4:])
    stream = io.StringIO()
    document.write(stream)
    assert told(stream.getvalue()) == ()


def test_a_polyline_whose_corners_have_no_numbers_is_read_without_a_word():
    lines = r12(LOPSIDED).split("\n")
    entities = lines.index("ENTITIES")
    kept = [at for at in range(0, len(lines) - 1, 2) if at < entities or lines[at].strip() != "5"]
    assert told("\n".join(part for at in kept for part in lines[at : at + 2]) + "\n") == ()
