"""Outline rays through filters in compiled code, against the plain walk of rays and against Snell's law."""

import os
import sys

import numpy as np
import pytest

from geometry.frame import pose
from raytrace.beam import kernel_tasks, warm_up
from raytrace.beam.rays import chords_for, outlines, traced, traced_edgeless
from raytrace.box import GlassKind
from raytrace.jit import start_early
from raytrace.jit.compiled import is_compiled
from raytrace.optics.bundle import launch
from raytrace.optics.glass import walk
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from tests.raytrace.beam.test_beam import plane_crossing
from tests.raytrace.made import plate_of_glass

POINTS = np.array([[12.0, 8.0], [0.0, 8.0], [-12.0, 8.0], [-12.0, -8.0], [12.0, -8.0]])


def lens(object_z_mm=np.inf):
    pupil = FixedPupil(behind_front_mm=(40.0, 30.0), half_size_mm=(6.0, 9.0))
    return LensState(
        name="a", focal_mm=25.0, f_number=2.0, focus_mm=np.inf, field_focal_mm=25.0, object_z_mm=object_z_mm, pupil=pupil
    )


@pytest.mark.parametrize("object_z_mm", [np.inf, 300.0, 45.0])
@pytest.mark.parametrize("kind", [GlassKind.CLEAR, GlassKind.CLOSE_UP])
def test_outline_rays_run_as_the_plain_walk_of_rays_has_them(object_z_mm, kind):
    glasses = [
        plate_of_glass(20.0, thickness_mm=4.0, tilt_deg=8.0, size_mm=(9e3, 9e3)),
        plate_of_glass(35.0, thickness_mm=6.0, tilt_deg=-11.0, size_mm=(9e3, 9e3), kind=kind, power_dioptre=2.0),
    ]
    pencils, angle = pencils_for(lens(object_z_mm), POINTS), 2 * np.pi * np.arange(24) / 24
    disc = np.column_stack([np.cos(angle), np.sin(angle)])
    rims = outlines(pencils, 24)
    (sheet,) = traced(pencils, rims, glasses)
    share = np.linalg.norm(rims.crossing_mm[0, 0] / (6.0, 9.0))  # corners stand about the pupil
    bundle, legs = walk(launch(pencils, share * disc), glasses)
    for plane in (pose(ahead_mm=5.0), pose(ahead_mm=36.0), pose(ahead_mm=60.0, tilt_deg=12.0), pose(ahead_mm=200.0)):
        xy, there = sheet.at_plane(plane)
        want, crossed = plane_crossing(plane, legs)
        assert np.array_equal(there, crossed.reshape(len(POINTS), -1).all(axis=1))
        assert np.abs(xy.reshape(-1, 2)[crossed] - want[crossed]).max(initial=0.0) < 1e-9
    assert bundle.origin.shape == (120, 3)


def test_a_plate_shifts_a_ray_as_snells_law_says():
    plate = plate_of_glass(20.0, thickness_mm=5.0, size_mm=(9e3, 9e3))
    pencils = pencils_for(lens(), np.array([[12.0, 0.0], [0.0, 8.0], [-12.0, 0.0]]))
    sheet, bare = (traced_edgeless(pencils, outlines(pencils, 24), glasses) for glasses in ([plate], []))
    shift = bare.at_plane(pose(ahead_mm=80.0))[0] - sheet.at_plane(pose(ahead_mm=80.0))[0]
    slope = pencils.slope[0, 0]
    angle = np.arctan(slope)
    inside = np.arcsin(np.sin(angle) / plate.index)
    assert shift[0, :, 0] == pytest.approx(5.0 * (np.tan(angle) - np.tan(inside)), abs=1e-9)


def test_rays_that_run_on_without_end_cross_planes_beyond_the_one_in_focus():
    pencils = pencils_for(lens(300.0), POINTS)
    sheet = traced_edgeless(pencils, outlines(pencils, chords_for(9.0)), [])
    beyond = pose(ahead_mm=500.0)
    assert not sheet.at_plane(beyond)[1].any()
    xy, there = sheet.endless().at_plane(beyond)
    middle = pencils.slope * (500.0 - pencils.reference_z_mm)
    assert there.all()
    assert xy.mean(axis=1) == pytest.approx(middle, abs=1e-9)


def test_what_is_compiled_ahead_is_what_beams_ask_for():
    warm_up.compile_ahead()
    pencils = pencils_for(lens(), POINTS)
    traced(pencils, outlines(pencils, 24), [plate_of_glass(20.0)])[0].at_plane(pose(ahead_mm=50.0))
    assert [len(kernel.signatures) for kernel in warm_up.KERNELS] == [1, 1]
    assert all(is_compiled(kernel) for kernel in warm_up.KERNELS)


def test_a_process_of_its_own_makes_all_kernels(monkeypatch, tmp_path):
    monkeypatch.setenv(start_early.FOLDER, str(tmp_path))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(p for p in sys.path if p))
    child = start_early.begin(kernel_tasks.TRACING)
    assert child.wait() == 0
    assert not kernel_tasks.kernels_seem_missing()


def test_index_files_that_are_looked_for_are_those_of_the_kernels():
    names = {f"{kernel.__module__.rsplit('.', 1)[1]}.{kernel.__name__}" for kernel in warm_up.KERNELS}
    assert set(kernel_tasks.INDEXES) == names
