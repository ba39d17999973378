"""Distortion of metadata as a scene has it: [k1, k2] by which r becomes r (1 + k1 r^2 + k2 r^4), r = 1 at the half diagonal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.lens_data.reading import FloatArray, Polynomial

BEYOND = 1.05  # half diagonals: the fit goes a little past the corner
STEPS = 211
SMALL_SHARE = 1e-3  # of the half diagonal: a residual that no one sees


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedDistortion:
    """k1, k2 of a scene; by how much the field's tangent is made larger, so that the fit nowhere tells a narrower one than the source.

    residual_share: the fit's largest error in the picture over the half diagonal.
    """

    terms: tuple[float, float]
    widened: float
    residual_share: float


def undistorted_mm(polynomial: Polynomial | None, radius_mm: float) -> float:
    """The radius in a picture without distortion of a point in the picture [mm]; nan where the polynomial folds before it."""
    if polynomial is None:
        return radius_mm
    picture_mm, plain_mm = _pairs(polynomial, radius_mm)
    return float(plain_mm[-1]) if _rises(picture_mm) and _rises(plain_mm) else float("nan")


def fitted(polynomial: Polynomial, half_diagonal_mm: float) -> FittedDistortion | None:
    """The scene's two terms for a polynomial, by least squares; None where it folds before the picture's corner."""
    picture_mm, plain_mm = _pairs(polynomial, BEYOND * half_diagonal_mm)
    if not (_rises(picture_mm) and _rises(plain_mm)):
        return None
    q, r = plain_mm[1:] / half_diagonal_mm, picture_mm[1:] / half_diagonal_mm
    k1, k2 = np.linalg.lstsq(np.column_stack([q**2, q**4]), r / q - 1.0, rcond=None)[0]
    told = q * (1.0 + k1 * q**2 + k2 * q**4)
    if not _rises(told):
        return None
    # the field where the scene's terms put each picture radius, against the true one
    scene_q = np.interp(r, told, q)
    return FittedDistortion(
        terms=(round(float(k1), 6), round(float(k2), 6)),
        widened=max(1.0, float((q / scene_q).max())),
        residual_share=float(np.abs(told - r).max()),
    )


def _pairs(polynomial: Polynomial, to_mm: float) -> tuple[FloatArray, FloatArray]:
    """Radii in the picture from 0 to `to_mm`, and where they are without distortion [mm]."""
    if polynomial.undistorts:
        picture_mm = np.linspace(0.0, to_mm, STEPS)
        return picture_mm, polynomial.at(picture_mm)
    plain_mm = np.linspace(0.0, 4.0 * to_mm, 40 * STEPS)
    picture_mm = polynomial.at(plain_mm)
    rising = np.concatenate([[True], np.diff(picture_mm) > 0.0])
    last = len(rising) if rising.all() else int(np.argmin(rising))
    wanted = np.linspace(0.0, to_mm, STEPS)
    if picture_mm[:last].max() < to_mm:
        return wanted, np.full(STEPS, np.nan)
    return wanted, np.interp(wanted, picture_mm[:last], plain_mm[:last])


def _rises(values: FloatArray) -> bool:
    return bool(np.isfinite(values).all() and (np.diff(values) > 0.0).all())
