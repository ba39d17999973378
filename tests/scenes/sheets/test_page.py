"""Texts on flat pictures are whole: measured against the drawing library's own letters, and read off every picture of the demo."""

from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from scenes.cli import main
from scenes.sheets.page import FONT, LEAST_PT, Box, Page, fitted, text_size_mm, wrapped
from scenes.sheets.style import A4_MM, A5_MM, MM_PER_INCH
from tests.scenes.sheets.figure_faults import faults

HINTED = 1.03  # letters are drawn on whole pixels
DEMO = Path(__file__).parents[3] / "scenes" / "demo" / "demo.toml"
LONG = (
    "1.20 stops at the bottom left corner of the protected frame, taken by the removable left flag with its extension of 120 mm; "
    "the frame could be no wider, and a fixed pupil can be out by 2.5 mm"
)


def width_mm(text):
    """As drawn."""
    renderer = FigureCanvasAgg(text.figure).get_renderer()
    return text.get_window_extent(renderer).width / text.figure.dpi * MM_PER_INCH


@pytest.mark.parametrize("lines", [1, 2, 3])
@pytest.mark.parametrize("weight", ["normal", "bold"])
def test_a_text_longer_than_its_room_is_written_whole_in_smaller_letters(lines, weight):
    text = Page(*A4_MM).fit(10, 100, LONG, 12.0, 280.0 / lines, lines=lines, weight=weight)
    assert text.get_text().split() == LONG.split()
    assert text.get_text().count("\n") < lines + 2  # no smaller than LEAST_PT: then on more lines
    assert LEAST_PT <= text.get_fontsize() < 12.0
    assert text.get_fontfamily() == [FONT]
    assert width_mm(text) <= 280.0 / lines * HINTED


@pytest.mark.filterwarnings("ignore:Glyph")
@pytest.mark.parametrize("weight", ["normal", "bold"])
@pytest.mark.parametrize("name", ["夜の旗", "上旗 🎬", "top flag 上"])
def test_a_name_in_letters_that_the_typeface_lacks_is_drawn_and_costs_no_result(name, weight):
    room_mm = 60.0
    text = Page(*A4_MM).fit(10, 100, name, 9.0, room_mm, weight=weight)
    assert text.get_text() == name
    assert width_mm(text) <= room_mm
    alone = Page(*A4_MM).fit(10, 100, name[-1], 9.0, room_mm, weight=weight)
    assert width_mm(alone) <= text_size_mm(name[-1], 9.0, weight)[0] * HINTED  # the box that stands for a letter


def test_a_text_that_fits_keeps_its_size():
    assert fitted("top flag", 9.0, 60.0) == ("top flag", 9.0)
    assert fitted("top flag", 9.0, 60.0, 3) == ("top flag", 9.0)


def test_words_that_are_wrapped_are_all_there():
    assert wrapped(LONG, 9.0, 40.0).split() == LONG.split()


@pytest.mark.parametrize("size_mm", [A5_MM, A4_MM])
def test_head_and_foot_of_a_sheet_keep_inside_it(size_mm):
    page = Page(*size_mm)
    page.head(LONG, LONG)
    page.foot(LONG)
    for text in page.figure.texts:
        assert text.get_text().split() == LONG.split()
        assert width_mm(text) <= (size_mm[0] - 2 * page.margin_mm) * HINTED


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        "check --pixels 16 --no-3d --threads 1 --f-number 2.8",
        "flags --lens 24 --focus infinity --f-number 5.6",
        "ghosts --lens 35 --focus infinity",
        "sun --lens 35 --focus infinity",
        "beam --at 28",
        "masks --lens 35",
        "filters --lens 35",
        "bokeh --lens 35 --focus infinity",
        "tolerances --lens 35 --focus infinity --builds 10",
        "widest --from 20 --to 40 --no-lenses",
        "leaks --lens 35 --no-3d",
    ],
)
def test_every_text_on_a_picture_of_the_demo_can_be_read(words, tmp_path, monkeypatch):
    """No text is smaller than 8 pt on the printed sheet, cut off at its edge, shortened, or printed over another."""
    found = []

    def png(figure, *_):
        found.append(faults(figure))
        return b""

    monkeypatch.setattr("scenes.io.pictures.figure_png", png)
    name, *options = words.split()
    assert main([name, str(DEMO), *options, "--out", str(tmp_path / "out")]) in {0, 1}
    assert found
    assert [fault for figure in found for fault in figure] == []


def test_faults_of_a_figure_are_found():
    page = Page(*A5_MM)
    page.text(20, 100, "one over", 10.0)
    page.text(24, 100.5, "another", 10.0)
    page.text(20, 80, "small", 7.0)
    page.text(200, 60, "off the edge of the sheet", 9.0)
    page.text(20, 40, "cut…", 9.0)
    axes = page.axes(Box(60, 90, 160, 130))
    axes.set_xlabel("an axis", fontsize=6.0)
    axes.text(0.5, 0.5, "fine", fontsize=9.0)
    axes.tick_params(labelsize=8.0)
    expected = {"7.0 pt: 'small'", "6.0 pt: 'an axis'", "shortened: 'cut…'", "'one over' over 'another'"}
    assert set(faults(page.figure)) == {*expected, "cut off: 'off the edge of the sheet'"}
