"""All states of a show on a few sheets: one small picture each, with verdict, loss and part. Returns figures; saves nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from raytrace.shares import VignetteMap
from scenes.questions.check.sheet_rows import COLUMNS, ROWS, Sheet, SheetEntry
from scenes.sheets.colours import DARK_STOPS, HIGHLIGHT, INK, RULE, SOFT_INK, loss_colours, loss_scale
from scenes.sheets.map_reading import bite_of, extent_mm, inside_guides, reduced, worst_bite
from scenes.sheets.page import Box, Page, fitted_pt, text_size_mm
from scenes.sheets.pieces import dash, draw_guides, draw_loss, fitted_frame, halo, shown_loss, write_badge
from scenes.sheets.style import A4_MM, VERDICT_ORDER, badge_of, stops_label

CELL_PIXELS = 360

_HEAD_PT, _LENS_PT, _CELL_PT, _SMALL_PT = 17.0, 12.0, 10.5, 9.5
_GRID = Box(8.0, 21.0, 289.0, 188.0)  # the rows of lenses [mm]
_LENS_MM = 27.0  # room for a lens's name


def sheet_figure(sheet: Sheet, visible_loss_stops: float) -> Figure:
    """A sheet, drawn."""
    page = Page(*A4_MM)
    _write_head(page, sheet.title, sheet.verdict_words)
    height = _GRID.height / ROWS
    width = (_GRID.width - _LENS_MM) / COLUMNS
    for i, (lens, states) in enumerate(sheet.rows):
        top = _GRID.top - i * height
        page.line([(_GRID.left, top), (_GRID.right, top)], RULE, 0.6)
        _write_lens(page, top - 2.0, lens)
        for j, entry in enumerate(states):
            left = _GRID.left + _LENS_MM + j * width
            if entry is not None:
                _draw_cell(page, Box(left, top - height, left + width - 3.0, top), entry, visible_loss_stops)
    _draw_scale(page, visible_loss_stops)
    return page.figure


def _write_head(page: Page, title: str, verdict_words: Sequence[str]) -> None:
    width = page.width_mm - 16.0
    page.fit(8.0, page.height_mm - 10.5, title, _HEAD_PT, width, weight="bold", most=1)
    words = Counter(verdict_words)
    ordered = sorted(words.items(), key=lambda item: _order(item[0]))
    told = ",  ".join(f"{badge_of(word).symbol} {count} {word}" for word, count in ordered)
    summary = f"{len(verdict_words)} {'state' if len(verdict_words) == 1 else 'states'}:  {told}"
    page.fit(8.0, page.height_mm - 18.0, summary, _CELL_PT, width, colour=SOFT_INK, most=1)


def _write_lens(page: Page, top_mm: float, lens: str) -> None:
    """A lens's name at the head of its row, in letters that hold its longest word."""
    width = _LENS_MM - 3.0
    size = min((fitted_pt(word, _LENS_PT, width, _SMALL_PT, "bold") for word in lens.split()), default=_LENS_PT)
    page.fit(_GRID.left, top_mm, lens, size, width, lines=5, va="top", weight="bold", most=5)


def _order(word: str) -> int:
    return VERDICT_ORDER.index(word) if word in VERDICT_ORDER else len(VERDICT_ORDER)


def _draw_cell(page: Page, cell: Box, entry: SheetEntry, visible_loss_stops: float) -> None:
    page.fit(cell.left, cell.top - 5.2, entry.column, _CELL_PT, cell.width, most=1)
    space = Box(cell.left, cell.bottom + 12.5, cell.right, cell.top - 7.0)
    if entry.map_ is None:
        _fill_empty(page, space, entry.note or "this state gave no map")
    else:
        _draw_small(page, space, entry, entry.map_, visible_loss_stops)
    after = write_badge(page, cell.left, cell.bottom + 9.0, entry.verdict_word, _SMALL_PT)
    loss, second = _told(entry)
    page.fit(after - 0.5, cell.bottom + 9.0, loss, _SMALL_PT, cell.right - after + 0.5, va="center", most=1)
    page.fit(cell.left, cell.bottom + 2.8, second, _SMALL_PT, cell.width, most=1)


def _told(entry: SheetEntry) -> tuple[str, str]:
    """Loss and place, and the part, of a state in words."""
    if entry.map_ is None:
        return "", ""
    found = worst_bite(entry.map_, inside_guides(entry.map_, entry.guides))
    loss = entry.worst_stops if entry.worst_stops is not None else (found.loss_stops if found else 0.0)
    where = entry.where or (found.where if found else "")
    words = stops_label(loss)
    if words == "none" and entry.room:
        return f"room {entry.room}", entry.nearest
    told = ", ".join(part for part in (entry.blame or entry.note, "" if words == "none" else where) if part)
    return words, told


def _fill_empty(page: Page, space: Box, why: str) -> None:
    axes = page.axes(space, label="no map")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_facecolor("#EEEEEE")
    page.fit(space.left + 2.0, space.top - 2.0, why, _SMALL_PT, space.width - 4.0, lines=7, va="top", most=7)


def _draw_small(page: Page, space: Box, entry: SheetEntry, map_: VignetteMap, visible_loss_stops: float) -> None:
    small = reduced(map_, CELL_PIXELS)
    fitted = fitted_frame(extent_mm(small), space)
    frame = Box(space.left, space.top - fitted.height, space.left + fitted.width, space.top)
    axes = page.axes(frame, label=f"{entry.lens} | {entry.column}")
    draw_loss(axes, small)
    axes.set_xticks([])
    axes.set_yticks([])
    _draw_limit(axes, small, visible_loss_stops)
    draw_guides(axes, entry.guides, 1.0)
    _mark_bite(axes, small, entry)


def _draw_limit(axes: Axes, map_: VignetteMap, visible_loss_stops: float) -> None:
    shown = shown_loss(map_)
    if min(shown.shape) > 1 and shown.count() and shown.min() < visible_loss_stops < shown.max():
        style = dash(visible_loss_stops)
        drawn = axes.contour(
            map_.x_mm, map_.y_mm, shown, levels=[visible_loss_stops], colors=INK, linewidths=0.8, linestyles=[style]
        )
        drawn.set_path_effects(halo(1.6))


def _mark_bite(axes: Axes, map_: VignetteMap, entry: SheetEntry) -> None:
    part = map_.part_names.index(entry.blame) if entry.blame in map_.part_names else None
    bite = bite_of(map_, part, entry.guides) if part is not None else None
    if bite is not None:
        axes.plot(
            bite.x_mm, bite.y_mm, marker="o", markersize=5, markerfacecolor="none", markeredgecolor=HIGHLIGHT, markeredgewidth=1.4,
            clip_on=False, zorder=5, path_effects=halo(2.6), label="worst",
        )  # fmt: skip


def _draw_scale(page: Page, visible_loss_stops: float) -> None:
    bar = Box(62.0, 11.0, 172.0, 14.0)
    axes = page.axes(bar, label="scale")
    steps = np.linspace(0.0, DARK_STOPS, 301)
    middles = (steps[:-1] + steps[1:])[None, :] / 2
    axes.imshow(middles, extent=(0, DARK_STOPS, 0, 1), aspect="auto", cmap=loss_colours(), norm=loss_scale())
    axes.set_xticks([])
    axes.set_yticks([])
    axes.axvline(visible_loss_stops, color=INK, linewidth=0.9, linestyle=dash(visible_loss_stops), path_effects=halo(1.8))
    page.text(8.0, 12.5, "light taken [stops]:", _SMALL_PT, va="center")
    page.text(bar.left - 1.5, 12.5, "none", _SMALL_PT, va="center", ha="right")
    page.text(bar.right + 1.5, 12.5, "more", _SMALL_PT, va="center")
    for level in (1 / 3, 1.0, 2.0, DARK_STOPS):
        words = "3 stops" if level == DARK_STOPS else stops_label(level)
        half = text_size_mm(words, _SMALL_PT)[0] / 2
        page.label_free([(min(bar.left + bar.width * level / DARK_STOPS, bar.right - half), 8.2)], words, _SMALL_PT, pad_mm=0.0)
    legend = f"Line: {stops_label(visible_loss_stops)}.  Ring: where the part named bites worst."
    page.text(187.0, 12.5, legend, _SMALL_PT, va="center", colour=SOFT_INK)
    page.text(187.0, 7.0, "Rectangles: guides.  Seen from behind the camera.", _SMALL_PT, va="center", colour=SOFT_INK)
