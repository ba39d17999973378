"""Curves and numbers of a DXF that speak against themselves are refused, and curves are followed as closely as is promised.

What a DXF holds where: DXF reference, group codes of SPLINE, LWPOLYLINE, CIRCLE, ARC and INSERT.
"""

import io
import re
from math import comb

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.math import global_bspline_interpolation
from scipy.interpolate import BSpline

from geometry.outline import area_mm2
from scenes.io.dxf.lines import FLATNESS_MM
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

PLATE = [(-90, -75), (90, -75), (90, 75), (-90, 75)]
TURN = 2 * np.pi * np.arange(9) / 8
LOOP = np.column_stack([50 * np.cos(TURN), 30 * np.sin(TURN)])
LOOP[2] = (0.0, 5.0)  # metal reaches in from above
LOOP[-1] = LOOP[0]
KNOTS = [0.0] * 4 + [1.0, 2.0, 3.0, 4.0, 5.0] + [6.0] * 4


def drawing(*draw):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    for one in draw:
        one(document)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def refusal_of(text):
    with pytest.raises(SceneError) as caught:
        read_outline(text.encode(), "m.dxf")
    (one,) = caught.value.complaints
    assert str(one).isprintable()
    return str(one)


def spline(points, knots, degree=3, weights=()):
    def draw(document):
        curve = document.modelspace().add_spline(degree=degree)
        curve.control_points = [(x, y, 0) for x, y in points]
        curve.knots, curve.weights = list(knots), list(weights)
        curve.dxf.flags = 4 if len(weights) else 0  # rational

    return draw


def after(kind, text, old, new, *, count=1):
    """The text with a group replaced, the first after the last entity of a kind."""
    start = text.rindex(f"\n{kind}\n")
    assert old in text[start:]
    return text[:start] + text[start:].replace(old, new, count)


WHOLE = drawing(spline(LOOP, KNOTS))
CORNER = re.findall(r" 10\n[^\n]*\n 20\n[^\n]*\n 30\n[^\n]*\n", WHOLE[WHOLE.rindex("\nSPLINE\n") :])[2]


def test_a_whole_spline_is_read_as_it_runs():
    """Against the de Boor recursion of scipy."""
    drawn = BSpline(np.array(KNOTS), LOOP, 3)(np.linspace(0.0, 6.0, 20_001))
    assert area_mm2(read_outline(WHOLE.encode(), "m.dxf")) == pytest.approx(shapely.Polygon(drawn).area, rel=1e-4)


@pytest.mark.parametrize("knot", [" 40\n1.0\n", " 40\n3.0\n"])
def test_a_spline_that_has_lost_a_point_and_a_knot_is_refused(knot):
    lost = after("SPLINE", after("SPLINE", WHOLE, CORNER, ""), knot, "")
    assert "SPLINE states" in refusal_of(lost)


@pytest.mark.parametrize("code", [" 30", " 31"])
def test_a_spline_of_which_one_point_alone_has_lost_its_height_is_refused(code):
    def draw(document):
        spline(LOOP, KNOTS)(document)
        (curve,) = document.modelspace()
        curve.fit_points = [(x, y, 0.0) for x, y in BSpline(np.array(KNOTS), LOOP, 3)(np.arange(6.0))]

    whole = drawing(draw)
    start = whole.rindex("\nSPLINE\n")
    read_outline(whole.encode(), "m.dxf")
    lost = whole[:start] + re.sub(rf"\n{code}\n[^\n]*\n", "\n", whole[start:], count=1)
    assert "and a z of" in refusal_of(lost)


@pytest.mark.parametrize("code", [" 11", " 21"])
def test_a_spline_of_whose_points_to_run_through_one_has_lost_a_number_is_refused(code):
    def draw(document):
        spline(LOOP, KNOTS)(document)
        (curve,) = document.modelspace()
        curve.fit_points = [(x, y, 0.0) for x, y in LOOP[:4]]

    whole = drawing(draw)
    start = whole.rindex("\nSPLINE\n")
    lost = whole[:start] + re.sub(rf"\n{code}\n[^\n]*\n", "\n", whole[start:], count=1)
    assert "SPLINE" in refusal_of(lost)


def test_a_spline_whose_points_are_given_without_height_is_read():
    start = WHOLE.rindex("\nSPLINE\n")
    flat = WHOLE[:start] + re.sub(r"\n 30\n[^\n]*\n", "\n", WHOLE[start:])
    assert area_mm2(read_outline(flat.encode(), "m.dxf")) == pytest.approx(area_mm2(read_outline(WHOLE.encode(), "m.dxf")))


def test_a_spline_whose_knots_fall_is_refused():
    assert "knots" in refusal_of(after("SPLINE", WHOLE, " 40\n3.0\n", " 40\n5.5\n"))


def test_a_spline_with_a_gap_in_it_is_refused():
    """A knot that stands more often than the degree parts the curve (de Boor): a chord would close the gap."""
    corners = [(-40, -25), (40, -25), (40, 25), (-40, 25), (-40, -25), (-40, -25)]
    knots = [0, 0, 1, 1, 2, 3, 4, 4]
    assert "knots" in refusal_of(drawing(spline(corners, knots, degree=1)))


W = np.sqrt(0.5)
ROUND = [(40, 0), (40, 40), (0, 40), (-40, 40), (-40, 0), (-40, -40), (0, -40), (40, -40), (40, 0)]
ROUND_KNOTS = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]


def test_a_circle_as_a_rational_spline_is_one():
    read = read_outline(drawing(spline(ROUND, ROUND_KNOTS, 2, [1, W, 1, W, 1, W, 1, W, 1])).encode(), "m.dxf")
    assert area_mm2(read) == pytest.approx(np.pi * 40**2, rel=1e-4)


def test_a_rational_spline_without_its_weights_is_refused_for_it_would_be_larger():
    text = drawing(spline(ROUND, ROUND_KNOTS, 2, [1, W, 1, W, 1, W, 1, W, 1]))
    start = text.rindex("\nSPLINE\n")
    assert "weights" in refusal_of(text[:start] + re.sub(r" 41\n[^\n]*\n", "", text[start:]))


@pytest.mark.parametrize("weight", [0.0, -W])
def test_a_weight_that_is_not_above_0_is_refused(weight):
    assert "weights" in refusal_of(drawing(spline(ROUND, ROUND_KNOTS, 2, [1, weight, 1, W, 1, W, 1, W, 1])))


def test_a_spline_of_points_to_run_through_is_refused_for_programs_draw_it_unlike():
    def through(document):
        curve = document.modelspace().add_spline()
        curve.fit_points = [(x, y, 0) for x, y in LOOP]

    assert "runs through" in refusal_of(drawing(through))


def through_its_points(scale, unit=1.0):
    """A closed curve through twelve places of an ellipse, and these places `scale` times as far out."""
    places = [(45 * unit * np.cos(a), 30 * unit * np.sin(a)) for a in np.linspace(0.0, 2.0 * np.pi, 13)]
    through = global_bspline_interpolation(places, degree=3)

    def draw(document):
        curve = document.modelspace().add_spline()
        curve.control_points, curve.knots, curve.dxf.degree = through.control_points, through.knots(), 3
        curve.fit_points = [(scale * x, scale * y, 0) for x, y in places]

    return drawing(draw)


def test_a_spline_that_runs_through_its_points_is_read():
    assert read_outline(through_its_points(1.0).encode(), "m.dxf")


@pytest.mark.parametrize("scale", [0.6, 0.999])
def test_a_spline_whose_control_points_speak_against_the_points_that_it_runs_through_is_refused(scale):
    off = f"passes {45 * (1 - scale):.2g} mm off its own points to run through"
    assert off in refusal_of(through_its_points(scale))


def swinging(degree, crossings, height_mm):
    """Corners of a Bezier curve over x -60 to 60 that swings about y = 30, crossing it where told (shares of its run)."""
    swing = np.poly1d(crossings, r=True)
    swing = swing * (height_mm / np.abs(swing(np.linspace(0.0, 1.0, 1001))).max())
    power = np.concatenate([swing.coeffs[::-1], np.zeros(degree - swing.order)])
    ordinates = [sum(comb(k, j) / comb(degree, j) * power[j] for j in range(k + 1)) for k in range(degree + 1)]
    return [(-60 + 120 * k / degree, 30 + y) for k, y in enumerate(ordinates)]


@pytest.mark.parametrize(
    ("degree", "crossings", "height_mm"),
    [(3, [1 / 8, 1 / 8, 1 / 8], 50.0), (9, [k / 8 for k in range(9)], 8.0)],
    ids=["an even bend about the middle of two looks", "swings between all looks"],
)
def test_a_spline_is_followed_where_the_middles_of_its_chords_lie_on_it(degree, crossings, height_mm):
    """A cubic is even about the point where its bend turns: the middle of a chord about that point lies on the curve."""
    points = swinging(degree, crossings, height_mm)
    knots = [0.0] * (degree + 1) + [1.0] * (degree + 1)

    def rest(document):
        for a, b in ((points[-1], (60, -30)), ((60, -30), (-60, -30)), ((-60, -30), points[0])):
            document.modelspace().add_line(a, b)

    read = read_outline(drawing(spline(points, knots, degree), rest).encode(), "m.dxf").shape
    drawn = BSpline(np.array(knots), np.array(points), degree)(np.linspace(0.0, 1.0, 4001)) * [-1, 1]
    assert shapely.distance(shapely.points(drawn), read.boundary).max() < 1.5 * FLATNESS_MM


def circle(document):
    document.modelspace().add_circle((0, 0), 30)


def tongue(document):
    space = document.modelspace()
    for a, b in (((-40, -25), (40, -25)), ((-40, 25), (40, 25)), ((-40, -25), (-40, 25))):
        space.add_line(a, b)
    space.add_arc((40, 0), 25, 90, 270)


def turned(document):
    document.blocks.new("B").add_lwpolyline([(-40, -25), (60, -25), (60, 25), (-40, 25)], close=True)
    document.modelspace().add_blockref("B", (0, 0), dxfattribs={"rotation": 30})


def bulged(document):
    document.modelspace().add_lwpolyline([(-40, -25), (40, -25), (40, 25), (-40, 25, -0.6)], format="xyb", close=True)


TWICE = {
    "a radius": ("CIRCLE", circle, " 40\n30.0\n", " 40\n30.0\n 40\n70.0\n"),
    "an arc's end": ("ARC", tongue, " 50\n90.0\n", " 50\n270.0\n 50\n90.0\n"),
    "a turn": ("INSERT", turned, " 50\n30.0\n", " 50\n30.0\n 50\n210.0\n"),
    "a corner's bulge": ("LWPOLYLINE", bulged, " 42\n-0.6\n", " 42\n-0.6\n 42\n0.0\n"),
    "a count of corners": ("LWPOLYLINE", bulged, " 90\n4\n", " 90\n4\n 90\n3\n"),
}


@pytest.mark.parametrize(("kind", "draw", "whole", "spoilt"), TWICE.values(), ids=TWICE.keys())
def test_what_is_stated_twice_is_refused(kind, draw, whole, spoilt):
    text = drawing(draw)
    assert read_outline(text.encode(), "m.dxf")
    assert f"{kind} states its group code" in refusal_of(after(kind, text, whole, spoilt))


def test_a_bulge_before_any_corner_is_refused_for_nobody_knows_whose_it_is():
    text = after("LWPOLYLINE", drawing(bulged), " 42\n-0.6\n", "")
    assert "before its first corner" in refusal_of(after("LWPOLYLINE", text, " 10\n-40.0\n", " 42\n-0.6\n 10\n-40.0\n"))


def test_a_number_with_an_underscore_is_none():
    """Where a point was spoilt so the number would be ten times as large; readers in Python take it."""
    text = drawing(lambda document: document.modelspace().add_circle((0, 0), 12.5))
    assert "12_5" in refusal_of(after("CIRCLE", text, " 40\n12.5\n", " 40\n12_5\n"))


@pytest.mark.parametrize("name", ["_MASK", "*U3"])
def test_a_block_inserted_nowhere_is_refused_by_any_name_but_those_of_arrow_heads(name):
    def kept(document):
        document.modelspace().add_lwpolyline(PLATE, close=True)
        document.blocks.new(name).add_lwpolyline([(-40, -25), (40, -25), (40, 25), (-40, 25)], close=True)

    assert f'holds lines in the block "{name}", which is inserted nowhere' in refusal_of(drawing(kept))


def test_blocks_of_dimensions_and_arrow_heads_lie_idle_in_many_drawings():
    def kept(document):
        document.modelspace().add_lwpolyline([(-40, -25), (40, -25), (40, 25), (-40, 25)], close=True)
        for name in ("_DotSmall", "_ArchTick", "*D12"):
            document.blocks.new(name).add_line((0, 0), (1, 1))

    assert read_outline(drawing(kept).encode(), "m.dxf")


def hollow(document):
    """A rectangle whose top comes down by 10 mm as half an ellipse of 80 x 20 mm."""
    space = document.modelspace()
    for a, b in (((-40, -25), (40, -25)), ((40, -25), (40, 25)), ((-40, -25), (-40, 25))):
        space.add_line(a, b)
    space.add_ellipse((0, 25), (40, 0), 0.25, np.pi, 2 * np.pi)


@pytest.mark.parametrize("ratio", ["1.2", "-2.0", "0.0", "1e-9"])
def test_an_ellipse_higher_than_wide_or_flat_is_refused_for_its_reader_would_make_it_a_circle_that_comes_down_less(ratio):
    """DXF reference, ELLIPSE, group code 40: the ratio of minor axis to major axis."""
    whole = drawing(hollow)
    assert read_outline(whole.encode(), "m.dxf")
    assert "short axis is" in refusal_of(after("ELLIPSE", whole, " 40\n0.25\n", f" 40\n{ratio}\n"))


def test_a_shape_whose_plane_has_lost_its_direction_is_refused_for_it_may_have_been_turned_over():
    whole = drawing(lambda document: document.modelspace().add_circle((5, 0), 30, dxfattribs={"extrusion": (0, 0, -1)}))
    assert read_outline(whole.encode(), "m.dxf")
    assert "CIRCLE lies in a plane of no direction" in refusal_of(after("CIRCLE", whole, "230\n-1.0\n", "230\n0.0\n"))


def test_an_old_polyline_with_a_corner_of_a_frame_is_refused():
    """DXF reference, VERTEX, group code 70: 16 marks the corners of a smoothed line's frame, which programs do not draw."""

    def draw(document):
        line = document.modelspace().add_polyline2d([(-40, -25), (40, -25), (40, 25), (0, 0), (-40, 25)], close=True)
        line.vertices[3].dxf.flags = 16

    assert "holds corners of a frame" in refusal_of(drawing(draw))


def old_line(document):
    document.modelspace().add_polyline2d([(-40, -25), (40, -25), (40, 45), (5, 7), (-40, 45)], close=True)


def off_middle(document):
    document.modelspace().add_circle((5, 7), 30)


def put_off_middle(document):
    document.blocks.new("CUT").add_circle((0, 0), 30)
    document.modelspace().add_blockref("CUT", (5, 7))


@pytest.mark.parametrize(("kind", "draw"), [("CIRCLE", off_middle), ("INSERT", put_off_middle), ("VERTEX", old_line)])
@pytest.mark.parametrize("spoilt", [" 20\n7.0\n 10\n5.0\n", " 10\n5.0\n 62\n7\n 20\n7.0\n"])
def test_a_place_whose_numbers_are_parted_is_refused_for_its_reader_would_take_the_middle(kind, draw, spoilt):
    """A cut-out that lies off the lens axis darkens one side."""
    whole = drawing(draw)
    assert read_outline(whole.encode(), "m.dxf")
    start = whole.index(f"\n{kind}\n")
    spoilt_text = whole[:start] + whole[start:].replace(" 10\n5.0\n 20\n7.0\n", spoilt, 1)
    assert spoilt_text != whole
    assert f"{kind} has a place whose numbers do not stand together" in refusal_of(spoilt_text)
