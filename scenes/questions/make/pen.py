"""A drawing page in millimetres: lines, letters and arrows as ISO 128-2, ISO 3098 and ISO 129-1 have them (from memory)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from geometry.arrays import FloatArray
from scenes.sheets.pdf_letters import BOLD, CAP_SHARE, LETTERS

PT = 72 / 25.4
WIDE, NARROW, FRAME = 0.5, 0.25, 0.7  # line group 0.5 of ISO 128-2, for A4 to A2; frame of ISO 5457
HIDDEN, CHAIN = (12 * NARROW, 3 * NARROW), (24 * NARROW, 3 * NARROW, 1 * NARROW, 3 * NARROW)  # dashes in line widths: ISO 128-2
SMALL, TEXT, LARGE = 1.8, 2.5, 3.5  # heights of capitals [mm]
LEAST = 0.85 * SMALL  # that is read yet
ROW_STEP = 1.5  # from row to row, of the height of capitals
ARROW_MM, ARROW_DEG = 2.5, 15.0
GAP_MM, OVER_MM = 1.0, 2.0  # of extension lines: from the outline, past the dimension line
NARROWEST_MM = 3.2  # of a dimension whose arrows stand inside

Point = tuple[float, float]


class Pen:
    """Draws on one page of a PDF; places are mm from its lower left."""

    def __init__(self, canvas: Any) -> None:
        self._canvas = canvas

    def line(self, points: Sequence[Point], width: float = NARROW, dash: Sequence[float] = (), *, closed: bool = False) -> None:
        """A line through points."""
        path = self._canvas.beginPath()
        path.moveTo(points[0][0] * PT, points[0][1] * PT)
        for x, y in points[1:]:
            path.lineTo(x * PT, y * PT)
        if closed:
            path.close()
        self._set(width, dash)
        self._canvas.drawPath(path, stroke=1, fill=0)

    def pieces(self, pieces_mm: FloatArray, width: float, dash: Sequence[float] = ()) -> None:
        """Many short lines (N, 2, 2), as one path."""
        if not len(pieces_mm):
            return
        path = self._canvas.beginPath()
        last: Point | None = None
        for (x0, y0), (x1, y1) in (pieces_mm * PT).tolist():
            if last is None or abs(last[0] - x0) + abs(last[1] - y0) > 1e-6:
                path.moveTo(x0, y0)
            path.lineTo(x1, y1)
            last = (x1, y1)
        self._set(width, dash)
        self._canvas.drawPath(path, stroke=1, fill=0)

    def _set(self, width: float, dash: Sequence[float] = ()) -> None:
        self._canvas.setLineWidth(width * PT)
        self._canvas.setLineCap(1)
        self._canvas.setLineJoin(1)
        self._canvas.setDash([part * PT for part in dash])

    def disc(self, centre: Point, radius: float) -> None:
        """A circle that clears what lies behind it."""
        self._canvas.setFillColorRGB(1, 1, 1)
        self.circle(centre, radius, filled=True)
        self._canvas.setFillColorRGB(0, 0, 0)

    def circle(self, centre: Point, radius: float, width: float = NARROW, *, filled: bool = False) -> None:
        """A circle, or a dot."""
        self._set(width)
        self._canvas.circle(centre[0] * PT, centre[1] * PT, radius * PT, stroke=1, fill=1 if filled else 0)

    def text(
        self, at: Point, words: str, height: float = TEXT, *, anchor: str = "left", turn_deg: float = 0.0, bold: bool = False
    ) -> None:
        """Words on a line: `at` is the left, middle or right of their base."""
        font, size = BOLD if bold else LETTERS, height / CAP_SHARE * PT
        wide = self.wide(words, height, bold=bold) * PT
        self._canvas.saveState()
        self._canvas.translate(at[0] * PT, at[1] * PT)
        self._canvas.rotate(turn_deg)
        left = {"left": 0.0, "middle": -wide / 2, "right": -wide}[anchor]
        self._canvas.setFont(font, size)
        self._canvas.drawString(left, 0, words)
        self._canvas.restoreState()

    def fitted(self, at: Point, words: str, most_mm: float, height: float = TEXT, *, bold: bool = False, rows: int = 1) -> None:
        """Words made smaller where they are too long, then in `rows` one above the other, and cut where that is not enough."""
        wide = self.wide(words, height, bold=bold)
        height = max(height * min(1.0, most_mm / wide), LEAST) if wide else height
        wrapped = self._wrapped(words, most_mm, height, bold=bold)
        if 1 < len(wrapped) <= rows:
            for up, row in enumerate(wrapped[:0:-1]):
                self.text((at[0], at[1] + up * ROW_STEP * height), row, height, bold=bold)
            at, words = (at[0], at[1] + (len(wrapped) - 1) * ROW_STEP * height), wrapped[0]
        while words and self.wide(words, height, bold=bold) > most_mm:
            words = words.rstrip("…")[:-1] + "…" if len(words) > 2 else ""
        self.text(at, words, height, bold=bold)

    def notes(self, at: Point, lines: Sequence[str], most_mm: float, step_mm: float = 5.0) -> float:
        """Lines under one another from a place down, wrapped; where they end."""
        x, y = at
        for line in filter(None, lines):
            for row in self._wrapped(line, most_mm, TEXT):
                self.text((x, y - TEXT), row)
                y -= step_mm
        return y

    def _wrapped(self, words: str, most_mm: float, height: float, *, bold: bool = False) -> list[str]:
        rows = [""]
        for word in words.split():
            longer = f"{rows[-1]} {word}".strip()
            rows = [*rows[:-1], longer] if self.wide(longer, height, bold=bold) <= most_mm else [*rows, word]
        return rows

    def wide(self, words: str, height: float = TEXT, *, bold: bool = False) -> float:
        """How wide words are [mm]."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        return float(stringWidth(words, BOLD if bold else LETTERS, height / CAP_SHARE * PT)) / PT

    def arrow(self, tip: Point, toward_deg: float) -> None:
        """A filled head whose tip lies at a place, pointing that way."""
        half = np.radians(ARROW_DEG / 2)
        angle = np.radians(toward_deg)
        reach = ARROW_MM / np.cos(half)
        ends = [(tip[0] - reach * np.cos(angle + k * half), tip[1] - reach * np.sin(angle + k * half)) for k in (-1, 1)]
        path = self._canvas.beginPath()
        path.moveTo(tip[0] * PT, tip[1] * PT)
        for x, y in ends:
            path.lineTo(float(x) * PT, float(y) * PT)
        path.close()
        self._set(0.01)
        self._canvas.drawPath(path, stroke=0, fill=1)

    def across(self, left: float, right: float, features_y: tuple[float, float], line_y: float, words: str) -> None:
        """A level dimension: between two places, whose outlines lie at heights, with its line at another."""
        self._dimension((left, right), features_y, line_y, words, upright=False)

    def upright(self, low: float, high: float, features_x: tuple[float, float], line_x: float, words: str) -> None:
        """An upright dimension, read from the right."""
        self._dimension((low, high), features_x, line_x, words, upright=True)

    def _dimension(
        self, ends: tuple[float, float], features: tuple[float, float], line: float, words: str, *, upright: bool
    ) -> None:
        def at(along: float, off: float) -> Point:
            return (off, along) if upright else (along, off)

        for end, feature in zip(ends, features, strict=True):
            side = 1.0 if line >= feature else -1.0
            self.line([at(end, feature + side * GAP_MM), at(end, line + side * OVER_MM)])
        start, stop = min(ends), max(ends)
        inside = stop - start >= 2 * NARROWEST_MM
        turn = 90.0 if upright else 0.0
        reach = 0.0 if inside else ARROW_MM + 2.0
        self.line([at(start - reach, line), at(stop + reach, line)])
        self.arrow(at(start, line), turn + (180.0 if inside else 0.0))
        self.arrow(at(stop, line), turn + (0.0 if inside else 180.0))
        wide = self.wide(words)
        if stop - start >= wide + 1.0:
            middle = (start + stop) / 2
        else:
            middle = stop + reach + wide / 2 + 1.0 if not inside else (start + stop) / 2
        base = (line - 0.8, middle) if upright else (middle, line + 0.8)
        self.text(base, words, anchor="middle", turn_deg=turn)

    def leader(self, tip: Point, knee: Point, words: str, *, to_right: bool = True) -> None:
        """A line with an arrow to an outline, and words on its shoulder."""
        way = np.degrees(np.arctan2(tip[1] - knee[1], tip[0] - knee[0]))
        wide = self.wide(words) + 1.0
        end = knee[0] + (wide if to_right else -wide)
        self.line([tip, knee, (end, knee[1])])
        self.arrow(tip, float(way))
        self.text((min(knee[0], end) + 0.5, knee[1] + 0.8), words)

    def axis(self, start: Point, stop: Point) -> None:
        """An axis or line of symmetry."""
        self.line([start, stop], NARROW, CHAIN)
