"""Numbers as JSON and tables have them: infinite lengths, rounded values, what has no number."""

from __future__ import annotations

import math

INFINITY = "infinity"


def finite(value: float | None, digits: int = 3) -> float | None:
    """A rounded number; None for one that is not finite or not there. Never minus zero."""
    return None if value is None or not math.isfinite(value) else round(value, digits) + 0.0


def distance(value_mm: float, digits: int = 3) -> float | str:
    """A distance [mm]; the word where it is infinite, as scene files have it."""
    return round(value_mm, digits) + 0.0 if math.isfinite(value_mm) else INFINITY


def distance_words(value_mm: float) -> str:
    """A focus distance in a table: '300', 'infinity'."""
    return f"{value_mm:g}" if math.isfinite(value_mm) else INFINITY


def focus_words(focus_mm: float) -> str:
    """A focus distance in a sentence: '450 mm', 'infinity'."""
    return f"{focus_mm:g} mm" if math.isfinite(focus_mm) else INFINITY


def error_words(sigma: float, unit: str) -> str:
    """'0.15 mm', '1.2 deg': two figures, and no less than a hundredth."""
    return f"{max(sigma, 0.01):.2f} {unit}" if sigma < 1.0 else f"{sigma:.1f} {unit}"
