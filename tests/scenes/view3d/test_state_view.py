"""The 3D picture as plain numbers: places, sides, rays, labels. Nothing here draws."""

import subprocess
import sys
from dataclasses import replace
from functools import cache, partial
from itertools import combinations, pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from geometry.body import Assembly
from geometry.fixtures import RodSpec, barrel, front_ring, rods
from geometry.flags import flag
from geometry.frame import OPERATOR_RIGHT
from geometry.outline import Circle, RoundedRectangle
from geometry.parts import box_pose, filter_slab, hood, mask, tray
from raytrace.box import Box, Glass, GlassKind
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from raytrace.shares import VignetteMap
from scenes.scene_file.messages import length_words
from scenes.sheets.colours import GHOST_COLOUR, HIGHLIGHT, rgb_of
from scenes.view3d import overlay
from scenes.view3d.content import Place, RayFate, Scene3D, View
from scenes.view3d.content_file import packed, unpacked
from scenes.view3d.draw import loss_rgb
from scenes.view3d.heatmap import heatmap_of, picture_plane
from scenes.view3d.label_layout import LABEL_PX, layout_of, width_px
from scenes.view3d.rays import rim_and_centre, shown_rays, worst_point
from scenes.view3d.section import cut_of, section_of, way_through
from scenes.view3d.solids import solids_of
from scenes.view3d.state_view import Spotlight, scene3d_of
from scenes.view3d.viewpoint import Rectangle, fitted, project, spread_out

BOX = box_pose(ahead_mm=4)
GRID = PixelGrid(width_mm=36, height_mm=24, columns=24, rows=16)
SCREEN = (1600, 1000)


def lens_of(**changes):
    lens = LensState(
        name="24", focal_mm=24, f_number=4, focus_mm=np.inf, field_focal_mm=24, object_z_mm=np.inf,
        pupil=FixedPupil(behind_front_mm=(38, 38), half_size_mm=(3, 3)), front_radius_mm=48,
    )  # fmt: skip
    return partial(pencils_for, replace(lens, **changes))


def right_flag():
    return flag(BOX, side="right", angle_deg=0, hinge_mm=50, at_mm=60, length_mm=60, width_mm=160, name="right flag")


def glass(kind=GlassKind.CLEAR, density=0.0):
    slab = filter_slab(BOX, at_mm=10, depth_mm=8, outline=RoundedRectangle(143.5, 101.6), thickness_mm=4, name="filter")
    return Glass(slab=slab, index=1.5168, kind=kind, density=density)


def map_dark_at(row, column, share=0.25):
    clear = np.ones((GRID.rows, GRID.columns), dtype=np.float32)
    clear[row, column] = share
    one = np.ones_like(clear)
    return VignetteMap(
        x_mm=GRID.x_mm, y_mm=GRID.y_mm, clear_share=clear, glass=one, lens=one, blocked_by=np.full(clear.shape, -1, dtype=np.int16),
        stderr=0 * one, alone=np.zeros((0, *clear.shape), dtype=np.float32), part_names=("right flag",),
    )  # fmt: skip


@cache
def crowded(view: View) -> Scene3D:
    parts = (
        mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 84, 6), outer_mm=(190, 160)),
        hood(BOX, at_mm=48, depth_mm=12, rear_mm=(170, 120), front_mm=(190, 140)),
        right_flag(),
        *(replace(right_flag(), name=f"a long name of flag {n}") for n in range(6)),
    )
    fixtures = (front_ring(outside_mm=114, glass_mm=96), barrel(outside_mm=114), *rods(RodSpec(
        name="rods", diameter_mm=15, spacing_mm=60, drop_mm=85), rear_mm=-100, front_mm=60))  # fmt: skip
    plate = glass()
    return scene3d_of(
        Assembly(parts=parts, slabs=(plate.slab,), fixtures=fixtures), Box(parts=parts, glasses=(plate,)), lens_of(),
        map_dark_at(3, 22), title=("24, infinity, f/4", "shading"), view=view,
    )  # fmt: skip


def test_importing_the_pictures_loads_no_drawing_library():
    names = "scenes.view3d.state_view, scenes.view3d.render"
    code = f"import sys, {names}; print({{'pyvista', 'vtkmodules', 'matplotlib'}} & set(sys.modules))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "set()"


def test_a_flag_on_the_operators_right_is_drawn_right_of_the_axis_when_seen_from_behind():
    scene = crowded(View.BESIDE)
    view = layout_of(scene, SCREEN).view
    drawn = next(solid for solid in scene.solids if solid.name == "right flag")
    middle = drawn.vertices_mm.mean(axis=0)
    assert middle[0] < 0  # the frame's x runs to the operator's left (design: frame, units, signs)
    assert project(view, [middle], SCREEN)[0, 0] > project(view, [middle * [0, 1, 1]], SCREEN)[0, 0]


def test_the_viewer_beside_the_camera_stands_left_of_it_above_the_axis_and_behind_the_front_rim():
    x, y, z = layout_of(crowded(View.BESIDE), SCREEN).view.position_mm
    assert (x > 200, y > 100, z < 0) == (True, True, True)


def test_seen_from_the_scene_the_operators_right_is_left_on_the_screen():
    view = layout_of(crowded(View.FRONT), SCREEN).view
    x = project(view, [[0, 0, 40], 30 * OPERATOR_RIGHT + [0, 0, 40]], SCREEN)[:, 0]
    assert x[1] < x[0]


def test_the_heatmaps_dark_pixel_stands_where_its_chief_ray_goes():
    # Pixel 22 of 24 columns and 3 of 16 rows: picture x = 36 * (22.5 / 24 - 0.5) = 15.75 mm, y = 24 * (0.5 - 3.5 / 16) = 6.75 mm;
    # a rectilinear 24 mm lens sends it out at slopes 15.75 / 24 and 6.75 / 24 from the pupil, 38 mm behind the rim.
    pencils_at = lens_of()
    plane = picture_plane(crowded(View.BESIDE).solids, pencils_at, map_dark_at(3, 22))
    heatmap = heatmap_of(map_dark_at(3, 22), pencils_at, plane)
    row, column = np.unravel_index(np.argmax(heatmap.loss_stops), heatmap.loss_stops.shape)
    place = heatmap.corners_mm[row : row + 2, column : column + 2].mean(axis=(0, 1))
    reach = plane.z_mm + 38
    np.testing.assert_allclose(place, [-15.75 / 24 * reach, 6.75 / 24 * reach, plane.z_mm], atol=1e-9)
    assert heatmap.loss_stops.max() == pytest.approx(2.0)  # a quarter of the light: two stops


def test_the_pictures_right_and_top_are_right_and_top_on_the_screen():
    scene = crowded(View.BESIDE)
    assert scene.heatmap is not None
    view = layout_of(scene, SCREEN).view
    corners = project(view, scene.heatmap.corners_mm[[0, 0, -1], [0, -1, 0]], SCREEN)
    assert corners[1, 0] > corners[0, 0] + 100
    assert corners[0, 1] > corners[2, 1] + 100


def test_the_mark_of_the_operators_right_stands_at_the_right_edge_of_the_picture():
    layout = layout_of(crowded(View.BESIDE), SCREEN)
    at = {label.text: label.x for label in layout.labels}
    assert at["operator's right"] > at["operator's left"] + 100


def test_pixels_that_the_lens_leaves_dark_are_not_shown_as_clear():
    pencils_at, map_ = lens_of(), map_dark_at(3, 22)
    map_.lens[:, 0] = 0.0
    heatmap = heatmap_of(map_, pencils_at, picture_plane((), pencils_at, map_))
    shown = loss_rgb(heatmap)
    assert np.isnan(heatmap.loss_stops[:, 0]).all()
    assert (shown[:, 0] == np.round(np.array(heatmap.unlit_colour) * 255)).all()
    assert not (shown[:, 1] == shown[0, 0]).all()


def test_the_worst_place_is_looked_for_inside_the_guide_only():
    guide = Guide(name="inner", half_width_mm=9, half_height_mm=6)
    map_ = map_dark_at(0, 0, 0.0)
    map_.clear_share[10, 14] = 0.5
    np.testing.assert_allclose(worst_point(guide, map_), [GRID.x_mm[14], GRID.y_mm[10]])


def test_rays_of_the_right_end_on_the_right_flag_and_rays_of_the_left_get_through():
    # The flag lies along the axis 50 mm to the right, from 64 to 124 mm ahead. Similar triangles from the pupil, 38 mm behind the
    # rim: at slope 15 / 24 the chief ray is 50 mm out at z = 50 * 24 / 15 - 38 = 42, behind the flag; at 10.2 / 24 it meets the
    # flag at z = 50 * 24 / 10.2 - 38 = 79.6.
    box = Box(parts=(right_flag(),))
    chief = np.zeros((1, 2))
    past, met, left = (shown_rays(lens_of()(np.array([[x, 0.0]])), chief, box, 200.0)[0] for x in (15.0, 10.2, -10.2))
    assert (past.fate, left.fate) == (RayFate.CLEAR, RayFate.CLEAR)
    assert (met.fate, met.stopped_by) == (RayFate.BLOCKED, "right flag")
    np.testing.assert_allclose(met.points_mm[-1], [-50.0, 0.0, 50 * 24 / 10.2 - 38], atol=1e-3)
    assert left.points_mm[-1][2] == pytest.approx(200.0)


def test_a_ray_leaves_a_filter_shifted_as_a_plane_plate_shifts_it():
    # Sideways shift T sin t [1 - cos t / sqrt(n^2 - sin^2 t)], Hecht, Optics, section on plane-parallel plates (from memory).
    ray = shown_rays(lens_of()(np.array([[0.0, 12.0]])), np.zeros((1, 2)), Box(parts=(), glasses=(glass(),)), 200.0)[0]
    t = np.arctan(12 / 24)
    expected = 4 * np.sin(t) * (1 - np.cos(t) / np.sqrt(1.5168**2 - np.sin(t) ** 2))
    straight = ray.points_mm[0] + (200.0 - ray.points_mm[0][2]) * np.array([0.0, 0.5, 1.0])
    assert (straight[1] - ray.points_mm[-1][1]) * np.cos(t) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("density", "fate"), [(0.0, RayFate.CLEAR), (0.6, RayFate.GLASS)])
def test_rays_through_dense_glass_are_told_from_those_through_clear_glass(density, fate):
    box = Box(parts=(), glasses=(glass(GlassKind.DENSITY if density else GlassKind.CLEAR, density),))
    assert {ray.fate for ray in shown_rays(lens_of()(np.zeros((1, 2))), rim_and_centre(5), box, 200.0)} == {fate}


def test_rays_that_the_bare_lens_stops_are_not_shown():
    narrow = lens_of(front_radius_mm=1.0)
    assert len(shown_rays(narrow(np.zeros((1, 2))), rim_and_centre(8), Box(parts=()), 100.0)) == 1  # the chief ray alone


def test_a_readable_number_of_rays_is_shown():
    assert 60 <= len(crowded(View.BESIDE).rays) <= 150


@pytest.mark.parametrize("view", list(View))
@pytest.mark.parametrize("size", [SCREEN, (960, 600)])
def test_labels_with_leaders_keep_out_of_each_others_way(view, size):
    layout = layout_of(crowded(view), size)
    boxes = [(p.x, p.y, width_px(p.text, layout.scale), LABEL_PX * layout.scale) for p in layout.labels if p.leader is not None]
    assert len(boxes) > 8
    for (x0, y0, w0, h0), (x1, y1, w1, _) in combinations(boxes, 2):
        assert abs(y0 - y1) >= h0 or abs(x0 - x1) >= (w0 + w1) / 2
    assert all(w / 2 <= x <= size[0] - w / 2 for x, _, w, _ in boxes)


def test_the_beam_is_shown_as_a_body_from_the_front_and_never_before_the_heatmap():
    (body,) = [solid for solid in crowded(View.FRONT).solids if solid.kind == "beam"]
    assert body.opacity < 0.2
    # similar triangles at the flag's far edge, 60 mm of blade from 60 mm ahead of the box at 4 mm: 18 / 24 * (38 + z) + 3 each way
    z = body.vertices_mm[:, 2].max()
    assert z == pytest.approx(124.0, abs=0.1)
    assert body.vertices_mm[:, 0].max() == pytest.approx(18 / 24 * (38 + z) + 3, abs=1.5)  # glass draws it in by a little
    assert not [solid for solid in crowded(View.BESIDE).solids if solid.kind == "beam"]


@pytest.mark.parametrize("view", list(View))
def test_everything_is_in_view(view):
    scene = crowded(view)
    places = np.concatenate([solid.vertices_mm for solid in scene.solids] + [ray.points_mm for ray in scene.rays])
    seen = project(layout_of(scene, SCREEN).view, places, SCREEN)
    assert (seen >= 0).all()
    assert (seen <= SCREEN).all()


def test_every_part_is_named_in_every_view():
    for view in View:
        words = " ".join(label.text for label in crowded(view).labels)
        assert all(name in words for name in ("mask", "hood", "right flag", "filter", "barrel", "front ring", "entrance pupil"))


@cache
def lit_up(view: View, blamed: bool = True) -> Scene3D:
    parts = (hood(BOX, at_mm=48, depth_mm=12, rear_mm=(170, 120), front_mm=(190, 140)), right_flag(),
             *(replace(right_flag(), name=f"flag {n}") for n in range(6)))  # fmt: skip
    light = Spotlight(parts=("right flag", *(f"flag {n}" for n in range(5))), blamed=blamed, worst_mm=(15.75, 6.75), up=(-0.6, 0.8))
    assembly = Assembly(parts=parts, fixtures=(barrel(outside_mm=114),))
    return scene3d_of(assembly, Box(parts=parts), lens_of(), map_dark_at(3, 22), title=("24",), view=view, light=light)


@pytest.mark.parametrize("view", [View.BESIDE, View.FRONT])
def test_at_most_four_places_are_named_beside_the_sides_of_the_picture(view):
    scene = lit_up(view)
    named = [label.text for label in scene.labels if label.place is not Place.HERE]
    assert named[0] == "right flag"
    assert 1 < len(named) <= 4
    assert {"operator's left", "operator's right", "up"} <= {label.text for label in scene.labels}


@pytest.mark.parametrize("view", list(View))
def test_the_part_to_blame_stands_out_and_what_is_not_to_blame_is_a_ghost(view):
    colours = {solid.name: solid.colour for solid in lit_up(view).solids}
    assert colours["right flag"] == rgb_of(HIGHLIGHT)
    assert colours["hood"] == colours["barrel"] == colours["flag 5"] == rgb_of(GHOST_COLOUR)
    assert colours["flag 0"] not in {rgb_of(HIGHLIGHT), rgb_of(GHOST_COLOUR)}
    nearest = {solid.name: solid.colour for solid in lit_up(view, blamed=False).solids}
    assert nearest["right flag"] != rgb_of(HIGHLIGHT)  # nothing is taken: it only comes nearest


def test_sides_are_written_where_they_are_seen_from_the_front():
    layout = layout_of(lit_up(View.FRONT), SCREEN)
    at = {label.text: (label.x, label.y) for label in layout.labels}
    assert at["operator's right"][0] < at["operator's left"][0]  # looking back at the lens
    assert at["up"][1] > max(at["operator's right"][1], at["operator's left"][1])


def test_the_section_has_the_scene_to_the_right_and_its_place_up():
    scene = lit_up(View.SECTION)
    view = layout_of(scene, SCREEN).view
    rim, ahead, above = project(view, [[0, 0, 0], [0, 0, 100], [0, 50, 0]], SCREEN)
    assert ahead[0] > rim[0] + 50
    assert above[1] > rim[1] + 50
    # turned until the cut's way up, 0.6 to the operator's right and 0.8 up, stands upright: the right flag, 50 to 51.5 mm to the
    # right and 80 up and down of the axis, then reaches from 0.6 * 50 - 0.8 * 80 to 0.6 * 51.5 + 0.8 * 80
    tops = [solid.vertices_mm[:, 1].max() for solid in scene.solids if solid.name == "right flag"]
    assert max(tops) == pytest.approx(0.6 * 51.5 + 0.8 * 80, abs=0.1)


def test_rays_of_the_section_start_in_the_direction_of_its_way_up():
    # a 24 mm lens, 36 x 24: along (-0.6, 0.8) of the frame, that is 0.6 right and 0.8 up, the frame ends at 12 / 0.8 = 15 mm,
    # which its light leaves the pupil at 15 / 24
    ends = np.array([ray.points_mm[1] - ray.points_mm[0] for ray in lit_up(View.SECTION).rays])
    assert ends[:, 0] == pytest.approx(0.0)
    assert (ends[:, 1] / ends[:, 2]).max() == pytest.approx(15 / 24, abs=0.01)


def test_labels_in_a_row_stay_in_order_apart_and_inside():
    centres = spread_out([50, 52, 54, 300, 301], [40, 60, 40, 80, 20], 0, 400, 10)
    assert all(b - a >= (wa + wb) / 2 + 10 - 1e-9 for (a, wa), (b, wb) in pairwise(zip(centres, [40, 60, 40, 80, 20], strict=True)))
    assert centres[0] - 20 >= 0
    assert centres[-1] + 10 <= 400


def test_a_parallel_view_keeps_lengths():
    view = fitted(
        [[0, 0, 0], [0, 0, 100], [0, 50, 0]], [-1, 0, 0], [0, 1, 0], (400, 300), Rectangle(50, 50, 350, 250), parallel=True
    )
    a, b, c = project(view, [[0, 0, 0], [0, 0, 100], [7, 50, 0]], (400, 300))
    assert a[0] - b[0] == pytest.approx(2 * (c[1] - a[1]))  # 100 mm along, twice the 50 mm up; the scene is at the left
    assert a[0] - b[0] == pytest.approx(300)  # the wider of the two ways fills the inner rectangle


def test_the_section_cuts_a_mask_into_two_bars_of_its_thickness():
    plate = mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 84, 6), outer_mm=(190, 160))
    (solid,) = solids_of(Assembly(parts=(plate,)))
    cut = cut_of(solid)
    assert sorted(polygon.area for polygon in cut.polygons) == pytest.approx([38.0, 38.0], abs=1e-3)  # (160 - 84) / 2 high, 1 thick
    assert way_through(cut) == pytest.approx((-42.0, 42.0))
    assert cut.bounds[::2] == pytest.approx((50.0, 51.0))  # 4 mm ahead, 46 mm from the back plate's rear face


def test_the_section_tells_openings_and_places():
    plate = mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 84, 6), outer_mm=(190, 160))
    guide = Guide(name="frame", half_width_mm=18, half_height_mm=12)
    scene = section_of(Assembly(parts=(plate,)), Box(parts=(plate,)), lens_of(), guide, title=(), note="")
    assert {"mask, 84 open", "50", "51", "0"} <= {label.text for label in scene.labels}
    assert "entrance pupil, 6 high, 38 behind the front rim" in {label.text for label in scene.labels if label.place is Place.BELOW}


def test_the_section_tells_round_sizes_as_the_scene_has_them_however_far_beside_the_axis_they_stand():
    aside = box_pose(ahead_mm=4, offset_right_mm=9.0)
    plate = mask(aside, at_mm=46, thickness_mm=1, opening=Circle(113.96 / 2), outer_mm=(190, 160))
    assembly = Assembly(parts=(plate,), fixtures=(barrel(outside_mm=113.96),))
    guide = Guide(name="frame", half_width_mm=18, half_height_mm=12)
    scene = section_of(assembly, Box(parts=(plate,)), lens_of(), guide, title=(), note="")
    texts = {label.text for label in scene.labels}
    assert any(text.endswith(", 113.96 across") for text in texts)
    assert "mask, 113.96 open" in texts  # the cut meets a chord of 2 sqrt(56.98^2 - 9^2) = 112.53


def test_the_section_of_a_tilted_tray_alone_tells_its_way_through():
    leaning = tray(BOX, at_mm=30, depth_mm=8, opening=RoundedRectangle(92, 70, 0), tilt_deg=1.5)
    guide = Guide(name="frame", half_width_mm=18, half_height_mm=12)
    scene = section_of(Assembly(parts=(leaning,)), Box(parts=(leaning,)), lens_of(), guide, title=(), note="")
    # the straight way through a depth of 8 mm between walls 70 mm apart, leaning: 70 cos 1.5 deg - 8 sin 1.5 deg = 69.77
    assert "69.8" in {label.text for label in scene.labels}


@pytest.mark.parametrize(
    ("value_mm", "words"), [(113.96, "113.96"), (9.525, "9.525"), (113.99999, "114"), (-1e-6, "0"), (97.46813, "97.5")]
)
def test_a_written_length_is_told_as_written_and_a_computed_one_to_the_tenth(value_mm, words):
    assert length_words(value_mm) == words


def test_a_scene_without_any_part_can_be_pictured():
    for view in View:
        scene = scene3d_of(Assembly(parts=()), Box(parts=()), lens_of(), map_dark_at(0, 0), view=view)
        assert np.isfinite(layout_of(scene, SCREEN).view.position_mm).all()


def test_a_field_of_180_degrees_stays_within_reach():
    # 36 mm across an 11.4 mm equidistant lens: 36 / 11.4 rad = 181 deg from corner to corner of the width.
    wide = lens_of(focal_mm=11.4, field_focal_mm=11.4, projection="equidistant", front_radius_mm=np.inf)
    parts = (right_flag(),)
    scene = scene3d_of(Assembly(parts=parts), Box(parts=parts), wide, map_dark_at(0, 0))
    places = np.concatenate([ray.points_mm for ray in scene.rays])
    assert np.abs(places).max() < 2000
    assert scene.heatmap is not None
    assert np.nanmax(np.abs(scene.heatmap.corners_mm)) < 2000


def test_a_scene_survives_the_way_to_another_process_without_pickles():
    scene = crowded(View.BESIDE)
    arrays = packed(scene)
    assert all(array.dtype != object for array in arrays.values())
    back = unpacked(arrays)
    assert (back.title, back.view, back.labels[0].text) == (scene.title, scene.view, scene.labels[0].text)
    assert [ray.fate for ray in back.rays] == [ray.fate for ray in scene.rays]
    np.testing.assert_array_equal(back.solids[1].vertices_mm, scene.solids[1].vertices_mm)
    assert back.heatmap is not None
    np.testing.assert_array_equal(back.heatmap.loss_stops, scene.heatmap.loss_stops)


def test_the_key_tells_rays_that_are_stopped_by_their_dot_without_colour_too(monkeypatch):
    drawn = []
    monkeypatch.setattr(overlay, "_flat", lambda _points, cells, *_, width_px=0.0: drawn.append((len(cells[0]), width_px > 0)))
    monkeypatch.setattr(overlay, "_text", lambda *_, **__: None)
    for fate, shapes in ((RayFate.GLASS, [(2, True)]), (RayFate.BLOCKED, [(2, True), (overlay.CORNERS, False)])):
        drawn.clear()
        overlay._legend(SimpleNamespace(rays=[SimpleNamespace(fate=fate)]), SimpleNamespace(scale=1.0), None)
        assert drawn == shapes
