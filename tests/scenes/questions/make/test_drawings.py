"""The drawings as printed: sizes on paper, what every sheet says, the projection and its symbol."""

import io
import re
from itertools import pairwise

import numpy as np
import pypdf
import pytest

from scenes.questions.make.answer import answer
from scenes.questions.make.assembly_sheets import part_rows
from scenes.questions.make.drawing_paper import projection_symbol
from scenes.questions.make.drawings import drawings_pdf
from scenes.questions.make.engraving import drawn_cut
from scenes.questions.make.pen import WIDE
from scenes.questions.make.views import FROM_BEHIND, FROM_RIGHT
from scenes.states.load import load_scene
from tests.scenes.questions.make.small_box import BOX, HEAD, SMALL, loaded

MM = 72 / 25.4
TOLERANCES = """
[[tolerance]]
of = "box.back.bore_mm"
plus_minus = 0.2
[[tolerance]]
of = "box.hood.front_mm.width"
plus = 0.5
minus = 0.3
"""
PRINTED_MM = 0.2


def report_of(tmp_path, make):
    return answer(loaded(tmp_path, f"{TOLERANCES}\n[make]\n{make}\n", box=SMALL)).report


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    return report_of(tmp_path_factory.mktemp("a3"), 'owner = "Own works"\ndate = "2026-11-30"')


@pytest.fixture(scope="module")
def a3(report):
    return drawings_pdf(report)


@pytest.fixture(scope="module")
def a4(tmp_path_factory):
    return drawings_pdf(report_of(tmp_path_factory.mktemp("a4"), 'paper = "a4"\nprojection = "first"\njoint = "panels"'))


def strokes(page):
    """Straight pieces (N, 2, 2) of a page [mm], by its own operators."""
    found, here = [], None
    for operands, operator in pypdf.generic.ContentStream(page.get_contents(), page.pdf).operations:
        if operator == b"m":
            here = np.array([float(v) for v in operands])
        elif operator == b"l":
            there = np.array([float(v) for v in operands])
            found.append([here, there])
            here = there
    return np.array(found) / MM


@pytest.mark.parametrize(("which", "size_mm"), [("a3", (420, 297)), ("a4", (210, 297))])
def test_every_sheet_has_its_papers_size_and_bars_of_100_mm_across_and_along(which, size_mm, request):
    """Sizes: ISO 216."""
    pages = pypdf.PdfReader(io.BytesIO(request.getfixturevalue(which))).pages
    assert len(pages) >= 11
    for page in (pages[0], pages[4], pages[-1]):
        assert [float(page.mediabox.width) / MM, float(page.mediabox.height) / MM] == pytest.approx(size_mm, abs=0.01)
        pieces = np.abs(np.diff(strokes(page), axis=1)[:, 0])
        assert (np.abs(pieces - [100, 0]).max(axis=1) < 1e-3).any()
        assert (np.abs(pieces - [0, 100]).max(axis=1) < 1e-3).any()


def test_a_printed_page_measures_100_mm_and_the_back_plate_its_size_by_the_scale(a3):
    """Rasterised at 300 dpi by PDFium: dark runs in pixels, an inch is 25.4 mm."""
    pdfium = pytest.importorskip("pypdfium2")
    document = pdfium.PdfDocument(a3)
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(a3)).pages]
    number = next(k for k, text in enumerate(texts) if "Back plate" in text)
    dark = np.asarray(document[number].render(scale=300 / 72).to_pil().convert("L")) < 128
    mm = 25.4 / 300
    below_bar = dark[
        -round((16.0 - 1.0) / mm), : round(180 / mm)
    ]  # the bar lies 16 mm above the edge, its end marks reach 1.5 mm below
    marks = [
        where.mean() for where in np.split(np.flatnonzero(below_bar), np.flatnonzero(np.diff(np.flatnonzero(below_bar)) > 3) + 1)
    ]
    spans = [(b - a) * mm for a in marks for b in marks]
    assert min(spans, key=lambda span: abs(span - 100.0)) == pytest.approx(100.0, abs=PRINTED_MM)
    assert "1:1" in texts[number]
    plate = max(_runs(row) for row in dark[int(40 / mm) : int(240 / mm), int(40 / mm) : int(390 / mm)])
    assert plate * mm - WIDE == pytest.approx(200.0, abs=PRINTED_MM)  # between the middles of its outlines


def _runs(row):
    """Length of the longest dark run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0


def test_every_part_has_a_sheet_that_says_what_a_title_block_must(a3):
    """ISO 7200: owner, number, date, sheet, title, creator, approval, type; beside them scale, material and general tolerances."""
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(a3)).pages]
    for number, text in enumerate(texts, 1):
        assert f"{number} / {len(texts)}" in text
        assert "ISO 2768-m" in text
        assert "Own works" in text
        assert "2026-11-30" in text
        for label in (
            "Title",
            "Identification number",
            "Document type",
            "Creator",
            "Approved by",
            "Projection",
            "Scale",
            "Material",
        ):
            assert label in text
    for name in ("Back plate", "Mask", "Hood", "Hood, flat", "Top flag", "Parts list"):
        assert any(name in text for text in texts), name


def test_tolerances_of_the_scene_stand_behind_their_dimensions(a3):
    texts = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(a3)).pages)
    assert "⌀120 ±0.2" in texts
    assert "300 +0.5/-0.3 front inside" in texts


class Recorder:
    """Takes the place of a pen: keeps circles and closed lines."""

    def __init__(self):
        self.circles, self.cones = [], []

    def circle(self, centre, radius, *_):
        self.circles.append((centre, radius))

    def line(self, points, *_, closed=False, **__):
        if closed:
            self.cones.append(np.array(points))

    def axis(self, *_):
        pass


@pytest.mark.parametrize(("third_angle", "facing"), [(True, "small"), (False, "large")])
def test_the_symbol_turns_its_small_end_to_the_circles_in_third_angle_and_its_large_end_in_first(third_angle, facing):
    """ISO 5456-2: the end view is taken from the small end; third angle puts it beside that end, first angle beside the other."""
    pen = Recorder()
    projection_symbol(pen, (50.0, 50.0), third_angle=third_angle)
    (cone,) = pen.cones
    circles_x = pen.circles[0][0][0]
    ends = {float(x): float(np.ptp(cone[cone[:, 0] == x][:, 1])) for x in np.unique(cone[:, 0])}
    near, far = sorted(ends, key=lambda x: abs(x - circles_x))
    assert (ends[near] < ends[far]) == (facing == "small")
    assert sorted(radius for _, radius in pen.circles) == pytest.approx(sorted(end / 2 for end in ends.values()))
    assert max(ends.values()) == pytest.approx(2 * min(ends.values()))


@pytest.mark.parametrize(("projection", "on_the_right"), [("third", True), ("first", False)])
def test_the_view_from_the_right_stands_right_in_third_angle_and_left_in_first(projection, on_the_right, tmp_path, monkeypatch):
    placed = []
    for module in ("part_sheets", "assembly_sheets"):
        name = f"scenes.questions.make.{module}.draw_view"
        monkeypatch.setattr(name, lambda _pen, at, solids, view, **_: placed.append((view, at, solids)))
    drawings_pdf(report_of(tmp_path, f'projection = "{projection}"'))
    checked = 0
    for (view, at, solids), (other, beside, _) in pairwise(placed):
        points = view.flat(np.concatenate([solid.vertices_mm for solid in solids]))
        assert [at.box.left, at.box.right] == pytest.approx([points[:, 0].min(), points[:, 0].max()])
        if view is FROM_BEHIND and other is FROM_RIGHT:
            assert (beside.left > at.right) == on_the_right
            assert (beside.right < at.left) != on_the_right
            checked += 1
    assert checked == 5  # the whole box, three plates, the hood


def test_a_hood_of_panels_has_a_flat_of_each_and_names_the_projection_by_its_symbol(a4):
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(a4)).pages]
    for side in ("top", "left", "bottom", "right"):
        assert any(f"Hood, {side} wall, flat" in text for text in texts)
    numbers = [re.search(r"P\d\d(\.F\d)?-[0-9a-f]{8}", text).group() for text in texts if "flat pattern" in text]
    assert len(numbers) == 4 == len(set(numbers))  # ISO 7200: a number identifies one document


def test_the_assembly_says_where_each_part_stands_by_the_scenes_own_places(report, a3):
    text = " ".join(pypdf.PdfReader(io.BytesIO(a3)).pages[1].extract_text().split())
    plate, mask, hood, _ = (part.number for part in report.parts.made)
    assert f"Rear of each part ahead of the rear of {plate}, mm: {mask} 20; {hood} 24." in text  # at_mm of SMALL


@pytest.mark.parametrize(("stock", "turned"), [("[1000, 500]", True), ("[500, 1000]", False)])
def test_a_sheet_of_stock_that_lies_turned_on_its_page_says_so(stock, turned, tmp_path):
    pdf = drawings_pdf(report_of(tmp_path, f'paper = "a4"\njoint = "panels"\nsheet_mm = {stock}'))  # a page higher than wide
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    plans = [text for text in texts if "cutting plan" in text]
    assert plans
    assert {"turned by a quarter: the sheet's left edge is on top" in text for text in plans} == {turned}


def test_no_remark_of_the_parts_list_is_cut_short(tmp_path):
    report = answer(loaded(tmp_path, '[make]\npaper = "a4"', box=BOX)).report  # on rods, with a tray and a flag
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(drawings_pdf(report))).pages]
    parts_list = " ".join(text for text in texts if "material, remark" in text)
    assert all(" ".join(one.note.split()) in " ".join(parts_list.split()) for one in report.bought)
    assert any("rod" in one.name for one in report.bought)


def test_the_same_scene_gives_the_same_pdf(report, a3):
    assert drawings_pdf(report) == a3


def test_a_part_for_some_lenses_says_so_on_its_flat_in_the_list_and_on_its_sheet(tmp_path):
    other = HEAD[HEAD.index("[[lens]]") : HEAD.index("[check]")].replace('"50"', '"75"')
    box = BOX.replace('name = "mask"', 'name = "mask"\nlenses = ["50"]')
    found = answer(loaded(tmp_path, box=other + box)).report
    (mask,) = (part for part in found.parts.made if part.name == "mask")
    assert "for 50" in next(iter(drawn_cut(mask, mask.cuts[0]).words)).lines
    rows = {row[1]: row[3] for row in part_rows(found)}
    assert rows["mask"].endswith("; for 50")
    assert "for" not in rows["hood"]


def test_a_title_too_long_for_its_field_stands_in_two_rows_whole(tmp_path):
    path = tmp_path / "long.toml"
    path.write_text(HEAD.replace("Small", "A title of a show, its camera and its box, in two rows") + BOX)
    words = pypdf.PdfReader(io.BytesIO(drawings_pdf(answer(load_scene(path)).report))).pages[0].extract_text()
    assert "…" not in words
    assert re.search("A title of a show, its camera and its box,?( in two| in)?\\n", words)
    assert "rows" in words


FLAGGED = (
    BOX
    + """
[[box.flag]]
side = "left"
angle_deg = 25
length_mm = 80
width_mm = 120
"""
)


def test_a_flags_sheet_says_where_it_is_hinged_and_how_far_it_stands_from_the_axis(tmp_path):
    """By the scene: flags hang on the hood's inner front edge, 24 + 60 mm ahead, half of 230 mm high and of 300 mm wide."""
    found = answer(loaded(tmp_path, '[[tolerance]]\nof = "box.flag[top flag].angle_deg"\nplus_minus = 2\n', box=FLAGGED)).report
    texts = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(drawings_pdf(found))).pages]
    numbers = {part.name: part.number for part in found.parts.made}

    def sheet(name):
        return next(text for text in texts if f"{numbers[name]}-" in text)

    head = "Seen on the face toward the lens axis, hinge edge below."
    top, left, more = (sheet(name) for name in ("top flag", "left flag", "top flag extension"))
    assert all(head in text for text in (top, left, more))
    assert (
        "Hinge edge 84 mm ahead of the back plate's rear face, 115 mm from the box's middle; stands 70° ±2 from the lens axis"
        in top
    )
    assert (
        "Hinge edge 84 mm ahead of the back plate's rear face, 150 mm from the box's middle; stands 25° from the lens axis" in left
    )
    assert "Hinged to the flag's far end, 0° from its line" in more
    said = f"and angle from the axis: {numbers['top flag']} 84, 115, 70°; {numbers['left flag']} 84, 150, 25°."
    assert said in texts[1]  # the assembly


def test_a_flag_is_cut_as_it_is_drawn_with_its_hinge_edge_below(tmp_path):
    found = answer(loaded(tmp_path, box=FLAGGED)).report
    for part in found.parts.made:
        (lines,) = (one.lines for one in drawn_cut(part, part.cuts[0]).words[:1])
        is_flag = "flag" in part.name
        assert ("seen on the face toward the lens axis, hinge edge below" in lines) == is_flag
        assert not is_flag or "seen from behind the camera" not in lines
        if is_flag and not part.name.endswith("extension"):
            low, high = (part.place.points_to_frame(np.array([0.0, y, 0.0])) for y in part.cuts[0].flat.bounds_mm[1::2])
            assert abs(low[2] - 84.0) < 3.0 < high[2] - low[2]  # the lower edge of the flat is the one at the hinge
