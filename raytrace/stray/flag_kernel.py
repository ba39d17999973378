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


# Columns of a flag set to an angle: that angle [deg]; of it and of its extension cosine, sine, and 1 where the blade stands so far
# in that the edge which carries it shades too; where the extension begins, ahead and out [mm].
ANGLE, BLADE, TIP, AHEAD, OUT, SET_COLUMNS = 0, 1, 4, 7, 8, 9


@compiled
def stops(o: Any, d: Any, ahead: float, out: float, blade: Any, length_mm: float, half_mm: float, behind_mm: float) -> bool:
    """Whether a thin blade from (ahead, out) stops a ray o + t d of (along, ahead, out); n square to it, t = (base - o).n / d.n."""
    c, s = blade[0], blade[1]
    outward = d[2] * c - d[1] * s
    if outward == 0.0:  # along the blade
        return False
    t = ((out - o[2]) * c - (ahead - o[1]) * s) / outward
    if not t > 0.0:
        return False
    place = (o[1] + t * d[1] - ahead) * c + (o[2] + t * d[2] - out) * s
    carried = outward > 0.0 and blade[2] > 0.0
    begins = place >= -(behind_mm if carried else HINGE_GAP_MM)
    return bool(begins and place <= length_mm and abs(o[0] + t * d[0]) <= half_mm)


@compiled
def shades(flag: Any, at: Any, o: Any, d: Any, behind_mm: float) -> bool:
    """Whether a flag (4,) set to an angle (SET_COLUMNS,), or its extension, stops a ray."""
    half = flag[WIDTH] / 2.0
    if stops(o, d, 0.0, 0.0, at[BLADE:TIP], flag[LENGTH], half, behind_mm):
        return True
    if flag[EXTENSION] <= 0.0:
        return False
    return bool(stops(o, d, at[AHEAD], at[OUT], at[TIP:AHEAD], flag[EXTENSION], half, HINGE_GAP_MM))


@compiled
def set_to(flag: Any, angle_deg: float, at: Any) -> None:
    """Write down what a flag set to an angle is to every ray."""
    angle = math.radians(angle_deg)
    bent = angle + math.radians(flag[BEND])
    at[ANGLE] = angle_deg
    at[BLADE], at[BLADE + 1], at[BLADE + 2] = math.cos(angle), math.sin(angle), 1.0 if angle <= OPEN_RAD else 0.0
    at[TIP], at[TIP + 1], at[TIP + 2] = math.cos(bent), math.sin(bent), 1.0 if bent <= OPEN_RAD else 0.0
    at[AHEAD], at[OUT] = flag[LENGTH] * math.cos(angle), flag[LENGTH] * math.sin(angle)


@compiled
def scan(flag: Any, first_deg: float, end_deg: float, steps: Any) -> int:
    """Write down the angles after the first, SCAN_DEG apart, at which a flag is looked at on its way to the end; how many."""
    side, count, before = (1.0 if end_deg > first_deg else -1.0), 0, first_deg
    while before != end_deg:
        angle = before + side * SCAN_DEG
        if side * (angle - end_deg) >= 0.0:
            angle = end_deg
        set_to(flag, angle, steps[count])
        count, before = count + 1, angle
    return count


@compiled
def followed(
    flag: Any, first_deg: float, end_deg: float, steps: Any, count: int, now: Any, o: Any, d: Any, behind_mm: float, shaded: bool
) -> float:
    """The widest angle that shades a ray between the first angle, where it is `shaded` or not, and an end; -inf where none does."""
    before = first_deg
    for k in range(count):
        angle = steps[k, ANGLE]
        if shades(flag, steps[k], o, d, behind_mm) != shaded:
            held, free = (before, angle) if shaded else (angle, before)
            for _ in range(HALVINGS):
                middle = (held + free) / 2.0
                set_to(flag, middle, now)
                if shades(flag, now, o, d, behind_mm):
                    held = middle
                else:
                    free = middle
            return held
        before = angle
    return end_deg if shaded else -np.inf


def _widest(flag: Any, first_deg: float, farther_in: bool, o: Any, d: Any, behind_mm: Any, steps: Any, found: Any) -> None:
    """Scratch is `steps` (3, n, SET_COLUMNS): the way out, the way in, and the angle at hand."""
    first, now = steps[2, 0], steps[2, 1]
    set_to(flag, first_deg, first)
    count_out, count_in = scan(flag, first_deg, MOST_DEG, steps[0]), scan(flag, first_deg, LEAST_DEG, steps[1])
    for ray in range(len(o)):
        if shades(flag, first, o[ray], d[ray], behind_mm[ray]):
            found[ray] = followed(flag, first_deg, MOST_DEG, steps[0], count_out, now, o[ray], d[ray], behind_mm[ray], True)
        elif farther_in:
            found[ray] = followed(flag, first_deg, LEAST_DEG, steps[1], count_in, now, o[ray], d[ray], behind_mm[ray], False)
        else:
            found[ray] = -np.inf


_widest_entry = compiled(_widest, entry=True)
MOST_STEPS = math.ceil((MOST_DEG - LEAST_DEG) / SCAN_DEG) + 2


def widest_deg(
    flag: FloatArray, first_deg: float, o: FloatArray, d: FloatArray, behind_mm: FloatArray, *, farther_in: bool
) -> FloatArray:
    """The widest angles (R,) at which a flag (4,) shades rays o + t d (R, 3) of (along, ahead, out), looked for from the first.

    behind_mm (R,): how far behind the hinge the edge of the box that carries it shades as well.
    """
    found, steps = np.empty(len(o)), np.empty((3, MOST_STEPS, SET_COLUMNS))
    rays = np.ascontiguousarray(o), np.ascontiguousarray(d), behind_mm
    cast("Any", _widest_entry)(flag, first_deg, farther_in, *rays, steps, found)
    return found
