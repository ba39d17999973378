"""Rods that carry a box as cantilevers: sections, sag and tilt at the end. Euler-Bernoulli, small angles.

Source of the formulas: any handbook of beams (J. M. Gere, Mechanics of Materials, appendix "Deflections of beams").
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from geometry.errors import GeometryError

GRAVITY_M_S2 = 9.80665  # standard gravity, ISO 80000-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod:
    """A round rod or tube: outside diameter, wall [mm] (None: solid), Young's modulus [GPa], density [g/cm3]."""

    diameter_mm: float
    wall_mm: float | None
    modulus_gpa: float
    density_g_cm3: float

    def __post_init__(self) -> None:
        """Refuse a wall outside 0 to half the diameter."""
        if self.wall_mm is not None and not 0 < self.wall_mm <= self.diameter_mm / 2:
            raise GeometryError(
                f"a rod's wall must lie between 0 and half its diameter, {self.diameter_mm / 2:g} mm, found {self.wall_mm:g}"
            )

    @property
    def bore_mm(self) -> float:
        """Inside diameter; 0 of a solid rod."""
        return 0.0 if self.wall_mm is None else self.diameter_mm - 2 * self.wall_mm

    @property
    def area_mm2(self) -> float:
        """Section: A = pi/4 (D^2 - d^2)."""
        return pi / 4 * (self.diameter_mm**2 - self.bore_mm**2)

    @property
    def second_moment_mm4(self) -> float:
        """Second moment of the section: I = pi/64 (D^4 - d^4)."""
        return pi / 64 * (self.diameter_mm**4 - self.bore_mm**4)

    @property
    def stiffness_n_mm2(self) -> float:
        """E I."""
        return 1000 * self.modulus_gpa * self.second_moment_mm4

    @property
    def weight_n_mm(self) -> float:
        """Its own weight per length."""
        return self.area_mm2 * self.density_g_cm3 * 1e-6 * GRAVITY_M_S2


@dataclass(frozen=True, slots=True, kw_only=True)
class Sag:
    """What the end of a cantilever does: how far it drops [mm] and tilts forward [rad], and the largest bending stress [N/mm2]."""

    drop_mm: float
    tilt_rad: float
    stress_n_mm2: float


def sag(rod: Rod, length_mm: float, force_n: float, moment_n_mm: float = 0.0, *, own_weight: bool = True) -> Sag:
    """One rod fixed at one end, with a force and a moment at the other, its own weight along it.

    drop = F L^3/(3 E I) + M L^2/(2 E I) + w L^4/(8 E I); tilt = F L^2/(2 E I) + M L/(E I) + w L^3/(6 E I).
    """
    stiff, w = rod.stiffness_n_mm2, rod.weight_n_mm if own_weight else 0.0
    drop = length_mm**2 * (force_n * length_mm / 3 + moment_n_mm / 2 + w * length_mm**2 / 8) / stiff
    tilt = length_mm * (force_n * length_mm / 2 + moment_n_mm + w * length_mm**2 / 6) / stiff
    bending = force_n * length_mm + moment_n_mm + w * length_mm**2 / 2
    return Sag(drop_mm=drop, tilt_rad=tilt, stress_n_mm2=bending * rod.diameter_mm / 2 / rod.second_moment_mm4)


def plate_drag_n(area_mm2: float, wind_m_s: float, drag: float, air_kg_m3: float) -> float:
    """Force of wind square on a flat plate [N]: F = rho/2 v^2 Cd A."""
    return air_kg_m3 / 2 * wind_m_s**2 * drag * area_mm2 * 1e-6
