"""Paper of a drawing: frame, centring marks, title block, projection symbol, bars to measure. ISO 5457, 7200, 5456-2."""

from __future__ import annotations

from dataclasses import dataclass

from scenes.questions.make.pen import FRAME, LARGE, NARROW, SMALL, TEXT, WIDE, Pen, Point
from scenes.sheets.page import Box

PAPERS_MM = {"a4": (210.0, 297.0), "a3": (420.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
LEFT_MM, EDGE_MM = 20.0, 10.0  # of the frame: ISO 5457
BLOCK_MM, ROW_MM = (180.0, 30.0), 10.0  # title block: 180 wide by ISO 7200
BAR_MM = 100.0
FIELD_MM, BAND_MM = 50.0, 5.0  # of the reference grid
GENERAL = "ISO 2768-m"
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # no I, no O


@dataclass(frozen=True, slots=True, kw_only=True)
class Title:
    """What a title block says."""

    title: str
    more: str
    number: str
    kind: str
    scale: str
    material: str
    mass: str
    owner: str
    creator: str
    approved: str
    date: str
    sheet: int
    sheets: int
    third_angle: bool


def views_space(paper: str) -> Box:
    """What a page leaves for views: above the title block, right of the upright bar."""
    width, height = PAPERS_MM[paper]
    beside = width - EDGE_MM - BLOCK_MM[0] - LEFT_MM > BAR_MM + 16.0
    return Box(LEFT_MM + 12.0, EDGE_MM + BLOCK_MM[1] + (6.0 if beside else 14.0), width - EDGE_MM - 6.0, height - EDGE_MM - 6.0)


def draw_paper(pen: Pen, paper: str, title: Title) -> None:
    """Frame, block and bars."""
    width, height = PAPERS_MM[paper]
    left, low, right, high = LEFT_MM, EDGE_MM, width - EDGE_MM, height - EDGE_MM
    pen.line([(left, low), (right, low), (right, high), (left, high)], FRAME, closed=True)
    block = (right - BLOCK_MM[0], low)
    _marks(pen, width, height, (left, low, right, high), low_inside=block[0] > width / 2)
    _block(pen, block, title)
    top = low + BLOCK_MM[1]
    bar_x = left + 8.0 if block[0] - left > BAR_MM + 16.0 else block[0] + 8.0
    bar_y = low + 6.0 if block[0] - left > BAR_MM + 16.0 else top + 4.0
    _bars(pen, (bar_x, bar_y), (left + 5.0, top + 16.0))


def _marks(pen: Pen, width: float, height: float, frame: tuple[float, float, float, float], *, low_inside: bool) -> None:
    """Centring marks, and the fields of the reference grid counted from them; the lowest keeps out of the title block."""
    left, low, right, high = frame
    x, y = width / 2, height / 2
    outer = (left - BAND_MM, low - BAND_MM, right + BAND_MM, high + BAND_MM)
    pen.line([(outer[0], outer[1]), (outer[2], outer[1]), (outer[2], outer[3]), (outer[0], outer[3])], 0.35, closed=True)
    for start, stop in (
        ((x, outer[1]), (x, low + (5 if low_inside else 0))),
        ((x, outer[3]), (x, high - 5)),
        ((outer[0], y), (left + 5, y)),
        ((outer[2], y), (right - 5, y)),
    ):
        pen.line([start, stop], FRAME)
    columns, rows = _fields(left, right, x), _fields(low, high, y)
    for number, (a, b) in enumerate(columns, 1):
        for base in (low - BAND_MM + 1.2, high + 1.2):
            pen.text(((a + b) / 2, base), str(number), TEXT, anchor="middle")
        for span in ((low - BAND_MM, low), (high, high + BAND_MM)):
            pen.line([(b, span[0]), (b, span[1])], 0.35)
    for number, (a, b) in enumerate(reversed(rows)):
        for middle in (left - BAND_MM / 2, right + BAND_MM / 2):
            pen.text((middle, (a + b) / 2 - TEXT / 2), LETTERS[number], TEXT, anchor="middle")
        for span in ((left - BAND_MM, left), (right, right + BAND_MM)):
            pen.line([(span[0], a), (span[1], a)], 0.35)


def _fields(start: float, stop: float, middle: float) -> list[tuple[float, float]]:
    edges = [middle + FIELD_MM * k for k in range(-20, 21) if start + 10.0 < middle + FIELD_MM * k < stop - 10.0]
    return list(zip([start, *edges], [*edges, stop], strict=True))


def _block(pen: Pen, at: Point, title: Title) -> None:
    x, y = at
    w, h = BLOCK_MM
    pen.line([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], WIDE, closed=True)
    rows = (
        ((64, "Title", title.title), (36, "Identification number", title.number), (30, "Creator", title.creator),
         (30, "Approved by", title.approved), (20, "Date of issue", title.date)),
        ((64, "Material", title.material), (36, "General tolerances", GENERAL), (30, "Mass", title.mass),
         (50, "Supplementary title", title.more)),
        ((64, "Legal owner", title.owner), (36, "Document type", title.kind), (30, "Projection", ""), (26, "Scale", title.scale),
         (24, "Sheet", f"{title.sheet} / {title.sheets}")),
    )  # fmt: skip
    for number, row in enumerate(rows):
        low, left = y + number * ROW_MM, x
        if number:
            pen.line([(x, low), (x + w, low)], NARROW)
        for place, (wide, label, value) in enumerate(row):
            if place:
                pen.line([(left, low), (left, low + ROW_MM)], NARROW)
            pen.text((left + 1.0, low + ROW_MM - SMALL - 0.9), label, SMALL * 0.9)
            if label == "Projection":
                projection_symbol(pen, (left + wide / 2, low + 3.6), third_angle=title.third_angle)
            else:
                large = label in {"Title", "Identification number", "Scale", "Sheet"}
                pen.fitted((left + 1.0, low + 1.7), value, wide - 2.0, LARGE if large else TEXT, bold=label == "Title", rows=2)
            left += wide


def projection_symbol(pen: Pen, at: Point, *, third_angle: bool, height: float = 5.0) -> None:
    """A cone from its side and its small end: third angle with the small end towards the circles, first angle with the large one.

    ISO 5456-2: length and large end twice the small end.
    """
    x, y = at
    s = height / 5.0 * 0.5  # half a circle of 10 fits the row
    small, large, long = 2.5 * s, 5.0 * s, 10.0 * s
    circles_right = not third_angle
    centre = x + (6.0 * s if circles_right else -6.0 * s)
    cone = x - 11.0 * s if circles_right else x + 1.0 * s  # its left end
    pen.circle((centre, y), small, 0.35)
    pen.circle((centre, y), large, 0.35)
    pen.line(  # its small end is the left one
        [(cone, y - small), (cone + long, y - large), (cone + long, y + large), (cone, y + small)],
        0.35,
        closed=True,
    )
    pen.axis((cone - 1.5, y), (cone + long + 1.5, y))
    pen.axis((centre - large - 1.2, y), (centre + large + 1.2, y))
    pen.axis((centre, y - large - 1.2), (centre, y + large + 1.2))


def _bars(pen: Pen, across: Point, along: Point) -> None:
    """One bar across and one along: print at 100 %, measure both."""
    x, y = across
    pen.line([(x, y), (x + BAR_MM, y)], WIDE)
    for end in (x, x + BAR_MM):
        pen.line([(end, y - 1.5), (end, y + 1.5)], WIDE)
    pen.text((x + 2.0, y + 1.6), f"{BAR_MM:g} mm when printed at 100 %: measure it", SMALL)
    x, y = along
    pen.line([(x, y), (x, y + BAR_MM)], WIDE)
    for end in (y, y + BAR_MM):
        pen.line([(x - 1.5, end), (x + 1.5, end)], WIDE)
    pen.text((x - 1.2, y + BAR_MM / 2), f"{BAR_MM:g} mm", SMALL, anchor="middle", turn_deg=90.0)
