"""Meshes are closed, face outward, and weigh what closed forms say."""

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geometry.body import Kind, Loop, Part, Surface, Tube
from geometry.errors import GeometryError
from geometry.fixtures import RodSpec, barrel, front_ring, rods
from geometry.flags import extension, flag
from geometry.frame import pose
from geometry.meshes import assembly_mesh, matched_loops, part_mesh, slab_mesh, trace_mesh
from geometry.outline import Circle, Freeform, RoundedRectangle, area_mm2, contains
from geometry.parts import back_plate, box_pose, donut_loops, filter_slab, hood, mask, opening, seal, tray

CHORDS = 1e-4  # relative: what chords within 0.002 mm of an arc may take off a volume here
BOX = box_pose(ahead_mm=4, offset_right_mm=3, offset_up_mm=-2, tilt_deg=7, back_thickness_mm=4)
CUT_OUT = Freeform(shapely.Polygon([(-60, -30), (70, -35), (60, 40), (0, 20), (-55, 30)], [[(0, 0), (5, 0), (5, 5), (0, 5)]]))
RODS = RodSpec(name="rods", diameter_mm=15, spacing_mm=60, drop_mm=85)


def every_part():
    hung = {"hinge_mm": 125, "at_mm": 118, "width_mm": 160}
    return [
        back_plate(BOX, width_mm=190, height_mm=160, thickness_mm=4, bore_mm=130),
        *(s for k in ("ring", "donut", "bellows") for s in seal(BOX, kind=k, inner_mm=114, outer_mm=130, back_thickness_mm=4)),
        tray(BOX, at_mm=10, depth_mm=8, opening=opening(size_mm=(138, 97), corner_mm=4), turn_deg=10, tilt_deg=5),
        tray(BOX, at_mm=20, depth_mm=8, opening=opening(diameter_mm=138), outer_mm=(180, 160)),
        mask(BOX, at_mm=46, thickness_mm=1, opening=CUT_OUT),
        mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 84, 6), outer_mm=(190, 120)),
        hood(BOX, at_mm=48, depth_mm=70, rear_mm=(170, 120), front_mm=(250, 170)),
        hood(BOX, at_mm=48, depth_mm=70, rear_mm=(170, 120), front_mm=(250, 170), corner_mm=9),
        flag(BOX, side="right", angle_deg=40, length_mm=110, **hung),
        extension(BOX, side="right", flag_angle_deg=40, flag_length_mm=110, angle_deg=20, length_mm=70, **hung),
        front_ring(outside_mm=114, glass_mm=96),
        barrel(outside_mm=114),
        *rods(RODS, rear_mm=-200, front_mm=20),
    ]


@pytest.mark.parametrize("part", every_part(), ids=lambda p: p.name)
def test_every_part_is_a_closed_solid_facing_outward(part):
    for mesh in (part_mesh(part), trace_mesh(part)):
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0  # inward normals would make it negative


def volume(part):
    return part_mesh(part).volume


def prismatoid(rear_mm, front_mm, depth_mm):
    """Volume between two parallel similar-sided rectangles: depth / 6 (A1 + 4 Am + A2) (prismoidal formula)."""
    (a, b), (c, d) = rear_mm, front_mm
    return depth_mm / 6 * (a * b + (a + c) * (b + d) + c * d)


def test_a_plate_with_a_bore_weighs_its_area_times_its_thickness():
    plate = back_plate(BOX, width_mm=190, height_mm=160, thickness_mm=4, bore_mm=130, corner_mm=10)
    area = 190 * 160 - (4 - np.pi) * 10**2 - np.pi * 65**2
    assert volume(plate) == pytest.approx(area * 4, rel=CHORDS)


def test_a_turned_and_tilted_tray_weighs_its_area_times_its_depth():
    part = tray(BOX, at_mm=10, depth_mm=8, opening=RoundedRectangle(138, 97, 4), turn_deg=33, tilt_deg=12, outer_mm=(180, 150))
    assert volume(part) == pytest.approx((180 * 150 - 138 * 97 + (4 - np.pi) * 16) * 8, rel=CHORDS)


def test_a_freeform_mask_weighs_its_area_times_its_thickness():
    part = mask(BOX, at_mm=46, thickness_mm=1.5, opening=CUT_OUT, outer_mm=(200, 120))
    assert volume(part) == pytest.approx((200 * 120 - CUT_OUT.shape.area) * 1.5)


@given(
    width=st.integers(20, 60),
    height=st.integers(20, 60),
    rim=st.integers(1, 5),
    cut=st.integers(0, 15),
    turn=st.sampled_from([0, 3, 90]),
)
@settings(max_examples=60, deadline=None)
def test_a_plate_round_a_drawn_opening_is_closed_wherever_its_corners_are_level(width, height, rim, cut, turn):
    drawn = shapely.affinity.rotate(shapely.Polygon([(-width, -30), (45, -30), (45, height), (cut, height), (-width, cut)]), turn)
    outline = Freeform(drawn.buffer(0.0))
    place = pose(tilt_deg=5, ahead_mm=30)
    inner = tuple(Loop(place, outline, z) for z in (0.0, 1.0))
    widened = Freeform(outline.shape.buffer(rim))
    outer = tuple(Loop(place, widened, z) for z in (0.0, 1.0))
    mesh = part_mesh(Part(name="mask", kind=Kind.MASK, body=Tube(inner=inner, outer=outer, bounded=False)))
    assert mesh.is_volume
    assert mesh.volume == pytest.approx(area_mm2(widened) - area_mm2(outline))


def test_a_hood_is_the_difference_of_two_prismatoids():
    part = hood(BOX, at_mm=48, depth_mm=70, rear_mm=(170, 120), front_mm=(250, 170), wall_mm=3)
    out = [(loop.outline.width_mm, loop.outline.height_mm) for loop in part.body.outer]
    assert volume(part) == pytest.approx(prismatoid(*out, 70) - prismatoid((170, 120), (250, 170), 70))


def test_bellows_are_the_difference_of_two_frustums():
    (part,) = seal(BOX, kind="bellows", inner_mm=100, outer_mm=140, back_thickness_mm=4, barrel_front_mm=-11)

    def frustum(r, R, h):
        return np.pi * h / 3 * (r * r + r * R + R * R)  # any handbook

    assert volume(part) == pytest.approx(frustum(51, 70, 20) - frustum(50, 69, 20), rel=20 * CHORDS)  # a thin wall: 1 mm


def test_a_donut_of_many_tangents_is_a_torus():
    inner, outer = donut_loops(pose(), 57, 65, 8, tangents=128)
    part = Part(name="donut", kind=Kind.SEAL, body=Tube(inner=inner, outer=outer, bounded=True))
    assert volume(part) == pytest.approx(2 * np.pi**2 * 61 * 4**2, rel=5e-4)  # 2 pi^2 R a^2


def test_a_donut_of_tangents_weighs_what_pappus_says():
    inner, outer = donut_loops(pose(), 57, 65, 9)
    part = Part(name="donut", kind=Kind.SEAL, body=Tube(inner=inner, outer=outer, bounded=True))
    # a regular-angled polygon of 12 sides round an ellipse of half axes 4 and 4.5: area 12 tan(15 deg) a b, centroid at radius 61
    assert volume(part) == pytest.approx(2 * np.pi * 61 * 12 * np.tan(np.radians(15)) * 4 * 4.5, rel=CHORDS)


def test_a_donut_as_built_lets_nothing_by_that_a_round_one_stops_and_little_less():
    (part,) = seal(BOX, kind="donut", inner_mm=90, outer_mm=131, back_thickness_mm=4, barrel_front_mm=-5)
    half_depth, swell, middle = 14 / 2, (131 - 90) / 4, (131 + 90) / 4
    z = np.array([loop.z_mm for loop in part.body.inner])
    radius = np.array([loop.outline.radius_mm for loop in part.body.inner])
    at = np.linspace(-half_depth, half_depth, 401)
    round_one = middle - swell * np.sqrt(1 - (at / half_depth) ** 2)  # the ellipse itself
    built = np.interp(at, z, radius)
    assert (built <= round_one + 1e-9).all()
    # largest gap between an ellipse and its tangents' corners: the circle's, 1 / cos(15 deg) - 1, along the longer half axis
    corners = middle - radius
    out = np.hypot(z / half_depth, corners / swell)
    assert out.max() <= 1 / np.cos(np.radians(15)) + 1e-9
    assert radius.min() == pytest.approx(45.0)


@pytest.mark.parametrize("barrel_front_mm", [-12.0, -2.0, 3.0])
def test_a_donut_lies_on_the_bore_all_through_the_back_plate(barrel_front_mm):
    (part,) = seal(BOX, kind="donut", inner_mm=83, outer_mm=110, back_thickness_mm=4, barrel_front_mm=barrel_front_mm)
    z = np.array([BOX.points_to_part(loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm])))[2] for loop in part.body.outer])
    radius = np.array([loop.outline.radius_mm for loop in part.body.outer])
    assert np.interp(np.linspace(0, 4, 9), z, radius) == pytest.approx(np.full(9, 55.0))


def test_a_flag_weighs_length_by_width_by_thickness():
    part = flag(BOX, side="right", angle_deg=40, hinge_mm=60, at_mm=100, length_mm=110, width_mm=160, thickness_mm=1.5)
    assert volume(part) == pytest.approx(110 * 160 * 1.5)


@pytest.mark.parametrize("outline", [Circle(50), RoundedRectangle(143.5, 101.6, 3), CUT_OUT])
def test_glass_weighs_its_area_times_its_thickness(outline):
    mesh = slab_mesh(filter_slab(BOX, at_mm=10, depth_mm=8, outline=outline, thickness_mm=4, turn_deg=20))
    assert mesh.is_volume
    assert mesh.volume == pytest.approx(area_mm2(outline) * 4, rel=CHORDS)


@given(st.floats(5, 100), st.floats(5, 100), st.floats(0, 1), st.floats(0, 1), st.floats(1, 60))
@settings(derandomize=True, deadline=None, max_examples=30)
def test_walls_between_unlike_loops_are_the_convex_hull(width, height, round_a, round_b, radius):
    # scipy's hull of the same points, through trimesh, is the independent answer
    shapes = [
        RoundedRectangle(width, height, round_a * min(width, height) / 2),
        Circle(radius),
        RoundedRectangle(90, 30, 15 * round_b),
    ]
    rear, front = matched_loops(shapes[:2], 0.05)
    points = np.concatenate([np.column_stack([loop, np.full(len(loop), z)]) for loop, z in ((rear, 0.0), (front, 25.0))])
    place, far = pose(), RoundedRectangle(400, 400)
    inner = (Loop(place, shapes[0], 0.0), Loop(place, shapes[1], 25.0))
    body = Tube(inner=inner, outer=(Loop(place, far, 0.0), Loop(place, far, 25.0)), bounded=True)
    mesh = part_mesh(Part(name="p", kind=Kind.HOOD, body=body), 0.05)
    assert mesh.is_volume
    assert 400 * 400 * 25 - mesh.volume == pytest.approx(trimesh.convex.convex_hull(points).volume, rel=1e-9)


def test_a_freeform_opening_that_tapers_is_the_hull_between_its_ends():
    place, far = pose(tilt_deg=5), RoundedRectangle(100, 100)
    triangle, square = Freeform(shapely.Polygon([(-20, -10), (20, -10), (0, 25)])), RoundedRectangle(60, 60)
    inner = (Loop(place, triangle, -5.0), Loop(place, square, 5.0))
    body = Tube(inner=inner, outer=(Loop(place, far, -5.0), Loop(place, far, 5.0)), bounded=True)
    mesh = part_mesh(Part(name="funnel", kind=Kind.HOOD, body=body))
    hull = trimesh.convex.convex_hull(np.concatenate([p for loop in inner for p in loop.points_mm()]))
    assert mesh.is_volume
    assert mesh.volume == pytest.approx(100 * 100 * 10 - hull.volume)


def test_a_notched_opening_cannot_taper():
    place, far = pose(), RoundedRectangle(200, 200)
    inner = (Loop(place, CUT_OUT, 0.0), Loop(place, Circle(50), 5.0))
    body = Tube(inner=inner, outer=(Loop(place, far, 0.0), Loop(place, far, 5.0)), bounded=True)
    with pytest.raises(GeometryError, match="must be convex in both places; give it one outline"):
        part_mesh(Part(name="funnel", kind=Kind.HOOD, body=body))


def straight_hits(mesh, points_xy):
    """Whether rays along +z through these frame points meet the mesh."""
    origins = np.column_stack([points_xy, np.full(len(points_xy), -500.0)])
    return mesh.ray.intersects_any(origins, np.tile([0.0, 0.0, 1.0], (len(origins), 1)))


@pytest.mark.parametrize("outline", [RoundedRectangle(150, 84, 6), CUT_OUT, Circle(60)])
def test_the_mesh_stops_what_the_outline_stops(outline):
    mesh = trace_mesh(mask(box_pose(ahead_mm=4), at_mm=46, thickness_mm=1, opening=outline))
    points = np.random.default_rng(7).uniform(-110, 110, (400, 2))  # wider than what is drawn
    clear = np.abs(np.hypot(*points.T) - 60) > 0.01  # keep off the round edge, where chords decide
    assert_allclose(straight_hits(mesh, points[clear]), ~contains(outline, points[clear]))


def test_nothing_passes_round_a_part_without_a_stated_outside():
    part = mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 84, 6), tilt_deg=8)
    far_out = np.array([[800.0, 30.0], [-900.0, -700.0], [0.0, 1500.0]])
    assert straight_hits(trace_mesh(part), far_out).all()
    assert not straight_hits(part_mesh(part), far_out).any()


def test_a_part_with_a_stated_outside_is_traced_as_it_is():
    part = mask(BOX, at_mm=46, thickness_mm=1, opening=Circle(40), outer_mm=(120, 110))
    assert_allclose(trace_mesh(part).bounds, part_mesh(part).bounds)


def test_faces_remember_their_part():
    parts = every_part()
    vertices, faces, owner = assembly_mesh(parts)
    assert owner.shape == (len(faces),)
    assert faces.max() == len(vertices) - 1
    for k, part in enumerate(parts):
        assert_allclose(np.ptp(vertices[np.unique(faces[owner == k])], axis=0), np.ptp(part_mesh(part).vertices, axis=0))


def test_no_parts_make_an_empty_mesh():
    vertices, faces, owner = assembly_mesh([], for_tracing=True)
    assert (len(vertices), len(faces), len(owner)) == (0, 0, 0)


def test_an_imported_mesh_stays_as_it_came():
    surface = Surface(np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10]]), np.array([[0, 1, 2], [0, 2, 3]]))
    mesh = part_mesh(Part(name="bracket", kind=Kind.SOLID, body=surface))
    assert_allclose(mesh.vertices, surface.vertices_mm)
    assert_allclose(mesh.faces, surface.faces)


def test_matched_points_share_their_outward_normal():
    shapes = [RoundedRectangle(150, 84, 6), Circle(60), RoundedRectangle(30, 90, 0)]
    for degrees in (10, 100, 215, 300):
        normal = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
        farthest = [
            set(np.flatnonzero(np.isclose(loop @ normal, (loop @ normal).max(), atol=1e-9))) for loop in matched_loops(shapes)
        ]
        assert set.intersection(*farthest)
