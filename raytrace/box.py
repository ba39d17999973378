"""The box as light meets it: parts that stop rays, and glass that shifts, dims and bends them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from geometry.body import Part, Slab


class GlassKind(StrEnum):
    """What a filter does besides being a plate of glass."""

    CLEAR = "clear"
    DENSITY = "density"
    GRADUATED = "graduated"
    POLARISER = "polariser"
    STREAK = "streak"
    DIFFUSION = "diffusion"
    CLOSE_UP = "close-up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Glass:
    """A filter: a slab and what it does to light.

    density is the total optical density at normal incidence, faces included; for a graduated filter that of its dark end.
    edge_mm is how far above the slab's centre (its own up, before any turn) a graduated filter's transition has its middle,
    soft_mm the full length of the transition. reflectance, where given, replaces Fresnel's value per face (coated glass).
    """

    slab: Slab
    index: float
    kind: GlassKind = GlassKind.CLEAR
    density: float = 0.0
    edge_mm: float = 0.0
    soft_mm: float = 0.0
    power_dioptre: float = 0.0
    reflectance: float | None = None

    @property
    def name(self) -> str:
        """What the crew calls it."""
        return self.slab.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Everything in front of one lens. Glasses stand in the order light meets them going out from the lens."""

    parts: tuple[Part, ...]
    glasses: tuple[Glass, ...] = ()

    @property
    def part_names(self) -> tuple[str, ...]:
        """Names by part index, as `blocked_by` counts them."""
        return tuple(part.name for part in self.parts)


NO_PART = np.int16(-1)
