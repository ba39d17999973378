"""What the plan's PDFs share: papers, letters, and the bar to measure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
MM = 72 / 25.4  # points
LETTERS, BOLD = "DejaVuSans", "DejaVuSans-Bold"
BAR_MM = 100.0


def use_letters() -> None:
    """The letters that come with the pictures' library: names may be of any script."""
    from matplotlib import get_data_path
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name in (LETTERS, BOLD):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(LETTERS, normal=LETTERS, bold=BOLD, italic=LETTERS, boldItalic=BOLD)


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
