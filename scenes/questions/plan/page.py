"""The plan as one web page that needs nothing but itself: for a tablet without a network, and to print."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from html import escape

from scenes.questions.plan.bring import bring_lines
from scenes.questions.plan.drawings import field_width, heatmap, parallax, scale_bar
from scenes.questions.plan.labels import LABEL_PLACE, LabelSheet, labels_of
from scenes.questions.plan.measuring import PUPIL_HOW, blanks_of
from scenes.questions.plan.readings import ReadRow, columns_of, rows_of_shot
from scenes.questions.plan.report import PlannedShot, Station, TestPlan
from scenes.questions.plan.style import SCRIPT, css
from scenes.questions.plan.svg import svg_of
from scenes.questions.plan.words import (
    CHANGE_FIRST,
    all_tells_lines,
    cautions,
    chain,
    change_words,
    chart_rows,
    clear_words,
    dark_words,
    expect_words,
    filter_words,
    headline,
    how_lines,
    in_frame,
    look_words,
    loss_lines,
    near_words,
    order_words,
    other_guides_words,
    reading_words,
    room_lines,
    show_lines,
    tight,
    to_change,
    todo_words,
)
from scenes.sheets.style import badge_of
from scenes.states.names import state_words
from scenes.verdicts.overview import Attention
from scenes.verdicts.test_plan import Measure

CHART_HEADS = (
    "lens",
    "box: rear face of the back plate",
    "seal",
    "mask",
    "fitted, from the lens outward",
    "worst",
)


def page_html(plan: TestPlan, sheet: LabelSheet) -> str:
    """The page; the same bytes for the same plan."""
    title = escape(f"Test shoot: {plan.title}" if plan.title else "Test shoot")
    body = "\n".join([*_front(plan), *_measure(plan), *_shots(plan), *_chart(plan), *_labels(plan, sheet)])
    foot = f"<footer>Plan {plan.plan_id}. Seen from behind the camera: right is the operator's right.</footer>"
    head = f'<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{title}</title>'
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}<style>{css()}</style></head>\n'
        f'<body data-plan="{plan.plan_id}"><h1>{title}</h1>\n{body}\n{foot}<script>{SCRIPT}</script></body></html>\n'
    )


def _front(plan: TestPlan) -> Iterator[str]:
    yield f'<p class="answer">{escape(headline(plan))}</p>'
    yield _list(show_lines(plan))
    links = (
        ("measure", "Measure first"),
        ("shots", "Shots"),
        ("stills", "What stills tell"),
        ("covered", "Need not be shot"),
        ("chart", "Wall chart"),
        ("labels", "Labels"),
    )
    there = {"measure": bool(plan.measures), "covered": bool(plan.covered), "stills": bool(plan.tells)}
    anchors = "".join(f'<a href="#{key}">{words}</a>' for key, words in links if there.get(key, True))
    yield f"<nav>{anchors}</nav>"
    if to_change(plan):
        yield f"<h2>Change before the shoot</h2><p>{CHANGE_FIRST}</p>" + _ticks("change", to_change(plan))
    if in_frame(plan):
        yield f"<h2>In frame</h2>{_attention(in_frame(plan), loss_lines)}"
    if tight(plan):
        yield f"<h2>Tight</h2>{_attention(tight(plan), room_lines)}"
    if clear_words(plan):
        yield f"<h2>Clear</h2><p>{escape(clear_words(plan))}.</p>"
    yield f'<div class="two"><div><h2>Bring</h2>{_ticks("bring", bring_lines(plan))}</div>'
    yield f"<div><h2>Cautions</h2>{_list(cautions(plan))}</div></div>"


def _attention(groups: Sequence[Attention], told: Callable[[Attention], str]) -> str:
    rows = "".join(
        f"<tr><td>{_badge(str(group.word))}</td><td><b>{escape(group.lens)}</b> {escape(group.settings)}</td>"
        f"<td>{escape(told(group))}</td></tr>"
        for group in groups
    )
    return f'<div class="wide"><table class="states">{rows}</table></div>'


def _measure(plan: TestPlan) -> Iterator[str]:
    if not plan.measures:
        return
    yield '<h2 id="measure" class="sheet">Measure first</h2><div class="two">'
    for head, drawing, how in (
        ("The entrance pupil, by parallax", parallax(), PUPIL_HOW),
        ("The field of view up close", field_width(), plan.field_how),
    ):
        told = "".join(f"<p>{escape(line)}</p>" for line in how)
        yield f'<div class="measure"><h3>{head}</h3>{svg_of(drawing, "drawing")}{told}</div>'
    yield "</div>"
    yield f"<p>{escape(MEASURE_NOTE)}</p>"
    rows = "".join(_measure_row(number, one) for number, one in enumerate(plan.measures, 1))
    heads = "<tr><th></th><th>measure</th><th>used so far</th><th>found</th></tr>"
    yield f'<div class="wide"><table class="fill">{heads}{rows}</table></div>'


def _measure_row(number: int, one: Measure) -> str:
    name = f"measure_{number:02}"
    blanks = "".join(
        f'<input type="text" name="{name}_{key}" size="9" placeholder="{hint}" aria-label="{hint}">' for key, hint in blanks_of(one)
    )
    return (
        f'<tr><td><input type="checkbox" name="{name}_done" aria-label="done"></td>'
        f"<td><b>{escape(one.who)}</b>: {escape(one.what)}{_key(one)}</td>"
        f"<td>{escape(one.so_far)}</td><td>{blanks}</td></tr>"
    )


def _key(one: Measure) -> str:
    """The key of the scene file that a value goes into, in brackets."""
    return f' <span class="soft">({escape(one.enters)})</span>' if one.enters else ""


def _shots(plan: TestPlan) -> Iterator[str]:
    yield '<h2 id="shots" class="sheet">Shots</h2>'
    yield f"<ol>{''.join(f'<li>{escape(line)}</li>' for line in how_lines(plan))}</ol><p>{escape(order_words(plan))}</p>"
    yield f"<p>Light the box takes: {svg_of(scale_bar(), 'scale')} {escape(LEGEND)}</p>"
    for station in plan.stations:
        yield _station(station)
        yield from (_shot(shot, station) for shot in station.shots)
    for failed in plan.check.failed:
        words = f"{failed.key}: could not be computed, so nothing is known of it: look at every corner."
        yield f'<div class="shot">{_ticks(f"failed_{failed.key}", [words])}</div>'
    if plan.tells:
        yield f'<h2 id="stills">What stills of these shots tell</h2>{_list(all_tells_lines(plan))}'
    if plan.covered:
        yield '<h2 id="covered">Need not be shot</h2>'
        rows = "".join(
            f"<tr><td>{escape(state_words(one))}</td><td>{_badge(str(one.word))}</td><td>{escape(one.why)}</td></tr>"
            for one in plan.covered
        )
        yield f'<div class="wide"><table>{rows}</table></div>'


def _station(station: Station) -> str:
    head = f"Set-up {station.number}: {station.setup.lens}, {station.minutes:g} min"
    name = f"setup_{station.number:02}"
    ticks = _ticks(name, change_words(station))
    found = f'<label class="found">{BOX_FOUND}<input type="text" name="{name}_box" size="12"></label>'
    return f'<section class="setup"><h3>{escape(head)}</h3>{ticks}{found}</section>'


def _shot(shot: PlannedShot, station: Station) -> str:
    name = f"shot_{shot.number:02}"
    title = escape(f"{shot.number}. {state_words(shot)}")
    box = f'<label><input type="checkbox" name="{name}_done">{title}</label>'
    note = f'<label class="note">note<textarea name="{name}_note"></textarea></label>'
    rows = "".join(_told(head, words) for head, words in shot_rows(shot, station) if words)
    return (
        f'<article class="shot"><header>{box}{_badge(str(shot.shot.guide.word))}'
        f'<span class="soft">{escape(shot.shot.guide.guide)}</span></header>'
        f'<div class="body">{svg_of(heatmap(shot), "map")}<dl>{rows}</dl>{_readings(shot, name)}</div>'
        f"{_stills(name)}{note}</article>"
    )


def _stills(name: str) -> str:
    """Boxes to tick: each still of a shot, and how it read."""
    boxes = "".join(f'<label><input type="checkbox" name="{name}_still_{key}">{words}</label> ' for key, words in STILLS)
    read = "".join(f'<label><input type="checkbox" name="{name}_{key}">{words}</label> ' for key, words in FOUND)
    return f'<p class="stills">still: {boxes}</p><p class="stills">found: {read}</p>'


def _readings(shot: PlannedShot, name: str) -> str:
    """The blanks for what is read."""
    heads = "".join(f"<th>{column}</th>" for column in columns_of(shot))
    rows = "".join(_read_row(row, name, columns_of(shot)) for row in rows_of_shot(shot))
    return f'<table class="read"><tr><th></th>{heads}</tr>{rows}</table>'


def _read_row(row: ReadRow, name: str, columns: Sequence[str]) -> str:
    cells = (
        f'<td><input type="text" name="{name}_{key}" aria-label="{escape(f"{row.words}, {column}", quote=True)}"></td>'
        if key
        else "<td></td>"
        for key, column in zip(row.blanks, columns, strict=True)
    )
    return f"<tr><td>{escape(row.words)}</td>{''.join(cells)}</tr>"


def _told(head: str, words: str) -> str:
    main = ' class="main"' if head in MAIN else ""
    return f"<dt>{escape(head)}</dt><dd{main}>{escape(words)}</dd>"


MAIN = ("look at", "expect")
STILLS = (("off", "box off"), ("on", "box on"))
FOUND = (("same", "as predicted"), ("darker", "darker"), ("brighter", "brighter"))
LEGEND = "Ring: where to look; black ring: where to look with the filters out. Green: frame guides. Seen from behind the camera."
BOX_FOUND = "box measured, mm from the lens front"
MEASURE_NOTE = "In brackets: the key of the scene file that the value goes into afterwards."


def shot_rows(shot: PlannedShot, station: Station) -> Iterator[tuple[str, str]]:
    """What a shot says, row by row, on the page and on paper."""
    yield "fitted", chain(station.setup)
    yield "box", f"{station.setup.placement}; {station.setup.set_at}"
    yield "look at", look_words(shot)
    yield "expect", expect_words(shot)
    yield "filters", filter_words(shot)
    yield "dark", dark_words(shot)
    yield "waveform", reading_words(shot)
    yield "as predicted", f"with the box on {shot.expected.band_words}"
    yield "nearest part", near_words(shot)
    yield "tells", shot.tells
    yield "again", shot.again
    yield "to do", todo_words(shot)
    yield "other guides", other_guides_words(shot)


def _chart(plan: TestPlan) -> Iterator[str]:
    yield '<h2 id="chart" class="sheet">Wall chart: what goes with which lens</h2>'
    heads = "".join(f"<th>{escape(head)}</th>" for head in CHART_HEADS)
    rows = "".join(_chart_row(row) for row in chart_rows(plan))
    yield f'<div class="wide"><table><tr>{heads}</tr>{rows}</table></div>'


def _chart_row(row: Sequence[str]) -> str:
    cells = (f"<td>{_chart_cell(cell, place)}</td>" for place, cell in enumerate(row))
    return f"<tr>{''.join(cells)}</tr>"


def _chart_cell(cell: str, place: int) -> str:
    if place == len(CHART_HEADS) - 1:
        return _badge(cell)
    return f"<b>{escape(cell)}</b>" if place == 0 else escape(cell)


def _labels(plan: TestPlan, sheet: LabelSheet) -> Iterator[str]:
    width, height = sheet.size_mm
    yield '<h2 id="labels" class="sheet">Labels</h2>'
    yield f'<p class="screen">For sticker sheets print labels.pdf, which fits their places; these are to cut out. {LABEL_PLACE}</p>'
    yield '<div class="labels">'
    for label in labels_of(plan):
        lines = "".join(f"<div>{escape(line)}</div>" for line in (*label.lines, label.way))
        yield f'<div class="sticker" style="width:{width:g}mm;min-height:{height:g}mm"><b>{escape(label.title)}</b>{lines}</div>'
    yield "</div>"


def _badge(word: str) -> str:
    return f'<span class="badge {word.replace(" ", "-")}">{badge_of(word).symbol} {escape(word)}</span>'


def _list(lines: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>"


def _ticks(name: str, lines: Sequence[str]) -> str:
    box = f'<input type="checkbox" name="{escape(name, quote=True)}'
    return "".join(
        f'<label class="tick">{box}_{number:02}"><span>{escape(line)}</span></label>' for number, line in enumerate(lines, 1)
    )
