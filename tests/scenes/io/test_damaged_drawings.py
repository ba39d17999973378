"""A drawing that cannot be read whole is refused: a lost cut-out would leave the plate's own edge as the opening."""

import io
from itertools import pairwise

import ezdxf
import numpy as np
import pytest

from geometry.outline import area_mm2
from scenes.io.dxf.outline import read_outline
from scenes.scene_file.errors import SceneError


def complaint(call):
    with pytest.raises(SceneError) as caught:
        call()
    (one,) = caught.value.complaints
    assert "\n" not in str(one)
    return str(one)


def refusal_of(data):
    try:
        read_outline(data, "m.dxf")
    except SceneError as error:
        return str(error)
    return ""


def drawing(*draw, units=4):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = units
    for one in draw:
        one(document)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def box(half_x, half_y):
    return [(-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y)]


def plate(document):
    document.modelspace().add_lwpolyline(box(90, 75), close=True)


def cut_out(document, space=None):
    (document.modelspace() if space is None else space).add_lwpolyline(box(40, 25), close=True)


def gap(width_mm):
    def draw(document):
        corners = [*box(40, 25), (-40, -25 + width_mm)]
        for a, b in pairwise(corners):
            document.modelspace().add_line(a, b)

    return draw


def in_block(draw, *, scale=1.0, depth=1):
    def nested(document):
        draw(document, document.blocks.new("LEVEL0"))
        for level in range(1, depth):
            document.blocks.new(f"LEVEL{level}").add_blockref(f"LEVEL{level - 1}", (0, 0))
        document.modelspace().add_blockref(f"LEVEL{depth - 1}", (0, 0), dxfattribs={"xscale": scale, "yscale": scale})

    return nested


def test_a_cut_out_open_by_more_than_lines_are_joined_over_is_refused_with_its_two_ends():
    words = complaint(lambda: read_outline(drawing(plate, gap(0.05)), "m.dxf"))
    assert "open between" in words
    assert "x -40.000, y -24.950 mm" in words
    assert "x -40.000, y -25.000 mm" in words
    assert "a gap of 0.05 mm" in words


@pytest.mark.parametrize("shift_mm", [0.0, 0.003, 0.0049, 0.0071])
def test_ends_within_the_joining_distance_are_one_corner_wherever_they_lie(shift_mm):
    def draw(document):  # a rounding grid would part two ends that lie on either side of one of its lines
        corners = [(x + shift_mm, y + shift_mm) for x, y in [*box(40, 25), (-40, -25 + 0.008)]]
        for a, b in pairwise(corners):
            document.modelspace().add_line(a, b)

    assert area_mm2(read_outline(drawing(draw), "m.dxf")) == pytest.approx(80 * 50, rel=1e-3)


def test_a_branch_is_refused():
    def draw(document):
        gap(0.0)(document)
        document.modelspace().add_line((40, 25), (-40, -25))

    assert "3 lines meeting" in complaint(lambda: read_outline(drawing(draw), "m.dxf"))


def test_an_outline_drawn_twice_is_refused():
    assert "4 lines meeting" in complaint(lambda: read_outline(drawing(gap(0.0), gap(0.0)), "m.dxf"))


def test_an_outline_that_crosses_itself_is_refused():
    def bow_tie(document):
        document.modelspace().add_lwpolyline([(-40, -25), (40, 25), (40, -25), (-40, 25)], close=True)

    assert "crosses or touches itself at x 0, y 0 mm" in complaint(lambda: read_outline(drawing(bow_tie), "m.dxf"))


@pytest.mark.parametrize("depth", [1, 3])
def test_a_cut_out_in_a_block_is_seen_so_that_the_plates_edge_is_no_opening(depth):
    assert "inside each other" in complaint(lambda: read_outline(drawing(plate, in_block(cut_out, depth=depth)), "m.dxf"))


def test_a_block_is_drawn_at_its_scale():
    assert area_mm2(read_outline(drawing(in_block(cut_out, scale=0.5)), "m.dxf")) == pytest.approx(80 * 50 / 4)


def test_a_block_that_is_not_in_the_file_is_refused():
    def draw(document):
        document.modelspace().add_blockref("GONE", (0, 0))

    assert "INSERT" in complaint(lambda: read_outline(drawing(plate, draw), "m.dxf"))


def test_a_block_that_holds_itself_ends():
    def draw(document):
        block = document.blocks.new("LOOP")
        block.add_blockref("LOOP", (0, 0))
        document.modelspace().add_blockref("LOOP", (0, 0))

    complaint(lambda: read_outline(drawing(plate, draw), "m.dxf"))


def hatch(document):
    document.modelspace().add_hatch().paths.add_polyline_path(box(40, 25))


@pytest.mark.parametrize(
    ("draw", "kind"),
    [
        (hatch, "HATCH"),
        (lambda document: document.modelspace().add_solid(box(40, 25)), "SOLID"),
        (lambda document: document.modelspace().add_3dface(box(40, 25)), "3DFACE"),
        (lambda document: document.modelspace().add_mline(box(40, 25), close=True), "MLINE"),
        (lambda document: document.modelspace().add_polymesh((3, 3)), "POLYLINE"),
    ],
)
def test_what_is_no_line_or_arc_is_refused_by_name(draw, kind):
    assert f"a {kind}" in complaint(lambda: read_outline(drawing(plate, draw), "m.dxf"))


def test_text_and_dimensions_are_no_part_of_the_cut():
    def draw(document):
        space = document.modelspace()
        space.add_text("mask 1")
        space.add_mtext("cut here")
        space.add_linear_dim(base=(0, 60), p1=(-40, 0), p2=(40, 0)).render()

    assert area_mm2(read_outline(drawing(cut_out, draw), "m.dxf")) == pytest.approx(80 * 50)


def test_a_drawing_cut_short_at_any_line_is_refused():
    data = drawing(plate, cut_out)
    lines = data.splitlines(keepends=True)
    start = next(k for k, line in enumerate(lines) if line.strip() == b"ENTITIES")
    for end in range(start, len(lines) - 1, 7):
        complaint(lambda end=end: read_outline(b"".join(lines[:end]), "m.dxf"))


def test_an_entity_that_is_lost_in_reading_is_missed():
    data = drawing(plate, lambda document: document.modelspace().add_circle((0, 0), 30))
    assert "inside each other" in complaint(lambda: read_outline(data, "m.dxf"))
    broken = data.replace(b"\nCIRCLE\n", b"\nCIRCLF\n").replace(b"AcDbCircle", b"AcDbCirclf")
    assert "CIRCL" in complaint(lambda: read_outline(broken, "m.dxf"))


@pytest.mark.parametrize(
    ("draw", "words"),
    [
        (lambda document: document.modelspace().add_circle((0, 0), 1e15), "reaches 1e+15 mm"),
        (lambda document: document.modelspace().add_ellipse((0, 0), major_axis=(1e12, 0), ratio=0.5), "reaches 1e+12 mm"),
        (lambda document: [document.modelspace().add_circle((0, 0), 9e4) for _ in range(200)], "more than"),
    ],
)
def test_what_would_fill_the_memory_is_refused_before_it_does(draw, words):
    assert words in complaint(lambda: read_outline(drawing(draw), "m.dxf"))


def test_damage_anywhere_is_one_sentence_or_an_outline():
    data = drawing(lambda document: document.modelspace().add_circle((0, 0), 30))
    rng = np.random.default_rng(20260)
    start = data.index(b"ENTITIES")
    refused = 0
    for _ in range(40):
        damaged = bytearray(data)
        for place in rng.integers(start, len(data), 3):
            damaged[place] = rng.integers(32, 127)
        words = refusal_of(bytes(damaged))
        refused += bool(words)
        assert "\n" not in words
    assert refused > 0


def test_a_number_that_its_reader_had_to_guess_is_refused_and_nothing_reaches_the_terminal(capfd):
    data = drawing(cut_out)
    assert data.count(b"\n-40.0\n") == 2
    broken = data.replace(b"\n-40.0\n", b"\n-4\x1b0.0\n", 1)  # which reads as -4
    assert "its reader had to guess" in complaint(lambda: read_outline(broken, "m.dxf"))
    assert not any(capfd.readouterr())


def test_a_cut_out_in_a_block_that_is_inserted_nowhere_is_not_passed_over_in_silence():
    def kept(document):
        cut_out(document, document.blocks.new("CUT"))

    def inserted(document):
        cut_out(document, document.blocks.new("CUT"))
        document.modelspace().add_blockref("CUT", (0, 0))

    assert 'holds lines in the block "CUT", which is inserted nowhere' in refusal_of(drawing(plate, kept))
    assert 'holds lines in the block "CUT", which is inserted nowhere' in refusal_of(drawing(kept))
    assert refusal_of(drawing(inserted)) == ""
    assert refusal_of(drawing(cut_out, lambda document: document.blocks.new("EMPTY"))) == ""


@pytest.mark.parametrize("by_layer", [False, True])
def test_a_dashed_outline_is_not_taken_for_a_cut(by_layer):
    def dashed(document):
        document.linetypes.add("HIDDEN", pattern=[9.0, 6.0, -3.0])
        document.layers.add("L", linetype="HIDDEN")
        own = {"layer": "L"} if by_layer else {"linetype": "HIDDEN"}
        document.modelspace().add_lwpolyline(box(40, 25), close=True, dxfattribs=own)

    assert 'holds a LWPOLYLINE drawn as a "HIDDEN" line; draw what is cut as a full line' in refusal_of(drawing(dashed))
    assert refusal_of(drawing(cut_out)) == ""


def copies_of_copies(document):
    """Twelve copies of twelve copies and so on, twelve deep, of a block that holds a word alone."""
    document.blocks.new("B0").add_text("x")
    for depth in range(12):
        block = document.blocks.new(f"B{depth + 1}")
        for _ in range(12):
            block.add_blockref(f"B{depth}", (0, 0))
    document.modelspace().add_blockref("B12", (0, 0))


def test_copies_of_copies_of_a_text_end():
    assert "copies of blocks" in complaint(lambda: read_outline(drawing(plate, copies_of_copies), "m.dxf"))


@pytest.mark.parametrize("filling", [b"0\nTEXT\n8\n0\n10\n0\n20\n0\n40\n1\n1\nx\n" * 40_001, b"999\nx\n" * 1_600_000])
def test_a_file_that_would_be_read_for_minutes_is_refused_at_once(filling):
    data = drawing(plate)
    begin = data.index(b"\nENTITIES\n") + len(b"\nENTITIES\n")
    assert "other things" in complaint(lambda: read_outline(data[:begin] + filling + data[begin:], "m.dxf"))
