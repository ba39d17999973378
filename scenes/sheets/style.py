"""Words, colours and sizes that every flat picture shares. Draws nothing by itself and keeps no state."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

from matplotlib.colors import Colormap, Normalize
from matplotlib.figure import Figure

from geometry.body import Kind
from scenes.scene_file.messages import ALL_LIGHT, ALL_STOPS

A5_MM = (210.0, 148.0)  # a page that goes into a kit bag; A4 sheets keep sizes that survive printing at this size
A4_MM = (297.0, 210.0)
MM_PER_INCH = 25.4
PRINT_DPI = 200

TITLE_PT = 13.0
VERDICT_PT = 10.5
BODY_PT = 9.0
LABEL_PT = 8.0
FOOT_PT = 6.5

DARK_STOPS = 3.0  # an eighth of the light: the scale of loss ends here, all beyond is black
NOTHING_STOPS = 0.005  # a loss that two decimals cannot show
FRACTION_SLACK_STOPS = 0.002  # a loss this near to a third, a half or a tenth is written as that

INK = "#1B1B1B"
SOFT_INK = "#5A5A5A"
PAPER = "#FFFFFF"
HIGHLIGHT = "#D55E00"  # what to look at first
UNKNOWN = "#BDBDBD"

# Okabe and Ito's set ("Color Universal Design", 2008) and two greys, given to parts so that neighbours differ in lightness too.
PART_COLOURS: dict[Kind, str] = {
    Kind.BARREL: "#8A8A8A",
    Kind.FRONT_RING: "#4D4D4D",
    Kind.ROD: "#B5B5B5",
    Kind.BACK: "#0072B2",
    Kind.SEAL: "#CC79A7",
    Kind.TRAY: "#009E73",
    Kind.MASK: "#E69F00",
    Kind.HOOD: "#56B4E9",
    Kind.FLAG: "#D55E00",
    Kind.EXTENSION: "#F0B48A",
    Kind.SOLID: "#8C6BB1",
}
GLASS_COLOUR = "#BFE3EF"
# openings and ways of stray light, in their order
OPENING_COLOURS = ("#56B4E9", "#E69F00", "#009E73", "#CC79A7", "#0072B2", "#D55E00", "#F0E442", "#8C6BB1")
RAY_CLEAR = "#0072B2"
RAY_BLOCKED = "#D55E00"

_FRACTIONS = ((1 / 10, "1/10"), (1 / 3, "1/3"), (1 / 2, "1/2"), (2 / 3, "2/3"))


@dataclass(frozen=True, slots=True)
class Badge:
    """How a verdict word looks: a symbol, a ground colour and the colour of the letters on it."""

    symbol: str
    ground: str
    letters: str = PAPER


_BADGES = {
    "clear": Badge("✓", "#0072B2"),
    "tight": Badge("≈", "#F0E442", INK),
    "shading": Badge("◣", "#E69F00", INK),
    "in frame": Badge("✗", "#B23A00"),
}

VERDICT_ORDER = tuple(_BADGES)  # from best to worst


def badge_of(verdict_word: str) -> Badge:
    """Symbol and colours of a verdict word; a word it does not know gets a neutral one."""
    return _BADGES.get(verdict_word.strip().lower(), Badge("•", SOFT_INK))


def stops_label(value_stops: float) -> str:
    """A loss in the crew's words: 'none', '0.12 stop', '1/3 stop', '1 1/3 stops', 'all light', 'unknown' for NaN."""
    if math.isnan(value_stops):
        return "unknown"
    if value_stops >= ALL_STOPS:
        return ALL_LIGHT
    if value_stops < NOTHING_STOPS:
        return "none"
    return f"{_number_words(value_stops)} {'stop' if value_stops <= 1 + FRACTION_SLACK_STOPS else 'stops'}"


def _number_words(value: float) -> str:
    whole, rest = divmod(value + FRACTION_SLACK_STOPS, 1.0)
    rest -= FRACTION_SLACK_STOPS
    if abs(rest) <= FRACTION_SLACK_STOPS:
        return f"{whole:.0f}"
    for fraction, words in _FRACTIONS:
        if abs(rest - fraction) <= FRACTION_SLACK_STOPS and (whole == 0 or fraction > 0.3):
            return f"{whole:.0f} {words}" if whole else words
    return f"{value:.2f}" if value < 1 else f"{value:.1f}"


def loss_colours() -> Colormap:
    """Light where nothing is lost, dark where much is; even steps, and told apart with any kind of colour vision."""
    from matplotlib import colormaps

    return colormaps["cividis_r"].with_extremes(over="#000000", bad=UNKNOWN)


def loss_scale() -> Normalize:
    """From no loss to DARK_STOPS, in even steps of stops."""
    return Normalize(0.0, DARK_STOPS)


def part_colour(kind: Kind) -> str:
    """The colour of a kind of part in every picture."""
    return PART_COLOURS[kind]


def figure_png(figure: Figure, dpi: int = PRINT_DPI) -> bytes:
    """The figure as PNG bytes; opens no file and needs no display."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dpi)
    return buffer.getvalue()
