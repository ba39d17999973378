"""What is cut out of a drawing leaves its number (handle) behind: in groups, orders, dimensions, and in the row of numbers.

Where numbers of things stand: DXF reference, GROUP (340), SORTENTSTABLE (331), DIMASSOC (330, 331), "Common Group Codes for
Entities" (102, {ACAD_REACTORS), "Extended Data" (1005); layers: "Common Symbol Table Group Codes", LAYER.
"""

import io
import re

import ezdxf
import pytest

from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

PLATE = [(-95, -70), (95, -70), (95, 70), (-95, 70)]
CUT = [(-45, -30), (45, -30), (45, 30), (-45, 30)]
TONGUE = [(-61, -43), (61, -43), (61, 43), (15, 43), (10, 35), (0, 33), (-10, 35), (-15, 43), (-61, 43)]


def written(document):
    document.header["$INSUNITS"] = 4
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def two(link):
    """A plate's edge and a cut-out in it, and what links them."""
    document = ezdxf.new("R2010")
    space = document.modelspace()
    plate = space.add_lwpolyline(PLATE, close=True)
    cut = space.add_lwpolyline(CUT, close=True)
    link(document, plate, cut)
    return written(document)


def without_last(text, head):
    """The text without the last such thing."""
    before, mark, after = text.rpartition(f"  0\n{head}\n")
    assert mark
    return before + after[after.index("  0\n") :]


def doubts(text):
    return read_outline(text.encode(), "m.dxf").doubts


def grouped(document, plate, cut):
    document.groups.new("MASK").extend([plate, cut])


def ordered(document, plate, cut):
    document.modelspace().set_redraw_order([(plate.dxf.handle, plate.dxf.handle), (cut.dxf.handle, cut.dxf.handle)])


def linked(document, plate, cut):
    document.appids.add("LINKS")
    plate.set_xdata("LINKS", [(1005, cut.dxf.handle)])


def reacting(_, plate, cut):
    plate.set_reactors([cut.dxf.handle])


def test_a_group_that_has_lost_a_member_and_one_outline_is_refused_for_that_may_be_the_plates_edge():
    with pytest.raises(SceneError, match=r"a group of it names a thing by the number .*, which nothing in it has, and one outline"):
        doubts(without_last(two(grouped), "LWPOLYLINE"))


def test_a_group_that_has_lost_a_member_and_more_outlines_is_told():
    document = ezdxf.new("R2010")
    space = document.modelspace()
    left, right, lost = (
        space.add_lwpolyline([(x + dx, y) for x, y in [(-20, -20), (20, -20), (20, 20), (-20, 20)]], close=True)
        for dx in (0, 50, 100)
    )
    document.groups.new("MASK").extend([left, right, lost])
    told = doubts(without_last(written(document), "LWPOLYLINE"))
    assert any("a group of its drawing names a thing by the number" in one for one in told)


@pytest.mark.parametrize(
    ("link", "words"), [(ordered, "the order in which"), (linked, "its LWPOLYLINE names"), (reacting, "its LWPOLYLINE names")]
)
def test_a_number_that_names_nothing_is_told_for_the_cut_out_may_be_lost(link, words):
    (told,) = doubts(without_last(two(link), "LWPOLYLINE"))
    assert words in told
    assert "which nothing in its file has; has a line been lost?" in told


def test_a_dimension_on_what_is_lost_is_told():
    def none(*_):
        pass

    text = without_last(two(none), "LWPOLYLINE").replace("  0\nENDSEC\n  0\nEOF\n", "")
    text += "  0\nDIMASSOC\n  5\nFF1\n330\nA\n100\nAcDbDimAssoc\n330\nFFF\n 90\n1\n 70\n0\n 71\n0\n  0\nENDSEC\n  0\nEOF\n"
    assert any("a dimension of its drawing names a thing by the number FFF" in told for told in doubts(text))


@pytest.mark.parametrize("link", [grouped, ordered, linked, reacting])
@pytest.mark.parametrize("version", ["R2000", "R2010", "R2018"])
def test_numbers_that_name_what_is_there_go_without_a_word(link, version):
    document = ezdxf.new(version)
    space = document.modelspace()
    one, other = (
        space.add_lwpolyline([(x + dx, y) for x, y in [(-20, -20), (20, -20), (20, 20), (-20, 20)]], close=True) for dx in (0, 50)
    )
    link(document, one, other)
    assert not [told for told in doubts(written(document)) if "number" in told]


def old(version):
    document = ezdxf.new(version)
    document.modelspace().add_polyline2d(TONGUE, close=True)
    return written(document)


@pytest.mark.parametrize("version", ["R12", "R2010"])
@pytest.mark.parametrize("lost", [3, 4])
def test_a_row_of_corners_without_some_of_its_numbers_is_told(version, lost):
    text = old(version)
    assert not doubts(text)
    starts = [found.start() for found in re.finditer(r"  0\nVERTEX\n", text)]
    assert any(
        "numbers the corners of a polyline in a row" in told for told in doubts(text[: starts[4]] + text[starts[4 + lost] :])
    )


def chain(corners, version):
    document = ezdxf.new(version)
    space = document.modelspace()
    for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
        space.add_line(start, end)
    return written(document)


NOTCH = [(-61, -43), (61, -43), (61, 43), (10, 43), (0, 33), (-10, 43), (-61, 43)]


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_a_row_of_lines_without_one_of_its_numbers_is_told_for_a_tongue_may_be_lost(version):
    text = chain(NOTCH, version)
    assert not doubts(text)
    first = text.index(" 11\n", text.index(" 10\n10.0\n 20\n43.0\n"))
    second = text.index(" 11\n", text.index(" 10\n0.0\n 20\n33.0\n", first))
    (told,) = doubts(text[:first] + text[second:])
    assert "its file numbers its lines in a row from" in told
    assert "; has a line been lost?" in told


def test_lines_drawn_in_no_row_go_without_a_word():
    document = ezdxf.new("R2010")
    space = document.modelspace()
    corners = list(zip(NOTCH, NOTCH[1:] + NOTCH[:1], strict=True))
    for number, (start, end) in enumerate(corners):
        space.add_line(start, end)
        if number in {1, 3}:
            space.delete_entity(space.add_circle((0, 0), 1))
    assert not doubts(written(document))


def on_layer(version, *, is_stated):
    document = ezdxf.new(version)
    if is_stated:
        document.layers.add("L1")
    document.modelspace().add_polyline2d(CUT, close=True, dxfattribs={"layer": "L1"})
    return written(document)


@pytest.mark.parametrize("version", ["R2000", "R2018"])
def test_a_layer_that_its_table_lacks_is_told_for_it_may_have_been_off(version):
    (told,) = doubts(on_layer(version, is_stated=False))
    assert told == 'its file does not say what its layer "L1" is like; has it been off or frozen?'
    assert not doubts(on_layer(version, is_stated=True))


def test_a_layer_that_its_table_lacks_goes_without_a_word_in_the_old_form_which_need_not_have_it():
    assert not doubts(on_layer("R12", is_stated=False))
