"""What flags take of the light at the edges of a frame, whatever else of the box takes some."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Kind, Part
from geometry.flags import LEAST_DEG, Bars, Hinge, boards
from raytrace.beam.beam import outer_guides
from raytrace.beam.frame_margin import pessimistic_share
from raytrace.box import Box as RayBox
from raytrace.coverage.engine import coverage_shares
from raytrace.optics.lens import pencils_for
from raytrace.optics.pencil import Pencils
from raytrace.shares import Shares, loss_stops
from scenes.runtime.engines import without_dark_pencils
from scenes.runtime.first_run import prepare
from scenes.states.clear_rule import NOTHING_SHARE
from scenes.states.state import State

BoolArray = NDArray[np.bool_]

RIM_POINTS = 33  # per side of a guide, as the check looks at its edges
BRACKET_DEG = (0.6, 1.2, 2.4, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 210.0)  # how far in from clear a visible loss is looked for
FINE_DEG = 0.06  # how near to the angle itself, on the safe side


class Rim:
    """What flags take from the edges of a state's guides, over all pupil depths.

    fixed: by pupil depth the least share (N,) that all but the flags leave at the edges' points, where it is known; untouched: it
    is known that they stand out of all of this light.
    """

    def __init__(self, plan: State, fixed: tuple[FloatArray, ...] | None = None, *, untouched: bool = False) -> None:
        prepare()
        self._plan = plan
        edge = np.concatenate([guide.rim_points_mm(RIM_POINTS) for guide in outer_guides(plan.guides)])
        self._pencils = tuple(pencils_for(lens, edge) for lens in plan.variants)
        self._visible = 2.0**-plan.visible_loss_stops
        if untouched:
            fixed = tuple(np.ones(len(pencils)) for pencils in self._pencils)
        self.fixed = self._left_by_rest() if fixed is None else fixed

    def _left_by_rest(self) -> tuple[FloatArray, ...]:
        rest = tuple(part for part in self._plan.box.parts if part.kind not in (Kind.FLAG, Kind.EXTENSION))
        return tuple(self._share(pencils, rest) for pencils in self._pencils)

    def _share(self, pencils: Pencils, parts: Sequence[Part]) -> FloatArray:
        """The least share (N,) that parts may leave."""
        if not parts:
            return np.ones(len(pencils))
        box = RayBox(parts=tuple(parts), glasses=self._plan.box.glasses)
        seen = coverage_shares(pencils, box, with_alone=False, with_glass=False, threads=1)
        shares: Shares = without_dark_pencils(seen, pencils)
        return pessimistic_share(shares)

    def loss_stops(self, flags: Sequence[Sequence[Part]]) -> float:
        """The worst loss of the box with these flags, each by itself, added up: never less than what they take together."""
        worst = 1.0
        for pencils, fixed in zip(self._pencils, self.fixed, strict=True):
            left = fixed - sum((1.0 - self._share(pencils, parts) for parts in flags), start=np.zeros(len(fixed)))
            worst = min(worst, float(left.min()))
        return float(loss_stops(np.array(max(worst, 0.0))))

    def least_angle(self, hinge: Hinge, bars: Bars, touch_deg: float) -> float:
        """The smallest angle at which a flag costs no more than the visible loss anywhere.

        What the rest of the box takes counts in; where it takes more than that by itself, the flag must add nothing.
        """
        if not math.isfinite(touch_deg):
            return touch_deg
        outer, every = touch_deg, [np.ones(len(fixed), dtype=np.bool_) for fixed in self.fixed]
        for width in BRACKET_DEG:
            inner = max(touch_deg - width, LEAST_DEG)
            costly, losing = self._cost(hinge, bars, inner, every)
            if costly:
                break
            outer = inner
            if inner == LEAST_DEG:
                return -math.inf
        while outer - inner > FINE_DEG:
            middle = (inner + outer) / 2
            inner, outer = (middle, outer) if self._cost(hinge, bars, middle, losing)[0] else (inner, middle)
        return outer

    def _cost(self, hinge: Hinge, bars: Bars, angle_deg: float, looked: Sequence[BoolArray]) -> tuple[bool, list[BoolArray]]:
        """Whether a flag at an angle costs too much at some of the points (N,) looked at, and which points it takes light from."""
        parts = boards(hinge, bars, angle_deg)
        costly, losing = False, []
        for pencils, fixed, where in zip(self._pencils, self.fixed, looked, strict=True):
            taken = np.zeros(len(fixed))
            if where.any():
                taken[where] = 1.0 - self._share(pencils.take(where), parts)
            left = fixed - taken
            costly |= bool(((left < self._visible) & (taken > NOTHING_SHARE)).any())
            losing.append(taken > 0.0)
        return costly, losing
