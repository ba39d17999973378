"""States put together by hand, whose light is a circle segment in closed form."""

import numpy as np
from scipy.optimize import brentq

from geometry.body import Assembly, Kind
from geometry.outline import RoundedRectangle
from raytrace.box import Box
from raytrace.optics.camera import PixelGrid, whole_frame
from raytrace.optics.lens import FixedPupil, LensState
from scenes.states.state import StatePlan
from tests.raytrace.made import holed

FOCAL_MM, F_NUMBER, PUPIL_MM, WALL_AT_MM = 20.0, 4.0, 40.0, 60.0
RADIUS_MM = FOCAL_MM / F_NUMBER / 2
GRID = PixelGrid(width_mm=36, height_mm=24, columns=12, rows=8)


def lens(pupil_mm=PUPIL_MM, focal_mm=FOCAL_MM):
    return LensState(
        name="20",
        focal_mm=focal_mm,
        f_number=F_NUMBER,
        focus_mm=np.inf,
        field_focal_mm=focal_mm,
        object_z_mm=np.inf,
        pupil=FixedPupil(behind_front_mm=(pupil_mm, pupil_mm), half_size_mm=(RADIUS_MM, RADIUS_MM)),
    )


def wall_on_the_right(right_mm, name="right flag", kind=Kind.FLAG):
    """Material everywhere beyond `right_mm` to the operator's right, in the plane 60 mm ahead."""
    return holed(WALL_AT_MM, RoundedRectangle(2000, 4000), right_mm=right_mm - 1000.0, name=name, kind=kind)


def plan(*parts, pupils=(PUPIL_MM,), key="20_inf_f4", guides=None, glasses=(), focal_mm=FOCAL_MM, notes=()):
    return StatePlan(
        key=key,
        lens_name="20",
        focal_mm=focal_mm,
        focus_mm=np.inf,
        f_number=F_NUMBER,
        variants=tuple(lens(depth, focal_mm) for depth in pupils),
        variant_names=tuple(f"pupil {depth:g}" for depth in pupils),
        box=Box(parts=tuple(parts), glasses=tuple(glasses)),
        assembly=Assembly(parts=tuple(parts)),
        grid=GRID,
        guides=guides or (whole_frame(GRID),),
        notes=tuple(notes),
    )


def beam_right_mm(x_mm, pupil_mm=PUPIL_MM):
    """How far right the middle of a pencil has come in the wall's plane: similar triangles."""
    return x_mm / FOCAL_MM * (pupil_mm + WALL_AT_MM)


def clear_share(gap_mm):
    """Share of the pupil disc on the near side of a straight edge `gap_mm` from its middle: a circle segment (Bronstein)."""
    d = np.clip(gap_mm / RADIUS_MM, -1, 1)
    return 1 - (np.arccos(d) - d * np.sqrt(1 - d * d)) / np.pi


def gap_for_share(share):
    """The gap that leaves this share, by root search on the closed form."""
    return brentq(lambda gap: clear_share(gap) - share, -RADIUS_MM, RADIUS_MM)
