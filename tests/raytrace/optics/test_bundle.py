"""Bundles: where rays start and run, and what may become of them."""

from dataclasses import replace

import numpy as np
import pytest

from raytrace.box import NO_PART
from raytrace.optics.bundle import Fate, launch, object_plane_z_mm
from raytrace.optics.pencil import Pencils
from raytrace.optics.sampling import sunflower_disc
from tests.raytrace.made import pencils, upward

DISC = sunflower_disc(200)


def anamorphic(object_z_mm=np.inf):
    """One slanted pencil of a lens with its pupil 65 mm behind the rim for x, 160 mm for y."""
    reference = np.array([[-65.0, -160.0]])
    return Pencils(
        slope=np.array([[0.4, -0.2]]),
        reference_z_mm=reference,
        convergence_per_mm=1.0 / (object_z_mm - reference),
        centre_mm=np.array([[1.0, -2.0]]),
        axes_mm=np.array([[[5.0, 1.0], [0.0, 9.0]]]),
        rim_share=np.zeros((1, 0)),
        falloff=np.ones(1),
        valid=np.ones(1, dtype=bool),
        front_ring_mm=np.array([0.0, np.inf]),
    )


def at(bundle, z):
    return bundle.origin + bundle.direction * ((z - bundle.origin[:, 2]) / bundle.direction[:, 2])[:, None]


def test_rays_of_an_anamorphic_lens_cross_each_reference_plane_where_the_pupil_is():
    pencil = anamorphic(object_z_mm=900.0)
    bundle, crossing = launch(pencil, DISC), pencil.crossing_mm(DISC)[0]
    assert np.all(bundle.origin[:, 2] == -160.0)
    assert at(bundle, -65.0)[:, 0] == pytest.approx(crossing[:, 0], abs=1e-12)
    assert at(bundle, -160.0)[:, 1] == pytest.approx(crossing[:, 1], abs=1e-12)


def test_rays_of_a_pencil_meet_in_the_object_plane():
    pencil = anamorphic(object_z_mm=900.0)
    # The ray through X = 0 reaches x = 0.4 * (900 + 65), y = -0.2 * (900 + 160).
    assert at(launch(pencil, DISC), 900.0) == pytest.approx(np.tile([386.0, -212.0, 900.0], (200, 1)), abs=1e-9)
    assert object_plane_z_mm(pencil) == pytest.approx([900.0])


def test_object_plane_is_endless_at_infinity_and_for_rays_that_spread():
    assert np.isinf(object_plane_z_mm(pencils([0, 0]))).all()
    assert np.isinf(object_plane_z_mm(pencils([0, 0], object_mm=-500.0))).all()


def test_directions_are_unit_and_run_toward_the_scene():
    bundle = launch(pencils(upward(-50, 0, 60), object_mm=700), DISC)
    assert len(bundle) == 600
    assert np.linalg.norm(bundle.direction, axis=1) == pytest.approx(np.ones(600), abs=1e-15)
    assert bundle.direction[:, 2].min() > 0


def test_rims_and_front_ring_cut_rays_before_the_box_sees_them():
    rims = launch(pencils([0, 0], radius_mm=10, rim_share=np.full(8, 0.5)), DISC)
    ring = launch(pencils([0, 0], radius_mm=10, ring=(0.0, 5.0)), DISC)
    inner = np.hypot(*DISC.T) <= 0.5
    for bundle in (rims, ring):
        assert np.array_equal(bundle.alive, inner)
        assert set(bundle.fate[~inner]) == {Fate.CUT_BY_LENS}


def test_point_without_rays_is_told_apart_from_lost_light():
    pencil = pencils([[0, 0], [np.nan, np.nan]])
    pencil.valid[1] = False
    bundle = launch(pencil, DISC)
    assert np.isfinite(bundle.origin).all()
    assert np.isfinite(bundle.direction).all()
    assert set(bundle.fate[200:]) == {Fate.NO_RAY}
    assert bundle.alive[:200].all()


def test_first_end_of_a_ray_wins():
    bundle = launch(pencils([0, 0]), DISC[:3])
    bundle = bundle.ended(np.array([True, False, False]), Fate.CUT_BY_LENS).stopped(np.array([4, 4, NO_PART], dtype=np.int16))
    bundle = bundle.stopped(np.array([5, 5, 5], dtype=np.int16))
    assert bundle.fate.tolist() == [Fate.CUT_BY_LENS, Fate.BLOCKED, Fate.BLOCKED]
    assert bundle.stopped_by.tolist() == [NO_PART, 4, 5]


def test_steps_leave_the_bundle_they_start_from_alone():
    bundle = launch(pencils([0, 0]), DISC)
    bundle.dimmed(np.full(200, 0.5)).stopped(np.zeros(200, dtype=np.int16))
    assert bundle.alive.all()
    assert np.all(bundle.weight == 1.0)
    with pytest.raises(ValueError, match="read-only"):
        bundle.weight[0] = 2.0


def test_columns_of_different_length_are_refused():
    bundle = launch(pencils([0, 0]), DISC)
    with pytest.raises(ValueError, match=r"bundle\.weight: must have shape \(200,\), got \(3,\)"):
        replace(bundle, weight=np.ones(3))
