"""What in a drawing makes its cut-out look like something else: names of layers, dimensions in the air, sizes in words.

Each is a caution that quotes what was found: a line that is lost in an export leaves the plate's edge as the opening.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

import shapely

from scenes.io.joined_lines import Line
from scenes.io.library_remarks import printable

Points = tuple[tuple[float, float], ...]  # [mm]

NO_CUT_OUT = re.compile(
    r"edge|plate|outer|outside|construct|engrav|etch|bend|fold|stock|sheet|border|refer|do.?not|no.?cut|uncut|sketch|helper|guide"
    r"|rand|kante|platte|hilfs|konstrukt|gravur|biege|rahmen|contorno|ext[ée]ri|bord|pliage",
    re.IGNORECASE,
)
CUT_OUT = re.compile(
    r"(?<!no.)(?<!not.)cut|opening|aperture|hole|window|mask|ausschnitt|[öo]ffnung|d[ée]coupe|taglio|corte", re.IGNORECASE
)
ELSEWHERE = re.compile(
    r"\b(?:plate|outer|outside)[ -]?(?:edge|contour|outline|size|dimensions?)\b|\bcut[ -]?outs?\s+(?:is\s+)?(?:on|see)\s+\w+"
    r"|\bau(?:ß|ss)en(?:kontur|kante|ma(?:ß|ss))\w*|\bplattenrand\b",
    re.IGNORECASE,
)
TIMES = r"\s*(?:mm|cm|in|\"|”)?\s*[x×*]\s*"
PAIR = re.compile(rf"(?<![\w.,/])(\d{{1,4}}(?:[.,]\d+)?){TIMES}(\d{{1,4}}(?:[.,]\d+)?)(?![\w.,]*\d)(?!\s*[x×*])")
SIZED = re.compile(r"cut[ -]?outs?\b|opening|aperture|ausschnitt|[öo]ffnung|d[ée]coupe", re.IGNORECASE)
SAME_SHARE = 0.02  # sizes in words are rounded by less
LOOSE_MM = 0.5  # off every line: a dimension holds on to what it measures
LONGEST_QUOTE = 60


def layer_doubts(layers: Iterable[str]) -> Iterator[str]:
    """Layers whose names say that what lies on them is no cut-out."""
    for name in layers:
        if NO_CUT_OUT.search(name) and not CUT_OUT.search(name):
            yield f'it is drawn on the layer "{_quote(name)}", and was read as the cut-out; has that been left out?'


def hanging_doubts(measured: Sequence[Points], lines: Sequence[Line]) -> Iterator[str]:
    """Dimensions that hold on to nothing that was read."""
    drawn = shapely.STRtree([shapely.LineString(line) for line in lines if len(line) > 1])
    for points in measured:
        near = drawn.query(shapely.points(points), predicate="dwithin", distance=LOOSE_MM)
        if points and near.shape[1] == 0:
            x, y = points[0]
            yield f"a dimension at x {x:.4g}, y {y:.4g} mm measures what is not drawn there; has a line of its cut-out been lost?"
            return


def size_doubts(texts: Iterable[str], sizes_mm: Sequence[tuple[float, float]], unit_mm: float) -> Iterator[str]:
    """Texts that give the cut-out a size that no outline has, or say that it is elsewhere, or that this is the plate's edge."""
    for text in texts:
        if ELSEWHERE.search(text):
            yield f'its drawing says "{_quote(text)}", and what it holds was read as the cut-out; is that the right file?'
        elif SIZED.search(text) and (pairs := _pairs(text)) and not any(_is_size(pair, sizes_mm, unit_mm) for pair in pairs):
            read = " and ".join(f"{width:.4g} x {height:.4g} mm" for width, height in dict.fromkeys(sizes_mm[:2]))
            yield f'its drawing says "{_quote(text)}", and its cut-out was read as {read}; which of the two is it?'


def _pairs(text: str) -> list[tuple[float, float]]:
    found = (match.groups() for match in PAIR.finditer(text))
    return [(float(a.replace(",", ".")), float(b.replace(",", "."))) for a, b in found]


def _is_size(pair: tuple[float, float], sizes_mm: Sequence[tuple[float, float]], unit_mm: float) -> bool:
    """Whether a pair of numbers, in mm or the drawing's unit, is the size of an outline, either way about."""
    told = [(unit * a, unit * b) for a, b in (pair, pair[::-1]) for unit in {1.0, unit_mm}]
    return any(
        abs(a / width - 1.0) <= SAME_SHARE and abs(b / height - 1.0) <= SAME_SHARE for a, b in told for width, height in sizes_mm
    )


def _quote(words: str) -> str:
    short = printable(" ".join(words.split()))
    return short if len(short) <= LONGEST_QUOTE else f"{short[:LONGEST_QUOTE]}..."
