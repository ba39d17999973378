"""Chief rays of a lens given as a surface table: which ray through the stop's centre belongs to a field angle.

Signs as in `raytrace.optics.prescription_pupil`. Formulas: docs/physics.md, "Prescriptions".
"""

import numpy as np

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from raytrace.optics.prescription import Prescription, first_order, trace_from_stop

CHIEF_SAMPLES = 361  # angles in the stop space, a quarter of a degree apart
CHIEF_LIMIT_RAD = np.radians(89.0)
CLOSER_SAMPLES = 65  # between the last of them that gets out and the first that does not
SECTION_SAMPLES = 16  # points per narrowing of a chief ray's bracket
SECTION_ROUNDS = 13  # 16^13 parts of a quarter degree: the last float64 bit


def largest_field_rad(lens: Prescription, object_distance_mm: float = np.inf) -> float:
    """Largest field angle from which a ray reaches the stop's centre through the glass, rims not counted [rad]."""
    return float(_chief_fan(lens, object_distance_mm)[1][-1])


def _seen_from_pupil(height: FloatArray, angle: FloatArray, distance_mm: float, pupil_mm: float) -> FloatArray:
    """Field angle, seen from the paraxial pupil, of the object point on a ray given at the V1 plane."""
    if np.isinf(distance_mm):
        return angle
    return np.arctan((distance_mm * np.tan(angle) - height) / (distance_mm + pupil_mm))


def _chief_fan(lens: Prescription, distance_mm: float) -> tuple[FloatArray, FloatArray]:
    """Angles in the stop space, and the field angles they belong to, as far as these grow; closer together at the end."""
    inner = np.linspace(0.0, CHIEF_LIMIT_RAD, CHIEF_SAMPLES)
    first, seen = _growing(lens, distance_mm, inner)
    if len(first) == len(inner):
        return first, seen
    last, closer = _growing(lens, distance_mm, np.linspace(first[-1], inner[len(first)], CLOSER_SAMPLES))
    return np.append(first, last[1:]), np.append(seen, closer[1:])


def _growing(lens: Prescription, distance_mm: float, inner: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The first of rising angles in the stop space, and their field angles, as far as these grow."""
    height, angle, failed = trace_from_stop(lens, inner)
    seen = _seen_from_pupil(height, angle, distance_mm, first_order(lens).entrance_pupil_mm)
    ends = failed[1:] | (np.diff(seen) <= 0.0)
    count = int(np.argmax(ends)) + 1 if ends.any() else len(inner)
    return inner[:count], seen[:count]


def chief_angles(lens: Prescription, distance_mm: float, fields: FloatArray) -> FloatArray:
    """Angle in the stop space of the ray through the stop's centre, per field (F,) [rad], by sectioning a bracket.

    A GeometryError where a field is negative, or so large that no ray reaches the stop's centre.
    """
    inner, seen = _chief_fan(lens, distance_mm)
    if fields.min() < 0.0 or fields.max() > seen[-1]:
        worst = np.degrees(fields.min() if fields.min() < 0.0 else fields.max())
        raise GeometryError(
            f"prescription: fields must lie between 0 and {np.degrees(seen[-1]):.4g} deg, beyond which no ray reaches "
            f"the centre of the stop, got {worst:.4g}; use a smaller picture or check the table"
        )
    start = np.clip(np.searchsorted(seen, fields, side="right") - 1, 0, len(inner) - 2)
    low, high = inner[start], inner[start + 1]
    rows, share = np.arange(len(fields)), np.linspace(0.0, 1.0, SECTION_SAMPLES + 1)
    pupil_mm = first_order(lens).entrance_pupil_mm
    for _ in range(SECTION_ROUNDS):
        tried = low[:, None] + (high - low)[:, None] * share
        height, angle, _ = trace_from_stop(lens, tried.ravel())
        found = _seen_from_pupil(height, angle, distance_mm, pupil_mm).reshape(tried.shape)
        step = np.clip((found <= fields[:, None]).sum(axis=1) - 1, 0, SECTION_SAMPLES - 1)
        low, high = tried[rows, step], tried[rows, step + 1]
    return np.where(fields == 0.0, 0.0, 0.5 * (low + high))
