"""Drawings of which the cut-out seems to be lost: what is left says so by a layer, a dimension, a text, and is told or refused."""

import io

import ezdxf
import pytest

from scenes.io.dxf.outline import read_outline
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
    for words in [text] if isinstance(text, str) else text:
        space.add_mtext(words, dxfattribs={"char_height": 4})
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


ELSEWHERE = """Ausschnitt siehe Blatt 2|Öffnung siehe Zeichnung 4711|Ausschnitt: s. Blatt 2|siehe Blatt 2 für Ausschnitt|
cut-out see sheet 2|see sheet 2 for cut-out|opening is shown on drawing 12|découpe voir feuille 2|
apertura: vedi foglio 2|recorte ver hoja 2|uitsparing zie blad 2|cut-out removed|cut-out is not shown|
Ausschnitt entfernt|Ausschnitt fehlt|ohne Ausschnitt|no cut-out|découpe supprimée|REV A - SUPERSEDED|OBSOLETE|
superseded by 12-346|ungültig|ersetzt durch Z-12|annulé|obsoleto|NOT FOR PRODUCTION|do not use|plate only|
nur Platte|Contour extérieur|contorno exterior|PLATTENRAND"""


@pytest.mark.parametrize("text", ELSEWHERE.replace("\n", "").split("|"))
def test_a_text_in_any_of_several_languages_that_the_cut_out_is_elsewhere_or_gone_or_the_drawing_void_is_told(text):
    (told,) = drawing(text=text).doubts
    assert told == f'its drawing says "{text}", and what it holds was read as the cut-out; is that the right file?'


SMALLER = """90 x 60|90x60 mm|(90 x 60)|90 by 60|90 mal 60|90±0.1 x 60±0.1|90 W x 60 H|W90 H60|B90 x H60|Ø90|%%c90|dia 90|
90 dia|90 wide|Breite 90|mask 21mm lens, 90 wide|cut-out 90 wide|opening Ø90|Ausschnitt 90 breit|
cut-out W90 H60|AUSSCHNITT 90 mal 60|découpe 90 x 60|recorte 90 x 60|uitsparing 90 x 60|90 x 60, R5|SQ 90|
90 square|□90|CUT-OUT 3.54" x 2.36"|mask 24: 90 x 60|mask 24, 90 wide x 60 high"""


@pytest.mark.parametrize("text", SMALLER.replace("\n", "").split("|"))
def test_a_size_in_words_that_no_outline_has_is_told_where_it_can_be_that_of_the_cut_out(text):
    (told,) = drawing(text=text).doubts
    assert told.endswith("and its cut-out was read as 160 x 130 mm; which of the two is it?")


ORDINARY = """160 x 130|130 x 160 mm|W160 H130|160 wide|cut-out 160 wide|plate 200 x 170|200 x 170|200 x 170 x 2|36 x 24|
24 x 36|4 x 5.65|Filter 100 x 150|plate 90 wide, cut-out 160 x 130|cut-out for lens Ø95|lens front Ø95|
for Ø114 lens|4x Ø3.2|R45|W100|M3 x 10|A4 210 x 297|rods 15 x 60|hood 300 x 230|tray 100 x 100|1920 x 1080|
opening 160 x 130, Ø95 lens|mask 5 high lip|supersedes rev A|replaces drawing 12|ersetzt Zeichnung 3|
cut-out to this drawing|opening per drawing|cut-out as drawn|see sheet 1 for notes|siehe Blatt 2|
cut-out on this side|do not use solvents|avoid scratches|edges of cut-out deburred|opening on drawing centre|
no cut-out tolerance above 0.1|aperture plate|cut-out see sheet 1 of 1|drawing 1 of 2|without burrs|no filter|
ouverture f/2.8|Maßstab eins zu eins|one to one|Scale: one to one|mask 24, 160 x 130, R5|mask 24, 200 x 170|
CUT-OUT 6.30" x 5.12"|cut-out 6.3 x 5.12 in|mask for 36 x 24|mask 6 x 6|mask for filters 100 x 100|100 mm square: measure it"""


@pytest.mark.parametrize("text", ORDINARY.replace("\n", "").split("|"))
def test_sizes_of_other_things_and_words_that_only_resemble_such_are_read_without_a_word(text):
    assert drawing(text=text).doubts == ()


APART = """W 90,H 60|W90,H60|w=90,h = 60|90 W,60 H|(W 90),(H 60)|W 90 mm,H 60 mm|W: 3.54 in,H: 2.36 in|
W 90,MASK 24,H 60|W 90,L 130|W 160,H 60|cut-out W 90,cut-out H 60|90 (W),60 (H)|W 90\nH 60|B 90,H 60|AL 2 mm,W. 90,H. 60"""


@pytest.mark.parametrize("texts", APART.replace("|\n", "|").split("|"))
def test_a_size_in_two_texts_or_lines_that_no_outline_has_is_told(texts):
    (told,) = drawing(text=texts.split(",")).doubts
    assert told.startswith('its drawing says "')
    assert '" and "' in told
    assert told.endswith("and its cut-out was read as 160 x 130 mm; which of the two is it?")


TOGETHER = """W 160,H 130|WIDTH 160,HEIGHT 130|W 130,L 160|W 200,H 170|W 200,H 170,W 160,H 130|W 100,REV A|H 60|W 3,H 2|
W: 6.30 in,H: 5.12 in|W 160,M3 x 10|PLATE W 90,PLATE H 60|filter\nW 100\nH 100|W 90 HOOD,H 60 HOOD|AL 2,H7|W 5,L 45"""


@pytest.mark.parametrize("texts", TOGETHER.replace("|\n", "|").split("|"))
def test_a_size_in_two_texts_that_an_outline_has_or_that_is_of_other_things_is_read_without_a_word(texts):
    assert drawing(text=texts.split(",")).doubts == ()


def test_lines_that_are_fully_transparent_are_refused():
    assert drawing(transparency=0.5).doubts == ()
    with pytest.raises(SceneError, match="fully transparent"):
        drawing(transparency=1.0)


SHEET = ((0, 0), (420, 297))


def with_extents(low, high, *, version="R2010", unit=4, radius=73.0, limits=SHEET):
    document = ezdxf.new(version)
    space = document.modelspace()
    space.add_circle((0, 0), radius)
    if version == "R2010":  # no unit in the older form
        document.header["$INSUNITS"] = unit
    space.dxf.extmin, space.dxf.extmax = low, high  # what it writes into the header
    space.dxf.limmin, space.dxf.limmax = limits
    stream = io.StringIO()
    document.write(stream)
    return read_outline(stream.getvalue().encode(), "m.dxf").doubts


# DXF reference, HEADER: $EXTMIN and $EXTMAX, drawing extents lower-left and upper-right corner, in world coordinates.
@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_a_cut_out_beyond_what_its_file_states_of_the_drawing_is_told(version):
    (doubt,) = with_extents((-53, -53, 0), (53, 53, 0), version=version)
    stated, read = "x -53 to 53, y -53 to 53 mm ($EXTMIN, $EXTMAX)", "x -73 to 73, y -73 to 73 mm"
    assert f"states that the drawing spans {stated}, and its cut-out was read as {read}; has a number" in doubt


def test_what_the_file_states_of_the_drawing_is_in_its_own_unit():
    assert with_extents((-2, -2, 0), (2, 2, 0), unit=1, radius=2.0) == ()
    assert len(with_extents((-2, -2, 0), (2, 2, 0), unit=1, radius=2.5)) == 1


@pytest.mark.parametrize(
    ("low", "high", "limits"),
    [
        ((-73, -73, 0), (73, 73, 0), SHEET),
        ((-72.95, -73, 0), (73, 72.95, 0), SHEET),
        ((-210, -150, 0), (210, 150, 0), SHEET),  # with texts and a frame around it
        ((1e20, 1e20, 1e20), (-1e20, -1e20, -1e20), SHEET),  # nothing drawn yet
        ((-1e20, -1e20, 0), (1e20, 1e20, 0), SHEET),
        ((0, 0, 0), (0, 0, 0), SHEET),
        ((0, 0, 0), (420, 297, 0), SHEET),  # a sheet of paper
        ((-20, -20, 0), (20, 20, 0), ((-20, -20), (20, 20))),  # the limits in its place
    ],
)
def test_what_a_file_states_of_the_drawing_is_no_doubt_where_it_fits_or_is_no_statement(low, high, limits):
    assert with_extents(low, high, limits=limits) == ()
