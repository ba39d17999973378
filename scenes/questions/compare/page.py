"""The comparison as one web page that needs nothing but itself: the answer, the values, and each still with what it shows."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Iterator, Sequence
from html import escape

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from scenes.answers.html import table_html
from scenes.answers.table import Table
from scenes.questions.compare.columns import STILLS, VALUES
from scenes.questions.compare.maps import DIFFERENCE_STOPS, Floats, levels_within
from scenes.questions.compare.next_plan import next_lines
from scenes.questions.compare.rows import Row, Value
from scenes.questions.compare.text import METHOD, cautions, doubts, next_step, orientation_notes, summary, surprise_words
from scenes.questions.compare.verdict import Comparison, Verdict
from scenes.sheets.colours import (
    HIGHLIGHT,
    INK,
    OPENING_COLOURS,
    RAY_CLEAR,
    UNKNOWN,
    difference_colours,
    loss_colours,
    loss_scale,
    rgb_of,
)
from scenes.sheets.web_style import PAGE_CSS
from scenes.states.names import state_words
from scenes.stills.transfer import light_to_srgb

REASONS = {"clipped": 5, "dust, letters, lines": 6, "not in the scene": 3, "too little of use": 7}
WHY = {reason: OPENING_COLOURS[number] for reason, number in REASONS.items()}
CSS = """
.maps { display: grid; grid-template-columns: 1fr 1fr; gap: 10px 20px; margin: 8px 0 4px; }
.maps figure { margin: 0; break-inside: avoid; } .maps svg { width: 100%; height: auto; border: 1px solid #bdbdbd; display: block; }
figcaption { font-size: 0.9rem; margin: 3px 0; } .key { display: inline-block; width: 0.9em; height: 0.9em; margin: 0 4px 0 10px; }
image { image-rendering: pixelated; }
@media screen and (max-width: 760px) { .maps { grid-template-columns: minmax(0, 1fr); } }
"""


def page_html(found: Comparison, rows: Sequence[Row], values: Sequence[Value], scene_title: str) -> str:
    """The page; the same bytes for the same answer."""
    title = escape(f"Test shoot against prediction: {scene_title}" if scene_title else "Test shoot against prediction")
    body = "\n".join([*_front(found, rows, values), *(_still(found, row, k) for k, row in enumerate(rows)), *_end(found)])
    head = f'<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{title}</title>'
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}<style>{PAGE_CSS}{CSS}</style></head>\n'
        f"<body><h1>{title}</h1>\n{body}\n</body></html>\n"
    )


def _front(found: Comparison, rows: Sequence[Row], values: Sequence[Value]) -> Iterator[str]:
    yield f'<p class="answer">{escape(summary(found))}</p>'
    yield f"<p><b>Next:</b> {escape(next_step(found))}</p>"
    if values:
        yield '<h2>What was not measured</h2><div class="wide">'
        yield table_html(Table(columns=VALUES, rows=values)) + "</div>"
    things = [surprise_words(found, one) for one in found.surprises]
    yield _list([*things, *orientation_notes(found), *doubts(found)])
    if planned := list(next_lines(found)):
        yield "<h2>The next plan</h2>" + _list(planned)
    yield '<h2>Stills</h2><div class="wide">' + table_html(Table(columns=STILLS, rows=rows)) + "</div>"


def _end(found: Comparison) -> Iterator[str]:
    yield "<h2>What could mislead</h2>" + _list(cautions(found))
    yield f"<footer>{escape(METHOD)} Losses in stops, seen from behind the camera.</footer>"


def _list(lines: Iterable[str]) -> str:
    rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{rows}</ul>" if rows else ""


def _still(found: Comparison, row: Row, k: int) -> str:
    maps, fitted = row.maps, found.verdict is not Verdict.OTHER_LENS
    lines = [(maps.measured, INK, ""), (maps.nominal, HIGHLIGHT, "3 2")]
    if fitted:
        lines.append((maps.fitted, RAY_CLEAR, "1 1.5"))
    outlines = [one for one in found.surprises if one.picture == k]
    boxes = "".join(_outline(row, (one.left, one.top, one.width, one.height)) for one in outlines)
    drawn = "contours: measured (black), predicted (orange, dashed)" + (", fitted (blue, dotted)" if fitted else "")
    figures = (
        ("measured", _svg(row, _loss_pixels(maps.measured), _contours([(maps.measured, INK, "")]) + boxes)),
        ("predicted, the scene's values", _svg(row, _loss_pixels(maps.nominal), _contours([(maps.nominal, INK, "")]))),
        (drawn, _svg(row, None, _contours(lines))),
        (f"measured less predicted, to {DIFFERENCE_STOPS:g} stop either way", _svg(row, _difference_pixels(maps.difference), "")),
        (_why_words(found, k), _svg(row, _why_pixels(found, k), "")),
    )
    shown = "".join(f"<figure>{svg}<figcaption>{words}</figcaption></figure>" for words, svg in figures)
    head = escape(f"{row.shot.picture.with_box}: {state_words(row.shot.state)}, {row.word}")
    return f'<section class="sheet"><h2>{head}</h2><div class="maps">{shown}</div></section>'


def _svg(row: Row, pixels: NDArray[np.uint8] | None, shapes: str) -> str:
    """A map (H, W) with shapes over it, a unit to a cell."""
    rows, columns = row.maps.measured.shape
    image = (
        "" if pixels is None else f'<image width="{columns}" height="{rows}" preserveAspectRatio="none" href="{_data(pixels)}"/>'
    )
    return f'<svg viewBox="0 0 {columns} {rows}" role="img">{image}{shapes}</svg>'


def _data(pixels: NDArray[np.uint8]) -> str:
    from imagecodecs import png_encode

    return f"data:image/png;base64,{b64encode(png_encode(np.ascontiguousarray(pixels))).decode()}"


def _loss_pixels(stops: Floats) -> NDArray[np.uint8]:
    return _coloured(loss_colours()(loss_scale()(np.nan_to_num(stops, nan=0.0))), np.isfinite(stops))


def _difference_pixels(stops: Floats) -> NDArray[np.uint8]:
    share = np.nan_to_num(stops, nan=0.0) / (2 * DIFFERENCE_STOPS) + 0.5
    return _coloured(difference_colours()(np.clip(share, 0.0, 1.0)), np.isfinite(stops))


def _coloured(rgba: Floats, known: NDArray[np.bool_]) -> NDArray[np.uint8]:
    rgb = np.where(known[..., None], rgba[..., :3], rgb_of(UNKNOWN))
    return np.asarray(np.round(255 * rgb), dtype=np.uint8)


def _contours(maps: Sequence[tuple[Floats, str, str]]) -> str:
    """Lines of equal loss of (map, colour, dashes), places in cells from the top left."""
    found = ""
    for stops, colour, dashes in maps:
        style = f'fill="none" stroke="{colour}" stroke-width="0.4"' + (f' stroke-dasharray="{dashes}"' if dashes else "")
        for line in _lines(stops):
            points = " ".join(f"{x + 0.5:.1f},{y + 0.5:.1f}" for x, y in line)
            found += f'<polyline points="{points}" {style}/>'
    return found


def _lines(stops: Floats) -> Iterator[Floats]:
    """Lines (N, 2) of equal loss, in cells right and down."""
    levels = levels_within(stops)
    if levels:
        drawn = Figure().add_subplot().contour(np.ma.masked_invalid(stops), levels=levels)
        for segments in drawn.allsegs:
            yield from (np.asarray(line) for line in segments if len(line) > 1)


def _outline(row: Row, share: tuple[float, float, float, float]) -> str:
    rows, columns = row.maps.measured.shape
    left, top, width, height = share
    place = f'x="{left * columns:.1f}" y="{top * rows:.1f}" width="{width * columns:.1f}" height="{height * rows:.1f}"'
    return f'<rect {place} fill="none" stroke="{HIGHLIGHT}" stroke-width="0.8"/>'


def _why_pixels(found: Comparison, k: int) -> NDArray[np.uint8]:
    """What was left out of still k and why, over its light in grey."""
    one = found.fit.model.stills[k]
    light = np.clip(one.measured.light / max(float(np.percentile(one.measured.light, 99)), 1e-9), 0.0, 1.0)
    rgb = np.repeat((0.35 + 0.65 * light_to_srgb(light))[..., None], 3, axis=2)
    for words, mask in _why(found, k).items():
        rgb[mask] = rgb_of(WHY[words])
    return np.asarray(np.round(255 * rgb), dtype=np.uint8)


def _why(found: Comparison, k: int) -> dict[str, NDArray[np.bool_]]:
    """Cells (H, W) that were left out, by reason, each once."""
    one = found.fit.model.stills[k]
    out, measured, things = ~one.use, one.measured, found.left_out[k]
    clipped = out & measured.clipped
    marked = out & measured.marked & ~clipped
    thing = out & things & ~clipped & ~marked
    return dict(zip(WHY, (clipped, marked, thing, out & ~clipped & ~marked & ~thing), strict=True))


def _why_words(found: Comparison, k: int) -> str:
    there = [words for words, mask in _why(found, k).items() if mask.any()]
    keys = "".join(f'<span class="key" style="background:{WHY[words]}"></span>{escape(words)}' for words in there)
    return f"left out:{keys}" if keys else "left out: nothing"
