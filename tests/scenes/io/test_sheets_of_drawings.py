"""Words and dimensions on the sheets of a drawing (paper space), which are about the lines in its model, and are held against them.

DXF reference: VIEWPORT (height 41 on the sheet shows view height 45 of the model), DIMENSION (text 1, 13 and 14 what it measures),
DIMLFAC (its sizes on sheets), DIMASSOC (its program measures through the viewport).
"""

import io

import ezdxf
import pytest

from scenes.io.dxf.outline import read_outline

WINDOW, SHOWN = (150, 100), 0.5  # the middle of the window on the sheet, and how large it shows the model


def outline(document):
    stream = io.StringIO()
    document.write(stream)
    return read_outline(stream.getvalue().encode(), "m.dxf")


def corners(width, height):
    x, y = width / 2, height / 2
    return [(-x, -y), (x, -y), (x, y), (-x, y)]


def drawing(draw, *, size=(160, 130), scale=SHOWN, version="R2010", unit=4, windows=1, points=None):
    """A cut-out in the model and a sheet that shows it in windows at this scale."""
    document = ezdxf.new(version, setup=True)
    if version != "R12":
        document.header["$INSUNITS"] = unit
    document.modelspace().add_polyline2d(points or corners(*size), close=True)
    sheet = document.layout("Layout1")
    for _ in range(windows):
        sheet.add_viewport(center=WINDOW, size=(200 * scale, 180 * scale), view_center_point=(0, 0), view_height=180)
    draw(sheet)
    return outline(document).doubts


def text(words):
    return lambda sheet: sheet.add_text(words, dxfattribs={"height": 4})


def dimension(start, end, *, factor=1.0 / SHOWN, words="<>", scale=SHOWN):
    """Of these places in the model, as it stands on the sheet."""

    def draw(sheet):
        p1, p2 = ((WINDOW[0] + x * scale, WINDOW[1] + y * scale) for x, y in (start, end))
        sheet.add_aligned_dim(p1=p1, p2=p2, distance=8, text=words, override={"dimlfac": factor}).render()

    return draw


SAID = """NOT TO SCALE|NTS|SCALE 2:1|1:5|HALF SIZE|all dimensions in cm|UNITS: INCHES|drawn at 50 %|1 unit = 2 mm"""


@pytest.mark.parametrize("words", SAID.split("|"))
def test_words_on_a_sheet_about_scale_or_unit_are_told(words):
    (told,) = drawing(text(words))
    assert told.startswith(f'its sheet "Layout1" says "{words}", and its ')


@pytest.mark.parametrize("words", ["CUT-OUT 90 x 60", "cut-out removed", "NOT FOR PRODUCTION", "90 x 60"])
def test_words_on_a_sheet_about_another_size_or_a_lost_cut_out_are_told(words):
    (told,) = drawing(text(words))
    assert told.startswith(f'its drawing says "{words}", and ')


TITLES = """SCALE 1:2|1:2|Scale: 1 to 2|SCALE 1:1|DO NOT SCALE|SHEET 1 OF 1|MASK 24|AL 2 mm|4x Ø3.2|DIMENSIONS ARE IN MILLIMETERS|
2026-05-01|A3|420 x 297|THIRD ANGLE PROJECTION|REV A|TOLERANCES ±0.1|SCALE|cut-out 160 x 130|FINISH: BLACK ANODISED|
FRONT VIEW|UNLESS OTHERWISE SPECIFIED DIMENSIONS ARE IN MM|DRAWN BY AB|CHECKED|SCALE AS NOTED|DWG NO 12-345|
LINEAR: ±0.1|WEIGHT 12 g|SCALE 1:2 @ A3"""


@pytest.mark.parametrize("words", TITLES.replace("\n", "").split("|"))
def test_a_title_block_with_the_scale_of_its_plot_is_read_without_a_word(words):
    assert drawing(text(words)) == ()


def test_the_side_of_a_view_is_told_where_the_cut_out_is_not_the_same_left_and_right():
    (told,) = drawing(text("VIEW FROM FRONT"), points=[(-60, -30), (60, -30), (60, 10), (40, 10), (40, 30), (-60, 30)])
    assert told.startswith('its sheet "Layout1" says "VIEW FROM FRONT", and its cut-out was read as seen from behind the camera')
    assert drawing(text("VIEW FROM FRONT")) == ()


LONG = ((-80, 65), (80, 65))


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
@pytest.mark.parametrize("scale", [0.5, 1.0, 0.2])
def test_dimensions_on_a_sheet_of_what_is_drawn_are_read_without_a_word(version, scale):
    assert drawing(dimension(*LONG, scale=scale, factor=1.0 / scale), scale=scale, version=version) == ()
    assert drawing(dimension(*LONG, scale=scale, words="160"), scale=scale, version=version) == ()
    assert drawing(dimension(*LONG, scale=scale, words="6.30 in"), scale=scale, version=version) == ()
    assert drawing(dimension(*LONG, scale=scale, words="cut-out width"), scale=scale, version=version) == ()


def test_a_dimension_that_its_program_measures_through_the_window_is_read_without_a_word():
    def draw(sheet):
        dimension(*LONG, factor=1.0)(sheet)
        found = next(one for one in sheet if one.dxftype() == "DIMENSION")
        found.new_extension_dict().add_xrecord("ACAD_DIMASSOC")

    assert drawing(draw) == ()


@pytest.mark.parametrize(
    ("words", "factor", "told"), [("76", 2.0, "says 76"), ("<>", 0.95, "says 76"), ("76 mm", 1.0, "says 76 mm")]
)
def test_a_dimension_on_a_sheet_of_another_size_than_is_drawn_is_told(words, factor, told):
    (doubt,) = drawing(dimension(*LONG, words=words, factor=factor))
    assert doubt == f'a dimension on its sheet "Layout1" {told} where 160 mm is drawn; which of the two is it?'


def test_dimensions_on_a_sheet_of_a_cut_out_that_is_gone_are_told():
    (doubt,) = drawing(dimension((-45, 30), (45, 30)))
    assert doubt.startswith('a dimension on its sheet "Layout1" measures what is not drawn at x -45, y 30 mm; has a line')
    (doubt,) = drawing(dimension(*LONG), windows=0)
    assert doubt.startswith('a dimension on its sheet "Layout1" measures what no window of the sheet shows; has a line')


def test_a_drawing_in_inches_on_a_sheet_in_mm_is_read_without_a_word():
    def draw(sheet):
        sheet.add_viewport(center=WINDOW, size=(101.6, 101.6), view_center_point=(0, 0), view_height=8)  # 1:2
        ends = ((WINDOW[0] + x * 12.7, WINDOW[1] + 2 * 12.7) for x in (-3, 3))
        sheet.add_aligned_dim(p1=next(ends), p2=next(ends), distance=8, override={"dimlfac": 1 / 12.7}).render()
        sheet.add_text("SCALE 1:2", dxfattribs={"height": 4})

    assert drawing(draw, size=(6, 4), unit=1, windows=0) == ()


def test_shapes_on_a_sheet_that_are_no_lines_are_told():
    def draw(sheet):
        sheet.add_hatch().paths.add_polyline_path(corners(45, 30), is_closed=True)

    (doubt,) = drawing(draw)
    assert doubt.startswith('its sheet "Layout1" holds a HATCH, and only what is drawn in model space was read')


def test_words_on_the_sheet_of_a_drawing_in_the_old_form_are_told():
    assert [told[:28] for told in drawing(text("NOT TO SCALE"), version="R12")] == ['its sheet "Layout1" says "NO']


def test_a_drawing_in_the_old_form_with_dimensions_is_read_without_a_word():
    document = ezdxf.new("R12", setup=True)
    space = document.modelspace()
    space.add_polyline2d(corners(160, 130), close=True)
    space.add_aligned_dim(p1=LONG[0], p2=LONG[1], distance=8, override={"dimlfac": 1.0}).render()
    assert outline(document).doubts == ()
