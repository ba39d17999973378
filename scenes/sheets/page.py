"""A sheet measured in mm, on which labels know how large they are and keep out of each other's way."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, LoadFlags
from matplotlib.lines import Line2D
from matplotlib.text import Text

from scenes.io.pictures import PRINT_DPI
from scenes.sheets.colours import INK, PAPER, SOFT_INK
from scenes.sheets.style import A5_MM, BODY_PT, FOOT_PT, LABEL_PT, MM_PER_INCH, TITLE_PT

FONT = "DejaVu Sans"  # comes with matplotlib: the same letters, and so the same sizes, on every machine
MM_PER_PT = MM_PER_INCH / 72
FOREIGN_SHARE = 1.15  # of the type size: the box that is drawn for a letter that the typeface lacks
LINE_STEP = 1.25  # line height as a share of the letter size
MOST_LINES = 9
GAP_MM = 0.7  # least air between two labels
LEAST_PT, STEP_PT = 8.0, 0.25  # letters shrink in steps down to what can still be read on paper


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of the page [mm], from its lower left corner."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Width [mm]."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height [mm]."""
        return self.top - self.bottom

    def overlaps(self, other: Box, gap_mm: float = 0.0) -> bool:
        """Whether the two share area, or come nearer than the gap."""
        across = self.left < other.right + gap_mm and other.left < self.right + gap_mm
        return across and self.bottom < other.top + gap_mm and other.bottom < self.top + gap_mm

    def holds(self, other: Box) -> bool:
        """Whether the other lies wholly inside."""
        across = self.left <= other.left and other.right <= self.right
        return across and self.bottom <= other.bottom and other.top <= self.top

    def at(self, right_share: float, up_share: float) -> tuple[float, float]:
        """A place of the box by shares of its width and height [mm]."""
        return self.left + right_share * self.width, self.bottom + up_share * self.height


@lru_cache(maxsize=4)
def _letters(weight: str) -> FT2Font:
    """A typeface of its own at 1000 pt, so that measuring disturbs nobody's drawing."""
    letters = FT2Font(findfont(FontProperties(family=FONT, weight=weight)))
    letters.set_size(1000.0, 72.0)
    return letters


@lru_cache(maxsize=2048)
def _letter_share(letter: str, weight: str) -> float:
    """Advance of a letter as a share of the type size; of one that the typeface lacks, as a Chinese name has, that of a box."""
    if not _letters(weight).get_char_index(ord(letter)):
        return FOREIGN_SHARE
    return _letters(weight).load_char(ord(letter), flags=LoadFlags.NO_HINTING).linearHoriAdvance / 65536 / 1000


def _line_width_mm(line: str, size_pt: float, weight: str) -> float:
    return sum(_letter_share(letter, weight) for letter in line) * size_pt * MM_PER_PT


def text_size_mm(string: str, size_pt: float, weight: str = "normal") -> tuple[float, float]:
    """Width and height of a text as printed [mm]; lines are split at newlines."""
    lines = string.split("\n")
    return max(_line_width_mm(line, size_pt, weight) for line in lines), len(lines) * size_pt * LINE_STEP * MM_PER_PT


def _shortened(string: str, size_pt: float, width_mm: float, weight: str) -> str:
    """The text, cut with an ellipsis where it is longer than the width: the last resort."""
    if text_size_mm(string, size_pt, weight)[0] <= width_mm:
        return string
    low, high = 0, len(string)
    while low < high:
        middle = (low + high + 1) // 2
        fits = text_size_mm(string[:middle].rstrip() + "…", size_pt, weight)[0] <= width_mm
        low, high = (middle, high) if fits else (low, middle - 1)
    return string[:low].rstrip() + "…"


def wrapped(string: str, size_pt: float, width_mm: float, weight: str = "normal") -> str:
    """The words whole, on as many lines of the width as they take."""
    return "\n".join(_rows(string, size_pt, width_mm, len(string), weight))


def fitted(
    string: str, size_pt: float, width_mm: float, lines: int = 1, weight: str = "normal", most: int = MOST_LINES
) -> tuple[str, float]:
    """The text on lines of the width, and the size of its letters, which shrink until it fits on so many.

    What is still too long at LEAST_PT takes more lines, up to `most`; what does not even fit these ends with an ellipsis.
    """
    if lines == 1:
        size = fitted_pt(string, size_pt, width_mm, LEAST_PT, weight)
        if _fits([string], size, width_mm + 1e-6, weight):
            return string, size
    size = size_pt
    while not _fits(_rows(string, size, width_mm, lines, weight), size, width_mm, weight) and size - STEP_PT >= LEAST_PT:
        size -= STEP_PT
    rows = _rows(string, size, width_mm, lines, weight)
    rows = rows if _fits(rows, size, width_mm, weight) else _rows(string, size, width_mm, max(lines, most), weight)
    return "\n".join(_shortened(row, size, width_mm, weight) for row in rows), size


def _fits(rows: list[str], size_pt: float, width_mm: float, weight: str) -> bool:
    return all(text_size_mm(row, size_pt, weight)[0] <= width_mm for row in rows)


def _rows(string: str, size_pt: float, width_mm: float, lines: int, weight: str) -> list[str]:
    """The words on lines of the width; the last of them takes all that is left."""
    rows = [""]
    for word in string.split():
        longer = f"{rows[-1]} {word}".strip()
        if not rows[-1] or len(rows) == lines or text_size_mm(longer, size_pt, weight)[0] <= width_mm:
            rows[-1] = longer
        else:
            rows.append(word)
    return rows


def fitted_pt(string: str, size_pt: float, width_mm: float, least_pt: float = LEAST_PT, weight: str = "normal") -> float:
    """The largest size up to `size_pt`, not under `least_pt`, at which the text keeps within the width."""
    width = text_size_mm(string, size_pt, weight)[0]
    return size_pt if width <= width_mm else max(least_pt, size_pt * width_mm / width)


@dataclass(slots=True)
class Page:
    """A figure of fixed size with a list of the places that are taken; all lengths in mm from the lower left corner."""

    width_mm: float
    height_mm: float
    figure: Figure = field(init=False)
    taken: list[Box] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Open the empty sheet."""
        size = (self.width_mm / MM_PER_INCH, self.height_mm / MM_PER_INCH)
        self.figure = Figure(figsize=size, dpi=PRINT_DPI, facecolor=PAPER)

    @property
    def box(self) -> Box:
        """The whole sheet."""
        return Box(0.0, 0.0, self.width_mm, self.height_mm)

    def axes(self, box: Box, **settings: Any) -> Axes:
        """Axes that fill a box of the sheet."""
        w, h = self.width_mm, self.height_mm
        return self.figure.add_axes((box.left / w, box.bottom / h, box.width / w, box.height / h), **settings)

    def text_box(
        self,
        x_mm: float,
        y_mm: float,
        string: str,
        size_pt: float,
        *,
        ha: str = "left",
        va: str = "baseline",
        weight: str = "normal",
        pad_mm: float = 0.0,
        upright: bool = True,
    ) -> Box:
        """Where a text would stand; `upright` false turns it a quarter."""
        width, height = text_size_mm(string, size_pt, weight)
        width, height = (width, height) if upright else (height, width)
        left = x_mm - {"left": 0.0, "center": width / 2, "right": width}[ha]
        bottom = y_mm - {"bottom": 0.0, "baseline": 0.25 * size_pt * MM_PER_PT, "center": height / 2, "top": height}[va]
        return Box(left - pad_mm, bottom - pad_mm, left + width + pad_mm, bottom + height + pad_mm)

    def is_free(self, box: Box, within: Box | None = None) -> bool:
        """Whether nothing placed so far stands in the way, and the box keeps inside `within` (the sheet if not given)."""
        return (within or self.box).holds(box) and not any(box.overlaps(other, GAP_MM) for other in self.taken)

    def take(self, box: Box) -> None:
        """Keep later labels off a box."""
        self.taken.append(box)

    def text(
        self,
        x_mm: float,
        y_mm: float,
        string: str,
        size_pt: float,
        *,
        ha: str = "left",
        va: str = "baseline",
        weight: str = "normal",
        colour: str = INK,
        upright: bool = True,
        **settings: Any,
    ) -> Text:
        """Write a text and keep later labels off it."""
        if string.strip():
            self.take(self.text_box(x_mm, y_mm, string, size_pt, ha=ha, va=va, weight=weight, upright=upright))
        return self.figure.text(
            x_mm / self.width_mm,
            y_mm / self.height_mm,
            string,
            fontsize=size_pt,
            ha=ha,
            va=va,
            fontweight=weight,
            color=colour,
            fontfamily=FONT,
            rotation=0 if upright else 90,
            parse_math=False,
            linespacing=LINE_STEP,
            **settings,
        )

    def fit(
        self,
        x_mm: float,
        y_mm: float,
        string: str,
        size_pt: float,
        width_mm: float,
        *,
        lines: int = 1,
        weight: str = "normal",
        most: int = MOST_LINES,
        **look: Any,
    ) -> Text:
        """Write a text whole on `lines` lines of the width, in smaller letters and on more lines where it takes them."""
        words, size = fitted(string, size_pt, width_mm, lines, weight, most)
        return self.text(x_mm, y_mm, words, size, weight=weight, **look)

    @property
    def margin_mm(self) -> float:
        """Left and right of what is written."""
        return 8.0 if self.width_mm <= A5_MM[0] else 12.0

    def head(self, head: str, under: str = "") -> None:
        """The sheet's title, and softer what it is of; both as large on the desk whatever the paper."""
        small, left, width = self.width_mm <= A5_MM[0], self.margin_mm, self.width_mm - 2 * self.margin_mm
        top, below, more_pt = (8.5, 13.5, 0.0) if small else (12.0, 18.5, 1.0)
        self.fit(left, self.height_mm - top, head, TITLE_PT + 2 * more_pt, width, weight="bold", most=2)
        if under:
            self.fit(left, self.height_mm - below, under, BODY_PT + more_pt, width, colour=SOFT_INK, most=2)

    def foot(self, words: str, y_mm: float = 8.5) -> None:
        """How to read the sheet, softly along its lower edge."""
        left = self.margin_mm
        self.fit(left, y_mm, words, FOOT_PT, self.width_mm - 2 * left, lines=2, colour=SOFT_INK, va="center")

    def line(self, points_mm: Iterable[tuple[float, float]], colour: str = INK, width_pt: float = 0.8, **settings: Any) -> Line2D:
        """Draw a line through places of the sheet."""
        xs, ys = zip(*points_mm, strict=True)
        drawn = Line2D(
            [x / self.width_mm for x in xs],
            [y / self.height_mm for y in ys],
            color=colour,
            linewidth=width_pt,
            transform=self.figure.transFigure,
            **settings,
        )
        self.figure.add_artist(drawn)
        return drawn

    def label_free(
        self,
        places_mm: Iterable[tuple[float, float]],
        string: str,
        size_pt: float = LABEL_PT,
        *,
        within: Box | None = None,
        pad_mm: float = 0.6,
        weight: str = "normal",
        colour: str = INK,
        **settings: Any,
    ) -> Box | None:
        """Write a centred text at the first place where it stands free; nothing is written, and None given, where none is."""
        for x_mm, y_mm in places_mm:
            box = self.text_box(x_mm, y_mm, string, size_pt, ha="center", va="center", weight=weight, pad_mm=pad_mm)
            if self.is_free(box, within):
                self.text(x_mm, y_mm, string, size_pt, ha="center", va="center", weight=weight, colour=colour, **settings)
                self.taken[-1] = box
                return box
        return None

    def taken_floor(self, box: Box) -> float:
        """How far down the labels around a box's lower edge reach [mm]."""
        return min((b.bottom for b in self.taken if box.bottom - 6.0 < b.bottom < box.bottom), default=box.bottom)
