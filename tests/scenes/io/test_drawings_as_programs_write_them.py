"""Dimensions, notes and fields of a sound drawing in every version of DXF: none of them is taken for damage.

DXF reference: DIMENSION (group code 70, kinds), ARC_DIMENSION, MTEXT (columns: texts of their own before R2018), ATTRIB and ATTDEF
(R2018 states the second place, 11 and 21, with both of their markers), LEADER, MULTILEADER.
"""

import io
import math

import ezdxf
import pytest
from ezdxf.entities import MText
from ezdxf.enums import TextEntityAlignment
from ezdxf.math import Vec2
from ezdxf.render.mleader import ConnectionSide

from geometry.outline import area_mm2
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

VERSIONS = ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"]
SINCE_2000 = VERSIONS[1:]
HALF_WIDTH, HALF_HEIGHT, ROUND = 80.0, 65.0, 20.0
AREA_MM2 = 4 * HALF_WIDTH * HALF_HEIGHT - (4 - math.pi) * ROUND**2
MIDDLE = (HALF_WIDTH - ROUND, HALF_HEIGHT - ROUND)  # of the corner at the upper right
FULL_SIZE = {"dimlfac": 1.0}
ARC_MM = ROUND * math.pi / 2  # of a quarter of a circle


def rounded(space):
    x, y = MIDDLE
    for a, b in [
        ((-x, -HALF_HEIGHT), (x, -HALF_HEIGHT)),
        ((HALF_WIDTH, -y), (HALF_WIDTH, y)),
        ((x, HALF_HEIGHT), (-x, HALF_HEIGHT)),
        ((-HALF_WIDTH, y), (-HALF_WIDTH, -y)),
    ]:
        space.add_line(a, b)
    for start, middle in zip((0, 90, 180, 270), [(x, y), (-x, y), (-x, -y), (x, -y)], strict=True):
        space.add_arc(middle, ROUND, start, start + 90)


def drawing(draw, version):
    document = ezdxf.new(version, setup=True)
    if version != "R12":
        document.header["$INSUNITS"] = 4
    rounded(document.modelspace())
    draw(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def answer(text):
    """What the drawing is refused with or makes doubt of; empty where it is read whole without a word."""
    try:
        read = read_outline(text.encode(), "m.dxf")
    except SceneError as error:
        return str(error)
    assert area_mm2(read) == pytest.approx(AREA_MM2, rel=1e-4)
    return " ".join(read.doubts)


def dimensions(space):
    x, y = MIDDLE
    space.add_linear_dim(base=(0, -80), p1=(-HALF_WIDTH, -y), p2=(HALF_WIDTH, -y), override=FULL_SIZE).render()
    space.add_aligned_dim(p1=(-x, HALF_HEIGHT), p2=(x, HALF_HEIGHT), distance=10, override=FULL_SIZE).render()
    bottom, side = ((0, -HALF_HEIGHT), (x, -HALF_HEIGHT)), ((HALF_WIDTH, 0), (HALF_WIDTH, y))
    space.add_angular_dim_2l(base=(30, 30), line1=bottom, line2=side, override=FULL_SIZE).render()
    space.add_angular_dim_3p(base=(90, 75), center=MIDDLE, p1=(HALF_WIDTH, y), p2=(x, HALF_HEIGHT), override=FULL_SIZE).render()
    space.add_radius_dim(center=MIDDLE, radius=ROUND, angle=45, override=FULL_SIZE).render()
    space.add_diameter_dim(center=MIDDLE, radius=ROUND, angle=45, override=FULL_SIZE).render()
    space.add_ordinate_x_dim(feature_location=(x, HALF_HEIGHT), offset=(0, 20), origin=(0, 0), override=FULL_SIZE).render()
    space.add_ordinate_y_dim(feature_location=(HALF_WIDTH, y), offset=(20, 0), origin=(0, 0), override=FULL_SIZE).render()


def arc_length(words="<>", factor=1.0, turn=90.0):
    def draw(space):
        own = {"dimlfac": factor}
        arc = {"center": MIDDLE, "radius": ROUND, "start_angle": 0, "end_angle": turn, "distance": 5, "text": words}
        space.add_arc_dim_cra(**arc, override=own).render()

    return draw


def large_radius(space):
    place = (MIDDLE[0] + ROUND * math.sqrt(0.5), MIDDLE[1] + ROUND * math.sqrt(0.5))
    points = {"defpoint": MIDDLE, "chord_point": place, "override_center": (30, 30), "jog_point": (35, 35)}
    shown = space.doc.blocks.new_anonymous_block(type_char="D")
    space.new_entity("LARGE_RADIAL_DIMENSION", {"dimtype": 9, "geometry": shown.name, **points})


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("draw", [dimensions, arc_length(), arc_length(words="31.4"), large_radius])
def test_every_kind_of_dimension_is_read(draw, version):
    assert answer(drawing(draw, version)) == ""


@pytest.mark.parametrize("version", ["R2013", "R2018"])
def test_an_arcs_length_of_another_size_than_its_arc_is_refused(version):
    """The length of a quarter of a circle of radius 20 is 10 pi."""
    told = answer(drawing(arc_length(words="62.8"), version))
    assert f"is not drawn at full size: a dimension says 62.8 where {ARC_MM:.4g} is drawn" in told
    assert "its dimensions count 2 times what is drawn" in answer(drawing(arc_length(factor=2.0), version))


@pytest.mark.parametrize("version", ["R2013", "R2018"])
def test_an_arcs_length_the_other_way_round_is_read(version):
    assert answer(drawing(arc_length(words=f"{3 * ARC_MM:.1f}"), version)) == ""


def test_an_arcs_length_of_an_arc_that_is_gone_is_told():
    x, y = MIDDLE
    text = drawing(arc_length(), "R2018").replace(f" 13\n{x + ROUND}\n 23\n{y}\n", " 13\n30.0\n 23\n45.0\n")
    moved = text.replace(f" 14\n{x}\n 24\n{y + ROUND}\n", " 14\n60.0\n 24\n15.0\n")
    assert "measures what is not drawn there" in answer(moved)


def note(space):
    space.add_mtext("DEBURR\\PBLACK", dxfattribs={"char_height": 4, "insert": (100, 100)})


LOOK = {"char_height": 4, "insert": (100, 100)}


def equal_columns(*contents):
    return lambda space: space.add_mtext_static_columns(list(contents), width=50, gutter_width=5, height=99, dxfattribs=LOOK)


def uneven_columns(space):
    space.add_mtext_dynamic_manual_height_columns("A\nB\nC", width=50, gutter_width=5, heights=[9, 9, 9], dxfattribs=LOOK)


def flowing_columns(space):
    space.add_mtext_dynamic_auto_height_columns("A\nB\nC", width=50, gutter_width=5, height=9, count=2, dxfattribs=LOOK)


def leader(space):
    space.add_leader([(HALF_WIDTH, 45), (100, 60), (110, 60)])


def callout(space):
    builder = space.add_multileader_mtext("Standard")
    builder.set_content("R20\ntyp")
    builder.add_leader_line(ConnectionSide.left, [Vec2(HALF_WIDTH, 45)])
    builder.build(insert=Vec2(110, 60))


def balloon(space):
    fields(space)
    builder = space.add_multileader_block("Standard")
    builder.set_content("FIELDS")
    builder.set_attribute("REV", "C")
    builder.add_leader_line(ConnectionSide.left, [Vec2(HALF_WIDTH, 45)])
    builder.build(insert=Vec2(110, 60))


@pytest.mark.parametrize("version", SINCE_2000)
@pytest.mark.parametrize("draw", [note, equal_columns("A", "B"), uneven_columns, flowing_columns, leader, callout, balloon])
def test_notes_and_leaders_are_read(draw, version):
    assert answer(drawing(draw, version)) == ""


@pytest.mark.parametrize("version", ["R2010", "R2018"])
def test_words_of_a_second_column_are_read(version):
    assert "not drawn at full size" in answer(drawing(equal_columns("DEBURR", "SCALE 2:1"), version))


def fields(space):
    block = space.doc.blocks.new("FIELDS")
    block.add_attdef("REV", (5, 5), text="A", dxfattribs={"height": 3})
    block.add_attdef("NAME", text="-", dxfattribs={"height": 3}).set_placement((20, 5), align=TextEntityAlignment.MIDDLE_CENTER)
    space.add_blockref("FIELDS", (100, -100)).add_auto_attribs({"REV": "B", "NAME": "MASK"})


def field_of_lines(words):
    def draw(space):
        block = space.doc.blocks.new("FIELD")
        look = {"char_height": 3, "insert": (7, 7), "text": words}
        block.add_attdef("M", (7, 7), text="x", dxfattribs={"height": 3}).embed_mtext(MText.new(dxfattribs=look, doc=space.doc))
        told = MText.new(dxfattribs={**look, "insert": (107, -93)}, doc=space.doc)
        space.add_blockref("FIELD", (100, -100)).add_attrib("M", "x", (107, -93)).embed_mtext(told)

    return draw


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("draw", [fields, field_of_lines("MASK\\PBLACK")])
def test_fields_of_blocks_are_read(draw, version):
    assert answer(drawing(draw, version)) == ""


def test_words_of_a_field_of_several_lines_are_read():
    assert "not drawn at full size" in answer(drawing(field_of_lines("MASK\\PSCALE 2:1"), "R2018"))


@pytest.mark.parametrize("kind", ["ATTDEF", "ATTRIB"])
def test_a_field_whose_two_places_differ_is_refused(kind):
    text = drawing(fields, "R2018")
    start = text.rindex(f"\n{kind}\n")
    place = text.index(" 11\n", start)
    damaged = text[:place] + " 11\n999.0\n" + text[text.index(" 21\n", place) :]
    assert f"is damaged: {kind} has more than one place" in answer(damaged)
