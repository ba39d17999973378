"""Maps of whole pictures: every pixel as if it were asked for alone, proofs that hold, and right for right."""

import numpy as np
import pytest

from geometry.outline import RoundedRectangle
from raytrace.box import NO_PART, Box
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.picture import coverage_map
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.made import block, holed, show_box


def lens(**more):
    pupil = FixedPupil(behind_front_mm=(38.0, 38.0), half_size_mm=(4.5, 4.5))
    plain = {"name": "18", "focal_mm": 18.0, "f_number": 2.0, "focus_mm": np.inf, "field_focal_mm": 18.0, "object_z_mm": np.inf}
    return LensState(**{**plain, "pupil": pupil, **more})


def grid(columns=150, rows=100):
    return PixelGrid(width_mm=36.0, height_mm=24.0, columns=columns, rows=rows)


def at(state):
    return lambda points: pencils_for(state, points)


def assert_map_is_its_pixels(picture, pencils_at, where, box):
    alone = coverage_shares(pencils_at(where.points_mm), box, with_alone=False)
    error = picture.clear_share.ravel() - alone.clear_share
    # The map's chord rule and its bilinear pencils, as its own bounds say; most pixels are exact.
    assert np.abs(error).max() < 0.02
    assert np.sqrt(np.mean(error**2)) < 0.003
    assert np.all(alone.clear_share[picture.clear_share.ravel() == 1.0] > 0.998)
    # Where a ring begins to cut, the layer has a crease that the nodes do not see: 0.007 stop at most.
    assert picture.lens.ravel() == pytest.approx(alone.lens, abs=5e-3)


def test_map_is_its_pixels():
    assert_map_is_its_pixels(coverage_map(at(lens()), grid(), show_box()), at(lens()), grid(), show_box())


@pytest.mark.parametrize(
    "seed", [pytest.param(40, marks=pytest.mark.slow), 41, 42, pytest.param(43, marks=pytest.mark.slow), 44, 45, 46, 47]
)
def test_map_of_a_random_box_is_its_pixels(seed):
    scene = random_scene(np.random.default_rng(seed))
    where = PixelGrid(width_mm=scene.width_mm, height_mm=scene.height_mm, columns=90, rows=70)
    assert_map_is_its_pixels(coverage_map(scene.pencils, where, scene.box), scene.pencils, where, scene.box)


def test_map_is_its_pixels_where_a_part_reaches_past_the_plane_of_focus():
    near = lens(focus_mm=350.0, field_focal_mm=12.65, object_z_mm=182.0)
    past = block((-400, -300, 60), (-70, 300, 230))
    box = Box(parts=(*show_box().parts, past), glasses=show_box().glasses)
    assert_map_is_its_pixels(coverage_map(at(near), grid(120, 80), box), at(near), grid(120, 80), box)


def test_flag_on_the_operators_right_darkens_the_right_of_the_picture():
    # The frame's x runs to the operator's left: the block stands at negative x, and high up.
    flag = block((-300, 40, 100), (-60, 300, 102))
    share = coverage_map(at(lens()), grid(), Box(parts=(flag,))).clear_share
    assert share[:30, -30:].min() == 0.0
    assert share[:, :75].min() == 1.0
    assert share[70:, :].min() == 1.0


def test_one_thread_and_two_give_the_same_bytes():
    one, two = (coverage_map(at(lens()), grid(400, 300), show_box(), threads=t) for t in (1, 2))
    for name in ("clear_share", "blocked_by", "lens", "glass"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_clear_pixels_name_no_part_and_dark_ones_do():
    picture = coverage_map(at(lens()), grid(), show_box())
    assert np.all((picture.blocked_by == NO_PART) == (picture.clear_share == 1.0))
    assert (picture.clear_share == 0.0).any()


def test_alone_is_the_map_of_that_part_by_itself():
    box = show_box()
    picture = coverage_map(at(lens()), grid(64, 48), box, with_alone=True)
    single = coverage_map(at(lens()), grid(64, 48), Box(parts=box.parts[4:5], glasses=box.glasses))
    assert picture.alone.shape == (len(box.parts), 48, 64)
    assert picture.alone[4].tobytes() == single.clear_share.tobytes()


def test_parts_left_out_as_standing_apart_change_no_pixel_where_they_do():
    """Against the pixels asked for alone, with every part: a mask far wider than the beam, and one that cuts it, near the focus."""
    near = lens(object_z_mm=150.0, focus_mm=250.0)
    box = Box(parts=(holed(20, RoundedRectangle(400, 300)), holed(60, RoundedRectangle(150, 90))))
    picture = coverage_map(at(near), grid(), box, apart=(0,))
    assert_map_is_its_pixels(picture, at(near), grid(), box)
    assert (picture.clear_share < 1.0).any()
    nothing = coverage_map(at(near), grid(), Box(parts=box.parts[:1]), apart=(0,))
    assert np.all(nothing.clear_share == 1.0)
    assert np.all(nothing.blocked_by == NO_PART)


def test_a_fisheye_has_pixels_without_light():
    # Equidistant with f = 10 on 36 x 24: radii beyond 10 x pi / 2 = 15.7 mm see behind the lens.
    state = lens(field_focal_mm=10.0, projection="equidistant")
    mask = holed(20, RoundedRectangle(120, 90))
    picture = coverage_map(at(state), grid(), Box(parts=(mask,)))
    x, y = np.meshgrid(grid().x_mm, grid().y_mm)
    outside = np.hypot(x, y) > 10.0 * np.pi / 2 + 0.01
    assert np.all(picture.lens[outside] == 0.0)
    assert np.all(picture.blocked_by[outside] == NO_PART)
    assert picture.clear_share[~outside].min() == 0.0


def test_layers_that_are_even_take_no_room():
    picture = coverage_map(at(lens()), grid(), Box(parts=()))
    assert picture.glass.strides == (0, 0)
    assert picture.glass.min() == picture.glass.max() == 1.0
    assert picture.stderr.max() == 0.0


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (9, 1), (65, 64)])
def test_pictures_of_any_size(shape):
    rows, columns = shape
    picture = coverage_map(at(lens()), grid(columns, rows), show_box())
    assert picture.clear_share.shape == shape
    assert np.isfinite(picture.clear_share).all()


def test_a_map_says_how_it_was_made():
    made = coverage_map(at(lens()), grid(), show_box()).made
    assert made.engine == "coverage"
    assert {bound.unit for bound in made.bounds} <= {"share", "mm", "pixels"}
    assert len(made.bounds) >= 3
