"""Figures as bytes of picture files; opens no file and needs no display."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PRINT_DPI = 200


def figure_png(figure: Figure, dpi: int = PRINT_DPI) -> bytes:
    """The figure as PNG bytes."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dpi)
    return buffer.getvalue()
