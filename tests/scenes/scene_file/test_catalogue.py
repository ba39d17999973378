"""The catalogue's numbers against inches, printed diagonals and trade practice; names that are not in it."""

import math

import pytest

from scenes.scene_file.catalogue import filter_sizes, formats, rods, unknown_name

INCH_MM = 25.4  # exact since 1959


@pytest.mark.parametrize(
    ("name", "width_in", "height_in"),
    [
        # Apertures in inches as public lists of the ISO 2906 / SMPTE 59, 201M, 215 sizes print them (rounded to 0.001 in)
        ("super-35-4perf", 0.980, 0.735),
        ("super-35-3perf", 0.980, 0.546),
        ("academy-35-4perf", 0.864, 0.630),
        ("anamorphic-35-4perf", 0.864, 0.732),
        ("35-8perf", 1.485, 0.981),
        ("65-5perf", 2.066, 0.906),
        ("65-15perf", 2.772, 2.072),
        ("16", 0.404, 0.295),
        ("super-16", 0.493, 0.292),
    ],
)
def test_film_apertures_agree_with_their_inches(name, width_in, height_in):
    size = formats()[name]
    assert (size.width_mm, size.height_mm) == pytest.approx((width_in * INCH_MM, height_in * INCH_MM), abs=0.02)


@pytest.mark.parametrize(
    ("name", "diagonal_mm"),
    [
        # Pythagoras on the tabled sizes, computed apart from the project
        ("super-35-4perf", 31.114),
        ("super-35-3perf", 28.49367),
        ("academy-35-4perf", 27.16252),
        ("anamorphic-35-4perf", 28.77086),
        ("35-8perf", 45.20846),
        ("65-5perf", 57.3028),
        ("65-15perf", 87.90611),
        ("16", 12.70306),
        ("super-16", 14.54849),
        ("36x24", 43.26662),
    ],
)
def test_diagonals(name, diagonal_mm):
    assert math.hypot(formats()[name].width_mm, formats()[name].height_mm) == pytest.approx(diagonal_mm, abs=1e-4)


def test_named_filter_sizes_are_inches_with_the_longer_side_across():
    checked = 0
    for name, size in filter_sizes().items():  # common practice: names are height x width in inches
        if size.diameter_mm is None:
            height, width = (float(side) * INCH_MM for side in name.split("x"))
            assert (size.width_mm, size.height_mm) == pytest.approx((width, height), abs=1e-9)
            checked += 1
    assert checked == 6


def test_rods_are_those_of_the_trade():
    found = {name: (rod.diameter_mm, rod.spacing_mm, rod.drop_mm) for name, rod in rods().items()}
    assert found["rods-15"] == (15, 60, 85)  # common practice
    assert found["rods-19"] == (19, 104, 120)  # common practice


def test_every_value_says_where_it_is_from_and_how_sure_it_is():
    rows = [*formats().values(), *filter_sizes().values(), *rods().values()]
    assert len(rows) == 28
    assert all(row.source and row.confidence in {"high", "medium", "low"} for row in rows)


def test_an_unknown_name_gets_the_nearest_one():
    assert unknown_name("camera format", "65-5pref", formats()) == (
        '"65-5pref" is no camera format of the catalogue; did you mean "65-5perf"?'
    )
