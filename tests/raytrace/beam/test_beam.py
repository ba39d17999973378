"""Sections of the beam against closed forms, published lenses and clouds of traced rays."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import shapely
import trimesh

from geometry.frame import Pose, pose
from raytrace.beam.beam import beam_of, beam_section, lens_beam, lens_section, outer_guides, union
from raytrace.beam.outline import chained, section_size
from raytrace.beam.rays import rim_disc
from raytrace.beam.solid import beam_solid
from raytrace.box import Box, GlassKind
from raytrace.optics.bundle import launch
from raytrace.optics.camera import Guide
from raytrace.optics.glass import walk
from raytrace.optics.lens import FixedPupil, LensState, WalkingPupil, pencils_for
from raytrace.optics.sampling import sobol_disc
from tests.raytrace.made import plate_of_glass
from tests.raytrace.optics.test_lens import traced_state

BEYOND_MM = 0.02  # how far a section may exceed its rays


def plane_crossing(plane, legs):
    """Where rays first cross a plane, in its own coordinates (R, 2), and which do: the first leg to cross has the last word."""
    xy, crossed = np.zeros((len(legs[0].start_mm), 2)), np.zeros(len(legs[0].start_mm), dtype=np.bool_)
    normal = plane.rotation[:, 2]
    for leg in reversed(legs):
        with np.errstate(divide="ignore", invalid="ignore"):
            run = ((plane.origin_mm - leg.origin) @ normal) / (leg.direction @ normal)
            here = (run >= -1e-7) & (run <= leg.length_mm + 1e-7) & np.isfinite(run)
        at = plane.points_to_part(leg.origin + np.where(here, run, 0.0)[:, None] * leg.direction)[:, :2]
        xy, crossed = np.where(here[:, None], at, xy), crossed | here
    return xy, crossed


def outline_radius(share, angle):
    """Radius of a pupil's outline at an angle by the plain words of Pencils: straight in angle from spoke to spoke."""
    return np.interp(angle, 2 * np.pi * np.arange(len(share) + 1) / len(share), [*share, share[0]])


@pytest.mark.parametrize(
    "share", [(1, 1, 0, 0, 0, 1, 1, 1), (0, 0, 0, 0, 0, 0, 0, 0), (1, 0, 1, 0, 1, 0.01, 1, 1), (1, 0.9, 1, 1, 1, 0.9, 1, 1)]
)
def test_a_polygon_about_a_pupil_holds_its_outline_where_rims_let_nothing_through_too(share):
    pencils = replace(pencils_for(plain_lens(), [[0.0, 0.0]]), rim_share=np.array([share], dtype=np.float64))
    corners = rim_disc(pencils, 24)[0]
    assert np.isfinite(corners).all()
    angle = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    outline = outline_radius(share, angle)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    grown = shapely.Polygon(corners).buffer(1e-5)  # a ten thousandth of a millimetre of any pupil
    assert shapely.contains_xy(grown, *outline[outline_radius(share, angle) > 0].T).all()
    assert np.hypot(*corners.T).max() <= 1.1


def plain_lens(**changes):
    given = {
        "name": "plain",
        "focal_mm": 20.0,
        "f_number": 2.0,
        "focus_mm": np.inf,
        "field_focal_mm": 20.0,
        "object_z_mm": np.inf,
        "pupil": FixedPupil(behind_front_mm=(25.0, 25.0), half_size_mm=(12.0, 12.0)),
        "half_diagonal_mm": 20.0,
    }
    return LensState(**(given | changes))


def round_pupil(depth_mm, radius_mm):
    return FixedPupil(behind_front_mm=(depth_mm, depth_mm), half_size_mm=(radius_mm, radius_mm))


def section_of(lens, guide, z_mm, glasses=()):
    return beam_section(partial(pencils_for, lens), guide, Box(parts=(), glasses=glasses), pose(ahead_mm=z_mm))


# A flat disc pupil: the bundle's section is a circle about (z_p + L) tan t, so a half opening of (z_p + L) tan t + rho is clear.
@pytest.mark.parametrize(
    ("depth_mm", "radius_mm", "ahead_mm", "field_deg", "clear_mm"),
    [(24.977674, 17.711744, 100.0, 20.0, 63.199897), (21.062049, 4.100729, 80.0, 35.0, 74.865138)],
)
def test_a_round_pupil_needs_the_half_opening_of_the_closed_form(depth_mm, radius_mm, ahead_mm, field_deg, clear_mm):
    lens = plain_lens(pupil=round_pupil(depth_mm, radius_mm))
    guide = Guide(name="a", half_width_mm=8.0, half_height_mm=20 * np.tan(np.radians(field_deg)))
    top = section_of(lens, guide, ahead_mm).bounds[3]
    assert clear_mm <= top <= clear_mm + BEYOND_MM


# Object plane at s_p from the pupil, object height y: centre y d / s_p, radius rho (1 - d / s_p), d = L + z_p.
@pytest.mark.parametrize(("s_p_mm", "y_mm", "clear_mm"), [(2000.0, 500.0, 47.38), (1000.0, 300.0, 53.76)])
def test_a_near_object_needs_the_half_opening_of_the_closed_form(s_p_mm, y_mm, clear_mm):
    lens = plain_lens(object_z_mm=s_p_mm - 25.0)
    guide = Guide(name="a", half_width_mm=6.0, half_height_mm=20 * y_mm / s_p_mm)
    top = section_of(lens, guide, 120.0).bounds[3]
    assert clear_mm <= top <= clear_mm + BEYOND_MM


# Real rays through the stop's edge of two published lenses, no rims: US patents 4,448,497 Ex. 1 and 4,099,850, traced with a
# separate program; pupil depths behind them agreed with optiland 0.6.3 and rayoptics 0.9.8.
@pytest.mark.parametrize(
    ("name", "scale", "ahead_mm", "field_deg", "clear_mm"),
    [
        ("US4448497_ex1_double_gauss_f1.4", 0.5, 100.0, 20.0, 64.568220),
        ("US4448497_ex1_double_gauss_f1.4", 0.5, 100.0, 23.0, 73.188269),
        ("US4099850_retrofocus_f3.5", 0.28, 80.0, 30.0, 63.756618),
        ("US4099850_retrofocus_f3.5", 0.28, 80.0, 35.0, 77.135094),
    ],
)
def test_a_published_lens_needs_the_half_opening_of_real_rays(name, scale, ahead_mm, field_deg, clear_mm):
    lens = traced_state(name, scale, None, rims=False)
    guide = Guide(name="a", half_width_mm=1.0, half_height_mm=lens.field_focal_mm * np.tan(np.radians(field_deg)))
    top = section_of(lens, guide, ahead_mm).bounds[3]
    assert clear_mm - 0.01 <= top <= clear_mm + 0.04  # the table is good to 0.01 mm, its spokes to 0.014 mm


def test_the_section_of_a_plain_lens_is_the_frames_rectangle_rounded_by_the_pupil():
    guide = Guide(name="a", half_width_mm=10.0, half_height_mm=6.0, centre_mm=(2.0, -1.0))
    scale = (70.0 + 25.0) / 20.0
    closed = shapely.box(-12 * scale, -7 * scale, 8 * scale, 5 * scale).buffer(12.0, quad_segs=500)  # right is -x
    found = section_of(plain_lens(), guide, 70.0)
    assert found.covers(closed.buffer(-1e-6))
    assert shapely.hausdorff_distance(found, closed, densify=0.1) < BEYOND_MM
    size = section_size(found)
    assert [size.width_mm, size.height_mm] == pytest.approx([20 * scale + 24, 12 * scale + 24], abs=0.03)
    assert [size.right_mm, size.up_mm] == pytest.approx([2 * scale, -scale], abs=0.01)
    assert size.corner_mm == pytest.approx(12.0, abs=0.06)


def test_a_plate_draws_the_beam_in_by_its_sideways_shift():
    # d / cos t of lateral displacement, T = 4, n = 1.5168, t = 30 deg: d = 0.790484489 (plane-parallel plate, Smith).
    lens = plain_lens(pupil=round_pupil(25.0, 3.0))
    guide = Guide(name="a", half_width_mm=0.01, half_height_mm=20 * np.tan(np.radians(30.0)))
    bare, behind = (section_of(lens, guide, 60.0, glass).bounds[3] for glass in ((), (plate_of_glass(20.0),)))
    assert bare - behind == pytest.approx(0.790484489 / np.cos(np.radians(30.0)), abs=0.008)


def test_a_plate_behind_the_plane_changes_nothing():
    guide = Guide(name="a", half_width_mm=12.0, half_height_mm=7.0)
    without, ahead = (section_of(plain_lens(), guide, 15.0, glass) for glass in ((), (plate_of_glass(40.0),)))
    assert shapely.hausdorff_distance(without, ahead) < 0.01


def test_beyond_the_object_plane_there_is_no_beam():
    guide = Guide(name="a", half_width_mm=12.0, half_height_mm=7.0)
    assert section_of(plain_lens(object_z_mm=150.0), guide, 160.0).is_empty
    assert not section_of(plain_lens(object_z_mm=150.0), guide, 140.0).is_empty


def test_in_the_plane_in_focus_the_beam_is_the_object_itself_however_the_picture_bends():
    # Every pencil is a point there. Barrel distortion r = u (1 - 0.1 u^2), in half diagonals (Brown 1966, radial term): the sides
    # of what is seen bow inward.
    lens = plain_lens(object_z_mm=75.0, distortion=(-0.1, 0.0))
    guide = Guide(name="a", half_width_mm=18.0, half_height_mm=12.0)
    found = section_of(lens, guide, 75.0)

    def seen_mm(right_mm, up_mm):
        r = np.hypot(right_mm, up_mm) / 20
        u = min(root.real for root in np.roots([-0.1, 0.0, 1.0, -r]) if abs(root.imag) < 1e-9 and root.real > 0)
        return np.array([right_mm, up_mm]) / r / 20 * u * (75.0 + 25.0)

    assert found.bounds[2:] == pytest.approx(seen_mm(18.0, 12.0), abs=0.03)
    at_middle = found.intersection(shapely.LineString([(0, 0), (0, 200)])).length
    assert at_middle == pytest.approx(seen_mm(0.0, 12.0)[1], abs=0.03)
    assert at_middle < found.bounds[3] - 1.0


def test_rays_all_in_one_line_still_count_as_a_beam():
    flat = np.column_stack([np.linspace(-30.0, 30.0, 12), np.zeros(12)]).reshape(4, 3, 2)
    whole, gaps = chained(flat, np.ones(4, dtype=bool)), chained(flat, np.array([True, True, True, False]))
    assert whole.bounds == pytest.approx((-30.0, 0.0, 30.0, 0.0), abs=0.002)
    assert gaps.bounds[0] == pytest.approx(-30.0, abs=0.002)
    assert whole.area > 0


def test_the_front_ring_bounds_the_beam_close_before_it():
    lens = plain_lens(front_radius_mm=20.0)
    found = section_of(lens, Guide(name="a", half_width_mm=8.0, half_height_mm=4.0), 0.0)
    assert np.hypot(*shapely.get_coordinates(found).T).max() <= 20.0 + BEYOND_MM
    assert found.area == pytest.approx(
        shapely.box(-10, -5, 10, 5).buffer(12.0, quad_segs=200).intersection(shapely.Point(0, 0).buffer(20.0, quad_segs=200)).area,
        rel=2e-3,
    )


def test_a_frame_whose_corners_the_lens_leaves_dark_has_the_beam_of_what_is_lit():
    lens = plain_lens(pupil=round_pupil(38.0, 4.0), front_radius_mm=36.0)
    guide = Guide(name="a", half_width_mm=19.0, half_height_mm=19.0)
    found = lens_beam(lens, guide, Box(parts=())).section_at(50.0)
    rays = rays_of(lens, guide, (), pose(ahead_mm=50.0), 2**17, np.random.default_rng(1))
    assert len(rays) > 10_000
    assert farthest_outside_mm(found, rays) < 0.05


def test_a_union_holds_every_states_section():
    guide = Guide(name="a", half_width_mm=10.0, half_height_mm=6.0)
    lenses = [plain_lens(), plain_lens(pupil=round_pupil(40.0, 4.0))]
    both = lens_section(lenses, [guide], Box(parts=()), pose(ahead_mm=50.0))
    each = [section_of(lens, guide, 50.0) for lens in lenses]
    assert all(both.buffer(1e-6).covers(section) for section in each)
    assert both.area == pytest.approx(union(each).area)


def test_a_guide_inside_another_adds_nothing_and_is_left_out():
    outer, inner, aside = (
        Guide(name=n, half_width_mm=w, half_height_mm=6.0, centre_mm=(x, 0.0))
        for n, w, x in (("o", 10.0, 0.0), ("i", 4.0, 5.0), ("a", 4.0, 9.0))
    )
    assert [guide.name for guide in outer_guides((inner, outer, aside, outer))] == ["o", "a"]


@pytest.mark.parametrize("stop", [0.5, 0.8])
def test_stopping_down_and_a_smaller_guide_never_widen_the_beam(stop):
    lens, small = plain_lens(), plain_lens(pupil=round_pupil(25.0, 12.0 * stop))
    guide, inner = (Guide(name="a", half_width_mm=10.0 * k, half_height_mm=6.0 * k) for k in (1.0, stop))
    glass = (plate_of_glass(18.0, tilt_deg=8.0),)
    whole = section_of(lens, guide, 60.0, glass)
    assert whole.buffer(0.001).covers(section_of(small, guide, 60.0, glass))
    assert whole.buffer(0.001).covers(section_of(lens, inner, 60.0, glass))


def test_the_beams_solid_is_closed_and_has_the_volume_of_its_sections():
    beam = beam_of(partial(pencils_for, plain_lens()), Guide(name="a", half_width_mm=10.0, half_height_mm=6.0), Box(parts=()))
    vertices, faces = beam_solid(beam, [10.0, 40.0, 90.0], spokes=720)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    # Prismatoid: each section is (a + b z) x (c + d z) rounded by one radius, a quadratic in z, so Simpson's rule is exact.
    areas = [beam.section_at(z).area for z in (10.0, 50.0, 90.0)]
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(80.0 / 6 * (areas[0] + 4 * areas[1] + areas[2]), rel=2e-3)


def rays_of(lens, guide, glasses, plane, count, rng):
    """Where a guide's rays cross a plane: field points inside, on its edge and in its corners, half the rays on the pupil's rim."""
    per = 512
    field = rng.uniform(-1, 1, (count // per, 2))
    edge = np.arange(len(field)) % 3
    axis = rng.integers(0, 2, len(field))
    field[np.arange(len(field))[edge > 0], axis[edge > 0]] = np.sign(field[np.arange(len(field))[edge > 0], axis[edge > 0]])
    field[edge == 2] = np.sign(field[edge == 2])
    points = np.asarray(guide.centre_mm) + field * [guide.half_width_mm, guide.half_height_mm]
    angle = rng.uniform(0, 2 * np.pi, per // 2)
    disc = np.concatenate([sobol_disc(8, rng), (1 - 1e-12) * np.column_stack([np.cos(angle), np.sin(angle)])])
    found = []
    for some in np.array_split(points, max(1, len(points) // 128)):
        bundle, legs = walk(launch(pencils_for(lens, some), disc), glasses)
        xy, crossed = plane_crossing(plane, legs)
        found.append(xy[crossed & bundle.alive])
    return np.concatenate(found)


def farthest_outside_mm(section, points):
    outside = ~shapely.contains_xy(section, points[:, 0], points[:, 1])
    return float(shapely.distance(shapely.points(points[outside]), section).max(initial=0.0))


INSIDE_MM = 0.08  # a pupil that walks is followed inside the guide too, on a net less fine


def lit_by_edges(lens, guide, glasses, plane, per_side=80, rim=360):
    """The region that pencils along a guide's edge light, from real rays on their rims: hulls of neighbours, filled."""
    angle = 2 * np.pi * np.arange(rim) / rim
    disc = (1 - 1e-12) * np.column_stack([np.cos(angle), np.sin(angle)])
    corners, step = guide.corners_mm(), np.arange(per_side)[:, None] / per_side
    points = np.concatenate([corners[k] + step * (corners[(k + 1) % 4] - corners[k]) for k in range(4)])
    _, legs = walk(launch(pencils_for(lens, points), disc), glasses)
    rays = plane_crossing(plane, legs)[0].reshape(len(points), rim, 2)
    pairs = shapely.convex_hull(shapely.multipoints(np.concatenate([rays, np.roll(rays, -1, axis=0)], axis=1)))
    return shapely.Polygon(shapely.union_all(pairs).exterior)


def random_scene(rng):
    depth, radius = rng.uniform(20, 45), rng.uniform(1, 12)
    rows = ((0.0, depth, 1.0, 1.0), (20.0, depth + rng.uniform(-1, 1), 1.01, 1.02), (45.0, depth + rng.uniform(-4, 4), 1.1, 1.05))
    pupils = (
        round_pupil(depth, radius),
        FixedPupil(behind_front_mm=(depth, depth + 40), half_size_mm=(radius / 2, radius)),
        WalkingPupil(behind_front_mm=depth, half_size_mm=(radius, radius), rows=rows),
    )
    lens = plain_lens(
        pupil=pupils[rng.integers(0, 3)],
        object_z_mm=rng.choice([np.inf, 320.0, 1500.0]),
        projection=rng.choice(["rectilinear", "equidistant", "equisolid", "stereographic"]),
        squeeze=rng.choice([1.0, 1.0, 1.8]),
        distortion=(rng.uniform(-0.08, 0.08), rng.uniform(-0.02, 0.02)),
    )
    guide = Guide(
        name="a",
        half_width_mm=rng.uniform(4, 11),
        half_height_mm=rng.uniform(2, 8),
        centre_mm=(rng.uniform(-3, 3), rng.uniform(-2, 2)),
    )
    close_up = plate_of_glass(12.0, kind=GlassKind.CLOSE_UP, power_dioptre=2.0)
    tilted = plate_of_glass(34.0, size_mm=(900, 900), tilt_deg=rng.uniform(-10, 10), turn_deg=rng.uniform(-20, 20))
    glasses = ((), (tilted,), (close_up, tilted))[rng.integers(0, 3)]
    plane = pose(ahead_mm=rng.uniform(50, 160), tilt_deg=rng.uniform(-12, 12), turn_deg=rng.uniform(-30, 30))
    return lens, guide, glasses, plane


def check_random_scenes(seeds, rays):
    excess = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        lens, guide, glasses, plane = random_scene(rng)
        found = beam_section(partial(pencils_for, lens), guide, Box(parts=(), glasses=glasses), plane)
        assert farthest_outside_mm(found, rays_of(lens, guide, glasses, plane, rays, rng)) < 1e-9, seed
        edge = shapely.points(shapely.get_coordinates(shapely.segmentize(found, 1.0)))
        beyond = float(shapely.distance(edge, lit_by_edges(lens, guide, glasses, plane)).max())
        excess.append(beyond - (INSIDE_MM if isinstance(lens.pupil, WalkingPupil) else 0.0))
    return np.array(excess)


def test_a_section_holds_every_ray_of_random_scenes_and_next_to_nothing_more():
    assert check_random_scenes(range(3), 2**17).max() < BEYOND_MM


@pytest.mark.slow
def test_a_section_holds_a_million_rays_of_random_scenes_and_next_to_nothing_more():
    assert check_random_scenes(range(100, 116), 10**6).max() < BEYOND_MM


def test_a_traced_pupil_with_its_own_rims_keeps_its_rays_in():
    lens = traced_state("US4099850_retrofocus_f3.5", 0.28, 3.5)
    guide = Guide(name="a", half_width_mm=14.0, half_height_mm=8.0, centre_mm=(1.0, -0.5))
    glasses, plane = (plate_of_glass(18.0),), pose(ahead_mm=60.0, tilt_deg=4.0)
    found = beam_section(partial(pencils_for, lens), guide, Box(parts=(), glasses=glasses), plane)
    rays = rays_of(lens, guide, glasses, plane, 2**18, np.random.default_rng(5))
    assert farthest_outside_mm(found, rays) < 1e-9


def test_rays_past_the_edge_of_a_small_plate_are_in_the_section_too():
    lens, guide = plain_lens(pupil=round_pupil(38.0, 5.0)), Guide(name="a", half_width_mm=16.0, half_height_mm=9.0)
    glasses, plane = (plate_of_glass(18.0, size_mm=(70.0, 48.0)),), pose(ahead_mm=70.0)
    found = beam_section(partial(pencils_for, lens), guide, Box(parts=(), glasses=glasses), plane)
    rays = rays_of(lens, guide, glasses, plane, 2**17, np.random.default_rng(6))
    assert farthest_outside_mm(found, rays) < 1e-9


@pytest.mark.parametrize(("tilt_deg", "radius_mm", "object_mm"), [(0.0, 5.0, np.inf), (12.0, 5.0, np.inf), (6.0, 30.0, 150.0)])
def test_no_section_behind_a_plane_reaches_past_where_rays_start_bend_or_cross_it(tilt_deg, radius_mm, object_mm):
    lens = plain_lens(pupil=round_pupil(40.0, radius_mm), object_z_mm=object_mm)
    guide = Guide(name="a", half_width_mm=4.0, half_height_mm=2.0, centre_mm=(2.0, -1.0))
    box = Box(parts=(), glasses=(plate_of_glass(20.0, tilt_deg=-tilt_deg), plate_of_glass(34.0, tilt_deg=tilt_deg)))
    plane = pose(ahead_mm=60.0, tilt_deg=tilt_deg / 2)
    beam = lens_beam(lens, guide, box, far=plane).endless()
    held = plane.points_to_part(beam.bends_behind(plane))
    for behind_mm in (0.0, 5.0, 22.0, 26.5, 38.0, 44.0):
        nearer = Pose(plane.rotation, plane.points_to_frame(np.array([0.0, 0.0, -behind_mm])))
        left, low, right, high = beam.section(nearer).bounds
        spare_mm = 2.0 * beam.pad_mm + 1e-6
        assert held[:, 0].min() - spare_mm <= left
        assert right <= held[:, 0].max() + spare_mm
        assert held[:, 1].min() - spare_mm <= low
        assert high <= held[:, 1].max() + spare_mm
