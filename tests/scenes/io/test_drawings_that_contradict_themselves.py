"""A drawing whose text speaks against itself, or that does not tell which line is cut, is refused: a corner lost grows the opening.

What a DXF holds where: DXF reference, group codes of LWPOLYLINE, LINE, INSERT and VERTEX, subclass markers (100), $INSUNITS.
"""

import io
import re

import ezdxf
import pytest

from geometry.outline import area_mm2
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

NOTCHED = [(-33, -22), (33, -22), (33, 22), (10, 22), (10, 5), (4, 5), (4, 22), (-33, 22)]  # metal reaches in from above
PLATE = [(-99, -66), (99, -66), (99, 66), (-99, 66)]
AREA_MM2 = 66 * 44 - 6 * 17


def written(document):
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def drawing(draw, version="R2010", unit=4):
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = unit
    draw(document, document.modelspace())
    return written(document)


def refusal(text):
    with pytest.raises(SceneError) as caught:
        read_outline(text.encode(), "m.dxf")
    (one,) = caught.value.complaints
    assert str(one).isprintable()
    return str(one)


def notched(_, space):
    space.add_lwpolyline(NOTCHED, close=True)


def with_plate(document, space):
    space.add_lwpolyline(PLATE, close=True)
    notched(document, space)


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_a_whole_drawing_with_a_tongue_is_read(version):
    draw = notched if version == "R2010" else lambda _, space: space.add_polyline2d(NOTCHED, close=True)
    assert area_mm2(read_outline(drawing(draw, version).encode(), "m.dxf")) == pytest.approx(AREA_MM2)


@pytest.mark.parametrize(
    ("whole", "damaged"),
    [
        (" 10\n4.0\n 20\n5.0\n", ""),
        (" 10\n4.0\n 20\n5.0\n", " 20\n5.0\n"),
        (" 10\n4.0\n 20\n5.0\n", " 10\n4.0\n"),
        (" 10\n4.0\n 20\n5.0\n", " 10\n4.0\n 21\n5.0\n"),
        (" 10\n4.0\n 20\n5.0\n", "999\n4.0\n999\n5.0\n"),
    ],
)
def test_a_polyline_that_holds_fewer_corners_than_it_states_is_refused(whole, damaged):
    text = drawing(notched)
    assert text.count(whole) == 1
    assert "LWPOLYLINE states 8 corners and holds" in refusal(text.replace(whole, damaged))


@pytest.mark.parametrize(
    "head", ["  0\nTEXT", "  0\nMTEXT", "  0\nATTDEF", "  0\nDIMENSION", "  0\nENDBLK", "  8\nLWPOLYLINE", "999\n-"]
)
def test_a_cut_out_that_has_lost_its_name_does_not_leave_the_plates_edge_as_the_opening(head):
    before, mark, after = drawing(with_plate).rpartition("  0\nLWPOLYLINE")
    assert mark
    assert "LWPOLYLINE has lost its head" in refusal(before + head + after)


def test_a_control_character_of_a_damaged_name_is_not_shown():
    text = drawing(notched)
    said = refusal(text.replace("LWPOLYLINE\n", "LWPOLY\x1dINE\n", 1))
    assert said.isprintable()
    assert "LWPOLY?INE" in said


def test_a_block_whose_place_is_called_a_text_does_not_leave_the_plates_edge_as_the_opening():
    def draw(document, space):
        space.add_lwpolyline(PLATE, close=True)
        document.blocks.new("CUT").add_lwpolyline(NOTCHED, close=True)
        space.add_blockref("CUT", (0, 0))

    assert "INSERT has lost its head" in refusal(drawing(draw).replace("  0\nINSERT", "  0\nMTEXT"))


def test_a_block_that_holds_nothing_is_refused():
    def draw(document, space):
        space.add_lwpolyline(PLATE, close=True)
        document.blocks.new("CUT")
        space.add_blockref("CUT", (0, 0))

    assert 'its block "CUT" holds nothing' in refusal(drawing(draw))


@pytest.mark.parametrize("code", [10, 20])
def test_a_corner_of_an_old_polyline_without_its_place_is_refused(code):
    text = drawing(lambda _, space: space.add_polyline2d(NOTCHED, close=True), "R12")
    before, mark, after = text.rpartition("VERTEX")
    assert f"VERTEX lacks its group code {code}" in refusal(before + mark + re.sub(rf" {code}\n.*\n", "", after, count=1))


def test_two_corners_that_have_run_into_one_are_refused():
    text = drawing(lambda _, space: space.add_polyline2d(NOTCHED, close=True), "R12")
    before, _, after = text.rpartition("  0\nVERTEX\n")
    assert "VERTEX has more than one place" in refusal(before + after)


def test_a_binary_drawing_is_refused_with_the_form_to_save_it_in():
    stream = io.BytesIO()
    document = ezdxf.new("R2010", units=4)
    notched(document, document.modelspace())
    document.write(stream, fmt="bin")
    with pytest.raises(SceneError, match=r"is a binary DXF, which is not read; save it as text \(ASCII\) DXF"):
        read_outline(stream.getvalue(), "m.dxf")


def test_a_drawing_of_another_form_by_the_name_of_a_dxf_is_called_what_it_is():
    """A DWG begins with its version (Open Design Specification for .dwg files, "File header")."""
    with pytest.raises(SceneError, match=r"is a DWG drawing, which is not read; save it as text \(ASCII\) DXF"):
        read_outline(b"AC1032\0\0\0\0\0\x01" + bytes(200), "m.dxf")


def test_two_units_in_one_head_are_refused():
    whole = "  9\n$INSUNITS\n 70\n4\n"
    assert "$INSUNITS = 4, 5" in refusal(drawing(notched).replace(whole, whole + whole.replace("4", "5")))


def test_a_cut_out_of_more_than_any_box_in_a_coarse_unit_is_asked_about():
    assert "its numbers look like mm, but the drawing states another unit" in refusal(drawing(notched, unit=5))  # cm: 660 x 440 mm


def test_outlines_that_overlap_are_refused_instead_of_opened_together():
    def draw(document, space):
        notched(document, space)
        space.add_lwpolyline([(x + 20, y) for x, y in NOTCHED], close=True)

    assert "outlines that cross or touch at x" in refusal(drawing(draw))


@pytest.mark.parametrize(
    ("hide", "words"),
    [
        (lambda document: document.layers.add("old").off(), "off, frozen or not printed"),
        (lambda document: document.layers.add("old").freeze(), "off, frozen or not printed"),
        (lambda document: document.layers.add("old", plot=False), "off, frozen or not printed"),
    ],
)
@pytest.mark.parametrize("in_block", [False, True])
def test_what_does_not_show_or_print_is_refused_for_the_shop_may_cut_it_or_not(hide, words, in_block):
    def draw(document, space):
        hide(document)
        if in_block:
            document.blocks.new("CUT").add_lwpolyline(NOTCHED, close=True)
            space.add_blockref("CUT", (0, 0), dxfattribs={"layer": "old"})
        else:
            space.add_lwpolyline(NOTCHED, close=True, dxfattribs={"layer": "old"})

    assert words in refusal(drawing(draw))


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_lines_on_a_sheet_are_refused_for_the_cut_out_may_be_there_and_only_the_plates_edge_in_the_model(version):
    def draw(document, space):
        space.add_polyline2d(PLATE, close=True)
        document.layout("Layout1").add_circle((0, 0), 40)

    assert 'holds a CIRCLE on the sheet "Layout1", and only what is drawn in model space is read' in refusal(drawing(draw, version))


def test_an_invisible_outline_is_refused():
    draw = drawing(lambda _, space: space.add_lwpolyline(NOTCHED, close=True, dxfattribs={"invisible": 1}))
    assert "that is made invisible" in refusal(draw)


@pytest.mark.parametrize("wide", [{"const_width": 6}, {}])
def test_a_line_drawn_wide_is_refused_for_its_edge_may_be_meant(wide):
    corners = NOTCHED if wide else [(x, y, 5, 5, 0) for x, y in NOTCHED]
    assert "drawn wide" in refusal(drawing(lambda _, space: space.add_lwpolyline(corners, close=True, dxfattribs=wide)))


def test_a_drawing_in_space_is_refused():
    def draw(_, space):
        corners = [(-33, -22, 0), (33, -22, 0), (33, 22, 30), (-33, 22, 30)]
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            space.add_line(a, b)

    assert "its z runs from 0 to 30" in refusal(drawing(draw))


def test_words_of_the_reader_that_quote_the_file_hold_no_control_character():
    assert "had to guess" in refusal(drawing(notched).replace("  0\nENDBLK\n  5\n1D\n", "  0\nENDBLK\n  5\n1\x0f\n"))
