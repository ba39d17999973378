"""Mirrored leaks against the closed form of a ring gap and the mirror strengths of a plate."""

import numpy as np
import pytest

from geometry.walls import Enclosure, enclosure_of
from raytrace.optics.camera import PixelGrid
from raytrace.optics.fresnel import Plate, face_reflectance, plate_sp
from raytrace.optics.lens import pencils_for
from raytrace.stray.mirror import MirrorScene, mirror_paths, mirrored, pupil_rays
from raytrace.stray.picture import leak_picture
from raytrace.stray.world import World
from tests.raytrace.made import plate_of_glass
from tests.raytrace.stray_made import BARREL_MM, BORE_MM, PUPIL_BEHIND_MM, fit, lens, ring_box, ring_scene

FACE_MM, PLATE_BEHIND_MM = 20.0, 6.0


def row(columns=2001, half_mm=24.0):
    """One row of pixels through the lens axis."""
    return PixelGrid(width_mm=2 * half_mm, height_mm=0.02, columns=columns, rows=1)


def picture_of(scene, grid=None, **more):
    return leak_picture(lens(**more), grid or row(), scene, rng=np.random.default_rng(4), most_mirrors=5, log2_rays=4)


def test_ring_runs_between_the_angles_of_rim_and_bore():
    # Unfolded at the filter face a pupil ray is straight: at the rim it has run 2 zf + p, at a plate g behind it 2 zf + p + g.
    # It has to pass the rim outside b/2 and the bore inside B/2.
    picture = picture_of(ring_scene(ahead_mm=-PLATE_BEHIND_MM, face_mm=FACE_MM))
    tan = picture.grid.x_mm / 20.0
    lit = tan[picture.relative[0] > 0.5 * picture.relative.max()]
    inner = BARREL_MM / 2 / (2 * FACE_MM + PUPIL_BEHIND_MM)
    outer = BORE_MM / 2 / (2 * FACE_MM + PUPIL_BEHIND_MM + PLATE_BEHIND_MM)
    assert lit[lit > 0].min() == pytest.approx(inner, abs=0.004)
    assert lit.max() == pytest.approx(outer, abs=0.004)
    assert lit.min() == pytest.approx(-outer, abs=0.004)


def test_ring_is_as_bright_as_the_plate_mirrors():
    # All inner reflections of a loss-free plate: R (1 + T), s and p apart (Hecht; raytrace.optics.fresnel is held by package tmm).
    picture = picture_of(ring_scene(face_mm=FACE_MM))
    middle = np.abs(np.abs(picture.grid.x_mm) - 12.6).argmin()
    field = np.arctan(np.abs(picture.grid.x_mm[middle]) / 20.0)
    _, reflected = plate_sp(field, Plate(index=1.5168))
    assert picture.absolute.sum(axis=0)[0, middle] == pytest.approx(np.mean(reflected), rel=2e-3)


def test_stated_reflectance_takes_the_place_of_fresnel():
    # Incoherent plate with faces of 1 %: total R (1 + (1 - R)^2 / (1 - R^2)) = 0.019801980198
    glass = plate_of_glass(FACE_MM, thickness_mm=0.02, size_mm=(600, 600), reflectance=0.01)
    picture = picture_of(ring_scene(glass=glass))
    assert picture.absolute.max() == pytest.approx(0.0198019802, rel=1e-3)


@pytest.mark.parametrize(("right", "up", "brighter"), [(4.0, 0.0, "right"), (0.0, 4.0, "top")])
def test_box_set_off_to_a_side_leaks_where_the_gap_is_wide(right, up, brighter):
    # The gap widens on the side the box moved to; a ray back past that side's barrel left the pupil toward that side as well.
    scene = ring_scene(face_mm=FACE_MM, right_mm=right, up_mm=up)
    grid = PixelGrid(width_mm=34.0, height_mm=34.0, columns=68, rows=68)
    light = leak_picture(lens(f_number=8.0), grid, scene, rng=np.random.default_rng(2)).relative
    right_half, top_half = light[:, 34:].sum() / light.sum(), light[:34].sum() / light.sum()
    assert (right_half if brighter == "right" else top_half) > 0.6
    assert (top_half if brighter == "right" else right_half) == pytest.approx(0.5, abs=0.02)


def test_closed_box_leaks_exactly_nothing():
    box, assembly = ring_box(seal="donut", right_mm=1.0, up_mm=-2.0)
    world = World.of(enclosure_of(assembly, fit(box, soft=True)))
    scene = MirrorScene(glasses=ring_scene().glasses, world=world, caught_radius_mm=BARREL_MM / 2)
    picture = leak_picture(
        lens(f_number=2.0), PixelGrid(width_mm=60, height_mm=60, columns=64, rows=64), scene, rng=np.random.default_rng(1)
    )
    assert picture.absolute.sum() == 0.0
    assert picture.paths == ()


def test_two_plates_throw_back_no_more_than_arrives():
    # With nothing in the way the paths of any number of mirrors add up to the reflectance of the pile, below 1 (Stokes 1862).
    glasses = (plate_of_glass(20, size_mm=(3000, 3000)), plate_of_glass(40, size_mm=(3000, 3000), tilt_deg=3))
    empty = World.of(Enclosure(walls=(), openings=enclosure_of(*_as_pair(ring_box())).openings))
    scene = MirrorScene(glasses=glasses, world=empty, caught_radius_mm=0.0)
    rays = pupil_rays(pencils_for(lens(), np.array([[4.0, 3.0], [22.0, 9.0]])), np.full((2, 1, 2), 0.5))
    total = np.zeros(2)
    for path in mirror_paths(2, 7):
        found = mirrored(rays, path, scene)
        np.add.at(total, found.ray, found.strength)
    # Untilted pile of 2 plates at 14.04 deg, 1 - T: T = mean over s, p of (1 - R) / (1 + 3 R).
    passed = np.mean([(1 - r) / (1 + 3 * r) for r in face_reflectance(np.arctan(5 / 20), 1.5168)])
    assert total[0] == pytest.approx(1 - passed, rel=0.02)
    assert (total < 1).all()


def _as_pair(made):
    box, assembly = made
    return assembly, fit(box)


def test_number_of_ways_back_is_that_of_alternating_falls():
    # Ways through 4 faces with 1 mirror: 4; with 3: sum over the low face i of (faces beyond it)^2 = 9 + 4 + 1 = 14.
    assert [len(p.mirrors) for p in mirror_paths(2, 3)].count(1) == 4
    assert [len(p.mirrors) for p in mirror_paths(2, 3)].count(3) == 14
