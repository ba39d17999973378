"""What a drawing names and does not hold: a layer, block or group called for its cut-out, another file, a block at an odd size."""

import io

import ezdxf
import pytest

from scenes.io.dxf.outline import read_outline

MM, CM, INCHES, UNITLESS = 4, 5, 1, 0  # DXF reference, $INSUNITS and BLOCK_RECORD, group code 70


def box(width, height):
    return [(-width / 2, -height / 2), (width / 2, -height / 2), (width / 2, height / 2), (-width / 2, height / 2)]


def written(document):
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def doubts(add, *, layer="0", unit=MM, size=(186, 140)):
    """The doubts of a drawing of one outline on this layer, or of none where it has no size, and what is added."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = unit
    if layer not in document.layers:
        document.layers.add(layer)
    if size:
        document.modelspace().add_lwpolyline(box(*size), close=True, dxfattribs={"layer": layer})
    add(document)
    return read_outline(written(document), "m.dxf").doubts


def layers(*names, state=None):
    def add(document):
        for name in names:
            layer = document.layers.add(name)
            if state:
                getattr(layer, state)()

    return add


@pytest.mark.parametrize(
    ("name", "state", "words"),
    [
        ("CUT", None, "holds no line"),
        ("cut-out", "off", "is off and holds no line"),
        ("1_CUTOUT", "freeze", "is frozen and holds no line"),
        ("Ausschnitt", None, "holds no line"),
        ("DÉCOUPE", "off", "is off"),
        ("Mask", "freeze", "is frozen"),
        ("laser cut", None, "holds no line"),
        ("Innenkontur", None, "holds no line"),
    ],
)
def test_a_layer_named_for_a_cut_out_without_a_line_is_told_where_all_lie_on_another(name, state, words):
    (told,) = doubts(layers("PLATE", name, state=state))
    assert told.startswith(f'its layer "{name}" {words}')
    assert 'what lies on "0" was read; has the cut-out been lost?' in told
    assert not doubts(layers(name, state=state), layer="CUTS")  # the cut-out lies on another layer of its kind
    assert not doubts(layers(name, state=state), layer="Durchbruch")


@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("NO_CUT", None),
        ("ENGRAVE", "off"),
        ("Holes", "freeze"),  # deleted, as is asked for
        ("Cutting plane", None),
        ("Section cut", None),
        ("cutaway", None),
        ("Mask", None),
        ("Notes", "off"),
        ("Shortcuts", None),
    ],
)
def test_layers_for_other_things_may_be_empty(name, state):
    assert not doubts(layers(name, state=state))


def test_a_cut_out_may_be_a_block_on_its_layer_or_of_its_name():
    """Lines on layer 0 of a block belong to the layer that the block stands on (DXF reference, common practice)."""

    def on_layer(document):
        document.layers.add("CUT")
        document.blocks.new("B1").add_lwpolyline(box(90, 60), close=True)
        document.modelspace().add_blockref("B1", (0, 0), dxfattribs={"layer": "CUT"})

    def of_name(document):
        document.layers.add("CUT")
        document.blocks.new("cut-out 24").add_lwpolyline(box(90, 60), close=True)
        document.modelspace().add_blockref("cut-out 24", (0, 0))

    assert not doubts(on_layer, size=None)
    assert not doubts(of_name, size=None)


def test_a_drawing_that_names_another_and_shows_nothing_of_it_is_told():
    """DXF reference, BLOCK, group code 70: 4, an external reference; 8, an overlay of one."""

    def add(flags):
        return lambda document: document.add_xref_def("cut.dxf", "PLAN", flags=flags)

    for flags in (4, 8):
        assert doubts(add(flags)) == (
            'its drawing names another one, "cut.dxf", and shows nothing of it; has the cut-out been left there?',
        )
        assert not doubts(add(flags), layer="CUT")


def test_a_sheet_under_the_drawing_that_is_not_shown_is_told():
    (told,) = doubts(lambda document: document.add_underlay_def("mask.pdf", fmt="pdf"))
    assert told.startswith('its drawing names a sheet, "mask.pdf", and shows nothing of it')


@pytest.mark.parametrize("fill", [len, lambda block: block.add_text("for the 24")])
def test_a_block_named_for_a_cut_out_that_is_empty_and_shown_nowhere_is_told(fill):
    def add(name):
        return lambda document: fill(document.blocks.new(name))

    assert doubts(add("CUT-OUT 90x60")) == (
        'its block "CUT-OUT 90x60" holds no line and is inserted nowhere; has the cut-out been lost?',
    )
    assert not doubts(add("TITLE"))
    assert not doubts(add("CUT-OUT 90x60"), layer="cut")


def test_a_group_named_for_a_cut_out_without_members_is_told():
    def full(document):
        line = document.modelspace().query("LWPOLYLINE").first
        document.groups.new("CUT-OUT").extend([line])

    assert doubts(lambda document: document.groups.new("CUT-OUT")) == (
        'its group "CUT-OUT" holds nothing, and what lies elsewhere was read; has the cut-out been lost?',
    )
    assert not doubts(lambda document: document.groups.new("NOTES"))
    assert not doubts(full)


def shown(times, block_unit, size, nested=False):
    def add(document):
        block = document.blocks.new("P")
        block.block_record.dxf.units = block_unit
        block.add_lwpolyline(box(*size), close=True)
        if nested:
            outer = document.blocks.new("OUTER")
            outer.block_record.dxf.units = block_unit
            outer.add_blockref("P", (0, 0))
        scales = dict.fromkeys(("xscale", "yscale", "zscale"), times)
        document.modelspace().add_blockref("OUTER" if nested else "P", (0, 0), dxfattribs=scales)

    return add


@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize(
    ("times", "block_unit", "unit", "size"),
    [(2.0, MM, MM, (90, 60)), (20.0, CM, MM, (9, 6)), (0.5, UNITLESS, MM, (300, 200)), (2.0, UNITLESS, UNITLESS, (90, 60))],
)
def test_a_block_at_a_size_that_no_unit_asks_for_is_told(times, block_unit, unit, size, nested):
    (told,) = doubts(shown(times, block_unit, size, nested), unit=unit, size=None)
    assert told == f'its block "P" is inserted at {times:g} times its size, and was read so; is it drawn to another scale?'


@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize(
    ("times", "block_unit", "unit", "size"),
    [
        (1.0, MM, MM, (90, 60)),
        (-1.0, MM, MM, (90, 60)),
        (1.0, CM, MM, (90, 60)),
        (10.0, CM, MM, (9, 6)),
        (25.4, INCHES, MM, (3.5, 2.5)),
        (1 / 25.4, MM, INCHES, (88.9, 63.5)),
        (25.4, UNITLESS, MM, (3.5, 2.5)),
        (25.4, INCHES, UNITLESS, (3.5, 2.5)),
    ],
)
def test_a_block_at_its_own_size_or_at_that_of_its_unit_is_read(times, block_unit, unit, size, nested):
    assert not doubts(shown(times, block_unit, size, nested), unit=unit, size=None)


def test_a_title_block_may_be_of_any_size():
    def add(document):
        document.blocks.new("TITLE").add_text("Mask for the 24")
        document.modelspace().add_blockref("TITLE", (0, 0), dxfattribs={"xscale": 2.0, "yscale": 2.0, "zscale": 2.0})

    assert not doubts(add)
