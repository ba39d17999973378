"""What the plan's PDFs share: papers, and the bar to measure."""

from __future__ import annotations

from typing import Any

from scenes.sheets.pdf_letters import LETTERS

PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
MM = 72 / 25.4  # points
BAR_MM = 100.0


def draw_bar(canvas: Any, x: float, y: float) -> None:
    """A bar of BAR_MM from a place [pt], with what it is for."""
    end = x + BAR_MM * MM
    canvas.setStrokeColorRGB(0, 0, 0)
    canvas.setLineWidth(0.6)
    canvas.line(x, y, end, y)
    for at in (x, end):
        canvas.line(at, y - 2 * MM, at, y + 2 * MM)
    canvas.setFont(LETTERS, 7)
    canvas.drawString(x + 2 * MM, y + 1.2 * MM, f"{BAR_MM:g} mm: print at 100 %, then measure this bar")
