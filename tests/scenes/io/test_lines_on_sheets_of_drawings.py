"""Lines on the sheets of a drawing (paper space): its border and title block are passed over, what may be the cut-out is refused.

What layouts hold: DXF reference, LAYOUT, VIEWPORT (height 41 on the sheet shows view height 45 of the model), INSERT and ATTRIB.
"""

import io

import ezdxf
import pytest

from geometry.outline import area_mm2
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

WIDTH, HEIGHT = 160.0, 130.0  # of what is drawn in the model
MIDDLE = (150, 130)  # of the window on the sheet
LEFT_THERE = "and only what is drawn in model space was read; has the cut-out been left there?"


def box(x0, y0, x1, y1):
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def drawing(*draw, version="R2010", in_model=True):
    document = ezdxf.new(version, setup=True)
    if version != "R12":
        document.header["$INSUNITS"] = 4
    if in_model:
        document.modelspace().add_polyline2d(box(-WIDTH / 2, -HEIGHT / 2, WIDTH / 2, HEIGHT / 2), close=True)
    sheet = document.layout("Layout1")
    for one in draw:
        one(sheet)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def answer(*draw, **how):
    """What the drawing is refused with or makes doubt of; empty where the model's outline is read without a word."""
    try:
        read = read_outline(drawing(*draw, **how).encode(), "m.dxf")
    except SceneError as error:
        return str(error)
    assert area_mm2(read) == pytest.approx(WIDTH * HEIGHT)
    return " ".join(read.doubts)


def window(sheet, *, size=(200, 200), middle=MIDDLE, scale=1.0):
    sheet.add_viewport(center=middle, size=size, view_center_point=(0, 0), view_height=size[1] / scale)


def large_window(sheet):
    """Over the whole sheet, with its border within."""
    window(sheet, size=(400, 280), middle=(210, 148))


def block(name, corners, at=(0, 0), *, fields=False, words=""):
    def draw(sheet):
        made = sheet.doc.blocks.new(name)
        made.add_polyline2d(corners, close=True)
        if words:
            made.add_text(words, dxfattribs={"height": 3})
        if fields:
            made.add_attdef("REV", (5, 5), text="A", dxfattribs={"height": 3})
        shown = sheet.add_blockref(name, at)
        if fields:
            shown.add_auto_attribs({"REV": "B"})

    return draw


TITLE = block("TITLE BLOCK", box(0, 0, 100, 30), (310, 10), fields=True, words="SCALE 1:1")
VERSIONS = ["R12", "R2000", "R2010", "R2018"]


def words_and_size(sheet):
    sheet.add_text("MASK 24", dxfattribs={"height": 4, "insert": (320, 50)})
    ends = [(MIDDLE[0] + x, MIDDLE[1] + HEIGHT / 2) for x in (-WIDTH / 2, WIDTH / 2)]
    sheet.add_aligned_dim(p1=ends[0], p2=ends[1], distance=10, override={"dimlfac": 1.0}).render()


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("name", ["A3 FRAME", "border", "DIN_A3", "Zeichnungsrahmen"])
def test_a_sheet_with_border_title_block_window_words_and_size_is_read_without_a_word(name, version):
    border = block(name, box(10, 10, 410, 287))
    assert answer(window, border, TITLE, words_and_size, version=version) == ""


@pytest.mark.parametrize("version", VERSIONS)
def test_a_border_of_bare_lines_is_read_with_a_caution(version):
    told = answer(window, TITLE, lambda sheet: sheet.add_polyline2d(box(10, 10, 410, 287), close=True), version=version)
    assert told == f'its sheet "Layout1" holds a POLYLINE, {LEFT_THERE}'


def test_a_border_within_a_window_over_the_whole_sheet_is_read_with_a_caution():
    told = answer(large_window, TITLE, lambda sheet: sheet.add_lwpolyline(box(12, 12, 408, 285), close=True))
    assert told == f'its sheet "Layout1" holds a LWPOLYLINE, {LEFT_THERE}'


def test_a_title_block_on_a_sheet_that_shows_nothing_is_told():
    assert answer(TITLE) == f'its sheet "Layout1" holds the block "TITLE BLOCK", {LEFT_THERE}'


def test_a_title_block_over_what_is_shown_is_told():
    over = block("TITLE BLOCK", box(0, 0, 60, 30), MIDDLE)
    assert answer(window, over) == f'its sheet "Layout1" holds the block "TITLE BLOCK", {LEFT_THERE}'


def test_a_block_beside_the_window_is_told():
    assert (
        answer(window, block("LOGO", box(0, 0, 20, 20), (350, 130))) == f'its sheet "Layout1" holds the block "LOGO", {LEFT_THERE}'
    )


@pytest.mark.parametrize("scale", [1.0, 0.5])
@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("in_block", [False, True])
def test_a_cut_out_on_the_sheet_over_the_plate_that_a_window_shows_is_refused(in_block, version, scale):
    half = 30 * scale
    corners = box(MIDDLE[0] - half, MIDDLE[1] - half, MIDDLE[0] + half, MIDDLE[1] + half)
    cut = block("CUT", corners) if in_block else lambda sheet: sheet.add_polyline2d(corners, close=True)
    told = answer(lambda sheet: window(sheet, scale=scale), TITLE, cut, version=version)
    assert 'on the sheet "Layout1", over what its window shows of the model, and only what is drawn in model space is read' in told


@pytest.mark.parametrize(("name", "fields"), [("FRAME", False), ("P01", True), ("MASK FRAME", True)])
def test_a_border_or_a_block_with_fields_over_the_plate_that_a_window_shows_is_refused_for_it_may_be_the_cut_out(name, fields):
    over = block(name, box(-30, -30, 30, 30), MIDDLE, fields=fields)
    assert f'holds the block "{name}" on the sheet "Layout1", over what its window shows' in answer(window, over)


@pytest.mark.parametrize(("name", "fields"), [("A3", False), ("P01", True)])
def test_a_border_or_a_block_with_fields_on_a_sheet_without_a_window_is_told(name, fields):
    assert f'holds the block "{name}", {LEFT_THERE}' in answer(block(name, box(0, 0, 90, 30), fields=fields))


def test_a_block_that_is_called_a_cut_out_is_no_border():
    assert 'holds the block "MASK FRAME" on the sheet' in answer(block("MASK FRAME", box(0, 0, 90, 30), fields=True))


def test_a_title_block_that_is_kept_in_another_file_is_told():
    def draw(sheet):
        sheet.doc.add_xref_def("title.dwg", "TITLE")
        sheet.add_blockref("TITLE", (310, 10))

    assert answer(window, draw) == f'its sheet "Layout1" holds the block "TITLE", {LEFT_THERE}'


@pytest.mark.parametrize("draw", [lambda sheet: sheet.add_circle((0, 0), 40), block("CUT", box(-30, -30, 30, 30))])
def test_a_cut_out_on_a_sheet_without_a_window_is_refused(draw):
    assert 'on the sheet "Layout1", and only what is drawn in model space is read; move the cut-out there' in answer(draw)


def test_a_cut_out_on_a_sheet_beside_an_empty_model_is_named():
    told = answer(window, lambda sheet: sheet.add_circle((350, 130), 40), in_model=False)
    assert 'holds a CIRCLE on the sheet "Layout1", and only what is drawn in model space is read' in told


def test_words_in_a_title_block_are_held_against_the_model():
    told = answer(window, block("TITLE BLOCK", box(0, 0, 100, 30), (310, 10), words="SCALE 2:1"))
    assert told.startswith('its sheet "Layout1" says "SCALE 2:1", and its cut-out was read at full size')


def test_blocks_on_a_sheet_of_copies_without_end_are_refused_soon():
    def draw(sheet):
        sheet.doc.blocks.new("B0").add_text("x")
        for depth in range(12):
            copies = sheet.doc.blocks.new(f"B{depth + 1}")
            for _ in range(12):
                copies.add_blockref(f"B{depth}", (0, 0))
        sheet.add_blockref("B12", (0, 0))

    assert 'holds the block "B12" on the sheet "Layout1"' in answer(window, draw)


@pytest.mark.parametrize("at", [(0, 0), (100, -90)])
def test_a_title_block_in_model_space_is_refused_with_the_way_out(at):
    def draw(sheet):
        block("Schriftfeld", box(0, 0, 100, 30), at)(sheet.doc.modelspace())

    told = answer(draw)
    assert 'holds the title block "Schriftfeld" in model space, where its lines are read as lines to cut; delete it there' in told
    assert "move it to a sheet (paper space)" in told


def test_a_sheets_frame_in_model_space_is_refused_with_the_way_out():
    told = answer(lambda sheet: sheet.doc.modelspace().add_lwpolyline(box(-200, -140, 200, 140), close=True))
    assert "keep only the cut-out, without the plate's edge, screw holes and a sheet's frame" in told
