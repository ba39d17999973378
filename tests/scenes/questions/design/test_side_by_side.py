"""Designs beside each other: their pictures measured against their table, and the open sky against rays counted one by one."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from scenes.questions.design.answer import DesignAnswer
from scenes.questions.design.outside import open_sky_share
from scenes.questions.design.side_by_side import SKY, scales_of
from scenes.scene_file.tables.box import Box, Hood, Mask
from tests.scenes.questions.design.made import FREE_FRONT, designed, hood, lens, scene
from tests.scenes.questions.design.test_masks import text_of
from tests.scenes.sheets.figure_faults import faults

PLACES = FREE_FRONT + '[[design.free]]\nof = "box.hood.at_mm"\nchoose = [6, 10, 20]\n'
MASK = '[[box.mask]]\nname = "mask"\nat_mm = 4\nopening_mm = [120, 90]\n'


@pytest.fixture(scope="module")
def answer(tmp_path_factory):
    """Three designs, one for each place of the hood, with a mask that has no outside of its own."""
    text = scene(lens("20", 20, 2.0, 20), hood(rear=(160, 120)) + MASK, PLACES)
    return DesignAnswer(report=designed(tmp_path_factory.mktemp("design"), text))


@pytest.fixture(scope="module")
def sheets(answer):
    return {name: draw() for name, draw in answer.sheets() if name.startswith("designs")}


def test_every_cut_is_as_wide_and_as_high_as_its_table_says_at_one_scale(answer, sheets):
    figure = sheets["designs"]
    axes = [axes for axes in figure.axes if axes.get_label().startswith("cut-")]
    assert len(axes) == 6
    scales = {round(float(np.ptp(one.get_ylim()) / one.get_position().height), 6) for one in axes}
    assert len(scales) == 1
    for number, (level, upright) in enumerate(zip(axes[::2], axes[1::2], strict=True)):
        outside = answer.report.shown[number].design.outside
        for cut, size_mm in ((level, outside.width_mm), (upright, outside.height_mm)):
            corners = np.concatenate([patch.get_path().vertices for patch in cut.patches if patch.get_label() in {"hood", "mask"}])
            assert np.ptp(corners[:, 1]) == pytest.approx(size_mm, abs=0.01)
            assert f"{size_mm:.1f}" in {text.get_text() for text in figure.texts}


def test_the_picture_of_the_designs_has_each_where_its_table_says(answer, sheets):
    (axes,) = sheets["designs-front"].axes
    dots = [line for line in axes.lines if line.get_label() == "design"]
    found = [(line.get_xdata()[0], line.get_ydata()[0]) for line in dots]
    outsides = [one.design.outside for one in answer.report.shown]
    assert found == pytest.approx(np.array([(o.width_mm * o.height_mm / 100, 100 * o.sky_share) for o in outsides]))
    assert {"1", "2", "3"} <= {text.get_text() for text in sheets["designs-front"].texts}
    rows = answer.data()["designs"]
    assert [row["open_sky_share"] for row in rows] == pytest.approx([o.sky_share for o in outsides], abs=6e-4)


def test_each_design_names_the_state_whose_cut_is_drawn(answer, sheets):
    words = " ".join(text.get_text() for text in sheets["designs"].texts)
    for one in answer.report.shown:
        assert f"{one.room_mm:.1f} mm: {one.nearest.lens_name}, infinity, f/2" in " ".join(words.split())


def test_masks_are_counted_in_whole_numbers(tmp_path):
    text = text_of(("20", "40", "75"), [1, 2], small='small = ["mask_area", "masks"]\ntrade-off = true')
    figures = {name: draw() for name, draw in DesignAnswer(report=designed(tmp_path, text)).sheets() if name.startswith("designs")}
    (axes,) = figures["designs-front"].axes
    low, high = axes.get_ylim()
    assert [tick for tick in axes.get_yticks() if low < tick < high] == [1, 2]
    words = {text.get_text().replace("\n", " ") for text in figures["designs"].texts}
    assert "one mask" in words
    assert {name: faults(figure) for name, figure in figures.items()} == {"designs": [], "designs-front": []}


def test_every_word_of_both_pictures_can_be_read(sheets):
    assert {name: faults(figure) for name, figure in sheets.items()} == {"designs": [], "designs-front": []}


def test_one_design_has_nothing_beside_it(answer):
    alone = DesignAnswer(report=SimpleNamespace(shown=answer.report.shown[:1]))
    assert [name for name, _ in alone.sheets()] == ["design-1", "design-1-side"]


def test_two_wishes_are_told_against_each_other_and_one_against_the_sky():
    assert [one.name for one in scales_of(("depth", "weight", "front_area"))] == ["depth", "weight"]
    assert scales_of(("front_width",))[1] is SKY


@pytest.mark.parametrize("offset_mm", [(0.0, 0.0), (30.0, -25.0)])
def test_the_open_sky_is_the_share_of_even_directions_that_pass_every_opening(offset_mm):
    """Directions spread evenly over the half sky by Archimedes: even in height along the axis and in angle about it."""
    box = Box(
        ahead_mm=5,
        offset_mm=offset_mm,
        hood=(Hood(at_mm=20, depth_mm=60, rear_mm=(150, 110), front_mm=(240, 170)),),
        mask=(Mask(at_mm=10, opening_mm=(140, 130)),),
    )
    along, about = np.meshgrid((np.arange(1500) + 0.5) / 1500, 2 * math.pi * (np.arange(1500) + 0.5) / 1500)
    across = np.sqrt(1 - along**2)
    right, up = across * np.cos(about) / along, across * np.sin(about) / along
    passes = np.ones_like(along, dtype=bool)
    for (width, height), ahead in (((140, 130), 15), ((150, 110), 25), ((240, 170), 85)):
        passes &= (np.abs(right * ahead - offset_mm[0]) < width / 2) & (np.abs(up * ahead - offset_mm[1]) < height / 2)
    assert open_sky_share(box) == pytest.approx(passes.mean(), abs=5e-4)


def test_with_no_opening_ahead_all_of_the_half_sky_is_open():
    assert open_sky_share(Box()) == 1.0


def test_a_designs_own_sheets_draw_its_mask_as_large_as_it_is_made(answer):
    """The hood's rear is 160 x 120 mm; a mask without an outside of its own is made to reach 6 mm past it, so 172 x 132 mm."""
    drawn = {name: draw() for name, draw in answer.sheets() if name.startswith("design-1")}
    for name, made_mm in (("design-1", 172.0), ("design-1-side", 132.0)):
        patches = [patch for axes in drawn[name].axes for patch in axes.patches if patch.get_label() == "mask"]
        corners = np.concatenate([patch.get_path().vertices for patch in patches])
        assert np.ptp(corners[:, 1]) == pytest.approx(made_mm, abs=0.01)
