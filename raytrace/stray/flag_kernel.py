"""How far flags shade rays, compiled: one ray after another, followed from an angle until it comes free or is caught."""

from __future__ import annotations

import math
from typing import Any, cast

import numpy as np

from geometry.arrays import FloatArray
from geometry.flags import LEAST_DEG, MOST_DEG, OPEN_DEG
from raytrace.jit.compiled import compiled

HINGE_GAP_MM = 0.05  # a ray this near to the hinge line does not slip past it
SCAN_DEG = 3.0  # steps in which a flag is followed
HALVINGS = 9  # of that: a hundredth of a degree
OPEN_RAD = math.radians(OPEN_DEG)
LENGTH, WIDTH, EXTENSION, BEND = range(4)  # columns of a flag: lengths and width [mm], the extension's angle to the flag [deg]


@compiled
def stops(o: Any, d: Any, ahead: float, out: float, angle_rad: float, length_mm: float, half_mm: float, behind_mm: float) -> bool:
    """Whether a thin blade from (ahead, out) stops a ray o + t d of (along, ahead, out); n square to it, t = (base - o).n / d.n."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    outward = d[2] * c - d[1] * s
    if outward == 0.0:  # along the blade
        return False
    t = ((out - o[2]) * c - (ahead - o[1]) * s) / outward
    if not t > 0.0:
        return False
    place = (o[1] + t * d[1] - ahead) * c + (o[2] + t * d[2] - out) * s
    carried = outward > 0.0 and angle_rad <= OPEN_RAD
    begins = place >= -(behind_mm if carried else HINGE_GAP_MM)
    return bool(begins and place <= length_mm and abs(o[0] + t * d[0]) <= half_mm)


@compiled
def shades(flag: Any, angle_deg: float, o: Any, d: Any, behind_mm: float) -> bool:
    """Whether a flag (4,) at an angle, or its extension, stops a ray."""
    angle, half = math.radians(angle_deg), flag[WIDTH] / 2.0
    if stops(o, d, 0.0, 0.0, angle, flag[LENGTH], half, behind_mm):
        return True
    if flag[EXTENSION] <= 0.0:
        return False
    ahead, out = flag[LENGTH] * math.cos(angle), flag[LENGTH] * math.sin(angle)
    return bool(stops(o, d, ahead, out, angle + math.radians(flag[BEND]), flag[EXTENSION], half, HINGE_GAP_MM))


@compiled
def followed(flag: Any, first_deg: float, end_deg: float, o: Any, d: Any, behind_mm: float, shaded: bool) -> float:
    """The widest angle that shades a ray between the first angle, where it is `shaded` or not, and an end; -inf where none does."""
    side = 1.0 if end_deg > first_deg else -1.0
    before = first_deg
    while before != end_deg:
        angle = before + side * SCAN_DEG
        if side * (angle - end_deg) >= 0.0:
            angle = end_deg
        if shades(flag, angle, o, d, behind_mm) != shaded:
            held, free = (before, angle) if shaded else (angle, before)
            for _ in range(HALVINGS):
                middle = (held + free) / 2.0
                if shades(flag, middle, o, d, behind_mm):
                    held = middle
                else:
                    free = middle
            return held
        before = angle
    return end_deg if shaded else -np.inf


def _widest(flag: Any, first_deg: float, farther_in: bool, o: Any, d: Any, behind_mm: Any, found: Any) -> None:
    for ray in range(len(o)):
        if shades(flag, first_deg, o[ray], d[ray], behind_mm[ray]):
            found[ray] = followed(flag, first_deg, MOST_DEG, o[ray], d[ray], behind_mm[ray], True)
        elif farther_in:
            found[ray] = followed(flag, first_deg, LEAST_DEG, o[ray], d[ray], behind_mm[ray], False)
        else:
            found[ray] = -np.inf


_widest_entry = compiled(_widest, entry=True)


def widest_deg(
    flag: FloatArray, first_deg: float, o: FloatArray, d: FloatArray, behind_mm: FloatArray, *, farther_in: bool
) -> FloatArray:
    """The widest angles (R,) at which a flag (4,) shades rays o + t d (R, 3) of (along, ahead, out), looked for from the first.

    behind_mm (R,): how far behind the hinge the edge of the box that carries it shades as well.
    """
    found = np.empty(len(o))
    cast("Any", _widest_entry)(flag, first_deg, farther_in, np.ascontiguousarray(o), np.ascontiguousarray(d), behind_mm, found)
    return found
