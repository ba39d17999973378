"""A digit of a group code that changed hides a bulge, a scale or a turn, for readers pass over what they do not know.

Which thing has which codes: DXF reference, "Common Group Codes for Entities", ENTITIES, BLOCKS, LAYER, "Extended Data"; the drawing
library's own list of what it reads is held against ours.
"""

import io
import re

import ezdxf
import pytest
from ezdxf.entities import factory
from ezdxf.lldxf.attributes import XType

from geometry.outline import area_mm2
from scenes.io.dxf.foreign_codes import ALLOWED
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

VERSIONS = ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"]
BULGED = [(-45, -30, 0), (45, -30, 0.5), (45, 30, 0), (-45, 30, 0)]
SQUARE = [(-45, -30), (45, -30), (45, 30), (-45, 30)]


def drawing(draw, version="R2010"):
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 4
    draw(document, document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def refusal(text):
    with pytest.raises(SceneError) as caught:
        read_outline(text.encode(), "m.dxf")
    return str(caught.value)


def with_code(text, head, code, other, value=None):
    """The text with one group code of the last such thing changed."""
    before, mark, after = text.rpartition(f"  0\n{head}\n")
    spoilt, count = re.subn(rf"(?m)^ *{code}\n({value or '.*'})$", rf"{other}\n\1", after, count=1)
    assert mark
    assert count == 1
    return before + mark + spoilt


def bulged(_, space):
    space.add_lwpolyline(BULGED, format="xyb", close=True)


def old_bulged(_, space):
    space.add_polyline2d(BULGED, format="xyb", close=True)


def inserted(document, space, **attribs):
    block = document.blocks.new("CUT", base_point=(14, 0))
    block.add_polyline2d([(x + 14, y) for x, y in SQUARE], close=True)
    space.add_blockref("CUT", (0, 0), dxfattribs=attribs)


def elliptic(_, space):
    space.add_ellipse((0, 0), (45, 0), 0.5, 0, 3.0)
    space.add_line(space[-1].start_point, space[-1].end_point)


@pytest.mark.parametrize("code", ["2", "44", "46", "142", "452", "-42", "1042", "48", "60", "62", "92"])
def test_a_bulge_under_another_code_is_refused(code):
    assert "is damaged: " in refusal(with_code(drawing(bulged), "LWPOLYLINE", 42, code, "0.5"))


@pytest.mark.parametrize("version", ["R12", "R2018"])
@pytest.mark.parametrize("code", ["44", "46", "47", "48", "142", "-42", "1042", "62", "72"])
def test_a_bulge_of_an_old_polyline_under_another_code_is_refused(version, code):
    spoilt, count = re.subn(r"(VERTEX\n(?:.*\n)*?) 42\n0\.5\n", rf"\g<1>{code}\n0.5\n", drawing(old_bulged, version))
    assert count == 1
    assert "is damaged: " in refusal(spoilt)


@pytest.mark.parametrize("version", ["R12", "R2018"])
@pytest.mark.parametrize("code", ["51", "54", "58", "59", "150", "550", "-50", "1050", "60"])
def test_a_turn_of_a_block_under_another_code_is_refused(version, code):
    text = drawing(lambda document, space: inserted(document, space, rotation=90), version)
    assert "is damaged: " in refusal(with_code(text, "INSERT", 50, code))


@pytest.mark.parametrize(("code", "other"), [(41, 46), (42, 44), (42, 142), (41, 1041)])
def test_an_end_of_an_ellipse_under_another_code_is_refused(code, other):
    before, mark, after = drawing(elliptic).rpartition("  0\nLINE\n")
    assert "ELLIPSE holds the group code" in refusal(with_code(before, "ELLIPSE", code, other) + mark + after)


@pytest.mark.parametrize("version", ["R12", "R2010"])
@pytest.mark.parametrize("other", ["66", "60", "92", "162", "-62", "999"])
def test_a_layer_whose_colour_stands_under_another_code_is_refused_for_it_may_have_been_off(version, other):
    text = drawing(
        lambda document, space: (
            document.layers.add("old", color=3).off(),
            space.add_polyline2d(SQUARE, close=True, dxfattribs={"layer": "old"}),
        ),
        version,
    )
    assert re.search("is damaged: LAYER", refusal(re.sub(r"(?m)^ *62\n-3$", f"{other}\n-3", text)))


@pytest.mark.parametrize("version", ["R12", "R2018"])
@pytest.mark.parametrize("code", [10, 20])
def test_a_block_without_its_base_point_is_refused(version, code):
    before, mark, after = drawing(inserted, version).rpartition("AcDbBlockBegin" if version != "R12" else "  0\nBLOCK\n")
    assert mark
    lost = re.sub(rf"(?m)^ 10\n.*\n 20\n.*\n 30\n.*\n|^ {code}\n.*\n", "", after, count=1)
    assert "is damaged: BLOCK" in refusal(before + mark + lost)


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_a_flat_polyline_that_says_that_it_lies_in_space_is_refused_for_its_bulges_would_be_lost(version):
    text = drawing(old_bulged, version)
    assert "is damaged: " in refusal(re.sub(r"(POLYLINE\n(?:.*\n)*? 70\n)1\n", r"\g<1>9\n", text))


def test_a_polyline_in_space_that_is_flat_is_read():
    text = drawing(lambda _, space: space.add_polyline3d(SQUARE, close=True), "R12")
    assert area_mm2(read_outline(text.encode(), "m.dxf")) == pytest.approx(90 * 60)


@pytest.mark.parametrize("scales", [{"zscale": 0.85}, {"xscale": 0.85, "yscale": 0.85, "zscale": 0.5}])
def test_a_block_whose_scale_in_depth_differs_is_refused_for_the_others_may_be_lost(scales):
    assert "at two scales" in refusal(drawing(lambda document, space: inserted(document, space, **scales)))


@pytest.mark.parametrize("scale", [{"xscale": 0.85, "yscale": 0.85}, {"xscale": 0.85, "yscale": 0.85, "zscale": 0.85}])
def test_a_block_at_one_scale_or_flat_is_read(scale):
    text = drawing(lambda document, space: inserted(document, space, **scale))
    assert area_mm2(read_outline(text.encode(), "m.dxf")) == pytest.approx(90 * 60 * 0.85**2)


@pytest.mark.parametrize("lost", [(210,), (220,), (210, 220)])
def test_a_direction_of_which_a_number_is_lost_is_refused_for_it_turns_the_cut_out_over(lost):
    text = drawing(lambda _, space: space.add_lwpolyline(SQUARE, close=True, dxfattribs={"extrusion": (0, 0, -1)}))
    for code in lost:
        text = re.sub(rf"(?m)^ *{code}\n.*\n", "", text)
    assert "states its direction (210, 220, 230) in part" in refusal(text)


def everything(document, space):
    document.appids.add("SHOP")
    layer = document.layers.add("cut", color=3, lineweight=25)
    for name, value in {"true_color": 255, "linetype": "CONTINUOUS", "plot": 1}.items():
        layer.dxf.set(name, value)
    attribs = {"layer": "cut", "color": 5, "lineweight": 25, "ltscale": 2.0, "true_color": 999, "linetype": "CONTINUOUS"}
    if document.dxfversion == "AC1009":
        attribs = {"layer": "cut", "color": 5, "linetype": "CONTINUOUS"}
    block = document.blocks.new("CUT", base_point=(1, 2))
    block.add_arc((0, 0), 30, 0, 180, dxfattribs={**attribs, "thickness": 1})
    block.add_line((-30, 0), (-30, -20), dxfattribs=attribs)
    block.add_line((30, 0), (30, -20), dxfattribs=attribs)
    block.add_polyline2d([(-30, -20, 0.2), (30, -20, 0)], format="xyb", dxfattribs=attribs)
    if document.dxfversion != "AC1009":
        block.add_lwpolyline([(-40, -30, 0.2), (-35, -30, 0), (-35, -25, 0)], format="xyb", close=True, dxfattribs=attribs)
        block.add_ellipse((-40, 40), (3, 0), 0.5, dxfattribs=attribs)
        spline = block.add_spline(dxfattribs=attribs)
        spline.set_closed([(40, 40, 0), (45, 40, 0), (45, 45, 0), (40, 45, 0)])
    block.add_circle((40, -30), 3, dxfattribs=attribs)
    reference = space.add_blockref("CUT", (1, 2), dxfattribs={**attribs, "rotation": 0})
    reference.set_xdata("SHOP", [(1000, "x"), (1040, 1.0), (1070, 3), (1010, (1, 2, 3)), (1042, 2.0)])
    for thing in block:
        thing.set_xdata("SHOP", [(1000, "x"), (1042, 2.0)])
        if document.dxfversion != "AC1009":
            thing.set_app_data("SHOP", [(300, "x"), (330, "0")])
            thing.set_reactors([space.block_record_handle])
            thing.new_extension_dict()


@pytest.mark.parametrize("version", VERSIONS)
def test_a_sound_drawing_of_every_version_with_all_that_things_may_have_is_read(version):
    assert area_mm2(read_outline(drawing(everything, version).encode(), "m.dxf")) > 0


@pytest.mark.parametrize("head", sorted(ALLOWED))
def test_no_code_that_the_drawing_library_knows_of_a_thing_is_refused(head):
    known = set()
    for attribute in factory.ENTITY_CLASSES[head].DXFATTRIBS._attribs.values():
        is_place = attribute.xtype in {XType.point2d, XType.point3d, XType.any_point}
        known |= {attribute.code + step for step in ((0, 10, 20) if is_place else (0,)) if attribute.code}
    assert not known - ALLOWED[head]


@pytest.mark.parametrize("version", ["R2000", "R2018"])
def test_corners_with_one_height_throughout_are_read_and_others_refused(version):
    text = re.sub(
        r"(?m)^( 20\n-?30.*)$", r"\1\n 30\n2.0", drawing(lambda _, space: space.add_lwpolyline(SQUARE, close=True), version)
    )
    assert area_mm2(read_outline(text.encode(), "m.dxf")) == pytest.approx(90 * 60)
    before, _, after = text.rpartition(" 30\n2.0")
    assert "z (30)" in refusal(before + " 30\n5.0" + after)
    assert "z (30)" in refusal(before.rstrip("\n") + after)


def through(tolerance, off):
    def draw(_, space):
        spline = space.add_spline(dxfattribs={"fit_tolerance": tolerance})
        spline.set_closed([(30, -30, 0), (30, 30, 0), (-30, 30, 0), (-30, -30, 0)])
        place = spline.construction_tool().point(4.0)
        spline.fit_points = [(place.x, place.y + off)]

    return drawing(draw)


def test_a_spline_may_pass_off_its_points_by_the_tolerance_that_it_states_and_no_more():
    assert read_outline(through(0.1, 0.05).encode(), "m.dxf")
    assert "mm off its own points" in refusal(through(0.1, 0.3))
    assert "off its own points" in refusal(through(9.0, 3.0))


@pytest.mark.parametrize("version", ["R12", "R2010"])
@pytest.mark.parametrize(
    "change",
    [
        lambda data: b"\xef\xbb\xbf" + data,
        lambda data: data + b"\x1a",
        lambda data: data.replace(b"\n", b"\r\n") + b"\x1a\0\0",
        lambda data: data.replace(b"\n", b"\r"),
        lambda data: data.replace(b"\n", b"\r").rstrip() + b"\x1a",
    ],
)
def test_what_systems_put_at_the_ends_of_lines_and_files_is_no_damage(version, change):
    text = drawing(lambda _, space: space.add_polyline2d(SQUARE, close=True), version)
    assert area_mm2(read_outline(change(text.encode()), "m.dxf")) == pytest.approx(90 * 60)
