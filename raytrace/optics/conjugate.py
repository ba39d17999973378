"""Focus: magnification, object plane and effective focal length from the focus distance. Plain numbers.

Formulas: docs/physics.md, "Finite focus".
"""

from dataclasses import dataclass

import numpy as np

from geometry.errors import GeometryError


@dataclass(frozen=True, slots=True, kw_only=True)
class Conjugate:
    """Where the sharp plane lies and how the picture maps onto it.

    Attributes
    ----------
    magnification : float
        Image size per object size, 0 at infinity.
    object_distance_mm : float
        Entrance pupil to object plane, L; inf at infinity. [mm]
    effective_focal_mm : float
        tan(field) = image height / this: m L, or f at infinity. [mm]
    """

    magnification: float
    object_distance_mm: float
    effective_focal_mm: float


def magnification_of_focus(focal_mm: float, focus_mm: float) -> float:
    """Magnification m of a thin lens focused at `focus_mm` from the image plane; 0 at infinity.

    Solves D = f (2 + m + 1/m) for the root 0 < m <= 1. GeometryError nearer than 4 f, where no lens of that focal
    length forms an image.

    Source: D is object distance f (1 + 1/m) plus image distance f (1 + m), Newton's form of the thin-lens law.
    """
    if np.isinf(focus_mm):
        return 0.0
    b = focus_mm / focal_mm - 2.0
    if b < 2.0:
        raise GeometryError(
            f"focus_mm: a focus distance from the image plane must be at least 4 focal lengths ({4 * focal_mm:g} mm "
            f"here), got {focus_mm:g}; give the lens a state with its own half_field_deg at that focus"
        )
    return float(2.0 / (b + np.sqrt(b * b - 4.0)))


def pupil_to_object_mm(focus_mm: float, front_to_sensor_mm: float, pupil_behind_front_mm: float) -> float:
    """Entrance pupil to object plane, L = D - (front to sensor - pupil behind front); inf at infinity [mm]."""
    distance = focus_mm - (front_to_sensor_mm - pupil_behind_front_mm)
    if distance <= pupil_behind_front_mm:
        raise GeometryError(
            f"focus_mm: the object plane must lie ahead of the lens front, but {focus_mm:g} mm from the image plane is "
            f"not beyond the front at {front_to_sensor_mm:g}; check front_to_sensor_mm and the focus distance"
        )
    return float(distance)


def principal_planes_apart_mm(focal_mm: float, pupil_to_sensor_mm: float, pupil_magnification: float) -> float:
    """Distance HH' between the principal planes, c - 2 f + f/p; negative where they cross [mm].

    c is from the entrance pupil to the image plane at infinity focus, p the pupil magnification (exit over entrance pupil).

    Source: pupil to object is f (1/m + 1/p), to image f (2 + m + 1/m) + HH' less that; at m = 0 what is left of it is c.
    """
    return pupil_to_sensor_mm - 2.0 * focal_mm + focal_mm / pupil_magnification


def _apart_mm(focal_mm: float, focus_mm: float, pupil_to_sensor_mm: float, pupil_magnification: float | None) -> float | None:
    """HH' [mm]; None where it is not known, or would leave the lens nearer to its object than any lens images."""
    if pupil_magnification is None:
        return None
    apart = principal_planes_apart_mm(focal_mm, pupil_to_sensor_mm, pupil_magnification)
    return apart if focus_mm - apart >= 4.0 * focal_mm else None


def conjugate(
    focal_mm: float,
    focus_mm: float,
    front_to_sensor_mm: float = 0.0,
    pupil_behind_front_mm: float = 0.0,
    pupil_magnification: float | None = None,
) -> Conjugate:
    """Conjugate of a lens whose field follows from its focal length, moved as a whole to focus.

    With the pupil magnification p: m by D = f (2 + m + 1/m) + HH', tan(field) = x / (f (1 + m/p)). Without it the principal planes
    are taken as one, tan(field) = x / (m L), and never a field narrower than at infinity. Lengths in mm.

    Source: docs/physics.md, "Finite focus".
    """
    if np.isinf(focus_mm):
        return Conjugate(magnification=0.0, object_distance_mm=np.inf, effective_focal_mm=focal_mm)
    distance = pupil_to_object_mm(focus_mm, front_to_sensor_mm, pupil_behind_front_mm)
    apart = _apart_mm(focal_mm, focus_mm, front_to_sensor_mm - pupil_behind_front_mm, pupil_magnification)
    if pupil_magnification is None or apart is None:
        m = magnification_of_focus(focal_mm, focus_mm)
        return Conjugate(magnification=m, object_distance_mm=distance, effective_focal_mm=min(m * distance, focal_mm))
    m = magnification_of_focus(focal_mm, focus_mm - apart)
    effective = focal_mm * (1.0 + m / pupil_magnification)
    return Conjugate(magnification=m, object_distance_mm=distance, effective_focal_mm=effective)
