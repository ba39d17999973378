"""The letters of PDFs: those that come with the pictures' library, for names may be of any script."""

from __future__ import annotations

from pathlib import Path

LETTERS, BOLD = "DejaVuSans", "DejaVuSans-Bold"
CAP_SHARE = 0.729  # of the type size: the height of their capitals


def use_letters() -> None:
    """Have the PDF library know them."""
    from matplotlib import get_data_path
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name in (LETTERS, BOLD):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(LETTERS, normal=LETTERS, bold=BOLD, italic=LETTERS, boldItalic=BOLD)
