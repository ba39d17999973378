"""The contact sheet: every state in its place, with verdict, loss and part in words, and nothing over anything else."""

import itertools

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from raytrace.optics.camera import Guide, PixelGrid
from raytrace.shares import VignetteMap
from scenes.questions.check.contact_sheet import sheet_figure
from scenes.questions.check.sheet_rows import ROWS, SheetEntry, sheet_rows, sheets
from tests.scenes.sheets.loss_read import STEP_STOPS, loss_read

GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=30, rows=20)


def contact_sheet(entries, *, title, visible_loss_stops):
    return [sheet_figure(sheet, visible_loss_stops) for sheet in sheets(entries, title=title)]


def dark_top_right(share=0.25):
    shares = np.ones((20, 30), dtype=np.float32)
    shares[:4, -5:] = share
    ones = np.ones_like(shares)
    return VignetteMap(
        x_mm=GRID.x_mm,
        y_mm=GRID.y_mm,
        clear_share=shares,
        glass=ones,
        lens=ones,
        blocked_by=np.where(shares < 1, 0, -1).astype(np.int16),
        stderr=ones * 0,
        alone=np.zeros((0, 20, 30), dtype=np.float32),
        part_names=("top flag",),
    )


def entry(lens="18", column="infinity, f/2", **changes):
    return SheetEntry(
        **{"lens": lens, "column": column, "map_": dark_top_right(), "verdict_word": "in frame", "blame": "top flag", **changes}
    )


def overlaps(figure):
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in figure.texts if text.get_text().strip()]
    sheet = figure.bbox.padded(1.0)
    clipped = [words for words, box in boxes if not (sheet.contains(*box.min) and sheet.contains(*box.max))]
    return clipped + [(a, b) for (a, p), (b, q) in itertools.combinations(boxes, 2) if p.padded(-1.0).overlaps(q.padded(-1.0))]


def words_of(figure):
    return [text.get_text() for text in figure.texts]


def test_states_of_one_focus_and_stop_stand_under_each_other():
    rows = sheet_rows([entry("18", "a"), entry("18", "b"), entry("21", "b")])
    assert [lens for lens, _ in rows] == ["18", "21"]
    assert rows[1][1][0] is None
    assert rows[1][1][1].column == "b"


def test_a_lens_with_many_states_goes_on_in_the_next_row():
    rows = sheet_rows([entry("zoom", f"{focal} mm") for focal in range(24, 31)] + [entry("18", "infinity")])
    assert [(lens, len(states)) for lens, states in rows] == [("zoom", 4), ("zoom", 3), ("18", 1)]


def test_as_many_sheets_as_the_lenses_need():
    figures = contact_sheet([entry(f"lens {i}") for i in range(2 * ROWS + 1)], title="Dune convoy", visible_loss_stops=0.1)
    assert len(figures) == 3
    assert words_of(figures[2])[0] == "Dune convoy · sheet 3 of 3"
    assert contact_sheet([], title="Dune convoy", visible_loss_stops=0.1)


def test_each_small_picture_is_upright_and_says_verdict_loss_and_part():
    (figure,) = contact_sheet([entry()], title="Dune convoy", visible_loss_stops=0.1)
    (axes,) = [axes for axes in figure.axes if axes.get_label() == "18 | infinity, f/2"]
    shown = loss_read(axes.images[0])
    assert axes.images[0].origin == "upper"
    assert (shown[0, -1], shown[0, 0], shown[-1, -1]) == pytest.approx((2.0, 0.0, 0.0), abs=STEP_STOPS)
    (ring,) = [line for line in axes.lines if line.get_label() == "worst"]
    assert ring.get_xdata()[0] > 12
    assert ring.get_ydata()[0] > 8
    assert {"✗ in frame", "2 stops", "top flag, top right"} <= set(words_of(figure))


def test_a_guide_that_reaches_past_the_picture_does_not_push_it_aside():
    guide = Guide(name="whole", half_width_mm=18.0, half_height_mm=12.0, centre_mm=(-0.3, 0.0))
    (figure,) = contact_sheet([entry(guides=(guide,))], title="Dune convoy", visible_loss_stops=0.1)
    axes = next(axes for axes in figure.axes if axes.images and axes.get_label().startswith("18 |"))
    assert axes.get_xlim() == pytest.approx((-18.0, 18.0))
    assert axes.get_ylim() == pytest.approx((-12.0, 12.0))


def test_the_verdicts_own_worst_wins_over_the_maps():
    (figure,) = contact_sheet([entry(worst_stops=2.5, where="right")], title="Dune convoy", visible_loss_stops=0.1)
    assert {"2 1/2 stops", "top flag, right"} <= set(words_of(figure))


def test_a_failed_state_keeps_its_place_and_says_why():
    failed = entry(map_=None, verdict_word="not computed", blame=None, note="focus lies inside the lens")
    (figure,) = contact_sheet([entry("18"), failed], title="Dune convoy", visible_loss_stops=0.1)
    assert {"• not computed", "focus lies inside the lens"} <= set(words_of(figure))
    assert sum(axes.get_label() == "no map" for axes in figure.axes) == 1


def test_long_names_overlap_nothing():
    long = "the name of a thing that somebody wrote out in full, with all its attributes and then some"
    states = [entry(f"{long} {i}", f"{j} {long}", blame=f"{long} {j}") for i in range(3) for j in range(4)]
    (figure,) = contact_sheet(states, title=long * 3, visible_loss_stops=0.1)
    assert overlaps(figure) == []
