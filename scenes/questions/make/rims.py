"""The material that a plate leaves beside its openings."""

from __future__ import annotations

from geometry.errors import GeometryError
from geometry.rings import Ring, bounds_mm
from scenes.scene_file.tables.make import LEAST_BETWEEN_MM


def rim_mm(size: tuple[float, float], ring: Ring) -> float:
    """The narrowest material beside an opening of a plate [mm]."""
    left, low, right, high = bounds_mm(ring)
    return min(size[0] / 2 - max(right, -left), size[1] / 2 - max(high, -low))


def insist_on_rim(name: str, size: tuple[float, float], ring: Ring, what: str) -> None:
    """A GeometryError where a plate of that size [mm] has no material left beside an opening."""
    rim = rim_mm(size, ring)
    if rim < LEAST_BETWEEN_MM:
        left, low, right, high = bounds_mm(ring)
        how = "is larger than" if rim < 0 else "leaves nothing of"
        raise GeometryError(
            f"{name}: {what}, {right - left:g} x {high - low:g} mm, {how} its outside, {size[0]:g} x {size[1]:g} mm; "
            "make outer_mm larger, or leave it out"
        )
