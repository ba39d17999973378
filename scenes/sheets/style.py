"""Words, badges and sizes that every flat picture shares; colours are in `colours`. Draws nothing by itself and keeps no state."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scenes.scene_file.messages import ALL_LIGHT, ALL_STOPS
from scenes.sheets.colours import CLEAR_GROUND, IN_FRAME_GROUND, INK, PAPER, SHADING_GROUND, SOFT_INK, TIGHT_GROUND

A5_MM = (210.0, 148.0)  # a page that goes into a kit bag; A4 sheets keep sizes that survive printing at this size
A4_MM = (297.0, 210.0)
MM_PER_INCH = 25.4

TITLE_PT = 13.0
VERDICT_PT = 10.5
BODY_PT = 9.0
LABEL_PT = 8.0
FOOT_PT = 8.0

NOTHING_STOPS = 0.005  # a loss that two decimals cannot show
FRACTION_SLACK_STOPS = 0.002  # a loss this near to a third, a half or a tenth is written as that

_FRACTIONS = ((1 / 10, "1/10"), (1 / 3, "1/3"), (1 / 2, "1/2"), (2 / 3, "2/3"))


@dataclass(frozen=True, slots=True)
class Badge:
    """How a verdict word looks: a symbol, a ground colour and the colour of the letters on it."""

    symbol: str
    ground: str
    letters: str = PAPER


_BADGES = {
    "clear": Badge("✓", CLEAR_GROUND),
    "tight": Badge("≈", TIGHT_GROUND, INK),
    "shading": Badge("◐", SHADING_GROUND, INK),
    "in frame": Badge("✗", IN_FRAME_GROUND),
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
