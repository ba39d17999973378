"""The plan on paper: a PDF with boxes to tick and blanks to fill in, and a bar to measure that the printer kept its size."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any
from xml.sax.saxutils import escape

from scenes.questions.plan.bring import bring_lines
from scenes.questions.plan.drawings import field_width, heatmap, parallax, scale_bar
from scenes.questions.plan.measuring import PUPIL_HOW, blanks_of
from scenes.questions.plan.page import BOX_FOUND, CHART_HEADS, FOUND, LEGEND, MEASURE_NOTE, STILLS, shot_rows
from scenes.questions.plan.paper_pieces import (
    LINE_MM,
    SMALL_PT,
    blank,
    heading,
    marked,
    paragraph,
    picture,
    table,
    tick,
    ticks,
    word_badge,
)
from scenes.questions.plan.pdf_basics import MM, PAPER_MM, draw_bar
from scenes.questions.plan.readings import columns_of, rows_of_shot
from scenes.questions.plan.report import PlannedShot, Station, TestPlan
from scenes.questions.plan.words import (
    CHANGE_FIRST,
    all_tells_lines,
    cautions,
    change_words,
    chart_rows,
    clear_words,
    headline,
    how_lines,
    in_frame,
    loss_lines,
    order_words,
    room_lines,
    show_lines,
    tight,
    to_change,
)
from scenes.sheets.pdf_letters import LETTERS, use_letters
from scenes.states.names import state_words
from scenes.verdicts.overview import Attention

LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 20.0, 12.0, 12.0, 22.0  # the punched side is wider
READ_MM = 7.0
TITLE_PT = 16.0
HEAT_MM = 62.0
BRING_COLUMNS = 3


def plan_pdf(plan: TestPlan, paper: str) -> bytes:
    """The plan as a PDF on "a4" or "letter"; the same bytes for the same plan."""
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    use_letters()
    stream = io.BytesIO()
    width, height = (side * MM for side in PAPER_MM[paper])
    title = f"Test shoot: {plan.title}" if plan.title else "Test shoot"
    doc = BaseDocTemplate(stream, pagesize=(width, height), invariant=1, title=title, pageCompression=1)
    frame = Frame(LEFT_MM * MM, BOTTOM_MM * MM, width - (LEFT_MM + RIGHT_MM) * MM, height - (TOP_MM + BOTTOM_MM) * MM, 0, 0, 0, 0)
    doc.addPageTemplates([PageTemplate(frames=[frame], onPage=partial(_foot, plan=plan))])
    doc.build(list(_story(plan, width - (LEFT_MM + RIGHT_MM) * MM)), canvasmaker=_unscaled)
    return stream.getvalue()


def _unscaled(*args: Any, **more: Any) -> Any:
    """A canvas that asks viewers to print at 100 %."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(*args, **more)
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def _foot(canvas: Any, doc: Any, *, plan: TestPlan) -> None:
    canvas.saveState()
    draw_bar(canvas, LEFT_MM * MM, 13 * MM)
    canvas.setFont(LETTERS, 7.5)
    canvas.drawRightString(doc.pagesize[0] - RIGHT_MM * MM, 13 * MM, f"{plan.title[:40]}   plan {plan.plan_id}   page {doc.page}")
    canvas.restoreState()


def _story(plan: TestPlan, width: float) -> Iterator[Any]:
    from reportlab.platypus import CondPageBreak, PageBreak

    yield from _front(plan, width)
    if plan.measures:
        yield CondPageBreak(130 * MM)
        yield from _measure(plan, width)
    yield PageBreak()
    yield from _shots(plan, width)
    yield PageBreak()
    yield from _chart(plan, width)


def _front(plan: TestPlan, width: float) -> Iterator[Any]:
    yield paragraph(f"Test shoot: {plan.title}" if plan.title else "Test shoot", TITLE_PT, bold=True, after=4)
    yield paragraph(headline(plan), 10.5, bold=True, after=4)
    for line in show_lines(plan):
        yield paragraph(line)
    if to_change(plan):
        yield heading("Change before the shoot")
        yield paragraph(CHANGE_FIRST)
        yield ticks("change", to_change(plan), width)
    for head, groups, told in (("In frame", in_frame(plan), loss_lines), ("Tight", tight(plan), room_lines)):
        if groups:
            yield heading(head)
            yield _attention([(group, told(group)) for group in groups], width)
    if clear_words(plan):
        yield heading("Clear")
        yield paragraph(f"{clear_words(plan)}.")
    yield heading("Cautions")
    for caution in cautions(plan):
        yield paragraph(caution)
    yield heading("Bring")
    yield _bring(plan, width)


def _attention(groups: Sequence[tuple[Attention, str]], width: float) -> Any:
    rows = [
        [word_badge(str(g.word)), marked(f"<b>{escape(g.lens)}</b> {escape(g.settings)}", SMALL_PT), paragraph(told, SMALL_PT)]
        for g, told in groups
    ]
    return table(rows, [22 * MM, 57 * MM, width - 79 * MM], pad=1.2)


def _bring(plan: TestPlan, width: float) -> Any:
    lines = bring_lines(plan)
    high = -(-len(lines) // BRING_COLUMNS)
    cells = [[tick(f"bring_{number:02}"), paragraph(line, SMALL_PT, after=0)] for number, line in enumerate(lines, 1)]
    cells += [["", ""]] * (BRING_COLUMNS * high - len(cells))
    rows = [[cell for column in range(BRING_COLUMNS) for cell in cells[k + column * high]] for k in range(high)]
    return table(rows, [7 * MM, width / BRING_COLUMNS - 7 * MM] * BRING_COLUMNS, ruled=False, pad=0.8)


def _measure(plan: TestPlan, width: float) -> Iterator[Any]:
    yield heading("Measure first")
    half = width / 2 - 3 * MM
    told = (
        (parallax(), "The entrance pupil, by parallax", PUPIL_HOW),
        (field_width(), "The field of view up close", plan.field_how),
    )
    cells = [
        [paragraph(head, 10, bold=True), picture(drawing, half), *(paragraph(line, SMALL_PT) for line in lines)]
        for drawing, head, lines in told
    ]
    yield table([cells], [width / 2, width / 2], ruled=False)
    yield paragraph(MEASURE_NOTE, SMALL_PT)
    rows = [["", paragraph("measure", bold=True), paragraph("used so far", bold=True), paragraph("found", bold=True)]]
    for number, one in enumerate(plan.measures, 1):
        name = f"measure_{number:02}"
        key = f' <font color="#595959">({escape(one.enters)})</font>' if one.enters else ""
        what = marked(f"<b>{escape(one.who)}</b>: {escape(one.what)}{key}", SMALL_PT)
        asked = blanks_of(one)
        across = min(len(asked), 2)
        each = 48 * MM / across
        cells = [[paragraph(hint, 7, after=0.5), blank(f"{name}_{key}", each - 2 * MM, says=hint)] for key, hint in asked]
        rows.append(
            [
                tick(f"{name}_done"),
                what,
                paragraph(one.so_far, SMALL_PT),
                table(_in_rows(cells, across), [each] * across, ruled=False, pad=0),
            ]
        )
    rest = width - 58 * MM
    yield table(rows, [8 * MM, 0.48 * rest, 0.52 * rest, 50 * MM], heads=True)


def _in_rows(cells: list[Any], across: int) -> list[list[Any]]:
    rows = [cells[k : k + across] for k in range(0, len(cells), across)]
    return [[*row, *[""] * (across - len(row))] for row in rows]


def _shots(plan: TestPlan, width: float) -> Iterator[Any]:
    from reportlab.platypus import KeepTogether

    yield heading("Shots")
    for number, line in enumerate(how_lines(plan), 1):
        yield paragraph(f"{number}. {line}")
    yield paragraph(order_words(plan))
    legend = paragraph(f"Light the box takes. {LEGEND}", SMALL_PT)
    yield table([[picture(scale_bar(), 62 * MM), legend]], [68 * MM, width - 68 * MM], ruled=False)
    for station in plan.stations:
        first, *rest = station.shots
        yield KeepTogether([*_station(station, width), *_shot(first, station, width)])
        for shot in rest:
            yield KeepTogether(list(_shot(shot, station, width)))
    for number, failed in enumerate(plan.check.failed, 1):
        yield ticks(
            f"failed_{number:02}", [f"{failed.key}: could not be computed, so nothing is known of it: look at every corner."], width
        )
    if plan.tells:
        yield heading("What stills of these shots tell")
        for line in all_tells_lines(plan):
            yield paragraph(line, SMALL_PT)
    if plan.covered:
        yield heading("Need not be shot")
        rows = [
            [paragraph(state_words(one), SMALL_PT), word_badge(str(one.word)), paragraph(one.why, SMALL_PT)] for one in plan.covered
        ]
        yield table(rows, [62 * MM, 24 * MM, width - 86 * MM], pad=1.5)


def _station(station: Station, width: float) -> Iterator[Any]:
    yield heading(f"Set-up {station.number}: {station.setup.lens}, {station.minutes:g} min")
    yield ticks(f"setup_{station.number:02}", change_words(station), width)
    yield _box_found(station, width)


def _box_found(station: Station, width: float) -> Any:
    """A blank for where the box was measured to stand."""
    found = blank(f"setup_{station.number:02}_box", 30 * MM, READ_MM * MM, says=BOX_FOUND)
    return table([["", paragraph(BOX_FOUND, SMALL_PT), found]], [8 * MM, 62 * MM, width - 70 * MM], ruled=False, pad=1)


def _shot(shot: PlannedShot, station: Station, width: float) -> Iterator[Any]:
    from reportlab.platypus import Spacer

    name = f"shot_{shot.number:02}"
    title = marked(f"<b>{shot.number}. {escape(state_words(shot))}</b>", 10.5)
    head = [
        tick(f"{name}_done", f"shot {shot.number} done"),
        title,
        word_badge(str(shot.shot.guide.word)),
        paragraph(shot.shot.guide.guide, SMALL_PT),
    ]
    yield Spacer(1, 6)
    yield table([head], [8 * MM, width - 72 * MM, 26 * MM, 38 * MM], ruled=False)
    told = [
        marked(f'<font color="#595959">{escape(head)}:</font> {escape(words)}', SMALL_PT, after=1.5)
        for head, words in shot_rows(shot, station)
        if words
    ]
    left = [
        picture(heatmap(shot), HEAT_MM * MM),
        Spacer(1, 4),
        _readings(shot, name),
        Spacer(1, 3),
        _stills(shot, name),
        _found(shot, name),
        paragraph("note", 7.5, after=1),
        blank(f"{name}_note", HEAT_MM * MM, 2 * LINE_MM * MM, lines=True, says=f"shot {shot.number}: note"),
    ]
    yield table([[left, told]], [(HEAT_MM + 4) * MM, width - (HEAT_MM + 4) * MM])


def _stills(shot: PlannedShot, name: str) -> Any:
    """A box to tick for each still of a shot."""
    ticked = [(tick(f"{name}_still_{key}", f"shot {shot.number}: still, {words}"), words) for key, words in STILLS]
    cells = [cell for box, words in ticked for cell in (box, paragraph(words, 7.5, after=0))]
    return table([[paragraph("still:", 7.5, after=0), *cells]], [12 * MM, *([7 * MM, 18 * MM] * 2)], ruled=False, pad=0.8)


def _found(shot: PlannedShot, name: str) -> Any:
    """A box to tick for how the box read."""
    cells = [
        cell
        for key, words in FOUND
        for cell in (tick(f"{name}_{key}", f"shot {shot.number}: {words}"), paragraph(words, 7.5, after=0))
    ]
    return table([cells], [7 * MM, 19 * MM, 7 * MM, 11 * MM, 7 * MM, 13 * MM], ruled=False, pad=0.8)


def _readings(shot: PlannedShot, name: str) -> Any:
    """The blanks for what is read."""
    columns = columns_of(shot)
    each, first = 14.0 * MM, (HEAT_MM - 14.0 * len(columns)) * MM
    rows: list[list[Any]] = [["", *(paragraph(column, 7, after=0) for column in columns)]]
    for row in rows_of_shot(shot):
        told = [
            blank(f"{name}_{key}", each - 1.5 * MM, READ_MM * MM, says=f"shot {shot.number}: {row.words}, {column}") if key else ""
            for key, column in zip(row.blanks, columns, strict=True)
        ]
        rows.append([paragraph(row.words, 7.5, after=0), *told])
    return table(rows, [first, *(each for _ in columns)], ruled=False, pad=0.8)


def _chart(plan: TestPlan, width: float) -> Iterator[Any]:
    yield heading("Wall chart: what goes with which lens")
    rows: list[list[Any]] = [[paragraph(head, SMALL_PT, bold=True) for head in CHART_HEADS]]
    rows += [
        [paragraph(row[0], 11, bold=True), *(paragraph(cell, SMALL_PT) for cell in row[1:-1]), word_badge(row[-1])]
        for row in chart_rows(plan)
    ]
    shares = (0.17, 0.17, 0.13, 0.135, 0.265, 0.13)
    yield table(rows, [share * width for share in shares], heads=True, pad=5)
