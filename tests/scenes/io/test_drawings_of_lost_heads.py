"""A cut-out of which one byte is spoilt may be swallowed by what stands before it; the plate's edge must not be what is left.

What a DXF holds where: DXF reference, "Common Group Codes for Entities" (5, 8), "BLOCKS Section", POLYLINE, SEQEND, subclass
markers (100). A drawing in the old form (R12) has no markers.
"""

import io
import re

import ezdxf
import pytest

from geometry.outline import area_mm2
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

PLATE = [(-95, -70), (95, -70), (95, 70), (-95, 70)]
CUT = [(-45, -30), (45, -30), (45, 30), (-45, 30)]
HEAD = b"  0\nCIRCLE\n"


def drawing(*draw, version="R12"):
    document = ezdxf.new(version)
    if version != "R12":
        document.header["$INSUNITS"] = 4
    for one in draw:
        one(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def refusal(data):
    with pytest.raises(SceneError) as caught:
        read_outline(data, "m.dxf")
    return str(caught.value)


def plate(space):
    space.add_polyline2d(PLATE, close=True)


def hole(space):
    space.add_circle((0, 0), 42)


BEFORE = {
    "the end of a polyline": [plate],
    "a text": [plate, lambda space: space.add_text("x")],
    "a tolerance": [plate, lambda space: space.new_entity("TOLERANCE", {"insert": (0, 80), "content": "x"})],
    "a dimension": [
        plate,
        lambda space: space.add_linear_dim(base=(0, -80), p1=(-95, -70), p2=(95, -70)).render(),
    ],
}


@pytest.mark.parametrize("before", BEFORE.values(), ids=BEFORE.keys())
@pytest.mark.parametrize("code", [*(f"  {n}" for n in range(1, 10)), "101", "102", "1001", "360"])
def test_a_cut_out_whose_head_is_spoilt_is_not_swallowed_by_what_stands_before_it(before, code):
    whole, mark, after = drawing(*before, hole).rpartition(HEAD)
    assert mark
    assert re.search("is damaged|is no readable DXF", refusal(whole + code.encode() + HEAD[3:] + after))


def test_the_line_at_which_the_lost_thing_is_found_is_named():
    spoilt = drawing(plate, hole).replace(HEAD, b"  8\nCIRCLE\n")
    lost = spoilt[: spoilt.rindex(b"  8\nCIRCLE\n")].count(b"\n") + 1
    (named,) = re.findall(r"at its line (\d+) SEQEND holds what belongs to something else, whose head is lost", refusal(spoilt))
    assert lost <= int(named) < lost + 8


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010"])
def test_the_first_thing_of_a_drawing_is_not_swallowed_by_the_name_of_its_section(version):
    whole = drawing(hole, plate, version=version)
    assert "is damaged" in refusal(whole.replace(HEAD, b"  8\nCIRCLE\n", 1))


LOOSE = b"  8\n0\n 10\n0.0\n 20\n0.0\n 40\n42.0\n"


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
@pytest.mark.parametrize("head", [HEAD, b"  8\nCIRCLE\n"])
@pytest.mark.parametrize("end", [b"  0\nENDSEC\n", b"  0\nENDBLK\n"])
def test_a_cut_out_between_sections_or_blocks_is_not_passed_over(version, head, end):
    whole = drawing(plate, version=version)
    place = whole.index(b"  0\n", whole.index(end, whole.index(b"ENTITIES\n" if end.endswith(b"SEC\n") else b"BLOCKS\n")) + 1)
    assert "is damaged" in refusal(whole[:place] + head + LOOSE + whole[place:])


def cut(space):
    space.add_lwpolyline(CUT, close=True)


@pytest.mark.parametrize("marker", ["AcDbEntity", "AcDbPolyline", "AcDbFoo", "AcDbText"])
@pytest.mark.parametrize("place", ["AcDbEntity", "AcDbPolyline", " 90", " 10"])
def test_a_polyline_of_which_its_reader_takes_no_corner_is_not_passed_over(marker, place):
    before, mark, after = drawing(plate, cut, version="R2010").rpartition(b"LWPOLYLINE\n")
    spoilt = re.sub(rf"((?:100\n)?{place}\n)".encode(), rb"100\n%s\n\1" % marker.encode(), after, count=1)
    assert "LWPOLYLINE" in refusal(before + mark + spoilt)


@pytest.mark.parametrize("draw", [lambda space: space.add_polyline2d([])])
def test_a_line_without_points_is_refused_for_it_may_be_what_is_left_of_the_cut_out(draw):
    assert "without" in refusal(drawing(lambda space: space.add_circle((0, 0), 90), draw, version="R2010"))


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_layers_with_the_names_of_things_are_no_damage(version):
    def named(space):
        space.add_circle((0, 0), 42, dxfattribs={"layer": "CIRCLE"})
        space.add_text("LINE", dxfattribs={"layer": "ARC"})
        block = space.doc.blocks.new("INSERT")
        block.add_attdef("SPLINE", (0, 0), "POLYLINE")
        block.add_text("x")
        space.add_blockref("INSERT", (80, 0)).add_attrib("SPLINE", "VERTEX", (80, 0))

    assert area_mm2(read_outline(drawing(named, version=version), "m.dxf")) == pytest.approx(42 * 42 * 3.14159, rel=1e-3)
