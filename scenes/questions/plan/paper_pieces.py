"""Pieces of a printed page: text, badges, tables, boxes to tick, blanks to fill in, drawings."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import partial
from typing import Any
from xml.sax.saxutils import escape

from scenes.questions.plan.drawings import Disc, Drawing, Line, Shape, Words
from scenes.questions.plan.pdf_basics import MM
from scenes.sheets.pdf_letters import BOLD, LETTERS
from scenes.sheets.style import badge_of

TICK_MM, LINE_MM = 5.0, 8.0
BODY_PT, SMALL_PT, HEAD_PT = 9.0, 8.5, 12.5


def paragraph(words: str, size: float = BODY_PT, *, bold: bool = False, after: float = 2.0, colour: str = "#1B1B1B") -> Any:
    """Plain words."""
    return marked(escape(words), size, bold=bold, after=after, colour=colour)


def marked(words: str, size: float = BODY_PT, *, bold: bool = False, after: float = 2.0, colour: str = "#1B1B1B") -> Any:
    """Words with marks of their own, such as <b>."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "text",
        fontName=BOLD if bold else LETTERS,
        fontSize=size,
        leading=size * 1.25,
        spaceAfter=after,
        textColor=colour,
        splitLongWords=1,
    )
    return Paragraph(words, style)


def heading(words: str) -> Any:
    """A heading, kept with what follows it."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "head", fontName=BOLD, fontSize=HEAD_PT, leading=HEAD_PT * 1.2, spaceBefore=9, spaceAfter=3, keepWithNext=1
    )
    return Paragraph(escape(words), style)


def word_badge(word: str) -> Any:
    """A verdict's badge."""
    badge = badge_of(word)
    return marked(
        f'<font backColor="{badge.ground}" color="{badge.letters}">&nbsp;{badge.symbol} {escape(word)}&nbsp;</font>',
        SMALL_PT,
        bold=True,
    )


def table(
    rows: Sequence[Sequence[Any]], widths: Sequence[float], *, ruled: bool = True, heads: bool = False, pad: float = 2.5
) -> Any:
    """Cells in columns of these widths [pt], ruled below each row."""
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import Table, TableStyle

    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
    ]
    style += [("TOPPADDING", (0, 0), (-1, -1), pad), ("BOTTOMPADDING", (0, 0), (-1, -1), pad)]
    if ruled:
        style.append(("LINEBELOW", (0, 0), (-1, -1), 0.3, HexColor("#BDBDBD")))
    return Table(rows, colWidths=widths, style=TableStyle(style), repeatRows=int(heads), hAlign="LEFT")


def ticks(name: str, lines: Sequence[str], width: float) -> Any:
    """Lines with a box to tick before each."""
    rows = [[tick(f"{name}_{number:02}"), paragraph(line)] for number, line in enumerate(lines, 1)]
    return table(rows, [8 * MM, width - 8 * MM], ruled=False, pad=1.5)


def tick(name: str, says: str = "") -> Any:
    """A box to tick, by pencil or on a screen."""

    def draw(canvas: Any) -> None:
        canvas.acroForm.checkbox(
            name=name,
            tooltip=says or name,
            size=TICK_MM * MM,
            buttonStyle="check",
            borderWidth=0.8,
            fieldFlags="",
            relative=True,
            **_ink(),
        )

    return _drawn(TICK_MM * MM, TICK_MM * MM, draw)


def blank(name: str, width: float, height: float = LINE_MM * MM, *, lines: bool = False, says: str = "") -> Any:
    """A blank to fill in, by pencil or on a screen; `lines` for a note of several."""

    def draw(canvas: Any) -> None:
        canvas.acroForm.textfield(
            name=name,
            tooltip=says or name,
            width=width,
            height=height,
            fontSize=9,
            borderWidth=0.6,
            maxlen=1000,
            fieldFlags="multiline" if lines else "",
            relative=True,
            **_ink(),
        )

    return _drawn(width, height, draw)


def _ink() -> dict[str, Any]:
    from reportlab.lib.colors import black, white

    return {"borderColor": black, "fillColor": white, "textColor": black}


def _drawn(width: float, height: float, draw: Any) -> Any:
    """A piece of a page that draws itself with its lower left corner at 0, 0 [pt]."""
    from reportlab.platypus import Flowable

    piece = Flowable()
    piece.width, piece.height, piece.hAlign = width, height, "LEFT"
    piece.wrap = lambda *_: (width, height)
    piece.draw = lambda: draw(piece.canv)
    return piece


def picture(drawing: Drawing, width: float) -> Any:
    """A drawing at a width [pt]."""
    scale = width / drawing.width
    return _drawn(width, drawing.height * scale, partial(_draw, drawing=drawing, scale=scale))


def _draw(canvas: Any, *, drawing: Drawing, scale: float) -> None:
    from reportlab.lib.utils import ImageReader

    left, right, bottom, top = drawing.box
    canvas.saveState()
    canvas.scale(scale, scale)
    canvas.translate(-left, -bottom)
    if drawing.png:
        canvas.drawImage(ImageReader(io.BytesIO(drawing.png)), left, bottom, right - left, top - bottom)
    for shape in drawing.shapes:
        _draw_shape(canvas, shape)
    canvas.setStrokeColor("#BDBDBD")
    canvas.setLineWidth(0.4 / scale)
    canvas.rect(left, bottom, right - left, top - bottom)
    canvas.restoreState()


def _draw_shape(canvas: Any, shape: Shape) -> None:
    canvas.setStrokeColor(shape.colour)
    canvas.setFillColor(shape.colour)
    match shape:
        case Line():
            canvas.setLineWidth(shape.width)
            canvas.setDash([1.6, 1.2] if shape.dashed else [])
            path = canvas.beginPath()
            path.moveTo(*shape.points[0])
            for point in shape.points[1:]:
                path.lineTo(*point)
            canvas.setFillColor(shape.fill or shape.colour)
            canvas.drawPath(path, stroke=int(shape.width > 0), fill=int(bool(shape.fill)))
            canvas.setDash([])
        case Disc():
            canvas.setLineWidth(shape.width)
            canvas.setFillColor(shape.fill or shape.colour)
            canvas.circle(*shape.centre, shape.radius, stroke=1, fill=int(bool(shape.fill)))
        case Words():
            canvas.setFont(LETTERS, shape.size)
            place = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[shape.anchor]
            place(*shape.at, shape.text)
