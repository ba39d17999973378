"""Words and dimensions of a drawing that speak against how it is read: at full size, in its unit, seen from behind the camera."""

import io
import time

import ezdxf
import pytest

from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError

MM, INCHES, CM, UNITLESS = 4, 1, 5, 0  # DXF reference, $INSUNITS
EVEN = ((-70, -50), (70, -50), (70, 50), (-70, 50))
UNEVEN = ((-70, -50), (70, -44), (70, 50), (-40, 50))  # no corner has one opposite: it is meant so


def drawing(*texts, unit=MM, corners=EVEN, share=1.0, add=None):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = unit
    space = document.modelspace()
    space.add_lwpolyline([(share * x, share * y) for x, y in corners], close=True)
    for text in texts:
        space.add_mtext(text)
    if add is not None:
        add(space)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def refusal_of(data):
    with pytest.raises(SceneError) as caught:
        read_outline(data, "m.dxf")
    return str(caught.value)


def doubts_of(data):
    return read_outline(data, "m.dxf").doubts


OTHER_SCALES = [
    "M 1/2",
    "M1/5",
    "2x full size",
    "2 times actual size",
    "full size x2",
    "50 % of full size",
    "1/2 size",
    "double the size",
    "reduced to 50 %",
    "enlarged 200 %",
    "verkleinert auf 50 %",
    "printed at 50 %",
    "scaled by 2x",
    "1 unit = 2 mm",
    "1 cm = 1 m",
    "1\"=1'",
    "200 %",
    "ECH 1/2",
    "magnification factor 2x",
    "(50%)",
    "MASSSTAB zwei zu eins",
    "scale one to two",
    "échelle un à deux",
    "Massstab: halb",
    "doppelte Größe",
    "escala doble",
    "ohne Maßstab",
    "mittakaava 0.5",
]


@pytest.mark.parametrize("text", OTHER_SCALES)
def test_words_that_plainly_tell_another_size_than_drawn_refuse_the_drawing_and_are_quoted(text):
    assert f'not drawn at full size: its text says "{text.strip("()")}' in refusal_of(drawing(text)).replace('says "(', 'says "')


@pytest.mark.parametrize(
    "text",
    ["1:15", "12:1", "2-1", "1/2", "50 % grey", "scaled by 2", "scale two, see sheet 3", "2=1", "1:1.5", "verkleinert gezeichnet"],
)
def test_words_that_may_tell_a_scale_or_something_else_are_a_caution_that_quotes_them(text):
    (doubt,) = doubts_of(drawing(text))
    assert doubt.startswith(f'its drawing says "{text}", and was read at full size')


ORDINARY = """AL 2 mm|M3|2x M3|4x Ø3.2|A-12|12-345|Rev 2|2026-05-01|12/05/2026|drawn 12/05|Sheet 1 of 2|sheet 1/2|1/4 inch ply|
1/4-20 UNC|MASK 40|ISO 2768-mK|ISO 2768-1|do not scale drawing|DO NOT SCALE, SHEET 2|SCALE 1:1|SCALE: FULL, SHEET 2|full size|
full size 1:1|printed at 100 %|100 %|40 2x anamorphic|Ra 1.6|tolerance ±0.1|steel 1.5 mm|Mask for 35, 50 mm|2.39:1|16:9|
this side to the lens|DIN A4|10:15|2:15 pm|R5|4 holes M3|1 unit = 1 mm|1 in = 25.4 mm|rubber feet|lens foot|Foot|full size, 2x M3|
full size 2x M3|qty 2|2 off|J. Meter|drawn by T. O'Neil|size: A3|TOP|100 mm square: measure it, do not cut it|reduced 2 mm|2 x 45°|
cut-out 140.0 x 100.0 mm, this side to the lens|EN AW-5754, 2 mm|Filter 4 x 5.65|dimensions in mm [inch]|all dimensions in mm|mm|
units: mm|seen from behind the camera|view from rear|view from the camera side|looking toward the scene|black anodised|3.5 in|
Flatness < 5 %|thickness ±5 %|drawn for the set|SECTION A-A|Front plate|1:1.0|looking at the scene"""


@pytest.mark.parametrize("text", ORDINARY.replace("\n", "").split("|"))
@pytest.mark.parametrize("unit", [MM, UNITLESS])
def test_what_title_blocks_hold_besides_is_read_without_a_word(text, unit):
    assert doubts_of(drawing(text, unit=unit, corners=UNEVEN)) == ()


@pytest.mark.parametrize(
    "text",
    ["all dimensions in mm", "units: cm", "in cm", "[mm]", "Maße in mm", "cotes en mm", "DIMENSIONS ARE IN CM", "units: mil"],
)
def test_a_drawing_in_inches_whose_words_state_a_finer_unit_is_refused_for_it_is_read_too_large(text):
    assert f'states inches, and its text says "{text}"' in refusal_of(drawing(text, unit=INCHES, share=1 / 25.4))


@pytest.mark.parametrize("text", ["all dimensions in inches", "in inches", "INCH", "units: in", "dimensions in inch (mm)"])
def test_a_drawing_in_inches_may_say_inches(text):
    assert doubts_of(drawing(text, unit=INCHES, share=1 / 25.4)) == ()


@pytest.mark.parametrize("text", ["all dimensions in inches", "in inches", "units: cm", "lengths in feet", "Maße in Zoll"])
def test_a_drawing_in_mm_whose_words_state_a_coarser_unit_gets_a_caution(text):
    assert doubts_of(drawing(text)) == (f'its drawing says "{text}", and its lines were read in mm; which of the two is it?',)


AHEAD = [
    "view from front",
    "viewed from scene side",
    "Seen from the front",
    "Ansicht von vorn",
    "looking at the lens",
    "vue de devant",
]


@pytest.mark.parametrize("text", AHEAD)
def test_a_cut_out_that_is_another_from_the_other_side_must_not_be_drawn_from_there(text):
    assert f'not drawn as seen from behind the camera: its text says "{text}"' in refusal_of(drawing(text, corners=UNEVEN))
    assert doubts_of(drawing(text)) == ()  # the same from both sides


@pytest.mark.parametrize("text", ["FRONT VIEW", "FRONT", "top view", "Vorderansicht", "mirrored", "scene side up"])
def test_words_that_may_tell_the_other_side_are_a_caution_where_the_sides_differ(text):
    (doubt,) = doubts_of(drawing(text, corners=UNEVEN))
    assert "was read as seen from behind the camera" in doubt
    assert doubts_of(drawing(text)) == ()


def dimension(text="<>", half=70.0, **override):
    def add(space):
        points = {"p1": (-half, 0), "p2": (half, 0)}
        space.add_linear_dim(base=(0, 7), **points, text=text, dimstyle="Standard", override=override).render()

    return add


@pytest.mark.parametrize(
    ("text", "override"),
    [
        ("90", {}),
        ("9 cm", {}),
        ("<> cm", {}),
        ("<>", {"dimpost": "<> cm"}),
        ("<>", {"dimlfac": 10.0}),
        ("<> mm", {"dimlfac": 10.0}),
    ],
)
def test_a_drawing_in_cm_that_states_inches_is_refused_where_a_dimension_tells_the_cm(text, override):
    """9 cm, read as 9 in, is an opening of 229 mm in place of 90."""
    data = drawing(unit=INCHES, corners=((-4.5, -3), (4.5, -3), (4.5, 3), (-4.5, 3)), add=dimension(text, 4.5, **override))
    assert "is not drawn at full size" in refusal_of(data)


@pytest.mark.parametrize(
    ("text", "override"),
    [("9", {}), ('9"', {}), ("228.6", {}), ("22.9 cm", {}), ("<> in", {}), ("<> mm", {"dimlfac": 25.4}), ("9.00 [228.6]", {})],
)
def test_a_drawing_in_inches_may_have_dimensions_in_any_unit(text, override):
    data = drawing(unit=INCHES, corners=((-4.5, -3), (4.5, -3), (4.5, 3), (-4.5, 3)), add=dimension(text, 4.5, **override))
    assert read_outline(data, "m.dxf")


def in_inches(width, height):
    return drawing(unit=INCHES, corners=[(x * width, y * height) for x, y in ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))])


@pytest.mark.parametrize(("width", "height"), [(9.3, 6.1), (9.3, 6.0), (9.0, 6.0)])
def test_a_cut_out_in_inches_with_the_numbers_of_one_in_cm_gets_a_caution(width, height):
    """93 x 61 mm in cm; so large in whole inches, 9 x 6 is wider than the cut-outs of most boxes."""
    (doubt,) = doubts_of(in_inches(width, height))
    assert f"{10 * width:.4g} x {10 * height:.4g} mm in place of" in doubt


@pytest.mark.parametrize(("width", "height"), [(3.5, 2.5), (5.5, 3.9375), (90 / 25.4, 60 / 25.4), (5.25, 4.0)])
def test_a_cut_out_in_parts_of_an_inch_or_in_whole_mm_gets_none(width, height):
    assert doubts_of(in_inches(width, height)) == ()


@pytest.mark.parametrize(
    "text",
    [
        "70 (<>)",
        "<> [2.75]",
        "(<>) 70",
        '2 3/4"',
        "2-3/4 in",
        '2¾"',
        '2{\\H0.7x;\\S3/4;}"',
        "2'-3\"",
        "70 [<>] REF",
        "140 (70)",
        "14 mm",
        "70 <>",
    ],
)
def test_a_size_beside_the_measured_one_or_in_fractions_is_held_against_its_lines(text):
    """140 mm are 5.51 in; 2 3/4 in are 69.9 mm, and 2 ft 3 in 685.8."""
    assert "where 140 is drawn" in refusal_of(drawing(add=dimension(text)))


@pytest.mark.parametrize(
    "text",
    [
        "140 (<>)",
        "<> [5.51]",
        "<> (2x)",
        "<> (4)",
        '5 1/2"',
        "5-1/2 in",
        '5½"',
        '5{\\H0.7x;\\S1/2;}"',
        "<> {\\S+0.1^-0.1;}",
        "<> (TYP)",
    ],
)
def test_such_a_size_that_agrees_or_is_a_count_or_a_tolerance_is_read(text):
    assert read_outline(drawing(add=dimension(text)), "m.dxf")


def test_a_scale_at_the_end_of_a_long_text_is_seen():
    assert 'its text says "M 1/2"' in refusal_of(drawing("Do not bend. " * 100 + "M 1/2"))
    assert 'its text says "M 1/2"' in refusal_of(drawing("Do not bend. " * 22 + "M 1/2" + " Do not bend." * 22))


@pytest.mark.parametrize("text", ["1" * 150_000, "1 " * 60_000 + "x", " " * 150_000 + "x"])
def test_an_endless_text_takes_no_minutes(text):
    """Looked at as a whole, 20,000 digits took a minute."""
    began = time.process_time()
    assert read_outline(drawing(text), "m.dxf")
    assert time.process_time() - began < 20.0


def test_texts_of_more_letters_than_anybody_reads_are_refused():
    assert "holds texts of more than 200000 letters" in refusal_of(drawing(*(f"{'A' * 990} {number}" for number in range(210))))
