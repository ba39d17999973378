"""Pictures of maps are judged by the data of their axes, their words and where these stand; never by their pixels."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from geometry.body import Kind
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.shares import Bound, Made, VignetteMap
from scenes.io.pictures import figure_png
from scenes.questions.check.edge_rooms import EdgeRoom
from scenes.questions.check.map_sheet import _others_words, map_figure, provenance
from scenes.sheets.colours import DARK_STOPS, PART_COLOURS
from scenes.sheets.map_reading import Bite, bite_of, other_bites, readings, reduced
from scenes.sheets.page import text_size_mm
from scenes.sheets.pieces import isoline_levels
from scenes.sheets.style import LABEL_PT, badge_of, stops_label
from tests.scenes.sheets.loss_read import STEP_STOPS, loss_read

GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=72, rows=48, offset_mm=(1.5, -1.0))
GUIDE = Guide(name="scope extraction", half_width_mm=16.0, half_height_mm=7.0, centre_mm=(0.5, -0.5))
LONG = "rear tray of the second filter stage with the extra deep light trap and its spare frame"


def synthetic(share, blocked_by, names=("top flag", "hood"), grid=GRID, stderr=0.0):
    share = np.asarray(share, dtype=np.float32)
    ones = np.ones_like(share)
    return VignetteMap(
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        clear_share=share,
        glass=ones,
        lens=ones,
        blocked_by=np.asarray(blocked_by, dtype=np.int16),
        stderr=ones * np.float32(stderr),
        alone=np.zeros((0, *share.shape), dtype=np.float32),
        part_names=names,
        made=Made(engine="reference", rays_per_point=512, seed=3),
    )


def lopsided(names=("top flag", "hood"), grid=GRID):
    """The flag darkens the top right corner wholly, the hood takes a little at the left edge."""
    right, up = np.meshgrid(np.linspace(-1, 1, grid.columns), np.linspace(1, -1, grid.rows))
    flag = np.clip((up + 0.4 * right - 0.7) * 2.0, 0.0, 1.0)
    hood = np.clip((-right - 0.85) * 1.5, 0.0, 0.3)
    return synthetic((1 - flag) * (1 - hood), np.where(flag > 0, 0, np.where(hood > 0, 1, -1)), names, grid)


def even(share, grid=GRID):
    return synthetic(
        np.full((grid.rows, grid.columns), share), np.full((grid.rows, grid.columns), -1 if share == 1 else 0), grid=grid
    )


def drawn(map_, guides=(GUIDE,), **changes):
    settings = {"title": "21 mm, infinity, f/2.8", "verdict_word": "in frame", "blame": "top flag", "visible_loss_stops": 0.1}
    return map_figure(map_, guides, **{**settings, **changes})


def axes_of(figure, label):
    (found,) = [axes for axes in figure.axes if axes.get_label() == label]
    return found


def words_of(figure):
    return [text.get_text() for text in figure.texts]


def overlapping_texts(figure):
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    axis_of = [axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)]
    ticks = [axis.label for axis in axis_of]
    for axis in axis_of:
        low, high = axis.get_view_interval()
        ticks += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    shown = [text for text in (*figure.texts, *ticks) if text.get_text().strip()]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in shown]
    sheet = figure.bbox.padded(1.0)
    clipped = [words for words, box in boxes if not (sheet.contains(*box.min) and sheet.contains(*box.max))]
    return clipped + [(a, b) for (a, p), (b, q) in itertools.combinations(boxes, 2) if p.padded(-1.0).overlaps(q.padded(-1.0))]


def test_loss_at_top_right_is_drawn_at_top_right():
    axes = axes_of(drawn(lopsided()), "picture")
    image = axes.images[0]
    left, right, bottom, top = image.get_extent()
    shown = loss_read(image)
    assert image.origin == "upper"
    assert (left, right, bottom, top) == pytest.approx((-16.5, 19.5, -13.0, 11.0))  # 36 x 24 about its offset, right and up
    assert axes.get_xlim()[0] < axes.get_xlim()[1]
    assert axes.get_ylim()[0] < axes.get_ylim()[1]
    assert shown[0, -1] > DARK_STOPS
    assert shown[0, 0] < 1
    assert shown[-1, -1] == 0


def test_the_colours_are_the_loss_in_stops():
    map_ = lopsided()
    shown = loss_read(axes_of(drawn(map_), "picture").images[0])
    told = np.where(map_.loss_stops > DARK_STOPS, np.inf, map_.loss_stops)
    np.testing.assert_allclose(shown, told, atol=2 * STEP_STOPS)  # neighbours may share a colour of 8 bits


def test_axes_and_scale_name_their_units():
    figure = drawn(lopsided())
    picture, scale = axes_of(figure, "picture"), axes_of(figure, "scale")
    assert picture.get_xlabel() == "right of the lens axis [mm]"
    assert picture.get_ylabel() == "above the lens axis [mm]"
    assert scale.get_ylabel() == "light taken [stops]"
    assert {"none", "1/10 stop", "1/3 stop", "1 stop", "2 stops", "3 stops", "more"} <= set(words_of(figure))


def test_corners_are_named_as_the_operator_sees_them():
    words = words_of(drawn(lopsided()))
    assert "frame top right: all light" in words  # the frame's corner, whatever guide the verdict is of
    assert "frame bottom right: none" in words
    assert readings(lopsided())["left"] == pytest.approx(-np.log2(1 - 0.225), abs=1e-5)  # hood takes 1.5 * 0.15 of the light


def test_part_to_blame_is_named_with_its_worst_place_inside_the_guide():
    map_ = lopsided()
    bite = bite_of(map_, 0, [GUIDE])
    assert bite.where == "top right"
    assert bite.x_mm <= GUIDE.centre_mm[0] + GUIDE.half_width_mm + 0.25
    assert bite.y_mm <= GUIDE.centre_mm[1] + GUIDE.half_height_mm + 0.25
    assert any(words.startswith("top flag\n") and words.endswith("top right") for words in words_of(drawn(map_)))


def test_the_other_parts_that_take_light_are_those_with_their_own_worst_place():
    map_ = lopsided(names=("top flag", "hood", "a mask that takes nothing"))
    everywhere = Guide(name="all", half_width_mm=18.0, half_height_mm=12.0, centre_mm=(1.5, -1.0))
    found = other_bites(map_, [everywhere], None, 0.1)
    assert [bite.part for bite in found] == ["top flag", "hood"]  # the worst first
    for bite, part in zip(found, (0, 1), strict=True):
        assert bite.loss_stops == map_.loss_stops[map_.blocked_by == part].max()
    assert [bite.part for bite in other_bites(map_, [everywhere], "top flag", 0.1)] == ["hood"]
    assert other_bites(map_, [everywhere], "top flag", 2.0) == []


def test_the_callout_tells_the_loss_that_the_verdict_found_between_pixels():
    told = lopsided()
    bite = next(text for text in words_of(drawn(told, worst_stops=7.25)) if text.startswith("top flag\n"))
    assert bite.split("\n")[1].startswith(stops_label(7.25))
    assert not any(text.startswith(f"top flag\n{stops_label(7.25)}") for text in words_of(drawn(told)))


def test_the_callout_points_to_the_place_that_the_verdict_names():
    # Both right corners are dark alike: whichever pixel a map would take, picture and words name the corner of the verdict.
    right, up = np.meshgrid(np.linspace(-1, 1, GRID.columns), np.linspace(1, -1, GRID.rows))
    dark = (right > 0.8) & (np.abs(up) > 0.8)
    map_ = synthetic(np.where(dark, 0.2, 1.0), np.where(dark, 0, -1))
    for where, x_mm, y_mm in (("bottom right", 18.9, -12.7), ("top right", 18.9, 10.7)):
        figure = drawn(map_, guides=(), worst_stops=2.4, worst_at=(where, x_mm, y_mm))
        assert [text.get_text() for text in figure.findobj(Text) if f"2.4 stops, {where}" in text.get_text()]
        (axes,) = (one for one in figure.axes if one.get_label() == "picture")
        marks = [line.get_xydata()[0] for line in axes.lines if line.get_marker() == "o"]
        assert np.allclose(marks, [[x_mm, y_mm]])


def test_outline_of_the_blamed_region_holds_the_top_right_corner():
    axes = axes_of(drawn(lopsided()), "picture")
    (outline,) = [c for c in axes.collections if c.get_label() == "region to blame"]
    (ring,) = outline.get_paths()
    assert ring.contains_point((18.9, 10.5))
    assert not ring.contains_point((18.9, -10.5))
    assert not ring.contains_point((-15.0, 10.5))


def test_guides_are_drawn_at_their_corners_and_named():
    figure = drawn(lopsided())
    (line,) = [line for line in axes_of(figure, "picture").lines if line.get_label() == GUIDE.name]
    np.testing.assert_allclose([line.get_xdata().min(), line.get_xdata().max()], [-15.5, 16.5])
    np.testing.assert_allclose([line.get_ydata().min(), line.get_ydata().max()], [-7.5, 6.5])
    assert GUIDE.name in words_of(figure)


def test_guides_are_named_on_the_picture_of_a_clear_state_beside_the_rooms():
    """Room is written at all corners and edges of the guide, where its name would stand else."""
    whole = replace(GUIDE, half_width_mm=GRID.width_mm / 2, half_height_mm=GRID.height_mm / 2, centre_mm=(0.0, 0.0))
    places = [(r, u) for r, u in itertools.product((-1, 0, 1), repeat=2) if (r, u) != (0, 0)]
    x, y, wide, high = *whole.centre_mm, whole.half_width_mm, whole.half_height_mm
    rooms = [
        EdgeRoom(
            place="", right=r, up=u, picture_mm=(x + r * wide, y + u * high), room_mm=12.5, part="mask", least=(r, u) == (1, -1)
        )
        for r, u in places
    ]
    figure = drawn(even(1.0), (whole,), verdict_word="clear", blame=None, rooms=rooms)
    assert whole.name in words_of(figure)
    assert sum("12.5 mm" in words for words in words_of(figure)) == len(places)
    assert overlapping_texts(figure) == []


def test_verdict_comes_as_word_and_symbol():
    words = words_of(drawn(lopsided(), verdict_word="in frame"))
    assert f"{badge_of('in frame').symbol} in frame" in words
    assert len({badge_of(word).symbol for word in ("clear", "tight", "shading", "in frame", "some other word")}) == 5


@pytest.mark.parametrize(
    "map_",
    [
        lopsided(),
        lopsided((LONG, "hood")),
        lopsided(grid=PixelGrid(width_mm=18.0, height_mm=36.0, columns=20, rows=40)),
        lopsided(grid=PixelGrid(width_mm=54.0, height_mm=20.0, columns=270, rows=100)),
        lopsided(grid=PixelGrid(width_mm=36.0, height_mm=24.0, columns=3, rows=2)),
        even(0.0),
        even(1.0),
        even(0.5, PixelGrid(width_mm=36.0, height_mm=24.0, columns=1, rows=1)),
    ],
    ids=["lopsided", "long name", "upright", "wide", "tiny", "all dark", "all clear", "one pixel"],
)
def test_no_text_overlaps_another_or_leaves_the_sheet(map_):
    second = Guide(name="a second guide with quite a long name to it", half_width_mm=12.0, half_height_mm=6.9)
    figure = drawn(map_, (GUIDE, second), blame=map_.part_names[0], subtitle="Dune convoy, A camera", title="21 mm " * 40)
    assert overlapping_texts(figure) == []
    assert not np.ma.getmaskarray(loss_read(axes_of(figure, "picture").images[0])).any()


def test_all_clear_says_so_and_draws_no_line_of_loss():
    figure = drawn(even(1.0), verdict_word="clear", blame=None)
    assert "no part takes light inside scope extraction" in words_of(figure)
    assert len(axes_of(figure, "picture").collections) == 0


def test_all_light_taken_reads_so_everywhere():
    words = words_of(drawn(even(0.0)))
    assert "worst inside scope extraction: all light at centre, taken by top flag" in words
    assert sum(text.endswith(": all light") for text in words) == 8


def test_pixels_without_a_picture_are_masked_not_called_clear():
    share = lopsided().clear_share.copy()
    share[0, 0] = np.nan
    figure = drawn(synthetic(share, lopsided().blocked_by))
    assert loss_read(axes_of(figure, "picture").images[0]).mask[0, 0]
    assert "frame top left: no picture" in words_of(figure)


def test_where_the_lens_gives_no_light_nothing_is_called_clear():
    from dataclasses import replace

    lens = lopsided().lens.copy()
    lens[-6:, -6:] = 0.0
    map_ = replace(lopsided(), lens=lens)
    figure = drawn(map_)
    shown = loss_read(axes_of(figure, "picture").images[0])
    assert shown.mask[-1, -1]
    assert not shown.mask[0, -1]
    assert "frame bottom right: no picture" in words_of(figure)
    assert any("Hatched: the lens gives no picture." in words.replace("\n", " ") for words in words_of(figure))
    assert loss_read(axes_of(drawn(replace(map_, lens=lens * 0)), "picture").images[0]).mask.all()


def test_reducing_a_map_keeps_its_worst_pixel_and_its_edges():
    share = np.ones((300, 500))
    share[7, 493] = 0.25
    grid = PixelGrid(width_mm=50.0, height_mm=30.0, columns=500, rows=300)
    small = reduced(synthetic(share, np.where(share < 1, 0, -1), grid=grid), 100)
    assert small.clear_share.shape == (60, 100)
    assert small.loss_stops[1, 98] == 2.0
    assert small.blocked_by[1, 98] == 0
    np.testing.assert_allclose((small.x_mm[0], small.x_mm[-1], small.y_mm[0]), (-24.75, 24.75, 14.75))


def test_limit_of_visible_loss_gets_its_own_line():
    assert isoline_levels(0.1) == (0.1, 1 / 3, 1.0)
    assert isoline_levels(0.2) == (0.1, 0.2, 1 / 3, 1.0)


def foot_of(rays, stderr, *bounds):
    made = Made(engine="coverage", rays_per_point=rays, seed=9, bounds=bounds)
    return provenance(replace(synthetic(np.ones((2, 3)), -np.ones((2, 3)), stderr=stderr), made=made))


def test_provenance_is_one_plain_line_with_the_widest_error():
    # two standard errors and the bound of the share add up; a bound in another unit says nothing about light
    share, flat = Bound(what="chords", size=0.0004, unit="share"), Bound(what="walls taken as flat", size=0.02, unit="mm")
    assert foot_of(256, 0.004, share, flat) == "Computed with 256 rays a point; accurate to 0.009 of the light."
    assert foot_of(0, 0.0, share) == "Computed by areas; accurate to 0.0004 of the light."
    assert foot_of(0, 0.0, flat) == "Computed by areas."


def test_more_parts_than_fit_the_foot_are_counted():
    others = [Bite(part=f"tray number {n}", loss_stops=0.5, x_mm=0.0, y_mm=0.0, where="bottom right") for n in range(9)]
    words = _others_words(others, 150.0)
    assert text_size_mm(words, LABEL_PT)[0] <= 150.0
    told = words.count("tray number")
    assert 0 < told < 9
    assert words.endswith(f"; and {9 - told} more")
    assert _others_words(others[:2], 150.0).endswith("tray number 1 (1/2 stop at bottom right)")


def test_the_foot_fits_the_sheet_and_tells_what_filters_take_in_the_corners():
    map_ = lopsided()
    glass = np.full_like(map_.glass, 0.25)
    glass[0, 0] = 0.25 * 2**-0.27
    words = words_of(drawn(replace(map_, glass=glass)))
    (line,) = [text for text in words if text.startswith("Computed")]
    assert line.endswith("Not shown: the filters take 0.27 stop more in the corners than on the axis.")
    assert not any("Not shown" in text for text in words_of(drawn(map_)))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "none"), (0.1, "1/10 stop"), (0.12, "0.12 stop"), (1 / 3, "1/3 stop"), (0.5, "1/2 stop"), (2 / 3, "2/3 stop"),
        (1.0, "1 stop"), (4 / 3, "1 1/3 stops"), (1.1, "1.1 stops"), (0.999, "1 stop"), (2.0, "2 stops"), (3.0, "3 stops"),
        (4.26, "4.3 stops"),
        (10.0, "all light"), (float("inf"), "all light"), (float("nan"), "unknown"),
    ],
)  # fmt: skip
def test_stops_are_said_in_thirds_where_they_are_thirds(value, words):
    assert stops_label(value) == words


def test_every_kind_of_part_has_a_colour_of_its_own():
    assert set(PART_COLOURS) == set(Kind)
    assert len(set(PART_COLOURS.values())) == len(PART_COLOURS)


def test_picture_bytes_are_a_png_of_the_sheet():
    data = figure_png(drawn(lopsided()), dpi=100)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"  # PNG specification (ISO/IEC 15948), section 5.2
    assert int.from_bytes(data[16:20], "big") == 826  # 210 mm at 100 dots per inch
