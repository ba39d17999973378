"""What a drawing holds and its reader would pass over is refused: the plate's edge must not be all that is left."""

import io

import ezdxf
import pytest
from ezdxf import xclip

from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError


def drawing(*draw, version="R2010"):
    document = ezdxf.new(version)
    if version != "R12":
        document.header["$INSUNITS"] = 4
    for one in draw:
        one(document)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def refusal_of(data):
    with pytest.raises(SceneError) as caught:
        read_outline(data, "m.dxf")
    return str(caught.value)


def box(half_x, half_y):
    return [(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)]


def plate(document):
    document.modelspace().add_polyline2d(box(90, 75), close=True)


SHRUNK = {
    "a circle without radius": lambda space: space.add_circle((0, 0), 0),
    "an arc whose ends are one angle, which some programs draw as a circle": lambda space: space.add_arc((0, 0), 40, 0, 0),
    "an ellipse without sweep": lambda space: space.add_ellipse((0, 0), (40, 0), 0.5, 0, 0),
    "corners that are all one": lambda space: space.add_lwpolyline([(5, 5)] * 4, close=True),
    "a loop of chords shorter than lines are joined over": lambda space: space.add_lwpolyline(
        [(x / 200, y) for y, step in ((0.0, 1), (0.005, -1)) for x in range(800)[::step]], close=True
    ),
}


@pytest.mark.parametrize("draw", SHRUNK.values(), ids=SHRUNK.keys())
def test_what_has_no_length_is_refused_for_it_may_be_what_is_left_of_the_cut_out(draw):
    refused = refusal_of(drawing(plate, lambda document: draw(document.modelspace())))
    assert "without length" in refused or "without size" in refused


def test_a_corner_drawn_twice_is_no_lost_line():
    corners = [*box(70, 50), (-70, 50)]
    assert read_outline(drawing(lambda document: document.modelspace().add_lwpolyline(corners, close=True)), "m.dxf")


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_an_entity_that_its_reader_does_not_know_is_missed(version):
    """As a line of a drawing in the old form whose name is spoilt: it has no marker by which it could be told."""
    whole = drawing(plate, version=version)
    end = whole.index(b"  0\nENDSEC", whole.index(b"ENTITIES"))
    strange = b"  0\nLIME\n  8\n0\n 10\n-40\n 20\n-25\n 11\n40\n 21\n-25\n"
    assert "cannot be read whole (1 LIME)" in refusal_of(whole[:end] + strange + whole[end:])


def test_lines_on_the_layer_of_dimension_points_are_refused_which_no_program_prints():
    def draw(document):
        document.layers.get("Defpoints").dxf.plot = 1  # whatever the table of layers says
        document.modelspace().add_lwpolyline(box(70, 50), close=True, dxfattribs={"layer": "DefPoints"})

    assert "not printed; show it or delete it" in refusal_of(drawing(draw))


def test_a_block_of_which_a_part_is_shown_is_refused():
    def clipped(document):
        document.blocks.new("B").add_lwpolyline(box(70, 50), close=True)
        insert = document.modelspace().add_blockref("B", (0, 0))
        xclip.XClip(insert).set_wcs_clipping_path([(-20, -20), (20, 20)])

    assert 'shows only a part of its block "B"' in refusal_of(drawing(clipped))


def dimensioned(factor=1.0, text="<>"):
    def draw(document):
        space = document.modelspace()
        space.add_lwpolyline(box(70, 50), close=True)
        points = {"p1": (-70, 50), "p2": (70, 50)}
        space.add_linear_dim(base=(0, 70), **points, text=text, dimstyle="Standard", override={"dimlfac": factor}).render()

    return drawing(draw)


@pytest.mark.parametrize(("factor", "text"), [(0.5, "<>"), (2.0, "<>"), (1.0, "70"), (1.0, "280 mm"), (0.5, "70")])
def test_a_drawing_to_a_scale_is_refused_for_at_twice_its_size_a_dark_frame_would_be_clear(factor, text):
    """DXF reference: group code 1 of a DIMENSION overwrites what is measured; DIMLFAC multiplies it, as sheets to a scale need."""
    assert "is not drawn at full size" in refusal_of(dimensioned(factor, text))


@pytest.mark.parametrize(
    ("factor", "text"),
    [(1.0, "<>"), (1.0, "140"), (1.0, "<> mm"), (1.0, "2x"), (1 / 25.4, "<>"), (1.0, "5.51 in"), (100.0, "140")],
)
def test_a_dimension_that_tells_the_drawn_size_in_any_unit_is_no_scale(factor, text):
    assert read_outline(dimensioned(factor, text), "m.dxf")


def cut_out(document, space=None):
    (document.modelspace() if space is None else space).add_lwpolyline(box(70, 50), close=True)


def noted(text):
    return drawing(cut_out, lambda document: document.modelspace().add_text(text))


@pytest.mark.parametrize(
    "text", ["SCALE 2:1", "Scale = 1/2", "MASSSTAB 1 : 5", "Maßstab: 2:1", "scale 0.5", "Echelle 2:1", "2:1 scale"]
)
def test_a_drawing_that_says_that_it_is_to_a_scale_is_refused(text):
    assert f'its text says "{text}"' in refusal_of(noted(text))


def test_a_scale_told_in_a_block_or_a_long_text_is_seen():
    def in_block(document):
        frame = document.blocks.new("FRAME")
        frame.add_mtext("Mask for the 40\\PScale 2:1\\Psteel")
        document.modelspace().add_blockref("FRAME", (0, 0))

    assert "is not drawn at full size" in refusal_of(drawing(cut_out, in_block))


@pytest.mark.parametrize("text", ["SCALE 1:1", "scale 1", "2.39:1", "SCALE: FULL", "do not scale", "M 3", "scale 100 %", "scale"])
def test_words_that_tell_no_other_scale_are_none(text):
    assert read_outline(noted(text), "m.dxf")


@pytest.mark.parametrize(
    "text", ["280 mm\\P{ref}", "{\\H2.5;280}", "280 %%P0.1", "2x 280", "280±0.1", "280 +0.1/-0", "(280)", "280 TYP", "\\A1;280"]
)
def test_a_size_dressed_up_is_held_against_its_lines_all_the_same(text):
    assert "where 140 is drawn" in refusal_of(dimensioned(1.0, text))


@pytest.mark.parametrize("text", ["140 %%P0.1", "4x 140", "<> REF", "140 [5.51]", "SEE NOTE 3", "{\\H2.5;140}", "M4", "14 cm"])
def test_a_size_that_agrees_or_is_none_is_read(text):
    assert read_outline(dimensioned(1.0, text), "m.dxf")


def put(**scales):
    def draw(document):
        cut_out(document, document.blocks.new("CUT"))
        document.modelspace().add_blockref("CUT", (0, 0), dxfattribs=scales)

    return drawing(draw)


@pytest.mark.parametrize("scales", [{"yscale": 0.5}, {"xscale": 2.0}])
def test_a_block_drawn_at_two_scales_is_refused_for_one_of_them_may_be_lost(scales):
    """DXF reference: a scale that is not told is 1."""
    assert 'block "CUT" at two scales' in refusal_of(put(**scales))


@pytest.mark.parametrize("code", [b" 41", b" 42"])
def test_a_block_at_a_scale_of_nothing_is_refused(code):
    """Its reader takes 0 for 1: the cut-out would be twice as wide as it was drawn."""
    whole = put(xscale=0.5, yscale=0.5)
    spoilt = whole.replace(code + b"\n0.5\n", code + b"\n0.0\n", 1)
    assert spoilt != whole
    assert 'its block "CUT" at a scale of 0' in refusal_of(spoilt)


@pytest.mark.parametrize("scales", [{"xscale": -1.0}, {"xscale": 0.5, "yscale": 0.5}, {"xscale": 0.5, "yscale": -0.5}])
def test_a_block_at_one_scale_is_read_turned_over_or_not(scales):
    assert read_outline(put(**scales), "m.dxf")


@pytest.mark.parametrize("text", ["2:1", "M 1:2", "M2:1", "DRAWN 1 : 5", "(10:1)", "SCALE(2:1)", "half size", "Twice full size"])
def test_a_scale_told_without_the_word_is_one(text):
    """ISO 5455: scales are 2, 5, 10, 20, 50 times or a part of that; title blocks hold the number in a field of its own."""
    assert "is not drawn at full size" in refusal_of(noted(text))


@pytest.mark.parametrize("text", ["1.85:1", "2.39 : 1", "16:9", "4:3", "1:1", "12:1", "1:1.2", "10:15:00", "full size", "x2"])
def test_aspect_ratios_times_and_parts_of_an_inch_are_no_scale(text):
    assert read_outline(noted(text), "m.dxf")


def test_a_cut_out_in_inches_is_not_taken_for_one_in_feet():
    """3.15 x 1.97 in stated as feet would be an opening of 960 mm, which darkens nothing."""
    feet = drawing(lambda document: document.modelspace().add_lwpolyline(box(1.575, 0.984), close=True)).replace(
        b"$INSUNITS\n 70\n4\n", b"$INSUNITS\n 70\n2\n"
    )
    assert "found 960 mm" in refusal_of(feet)


@pytest.mark.parametrize(
    "text",
    [
        "NOT TO SCALE",
        "NTS",
        "N.T.S.",
        "Scale: none",
        "nicht maßstäblich",
        "M 4:1",
        "M2,5:1",
        "M 2\u22361",
        "M 2\uff1a1",
        "2.5:1",
        "4:1",
        "\u6bd4\u4f8b 2\uff1a1",
        "scale \uff12:\uff11",
        "scale x2",
        "Scale factor 2",
        "scale 1 to 2",
        "scale: twice",
        '1"=2"',
        "drawn 2x",
    ],
)
def test_a_scale_in_other_words_and_signs_is_one(text):
    """NTS: not to scale, in title blocks (common practice). Unicode: U+2236 ratio, U+FF1A fullwidth colon."""
    assert "is not drawn at full size" in refusal_of(noted(text))


@pytest.mark.parametrize(
    "text",
    [
        "2.35:1",
        "2.4:1",
        "2,39:1",
        "1.85\u22361",
        "16\uff1a9",
        "M 1:1",
        '1"=1"',
        "scale x1",
        "M4: 2 holes",
        "drawn 12/05",
        "scale 1 to 1",
    ],
)
def test_aspect_ratios_screws_dates_and_full_size_in_other_signs_are_no_scale(text):
    assert read_outline(noted(text), "m.dxf")


@pytest.mark.parametrize("text", ["70 H7", "\u25a170", "W=70", "~70", "70 wide", "70.0 CUT", "approx. 70", "SQ 70", "70 H7/g6"])
def test_a_size_with_its_fit_or_in_words_is_held_against_its_lines_all_the_same(text):
    """ISO 286-1: H7 is a fit. The square sign and such words: common practice."""
    assert "where 140 is drawn" in refusal_of(dimensioned(1.0, text))


@pytest.mark.parametrize("text", ["140 H7", "W=140", "~140", "140 wide", "4 M6", "4x M8", "3 HOLES", "NOTE: 3", "4 PLACES"])
def test_fits_screws_and_counts_are_no_other_size(text):
    assert read_outline(dimensioned(1.0, text), "m.dxf")


def measured(value):
    def draw(document):
        cut_out(document)
        one = document.modelspace().add_linear_dim(base=(0, 70), p1=(-70, 50), p2=(70, 50)).render()
        document.modelspace().query("DIMENSION").first.dxf.actual_measurement = value
        return one

    return drawing(draw)


def test_a_dimension_that_has_measured_another_size_than_lies_between_its_points_is_refused():
    """DXF reference, DIMENSION, group code 42: the actual measurement."""
    assert "has measured 70 where 140 is drawn" in refusal_of(measured(70.0))


@pytest.mark.parametrize("value", [140.0, 0.0, -1.0, 5.512])
def test_a_dimension_that_has_measured_the_same_in_any_unit_or_nothing_is_read(value):
    assert read_outline(measured(value), "m.dxf")
