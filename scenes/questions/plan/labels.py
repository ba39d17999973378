"""Stickers for lenses, filters, masks and seals, on sheets by their size in mm."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from scenes.questions.plan.bring import Part, parts
from scenes.questions.plan.pdf_basics import MM, PAPER_MM, draw_bar
from scenes.questions.plan.report import Station, TestPlan
from scenes.questions.plan.setups import Piece
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.sheets.pdf_letters import BOLD, LETTERS, use_letters
from scenes.verdicts.check import StateResult
from scenes.verdicts.test_plan import open_gaps

# Sheets by the size of a sticker: columns, rows, gap across; all centred on the page. Common practice, sizes from memory.
KNOWN: dict[str, dict[tuple[float, float], tuple[int, int, float]]] = {
    "a4": {
        (63.5, 38.1): (3, 7, 2.5),
        (99.1, 38.1): (2, 7, 2.5),
        (63.5, 33.9): (3, 8, 2.5),
        (99.1, 33.9): (2, 8, 2.5),
        (99.1, 67.7): (2, 4, 2.5),
        (38.1, 21.2): (5, 13, 2.5),
        (70.0, 37.0): (3, 8, 0.0),
    },
    "letter": {(66.675, 25.4): (3, 10, 3.175)},
}
Line = tuple[str, str, float]  # words, letters, size [pt]
SIZE = re.compile(r"^(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)$")
LABEL_PLACE = "Stick a filter's label on its frame or pouch, never on the glass."
LEAST_MM = (30.0, 15.0)
MARGIN_MM = 10.0  # of a sheet that is not known: printers leave as much blank
PAD_MM = 2.5
NAME_PT, TEXT_PT, LEAST_PT = 13.0, 8.5, 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSheet:
    """A sheet of stickers [mm]: its page, a sticker's size, columns and rows, the gap across, left and top margin.

    `known`: a usual sheet; else stickers are to be cut along lines.
    """

    page_mm: tuple[float, float]
    size_mm: tuple[float, float]
    columns: int
    rows: int
    gap_mm: float
    known: bool

    @property
    def left_mm(self) -> float:
        """From the page's left edge to the first sticker."""
        return (self.page_mm[0] - self.columns * self.size_mm[0] - (self.columns - 1) * self.gap_mm) / 2

    @property
    def top_mm(self) -> float:
        """From the page's upper edge to the first sticker."""
        return (self.page_mm[1] - self.rows * self.size_mm[1]) / 2

    def corner_mm(self, place: int) -> tuple[float, float]:
        """Left and top of a sticker by its place on the sheet, row by row."""
        row, column = divmod(place, self.columns)
        return self.left_mm + column * (self.size_mm[0] + self.gap_mm), self.top_mm + row * self.size_mm[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One sticker: what kind of thing, its name, lines about it, which way it goes."""

    kind: str
    name: str
    lines: tuple[str, ...]
    way: str

    @property
    def title(self) -> str:
        """'Lens 24', 'Mask: wide mask', 'Mask'."""
        kind = self.kind.capitalize()
        if self.name == self.kind:
            return kind
        return f"{kind} {self.name}" if self.kind == "lens" else f"{kind}: {self.name}"


def label_sheet(paper: str, size: str | None) -> LabelSheet:
    """The sheet for a sticker's size 'WxH' in mm, the paper's first where none is given; SceneError where it fits no page."""
    page, known = PAPER_MM[paper], KNOWN[paper]
    wanted = next(iter(known)) if size is None else _size_mm(size, page)
    if wanted in known:
        columns, rows, gap = known[wanted]
        return LabelSheet(page_mm=page, size_mm=wanted, columns=columns, rows=rows, gap_mm=gap, known=True)
    columns, rows = (int((side - 2 * MARGIN_MM) // own) for side, own in zip(page, wanted, strict=True))
    return LabelSheet(page_mm=page, size_mm=wanted, columns=columns, rows=rows, gap_mm=0.0, known=False)


def _size_mm(size: str, page: tuple[float, float]) -> tuple[float, float]:
    found = SIZE.match(size.strip().lower())
    most = page[0] - 2 * MARGIN_MM, page[1] - 2 * MARGIN_MM
    if found is None:
        raise SceneError([Complaint("", f'must be a width and a height in mm such as 63.5x38.1, got "{size}"', None, "--labels")])
    width, height = float(found[1]), float(found[2])
    if not (LEAST_MM[0] <= width <= most[0] and LEAST_MM[1] <= height <= most[1]):
        rule = f"must be from {plain(LEAST_MM[0])}x{plain(LEAST_MM[1])} to {plain(most[0])}x{plain(most[1])} mm on this paper"
        raise SceneError([Complaint("", f'{rule}, got "{size}"', None, "--labels")])
    return width, height


def labels_of(plan: TestPlan) -> tuple[Label, ...]:
    """A sticker for each lens, then each filter, mask and seal."""
    lenses = [_lens_label(plan, station) for station in plan.stations]
    wanted = [part for kind in ("filter", "mask", "seal") for part in parts(plan) if part.piece.kind == kind]
    return (*lenses, *(_part_label(part, len(plan.stations)) for part in wanted))


def _lens_label(plan: TestPlan, station: Station) -> Label:
    setup, lens = station.setup, station.shots[0].plan.lens
    found = {kind: [piece.name for piece in setup.pieces if piece.kind == kind] for kind in ("mask", "seal", "filter")}
    told = (f"{kind}: {', '.join(names)}" for kind, names in found.items() if names)
    gaps = open_gaps([shot.result for shot in station.shots])
    size = f"{_stops_words(lens.f_number, plan.check.states, setup.lens)}; {plain(lens.front_diameter_mm)} mm front"
    way = setup.placement.replace("rear face of the back plate", "box", 1)
    return Label(kind="lens", name=setup.lens, lines=(*gaps, *told, size), way=way)


def _stops_words(opens_to: float, states: Sequence[StateResult], lens: str) -> str:
    """How far a lens opens and where it was checked: 'opens to f/1.8; checked f/2.8 to f/5.6'."""
    stops = sorted({state.f_number for state in states if state.lens_name == lens})
    checked = " to ".join(dict.fromkeys(f"f/{stop:g}" for stop in (stops[0], stops[-1])))
    return f"opens to f/{opens_to:g}; checked {checked}"


def _part_label(part: Part, of: int) -> Label:
    piece = part.piece
    lenses = "all lenses" if len(part.lenses) == of else ", ".join(part.lenses)
    lines = (piece.words, f"with {lenses}", _seat(piece))
    return Label(kind=piece.kind, name=piece.name, lines=tuple(line for line in lines if line), way=_way(piece))


def _seat(piece: Piece) -> str:
    return f"in the {piece.place}" if piece.kind == "filter" else piece.place


def _way(piece: Piece) -> str:
    if piece.kind == "filter" and "dark end" in piece.words:
        return "▲ dark end, up in the tray"
    ways = {"mask": "▲ this side up, label to the lens", "filter": "▲ up in the tray, label to the lens"}
    return ways.get(piece.kind, "label to the lens")


def labels_pdf(plan: TestPlan, sheet: LabelSheet) -> bytes:
    """The sticker sheets, with a first page that says how to print them and has a bar to measure."""
    from reportlab.pdfgen.canvas import Canvas

    use_letters()
    stream = io.BytesIO()
    page = sheet.page_mm[0] * MM, sheet.page_mm[1] * MM
    canvas = Canvas(stream, pagesize=page, invariant=1, pageCompression=0)
    canvas.setTitle(f"Labels: {plan.title}")
    canvas.setViewerPreference("PrintScaling", "None")
    _cover(canvas, plan, sheet, BOLD, LETTERS)
    draw_bar(canvas, MARGIN_MM * MM, 20.0 * MM)
    canvas.showPage()
    made = labels_of(plan)
    per_page = sheet.columns * sheet.rows
    for first in range(0, len(made), per_page):
        for place, label in enumerate(made[first : first + per_page]):
            _draw(canvas, label, sheet, place)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _cover(canvas: Any, plan: TestPlan, sheet: LabelSheet, bold: str, letters: str) -> None:
    size = f"{plain(sheet.size_mm[0])} x {plain(sheet.size_mm[1])} mm, {sheet.columns} across, {sheet.rows} down"
    how = "a usual sheet" if sheet.known else "no usual sheet: cut along the lines"
    lines = (
        f"{len(labels_of(plan))} labels, {size}: {how}.",
        'Print at 100 % (no "fit to page"). Print this page on plain paper first and measure the bar below.',
        "Hold the next page, printed on plain paper, behind a sticker sheet against the light before you print on stickers.",
        LABEL_PLACE,
        f"Plan {plan.plan_id}.",
    )
    x, y = MARGIN_MM * MM, (sheet.page_mm[1] - 25.0) * MM
    canvas.setFont(bold, 14)
    canvas.drawString(x, y, f"Labels: {plan.title}"[:80])
    canvas.setFont(letters, 9)
    for number, line in enumerate(lines, 1):
        canvas.drawString(x, y - 8 - 14 * number, line)


def _draw(canvas: Any, label: Label, sheet: LabelSheet, place: int) -> None:
    left, top = sheet.corner_mm(place)
    width, height = sheet.size_mm
    if not sheet.known:
        canvas.setLineWidth(0.2)
        canvas.rect(left * MM, (sheet.page_mm[1] - top - height) * MM, width * MM, height * MM)
    x, room = (left + PAD_MM) * MM, (width - 2 * PAD_MM) * MM
    y = (sheet.page_mm[1] - top - PAD_MM) * MM
    floor = (sheet.page_mm[1] - top - height + PAD_MM) * MM
    for text, font, size in _fitted(label, room, y - floor):
        y -= size
        canvas.setFont(font, size)
        canvas.drawString(x, y, text)
        y -= 0.2 * size


def _fitted(label: Label, room: float, high: float) -> list[Line]:
    """The sticker's lines with letters as large as fit its width and height; at the smallest, as many of its details as fit."""
    size = TEXT_PT
    while size > LEAST_PT and _height(_set(label, label.lines, room, size)) > high:
        size -= 0.25
    details = label.lines
    while details and _height(_set(label, details, room, size)) > high:
        details = details[:-1]
    return _set(label, details, room, size)


def _height(lines: Sequence[Line]) -> float:
    return sum(1.2 * size for _, _, size in lines)


def _set(label: Label, details: Sequence[str], room: float, size: float) -> list[Line]:
    """Name, details and way, broken to a width [pt]."""
    from reportlab.lib.utils import simpleSplit
    from reportlab.pdfbase.pdfmetrics import stringWidth

    name_pt = NAME_PT * size / TEXT_PT
    name_pt *= min(1.0, room / max(stringWidth(label.title, BOLD, name_pt), 1.0))
    told = [(words, LETTERS) for words in details] + [(label.way, BOLD)]
    return [
        (label.title, BOLD, name_pt),
        *((line, font, size) for words, font in told for line in simpleSplit(words, font, size, room)),
    ]
