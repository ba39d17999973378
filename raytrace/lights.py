"""A light as a plain value: a direction with a width, or a place in the set with a size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LightPlace:
    """A light in the frame.

    direction (3,) unit vector from the middle of the lens front toward it; width_deg how wide it looks from there.
    place_mm  (3,) in the frame and size_mm, for a light in the set; None and 0 for one so far off that only its direction counts.
    is_up     False for the sun below the horizon, which lights nothing
    """

    name: str
    direction: FloatArray
    width_deg: float = 0.0
    place_mm: FloatArray | None = None
    size_mm: float = 0.0
    is_up: bool = True

    def direction_from(self, point_mm: FloatArray) -> FloatArray:
        """Unit vector (3,) toward the light from a point of the frame (3,)."""
        if self.place_mm is None:
            return self.direction
        toward = self.place_mm - point_mm
        return np.asarray(toward / np.linalg.norm(toward))

    def distance_from(self, point_mm: FloatArray) -> float:
        """How far the light is from a point of the frame (3,); inf where only its direction counts [mm]."""
        return np.inf if self.place_mm is None else float(np.linalg.norm(self.place_mm - point_mm))

    def width_from(self, point_mm: FloatArray) -> float:
        """How wide the light looks from a point of the frame (3,) [deg]."""
        if self.place_mm is None:
            return self.width_deg
        return float(np.degrees(2.0 * np.arctan(self.size_mm / 2.0 / self.distance_from(point_mm))))
