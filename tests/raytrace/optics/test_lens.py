"""Pencils of fixed, walking and traced pupils against closed forms and published prescriptions."""

import json
from pathlib import Path

import numpy as np
import pytest

from raytrace.optics.chief_rays import largest_field_rad
from raytrace.optics.lens import FixedPupil, LensState, TracedPupil, WalkingPupil, aims_of_fixed, pencils_for
from raytrace.optics.pencil import within_rims
from raytrace.optics.prescription import Prescription, Surface, first_order
from raytrace.optics.prescription_pupil import pupil_table
from raytrace.optics.sampling import sobol_disc

DATA = Path(__file__).parents[2] / "data" / "published_prescriptions.json"


def published(name, scale):
    table = json.loads(DATA.read_text())[name]
    surfaces = tuple(
        Surface(
            radius_mm=np.inf if row["R"] is None else row["R"],
            thickness_mm=row["t"],
            index=row["nd"],
            semi_diameter_mm=row["semi_diameter"] or np.inf,
        )
        for row in table["rows"]
    )
    return Prescription(surfaces, table["stop_row_1based"] - 1).scaled(scale)


def traced_state(name, scale, f_number, object_z_mm=np.inf, rims=True):
    lens = published(name, scale)
    if not rims:
        stop = lens.stop_index
        lens = Prescription(
            tuple(
                s if k == stop else Surface(radius_mm=s.radius_mm, thickness_mm=s.thickness_mm, index=s.index)
                for k, s in enumerate(lens.surfaces)
            ),
            stop,
        )
    paraxial = first_order(lens)
    farthest = np.tan(min(largest_field_rad(lens, object_z_mm) * 0.995, np.pi / 4))
    table = pupil_table(lens, f_number, np.arctan(np.linspace(0, farthest, 60)), object_z_mm, 128)
    pupil = TracedPupil(behind_front_mm=paraxial.entrance_pupil_mm, vertex_behind_front_mm=0.0, table=table)
    f = paraxial.focal_mm
    return LensState(
        name=name,
        focal_mm=f,
        f_number=f_number or 1.4,
        focus_mm=object_z_mm,
        field_focal_mm=f,
        object_z_mm=object_z_mm,
        pupil=pupil,
    )


def outermost_up_mm(lens, field_deg, ahead_mm):
    """Height of the outermost ray of the pencil from a field point above the axis, in a plane ahead of the front."""
    point = [[0.0, lens.field_focal_mm * np.tan(np.radians(field_deg))]]
    pencils = pencils_for(lens, point)
    angles = 2 * np.pi * np.arange(3600) / 3600
    rim = np.stack([np.cos(angles), np.sin(angles)], axis=1) * np.ones((1, 3600, 1))
    share = np.interp(angles, 2 * np.pi * np.arange(129) / 128, np.append(pencils.rim_share[0], pencils.rim_share[0, 0]))
    crossing = pencils.crossing_mm(rim * share[None, :, None])
    return float(pencils.at_plane_mm(crossing, ahead_mm)[0, :, 1].max())


# Real rays through the stop's edge of two published lenses, no rim clipping: computed with a separate tracer and agreed with
# two general-purpose lens programs (optiland 0.6.3, rayoptics 0.9.8) on the pupil depths behind them.
@pytest.mark.parametrize(
    ("name", "scale", "f_number", "ahead_mm", "field_deg", "clear_mm"),
    [
        ("US4448497_ex1_double_gauss_f1.4", 0.5, None, 100.0, 20.0, 64.568220),
        ("US4448497_ex1_double_gauss_f1.4", 0.5, None, 100.0, 23.0, 73.188269),
        ("US4099850_retrofocus_f3.5", 0.28, None, 80.0, 30.0, 63.756618),
        ("US4099850_retrofocus_f3.5", 0.28, None, 80.0, 35.0, 77.135094),
    ],
)
def test_a_traced_pupil_needs_the_half_opening_of_real_rays(name, scale, f_number, ahead_mm, field_deg, clear_mm):
    lens = traced_state(name, scale, f_number, rims=False)
    assert outermost_up_mm(lens, field_deg, ahead_mm) == pytest.approx(clear_mm, abs=0.01)


# Area square to the chief ray with rims, relative to the axis: 2400 x 2400 grid of rays, good to 5e-4, agreed with optiland.
@pytest.mark.parametrize(("field_deg", "relative"), [(10.0, 0.86278), (20.0, 0.55017), (23.0, 0.41670)])
def test_the_bare_share_of_a_traced_lens_is_its_rim_clipped_area(field_deg, relative):
    lens = traced_state("US4448497_ex1_double_gauss_f1.4", 0.5, None)
    field = np.radians(field_deg)
    pencils = pencils_for(lens, [[lens.field_focal_mm * np.tan(field) * 0.6, lens.field_focal_mm * np.tan(field) * 0.8]])
    share = within_rims(pencils, sobol_disc(16, np.random.default_rng(1))).mean()
    assert share * pencils.falloff[0] / np.cos(field) ** 3 == pytest.approx(relative, abs=1.5e-3)


def test_a_picture_point_up_and_right_looks_up_and_to_the_operators_right():
    pupil = FixedPupil(behind_front_mm=(40.0, 40.0), half_size_mm=(5.0, 5.0))
    lens = LensState(name="a", focal_mm=20, f_number=2, focus_mm=np.inf, field_focal_mm=20, object_z_mm=np.inf, pupil=pupil)
    slope = pencils_for(lens, [[6.0, 4.0]]).slope[0]
    assert slope == pytest.approx([-0.3, 0.2])  # the frame's x runs to the operator's left


def test_the_rays_of_a_near_point_meet_in_it_for_every_kind_of_pupil():
    half, rows = (6.0, 6.0), ((0.0, 40.0, 1.0, 1.0), (40.0, 46.0, 1.1, 1.05))
    disc = sobol_disc(6, np.random.default_rng(2))
    for pupil in (
        FixedPupil(behind_front_mm=(65.0, 160.0), half_size_mm=half),
        WalkingPupil(behind_front_mm=40.0, half_size_mm=half, rows=rows),
        traced_state("US4099850_retrofocus_f3.5", 0.28, 3.5, 700.0).pupil,
    ):
        lens = LensState(name="a", focal_mm=28, f_number=2, focus_mm=800, field_focal_mm=28, object_z_mm=700.0, pupil=pupil)
        pencils = pencils_for(lens, [[9.0, -5.0]])
        there = pencils.at_plane_mm(pencils.crossing_mm(disc), 700.0)[0]
        assert np.ptp(there, axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)


def test_an_anamorphic_lens_has_one_pupil_depth_for_each_direction():
    # Front afocal cylinder pair S = 2, f_A = -100, f_B = 200, gap 100, pupil 60 behind element B: z_x = d/S + e/S^2 = 65,
    # z_y = d + e = 160, pupil width / S; from the ray matrix [[S, d], [0, 1/S]].
    pupil = FixedPupil(behind_front_mm=(65.0, 160.0), half_size_mm=(5.0, 10.0))
    lens = LensState(
        name="a", focal_mm=50, f_number=2.5, focus_mm=np.inf, field_focal_mm=50, object_z_mm=np.inf, pupil=pupil, squeeze=2.0
    )
    pencils = pencils_for(lens, [[21.95 / 2, 18.60 / 2]])
    # HFOV = 2 atan(S w / 2f) = 47.40294861 deg, VFOV = 2 atan(h / 2f) = 21.07321589 deg
    assert np.degrees(2 * np.arctan(np.abs(pencils.slope[0]))) == pytest.approx([47.40294861, 21.07321589], abs=1e-8)
    ahead = pencils.at_plane_mm(pencils.crossing_mm(np.zeros((1, 2))), 50.0)[0, 0]
    assert ahead == pytest.approx([-(50 + 65) * 0.439, (50 + 160) * 0.186])


def test_a_walking_pupil_follows_its_table_and_goes_straight_on_beyond_it():
    rows = ((0.0, 38.0, 1.0, 1.0), (20.0, 38.6, 1.01, 1.02))
    pupil = WalkingPupil(behind_front_mm=38.0, half_size_mm=(10.0, 10.0), rows=rows)
    lens = LensState(name="a", focal_mm=20, f_number=1, focus_mm=np.inf, field_focal_mm=20, object_z_mm=np.inf, pupil=pupil)
    pencils = pencils_for(lens, 20 * np.tan(np.radians([[0.0, 20.0], [0.0, 30.0]])))
    assert pencils.reference_z_mm[:, 1] == pytest.approx([-38.6, -38.9])
    # Half sizes stand square to the chief ray: the section by a plane square to the axis is longer by 1 / cos.
    assert pencils.axes_mm[0] == pytest.approx(np.diag([10.2, 10.1 / np.cos(np.radians(20))]))


@pytest.mark.parametrize("projection", ["rectilinear", "equidistant", "equisolid", "stereographic", "orthographic"])
def test_states_of_a_lens_at_once_aim_as_each_of_them_alone(projection):
    points = np.array([[0.0, 0.0], [18.0, 12.0], [-18.0, 12.0], [60.0, -40.0], [0.0, 75.0]])
    states = [
        LensState(
            name="zoom",
            focal_mm=focal,
            f_number=2.8,
            focus_mm=np.inf,
            field_focal_mm=focal * 0.97,
            object_z_mm=object_z,
            pupil=FixedPupil(behind_front_mm=(focal, focal + 5.0), half_size_mm=(focal / 8, focal / 5)),
            projection=projection,
            squeeze=squeeze,
            distortion=(-0.02, 0.004),
            half_diagonal_mm=21.6,
        )
        for focal, object_z, squeeze in ((24.0, np.inf, 1.0), (35.0, 300.0, 1.33), (70.0, 4000.0, 2.0))
    ]
    slope, convergence, valid = aims_of_fixed(states, points)
    for k, state in enumerate(states):
        alone = pencils_for(state, points)
        assert np.array_equal(slope[k], alone.slope)
        assert np.array_equal(np.broadcast_to(convergence[k], alone.slope.shape), alone.convergence_per_mm)
        assert np.array_equal(valid[k], alone.valid)
