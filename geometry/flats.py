"""What is cut from one sheet: an outline, holes, and lines to bend along."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from geometry.rings import Ring, area_mm2, bounds_mm, length_mm, moved
from geometry.unfold import Bend


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """Lines of one sheet [mm], seen from the side that is said beside it: right to the right, up."""

    outer: Ring
    holes: tuple[Ring, ...] = ()
    bends: tuple[Bend, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """All lines to cut, holes first: a part must not come loose before they are in it."""
        return (*self.holes, self.outer)

    @property
    def area_mm2(self) -> float:
        """Material that is left [mm2]."""
        return area_mm2(self.outer) - sum(map(area_mm2, self.holes))

    @property
    def cut_mm(self) -> float:
        """Length of all cuts [mm]."""
        return sum(map(length_mm, self.rings))

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """Left, low, right, high [mm]."""
        return bounds_mm(self.outer)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height [mm]."""
        left, low, right, high = self.bounds_mm
        return right - left, high - low

    def moved(self, by_mm: tuple[float, float], turn_deg: float = 0.0) -> Flat:
        """The flat turned about its origin, anticlockwise, then moved."""
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        turn = np.array([[c, s], [-s, c]])
        bends = tuple(replace(bend, line_mm=bend.line_mm @ turn + np.asarray(by_mm)) for bend in self.bends)
        return Flat(
            outer=moved(self.outer, by_mm, turn_deg), holes=tuple(moved(h, by_mm, turn_deg) for h in self.holes), bends=bends
        )

    def laid(self, left_mm: float, low_mm: float, *, turned: bool) -> Flat:
        """The flat with the lower left of its bounds at a place, turned by a quarter first where asked."""
        upright = self.moved((0.0, 0.0), 90.0) if turned else self
        left, low, _, _ = upright.bounds_mm
        return upright.moved((left_mm - left, low_mm - low))


def upright(flat: Flat) -> Flat:
    """The flat turned so that it takes the smallest upright rectangle, longer side across, its lower left at the origin."""
    tried = [0.0, *_edge_angles(flat)]
    best = min(tried, key=lambda angle: (round(_area(flat.moved((0.0, 0.0), -angle)), 3), abs(angle)))
    turned = flat.moved((0.0, 0.0), -best)
    width, height = turned.size_mm
    return turned.laid(0.0, 0.0, turned=height > width + 1e-6)


def _area(flat: Flat) -> float:
    width, height = flat.size_mm
    return width * height


def _edge_angles(flat: Flat) -> Iterator[float]:
    points = flat.outer.points_mm
    for start, end in zip(points, np.roll(points, -1, axis=0), strict=True):
        if np.linalg.norm(end - start) > 1.0:
            yield float(np.degrees(np.arctan2(*(end - start)[::-1])) % 90.0)
