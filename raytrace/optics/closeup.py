"""Thin lenses in front of the main lens: close-up powers.

Distances in mm, powers in dioptre. Formulas: docs/physics.md, "Glass".
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray
from geometry.errors import GeometryError

MM_PER_M = 1000.0  # a dioptre is one per metre


def total_power_dioptre(powers_dioptre: Sequence[float]) -> float:
    """Power of close-up lenses in contact: their sum. Source: any thin-lens text."""
    return float(sum(powers_dioptre))


def spaced_power_dioptre(first_dioptre: float, second_dioptre: float, gap_mm: float) -> float:
    """Power of two thin lenses a gap apart, P1 + P2 - d P1 P2.

    Source: any thin-lens text; Kingslake, Optics in Photography (from memory).
    """
    return first_dioptre + second_dioptre - gap_mm / MM_PER_M * first_dioptre * second_dioptre


def sharp_distance_mm(power_dioptre: float, main_focus_mm: float, gap_mm: float = 0.0) -> float:
    """Distance in front of a close-up lens that is sharp, 1 / (1 / (s - q) + D / 1000) [mm].

    Parameters
    ----------
    main_focus_mm : float
        Distance s the main lens is focused at, measured from it; inf allowed. [mm]
    gap_mm : float
        Close-up lens ahead of the main lens by q. [mm]

    Source: thin-lens law 1/s' = 1/s + 1/f; Kingslake, Optics in Photography (from memory).
    """
    beyond = main_focus_mm - gap_mm
    if beyond <= 0.0:
        raise GeometryError(
            f"focus_mm: the main lens must be focused beyond the close-up lens {gap_mm:g} mm ahead of it, got {main_focus_mm:g}"
        )
    vergence = 1.0 / beyond + power_dioptre / MM_PER_M
    if vergence < 0.0:
        raise GeometryError(
            f"power_dioptre: a power of {power_dioptre:g} leaves nothing sharp in front of a lens focused at "
            f"{main_focus_mm:g} mm; focus nearer or use less negative power"
        )
    return float(1.0 / vergence) if vergence > 0.0 else np.inf


def bent_slopes(position_mm: ArrayLike, slope: ArrayLike, power_dioptre: float) -> FloatArray:
    """Slopes of rays behind a thin lens: slope - D r / 1000, r from its centre, slopes along the way of travel.

    Parameters
    ----------
    position_mm, slope : array_like, shape (N, 2)
        Where rays cross the lens, from its centre [mm], and their slopes per mm travelled along its axis.

    Source: any thin-lens text; a parallel beam meets its focus at 1000 / D.
    """
    r = np.asarray(position_mm, dtype=np.float64)
    return np.asarray(slope, dtype=np.float64) - power_dioptre / MM_PER_M * r
