"""Drawings of which the cut-out seems to be lost: what is left says so by a layer, a dimension, a text, and is told or refused."""

import io

import ezdxf
import pytest

from scenes.io.dxf_outline import read_outline
from scenes.scene_file.errors import SceneError


def rectangle(width, height):
    return [(-width / 2, -height / 2), (width / 2, -height / 2), (width / 2, height / 2), (-width / 2, height / 2)]


def drawing(*, size=(160, 130), layer="0", text="", dimensions=(), radius=None, transparency=None):
    document = ezdxf.new("R2010", setup=True)
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    if layer not in document.layers:
        document.layers.add(layer)
    outline = space.add_lwpolyline(rectangle(*size), close=True, dxfattribs={"layer": layer})
    if transparency is not None:
        outline.transparency = transparency
    if text:
        space.add_text(text, dxfattribs={"height": 4})
    for start, end in dimensions:
        space.add_aligned_dim(p1=start, p2=end, distance=8, override={"dimlfac": 1.0}).render()
    if radius:
        space.add_radius_dim(center=(0, 0), mpoint=radius, override={"dimlfac": 1.0}).render()
    stream = io.StringIO()
    document.write(stream)
    return read_outline(stream.getvalue().encode(), "m.dxf")


@pytest.mark.parametrize(
    ("layer", "told"),
    [
        ("PLATE_EDGE", True),
        ("DO_NOT_CUT", True),
        ("Construction", True),
        ("ENGRAVE", True),
        ("Hilfslinien", True),
        ("0", False),
        ("CUT", False),
        ("Mask plate cut-out", False),
        ("Layer 1", False),
        ("opening", False),
    ],
)
def test_a_layer_that_is_named_for_something_else_than_a_cut_out_is_told(layer, told):
    doubts = drawing(layer=layer).doubts
    assert len(doubts) == told
    assert all(f'on the layer "{layer}"' in doubt for doubt in doubts)


@pytest.mark.parametrize(
    ("dimensions", "told"),
    [
        ([((-45, 30), (45, 30)), ((45, -30), (45, 30))], True),  # of a cut-out of 90 x 60 that is gone
        ([((-80, 65), (80, 65)), ((80, -65), (80, 65))], False),
        ([((0, 0), (80, 0))], False),  # from the axis to the edge
    ],
)
def test_dimensions_that_hold_on_to_nothing_drawn_are_told(dimensions, told):
    doubts = drawing(dimensions=dimensions).doubts
    assert len(doubts) == told
    assert all("a dimension at x -45, y 30 mm measures what is not drawn there" in doubt for doubt in doubts)


@pytest.mark.parametrize(("place", "told"), [((80, 20), False), ((40, 20), True)])
def test_a_radius_that_ends_on_no_line_is_told(place, told):
    assert any("measures what is not drawn" in doubt for doubt in drawing(radius=place).doubts) == told


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("CUT-OUT 90 x 60", "read as 160 x 130 mm; which of the two is it?"),
        ("PLATE EDGE 160 x 130, CUT-OUT ON SHEET 2", "is that the right file?"),
        ("cut-out 160 x 130", ""),
        ("Opening 130 x 160 mm", ""),
        ("plate 200 x 170 x 2, cut-out 160x130", ""),
        ("MASK 25 mm, AL 2 mm, 4x M3", ""),
        ("SHEET 1 OF 1", ""),
        ("2024-11-30, rev 2, 1:1", ""),
    ],
)
def test_a_text_that_gives_the_cut_out_another_size_or_place_is_told(text, words):
    doubts = drawing(text=text).doubts
    assert [words in doubt for doubt in doubts] == ([True] if words else [])


def test_lines_that_are_fully_transparent_are_refused():
    assert drawing(transparency=0.5).doubts == ()
    with pytest.raises(SceneError, match="fully transparent"):
        drawing(transparency=1.0)
