"""One diffuse bounce against view factors and the sphere whose every place sees every other alike."""

import numpy as np
import pytest
import shapely
import trimesh

from geometry.body import Kind, Part, Surface
from geometry.enclosure import flat_surface, joined
from geometry.frame import pose
from geometry.openings import Opening, OpeningKind
from raytrace.lights import LightPlace
from raytrace.stray.bounce import veil_of
from raytrace.stray.target import Target
from raytrace.stray.world import World

RADIUS_MM, PORT_MM = 100.0, 30.0


def rng():
    return np.random.default_rng(5)


def plate(half_x, half_y, at_mm, name="plate"):
    return Part(name=name, kind=Kind.HOOD, body=flat_surface(shapely.box(-half_x, -half_y, half_x, half_y), pose(ahead_mm=at_mm)))


def rest():
    return Opening(name="open air", kind=OpeningKind.REST, part="", area_mm2=0.0, surface=joined([]))


def target(points, normal=(0.0, 0.0, 1.0)):
    return Target(
        name="t",
        points_mm=np.atleast_2d(points).astype(float),
        rear_points_mm=np.zeros((0, 3)),
        normal=np.array(normal),
        area_mm2=1.0,
    )


def test_lit_plate_throws_its_view_factor_back():
    # A plate lit squarely with 1 and reflecting rho gives a small facing element rho F; F over a centred 100 x 60 at 100: 4 x
    # 0.039085007042 (Howell C-1). The element stands in the light's way but is too small to matter.
    world = World((plate(50, 30, 100.0),), (rest(),))
    light = LightPlace(name="sun", direction=np.array([0.0, 0.0, -1.0]))
    seen = veil_of(target([0.0, 0, 0]), world, light, {"plate": 0.3}, rng=rng())
    assert seen.total == pytest.approx(0.3 * 4 * 0.039085007042, rel=5e-3)
    assert abs(seen.total - 0.3 * 4 * 0.039085007042) < 5 * max(seen.total_stderr, 1e-5)


def sphere_world(rho_port_kind):
    ball = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS_MM)
    middle = ball.triangles_center
    port = (middle[:, 2] > 0) & (np.hypot(middle[:, 0], middle[:, 1]) < PORT_MM)
    solid = Surface(np.asarray(ball.vertices), np.asarray(ball.faces)[~port])
    gap = Surface(np.asarray(ball.vertices), np.asarray(ball.faces)[port])
    opening = Opening(name="port", kind=rho_port_kind, part="", area_mm2=0.0, surface=gap)
    projected = np.abs(np.asarray(ball.area_faces)[port] * np.asarray(ball.face_normals)[port, 2]).sum()
    return World((Part(name="ball", kind=Kind.HOOD, body=solid),), (opening, rest())), projected


@pytest.mark.parametrize("kind", [OpeningKind.MOUTH, OpeningKind.RING])
def test_one_bounce_in_a_sphere_is_even_all_over(kind):
    # First term of the closed sphere M = rho / (1 - rho (1 - f)) (integrating-sphere texts): every place gets rho flux / area.
    world, projected = sphere_world(kind)
    light = LightPlace(name="sun", direction=np.array([0.0, 0.0, 1.0]))
    at = RADIUS_MM * np.array([0.6, 0.0, 0.8]) * 0.9995
    seen = veil_of(target(at, normal=(-0.6, 0.0, -0.8)), world, light, {"ball": 0.5}, rng=rng(), log2_samples=16)
    expected = 0.5 * projected / (4 * np.pi * RADIUS_MM**2)
    assert seen.total == pytest.approx(expected, rel=0.03)
    assert abs(seen.total - expected) < max(5 * seen.total_stderr, 0.01 * expected)


def test_black_lining_gives_no_veil():
    world = World((plate(50, 30, 100.0),), (rest(),))
    light = LightPlace(name="sun", direction=np.array([0.0, 0.0, -1.0]))
    assert veil_of(target([0.0, 0, 0]), world, light, {"plate": 0.0}, rng=rng()).total == 0.0


def test_plate_lit_from_behind_throws_nothing_forward():
    world = World((plate(50, 30, 100.0),), (rest(),))
    light = LightPlace(name="sun", direction=np.array([0.0, 0.0, 1.0]))
    assert veil_of(target([0.0, 0, 0]), world, light, {"plate": 0.9}, rng=rng()).total == 0.0
