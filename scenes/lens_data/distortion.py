"""Distortion of metadata as a scene has it: [k1, k2] by which r becomes r (1 + k1 r^2 + k2 r^4), r = 1 at the half diagonal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.lens_data.reading import FloatArray, Picture, Polynomial

BEYOND = 1.05  # half diagonals: the fit goes a little past the corner
STEPS = 211
FINE_STEPS = 8001
SMALL_SHARE = 1e-3  # of the half diagonal: a residual that no one sees
Terms = tuple[float, float]
NO_TERMS: Terms = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedDistortion:
    """k1, k2 of a scene, and the fit's largest error in the picture over the half diagonal."""

    terms: Terms
    residual_share: float


def undistorted_mm(polynomial: Polynomial | None, radius_mm: float) -> float:
    """The radius in a picture without distortion of a point in the picture [mm]; nan where the polynomial folds before it."""
    if polynomial is None:
        return radius_mm
    picture_mm, plain_mm = _pairs(polynomial, radius_mm)
    return float(plain_mm[-1]) if _rises(picture_mm) and _rises(plain_mm) else float("nan")


def fitted(polynomial: Polynomial, half_diagonal_mm: float) -> FittedDistortion | None:
    """The scene's two terms for a polynomial, by least squares; None where either folds before the picture's corner."""
    picture_mm, plain_mm = _pairs(polynomial, BEYOND * half_diagonal_mm)
    if not (_rises(picture_mm) and _rises(plain_mm)):
        return None
    q, r = plain_mm[1:] / half_diagonal_mm, picture_mm[1:] / half_diagonal_mm
    k1, k2 = np.linalg.lstsq(np.column_stack([q**2, q**4]), r / q - 1.0, rcond=None)[0]
    terms = (round(float(k1), 6), round(float(k2), 6))
    told = _scene_picture(q, terms)
    return FittedDistortion(terms=terms, residual_share=float(np.abs(told - r).max())) if _rises(told) else None


def widening(polynomial: Polynomial | None, terms: Terms, picture: Picture, off_mm: tuple[float, float], centre_mm: float) -> float:
    """By how much a half field's tangent has to grow, so that a scene with these terms is nowhere in the picture the narrower one.

    The scene takes the tangent at the middle of the picture's side as told, and from there goes by its own terms. off_mm: how far
    the axis is off the picture's middle (across, down); centre_mm: how far the distortion's centre is off the axis. nan where the
    terms fold.
    """
    half_mm = picture.half_diagonal_mm
    picture_mm, plain_mm = (values[1:] for values in _pairs(polynomial, half_mm + float(np.hypot(*off_mm))))
    if not (_rises(picture_mm) and _rises(plain_mm)):
        return float("nan")
    radii_mm = np.append(np.linspace(0.0, half_mm, STEPS)[1:], picture.width_mm / 2)
    plain = np.interp(radii_mm, np.append(0.0, picture_mm), np.append(0.0, plain_mm))
    scene = _scene_plain(radii_mm / half_mm, terms) * half_mm
    by_fit = float((plain / scene).max() * scene[-1] / plain[-1])
    return by_fit * (1.0 + _sideways(polynomial, picture, picture_mm, plain_mm, off_mm, centre_mm))


def _sideways(
    polynomial: Polynomial | None,
    picture: Picture,
    picture_mm: FloatArray,
    plain_mm: FloatArray,
    off_mm: tuple[float, float],
    centre_mm: float,
) -> float:
    """The most by which the picture reaches farther to one side, over its half side there: by axis, centre and tangential terms."""
    slopes = np.diff(plain_mm, prepend=0.0) / np.diff(picture_mm, prepend=0.0)
    turned_mm = centre_mm * float(np.abs(slopes - 1.0).max())
    if polynomial is not None:
        at_mm = picture_mm[-1] if polynomial.undistorts else plain_mm[-1]
        turned_mm += polynomial.shift_mm(float(at_mm)) * (1.0 if polynomial.undistorts else float(slopes.max()))
    least = float((plain_mm / picture_mm).min())
    sides = (picture.width_mm / 2, picture.height_mm / 2)
    return max((off * float(slopes.max()) + turned_mm) / (least * side) for off, side in zip(off_mm, sides, strict=True))


def _scene_picture(q: FloatArray, terms: Terms) -> FloatArray:
    return np.asarray(q * (1.0 + terms[0] * q**2 + terms[1] * q**4), dtype=np.float64)


def _scene_plain(r: FloatArray, terms: Terms) -> FloatArray:
    """Radii without distortion of radii in the picture, both over the half diagonal, by the scene's terms; nan beyond a fold."""
    if terms == NO_TERMS:
        return r
    q = np.linspace(0.0, 4.0, FINE_STEPS)
    told = _scene_picture(q, terms)
    rising = np.append(np.diff(told) > 0.0, False)
    last = int(np.argmin(rising)) + 1
    return np.interp(r, told[:last], q[:last], right=np.nan)


def _pairs(polynomial: Polynomial | None, to_mm: float) -> tuple[FloatArray, FloatArray]:
    """Radii in the picture from 0 to `to_mm`, and where they are without distortion [mm]; nan where the terms do not reach."""
    picture_mm = np.linspace(0.0, to_mm, STEPS)
    if polynomial is None:
        return picture_mm, picture_mm
    if polynomial.undistorts:
        return picture_mm, polynomial.at(picture_mm)
    plain_mm = np.linspace(0.0, 4.0 * to_mm, 4 * FINE_STEPS)
    bent_mm = polynomial.at(plain_mm)
    rising = np.append(np.diff(bent_mm) > 0.0, False)
    last = int(np.argmin(rising)) + 1
    return picture_mm, np.interp(picture_mm, bent_mm[:last], plain_mm[:last], right=np.nan)


def _rises(values: FloatArray) -> bool:
    return bool(np.isfinite(values).all() and (np.diff(values) > 0.0).all())
