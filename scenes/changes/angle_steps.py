"""Opening angles in the steps that a hinge is set to, and the search along them for one that leaves enough room."""

from __future__ import annotations

import math
from collections.abc import Callable

from geometry.flags import LEAST_DEG, MOST_DEG

STEP_DEG = 0.1  # angles are given to this: a hinge with a friction knob is set no finer
ROUNDED_DEG = 1e-6  # an angle this little past a step is on it
SURE_SHARE = 0.8  # of what a blade has to turn by at least, for what is lacking is known to that only
MOST_STEP_DEG = 8.0
MOST_TURN_RAD = 0.15


def rounded_up(angle_deg: float) -> float:
    """An angle to the next step wider, within what a flag can be set to; -inf below its least, inf beyond its most."""
    if angle_deg < LEAST_DEG:
        return -math.inf
    if not math.isfinite(angle_deg):
        return angle_deg
    up = math.ceil((angle_deg - ROUNDED_DEG) / STEP_DEG) * STEP_DEG
    return round(up, 1) if up <= MOST_DEG else math.inf


def rounded_in(angle_deg: float) -> float:
    """An angle to the next step less wide."""
    return round(math.floor((angle_deg + ROUNDED_DEG) / STEP_DEG) * STEP_DEG, 1)


def rounded_down(angle_deg: float) -> float:
    """An angle to the step before it; -inf below what a flag can be set to."""
    if not math.isfinite(angle_deg):
        return angle_deg
    down = round(math.floor((angle_deg + 1e-9) / STEP_DEG) * STEP_DEG, 1)
    return down if down >= LEAST_DEG else -math.inf


def least_deg(start_deg: float, lacks_mm: Callable[[float], float], reach_mm: float, likely_deg: float = -math.inf) -> float:
    """The smallest angle from here on, in steps, at which nothing is lacking; inf where something is at every angle.

    lacks_mm says by how much room is missed at least; the end of a blade moves by no more than its reach times the turn.
    likely_deg is looked at first, for the one sought is likely to be near.
    """
    if not math.isfinite(start_deg):
        return start_deg
    first = min(rounded_up(max(likely_deg, start_deg)), MOST_DEG)
    lacking = lacks_mm(first)
    found = _farther_in(first, start_deg, lacks_mm) if lacking <= 0.0 else _farther_out(first, lacking, lacks_mm, reach_mm)
    if found is None:
        return math.inf
    low, high = found
    while high - low > 1.5 * STEP_DEG:
        middle = rounded_up((low + high) / 2)
        low, high = (low, middle) if lacks_mm(middle) <= 0.0 else (middle, high)
    return high


def _farther_in(held_deg: float, start_deg: float, lacks_mm: Callable[[float], float]) -> tuple[float, float]:
    """An angle at which something is lacking and one at which nothing is, no farther in than the start; twice that if it is."""
    high, step = held_deg, STEP_DEG
    while high > start_deg:
        low = max(rounded_in(high - step), start_deg)
        if lacks_mm(low) > 0.0:
            return low, high
        high, step = low, min(2 * step, MOST_STEP_DEG)
    return high, high


def _farther_out(
    short_deg: float, lacking: float, lacks_mm: Callable[[float], float], reach_mm: float
) -> tuple[float, float] | None:
    """The same from an angle on at which so much is lacking [mm]; None where something is at every angle."""
    low = high = short_deg
    step = STEP_DEG
    while lacking > 0.0:
        if high >= MOST_DEG:
            return None
        turn_deg = math.degrees(SURE_SHARE * min(lacking / reach_mm, MOST_TURN_RAD))
        low, high = high, min(rounded_up(high + max(step, turn_deg)), MOST_DEG)
        step, lacking = min(2 * step, MOST_STEP_DEG), lacks_mm(high)
    return low, high


def brought_in(most_deg: float, least_deg: float, holds: Callable[[float], bool]) -> float:
    """The largest angle up to here that holds, in steps, none smaller than the least: the same the other way round."""
    if most_deg <= least_deg or holds(most_deg):
        return most_deg
    high, step = most_deg, STEP_DEG
    low = max(rounded_in(high - step), least_deg)
    while low > least_deg and not holds(low):
        high, step = low, 2 * step
        low = max(rounded_in(high - step), least_deg)
    while high - low > 1.5 * STEP_DEG:
        middle = rounded_in((low + high) / 2)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
