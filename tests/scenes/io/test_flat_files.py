"""Flats as DXF and SVG: audited and measured by ezdxf, and the twins held against each other."""

import io
import re
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from ezdxf import path as dxf_path

from geometry.flats import Flat, upright
from geometry.rings import circle_ring, polygon_ring, rectangle_ring
from geometry.unfold import Bending, ends_of, one_piece
from scenes.io.dxf.outline import read_outline
from scenes.io.flat_files import Drawn, Words, dxf_of, svg_of

UNFOLDED = one_piece(ends_of((120, 100), (180, 170), 80), Bending(thickness_mm=1.5, radius_mm=1.5, k_factor=0.4), 12)
HOOD = upright(Flat(outer=polygon_ring(UNFOLDED.outline_mm), bends=UNFOLDED.bends))
PLATE = Flat(outer=rectangle_ring(190, 160, 6), holes=(circle_ring(65), circle_ring(3, (80, 60))))
DRAWN = Drawn(flats=(PLATE, HOOD.moved((250, 0))), words=(Words(lines=("P01 back plate", "2 mm"), at_mm=(0, -72)),))
SVG = "{http://www.w3.org/2000/svg}"


def read(drawn):
    document = ezdxf.read(io.StringIO(dxf_of(drawn).decode()))
    return document, document.modelspace()


def test_a_drawing_passes_the_audit_and_is_in_millimetres():
    document, space = read(DRAWN)
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert (document.header["$INSUNITS"], document.header["$MEASUREMENT"]) == (4, 1)
    layers = {entity.dxf.layer for entity in space}
    assert layers == {"cut", "bend", "engrave", "check"}


def test_what_is_cut_encloses_the_areas_of_the_flats():
    """Areas of polylines with bulges by ezdxf's own flattening. Those expected: a rectangle less what four arcs of 6 mm cut off
    it, (4 - pi) r^2, and the shoelace formula for a ring of straight lines.
    """
    _, space = read(DRAWN)
    circles = sorted(entity.dxf.radius for entity in space.query('CIRCLE[layer=="cut"]'))
    assert circles == [3, 65]
    found = sorted(
        abs(np.trapezoid(*np.array([(p.y, p.x) for p in [*dxf_path.make_path(one).flattening(0.001)]]).T))
        for one in space.query('LWPOLYLINE[layer=="cut"]')
    )
    x, y = HOOD.outer.points_mm.T
    assert not HOOD.outer.bulges.any()
    hood = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    assert found == pytest.approx(sorted([190 * 160 - (4 - np.pi) * 36, hood]), rel=1e-4)
    assert all(one.closed for one in space.query("LWPOLYLINE"))


def test_bends_are_lines_as_long_as_the_flats():
    _, space = read(DRAWN)
    lines = [(entity.dxf.start - entity.dxf.end).magnitude for entity in space.query('LINE[layer=="bend"]')]
    assert lines == pytest.approx([np.linalg.norm(bend.line_mm[1] - bend.line_mm[0]) for bend in HOOD.bends], rel=1e-9)


def test_the_square_to_measure_is_dimensioned_100_by_100_and_outside_everything():
    _, space = read(DRAWN)
    (square,) = list(space.query('LWPOLYLINE[layer=="check"]'))
    corners = np.array([point[:2] for point in square.get_points()])
    assert np.ptp(corners, axis=0) == pytest.approx([100, 100])
    assert sorted(one.get_measurement() for one in space.query("DIMENSION")) == pytest.approx([100, 100])
    assert corners[:, 1].max() < DRAWN.bounds_mm[1] - 20


def test_the_svg_is_the_same_drawing_at_its_true_size():
    root = ElementTree.fromstring(svg_of(DRAWN, "P01"))
    _left, _top, width, height = map(float, root.get("viewBox").split())
    assert (root.get("width"), root.get("height")) == (f"{width:.3f}mm", f"{height:.3f}mm")
    groups = {group.get("id"): group for group in root.findall(f"{SVG}g")}
    assert list(groups) == ["cut", "bend", "engrave", "check"]
    assert sorted(float(c.get("r")) for c in groups["cut"].findall(f"{SVG}circle")) == [3, 65]
    words = groups["cut"].findall(f"{SVG}path")[1].get("d")
    points = np.array([[float(x), -float(y)] for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", words)])
    ring = HOOD.moved((250, 0)).outer.points_mm
    assert points[:-1] == pytest.approx(ring, abs=1e-3)
    assert points[-1] == pytest.approx(ring[0], abs=1e-3)


def test_the_cut_out_of_a_mask_alone_on_the_layer_cut_is_read_as_the_outline_it_is():
    """The scene's own reader of drawings, on a drawing of nothing but a cut-out of 120 x 80 with corners of 8 mm."""
    cut_out = Flat(outer=rectangle_ring(120, 80, 8))
    document, space = read(Drawn(flats=(cut_out,)))
    for entity in list(space.query('*[layer!="cut"]')):  # the square to measure
        space.delete_entity(entity)
    stream = io.StringIO()
    document.write(stream)
    area = read_outline(stream.getvalue().encode(), source="x").shape.area
    assert area == pytest.approx(120 * 80 - (4 - np.pi) * 64, rel=1e-4)


def test_the_same_drawing_is_the_same_bytes():
    assert dxf_of(DRAWN) == dxf_of(DRAWN)
    assert svg_of(DRAWN, "a & b") == svg_of(DRAWN, "a & b")
