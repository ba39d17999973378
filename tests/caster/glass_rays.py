"""Rays that leave a lens given as a table of surfaces, traced through it by vectors: written apart from the program.

Frame as in `lens_rays`. Along the axis s runs from the first vertex toward the image. Sources: spheres met by the quadratic,
Snell's law by vectors (any handbook); paraxial matrices (Hecht, Optics, from memory); docs/physics.md, "Prescriptions", for what
counts as the stop of an f-number, how focus moves the lens, and what is a picture point's field.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np

FAR = 1e30
FANS, STEEPEST_RAD = 6000, np.radians(80.0)
SPOKES = 48  # that find how far the light of a point reaches, for the disc of trial rays
RUNGS, HALVINGS = 24, 16
ON_RIM = 0.99998
SLACK = 1.04


@numba.njit(cache=True)
def _meet(o, d, vertex, radius):
    """How far along a unit ray a surface lies; -1e30 where it is missed."""
    if radius == 0.0:
        return (vertex - o[2]) / d[2]
    c = vertex + radius
    b = d[0] * o[0] + d[1] * o[1] + d[2] * (o[2] - c)
    inner = b * b - (o[0] ** 2 + o[1] ** 2 + (o[2] - c) ** 2 - radius**2)
    if inner < 0:
        return -1e30
    side = 1.0 if (radius > 0) == (d[2] > 0) else -1.0
    return -b - side * np.sqrt(inner)


@numba.njit(cache=True)
def _bent(o, d, vertex, radius, ratio):
    """A unit ray past a surface by Snell's law, ratio n / n'; (0, 0, 0) where it is wholly mirrored."""
    n = (0.0, 0.0, -1.0) if radius == 0.0 else (o[0] / radius, o[1] / radius, (o[2] - vertex - radius) / radius)
    c = -(n[0] * d[0] + n[1] * d[1] + n[2] * d[2])
    if c < 0:
        n, c = (-n[0], -n[1], -n[2]), -c
    k = 1.0 - ratio**2 * (1.0 - c * c)
    if k < 0:
        return (0.0, 0.0, 0.0)
    g = ratio * c - np.sqrt(k)
    return (ratio * d[0] + g * n[0], ratio * d[1] + g * n[1], ratio * d[2] + g * n[2])


@numba.njit(cache=True)
def _through(o, d, table, first, last, rims):
    """A ray through surfaces first to last (step of either sign): whether it passes, where it is and its way.

    table: vertex, radius (0 flat), index before, index after, half clear diameter (inf unknown).
    """
    step = 1 if last >= first else -1
    k = first
    while True:
        t = _meet(o, d, table[k, 0], table[k, 1])
        if t < -1e29:
            return False, o, d
        o = (o[0] + t * d[0], o[1] + t * d[1], o[2] + t * d[2])
        if rims and o[0] ** 2 + o[1] ** 2 > table[k, 4] ** 2:
            return False, o, d
        before, after = (table[k, 2], table[k, 3]) if step > 0 else (table[k, 3], table[k, 2])
        d = _bent(o, d, table[k, 0], table[k, 1], before / after)
        if d[0] == 0.0 and d[1] == 0.0 and d[2] == 0.0:
            return False, o, d
        if k == last:
            return True, o, d
        k += step


@numba.njit(cache=True)
def _passes(x, y, aim, table):
    """Whether the ray from (x, y) of the first vertex's plane to what `aim` tells gets in: slopes, or a point and its distance."""
    sx, sy = (aim[0], aim[1]) if aim[2] > 1e29 else ((aim[0] - x) / aim[2], (aim[1] - y) / aim[2])
    long = np.sqrt(sx * sx + sy * sy + 1.0)
    return _through((x, y, 0.0), (-sx / long, -sy / long, 1.0 / long), table, 0, len(table) - 1, True)[0]


@numba.njit(cache=True)
def _reach(cx, cy, ux, uy, aim, table, most, halvings):
    """How far from (cx, cy) along a spoke rays still get in."""
    low = 0.0
    high = most
    for k in range(1, RUNGS + 1):
        r = most * k / RUNGS
        if not _passes(cx + r * ux, cy + r * uy, aim, table):
            high = r
            break
        low = r
    for _ in range(halvings):
        r = (low + high) / 2
        if _passes(cx + r * ux, cy + r * uy, aim, table):
            low = r
        else:
            high = r
    return low


@numba.njit(cache=True)
def _starts(chief, out, aims, disc, table, found, lit):
    """Places (N, K, 2) in the first vertex's plane where rays start, and which of them get in."""
    most = table[0, 4]
    for i in range(len(aims)):
        first = last = 1e30
        for k in range(161):  # the middle of what gets in along the meridian
            r = chief[i] + most * (k - 80) / 40
            if _passes(r * out[i, 0], r * out[i, 1], aims[i], table):
                first = r if first > 1e29 else first
                last = r
        if first > 1e29:
            continue
        cx, cy = (first + last) / 2 * out[i, 0], (first + last) / 2 * out[i, 1]
        widest = 0.0
        for k in range(SPOKES):
            a = 2 * np.pi * k / SPOKES
            widest = max(widest, _reach(cx, cy, np.cos(a), np.sin(a), aims[i], table, 2 * most, 8))
        for j in range(len(disc)):
            r = np.hypot(disc[j, 0], disc[j, 1])
            if r >= ON_RIM:
                ux, uy = disc[j, 0] / r, disc[j, 1] / r
                far = _reach(cx, cy, ux, uy, aims[i], table, 2 * most, HALVINGS)
                x, y = cx + far * ux, cy + far * uy
                lit[i, j] = far > 0
            else:
                x, y = cx + SLACK * widest * disc[j, 0], cy + SLACK * widest * disc[j, 1]
                lit[i, j] = _passes(x, y, aims[i], table)
            found[i, j, 0], found[i, j, 1] = x, y


@dataclass(frozen=True, slots=True)
class GlassLens:
    """A table ready for rays: surfaces, where the first vertex lies behind the front, chief rays by the height of their picture.

    chiefs: rows of height in the picture, height in the first vertex's plane, slope out of the front.
    """

    table: np.ndarray
    vertex_mm: float
    chiefs: np.ndarray
    object_z: float
    ring: float

    def rays(self, points, disc):
        """As `lens_rays.Lens.rays`: from the plane of the first vertex, evenly over it."""
        seen = np.asarray(points, dtype=np.float64) * [-1.0, 1.0]
        height = np.hypot(*seen.T)
        out = np.where(height[:, None] > 0, seen / np.where(height > 0, height, 1.0)[:, None], [0.0, 1.0])
        chief, slope = (np.interp(height, self.chiefs[:, 0], self.chiefs[:, k]) for k in (1, 2))
        aims = np.column_stack([out * slope[:, None], np.full(len(out), FAR)])
        away = self.object_z + self.vertex_mm
        if self.object_z < FAR:
            aims = np.column_stack([out * (chief + slope * away)[:, None], np.full(len(out), away)])
        at, lit = np.zeros((len(out), len(disc), 2)), np.zeros((len(out), len(disc)), dtype=np.bool_)
        _starts(chief, out, aims, np.ascontiguousarray(disc), self.table, at, lit)
        lit &= (height <= self.chiefs[-1, 0])[:, None]
        which, _ = np.nonzero(lit)
        start = at[lit]
        ways = aims[which, :2] if self.object_z >= FAR else (aims[which, :2] - start) / away
        origins = np.column_stack([start, np.full(len(start), -self.vertex_mm)])
        passed = np.hypot(*(start + self.vertex_mm * ways).T) < self.ring
        return (
            np.ascontiguousarray(origins[passed]),
            np.ascontiguousarray(np.column_stack([ways, np.ones(len(ways))])[passed]),
            which[passed],
        )


def _laid_out(prescription):
    """A file's rows as a table for `_through`, its matrix and its focal length."""
    rows, scale = prescription["rows"], prescription["scale"]
    index = [1.0, *(float(row.get("index", 1.0)) for row in rows)]
    vertex = scale * np.concatenate([[0.0], np.cumsum([row["thickness_mm"] for row in rows])])
    radius = [0.0 if row["radius_mm"] == "flat" else scale * row["radius_mm"] for row in rows]
    rims = [scale * row.get("semi_diameter_mm", np.inf) for row in rows]
    table = np.column_stack([vertex[:-1], radius, index[:-1], index[1:], rims])
    whole = paraxial(table)
    return table, whole, -1.0 / whole[1, 0]


def glass_lens(lens, prescription, stop, focus):
    """The lens of a scene table and its prescription file's content, at an f-number and a focus distance or "infinity"."""
    table, whole, focal = _laid_out(prescription)
    number = prescription["stop_row"] - 1
    table[number, 4] = paraxial(table[: number + 1])[0, 0] * focal / stop / 2
    apart = table[-1, 0] + whole[0, 0] * focal + whole[1, 1] * focal
    m, ahead = 0.0, FAR
    if focus != "infinity":
        sum_ = (focus - apart) / focal
        m = (sum_ - np.sqrt(sum_**2 - 4)) / 2
        ahead = whole[1, 1] * focal + focal / m
    image = table[-1, 0] + whole[0, 0] * focal + focal * m
    behind = prescription["vertex_behind_front_mm"]
    return GlassLens(
        table=table, vertex_mm=behind, chiefs=_chiefs(table, number, image), object_z=ahead - behind if ahead < FAR else FAR,
        ring=lens.get("front_glass_mm", np.inf) / 2,
    )  # fmt: skip


def paraxial(table):
    """The matrix of (height, index times slope) from the first vertex to the last, its last surface's power included."""
    found = np.eye(2)
    for k, (vertex, radius, before, after, _) in enumerate(table):
        power = 0.0 if radius == 0.0 else (after - before) / radius
        found = np.array([[1.0, 0.0], [-power, 1.0]]) @ found
        if k + 1 < len(table):
            found = np.array([[1.0, (table[k + 1, 0] - vertex) / after], [0.0, 1.0]]) @ found
    return found


@numba.njit(cache=True)
def _chiefs(table, number, image):
    """Chief rays from the middle of the stop both ways, as far as they get through and the picture grows."""
    rows = np.zeros((FANS, 3))
    stop = (0.0, 0.0, table[number, 0])
    count = 1
    for k in range(1, FANS):
        angle = STEEPEST_RAD * k / FANS
        s, c = np.sin(angle), np.cos(angle)
        gone, o, d = _through(stop, (0.0, -s, c), table, number + 1, len(table) - 1, False)
        came, p, e = _through(stop, (0.0, s, -c), table, number - 1, 0, False)
        if not (gone and came) or e[2] >= 0:
            break
        slope = -e[1] / e[2]
        height = -(o[1] + (image - o[2]) * d[1] / d[2])
        if height <= rows[count - 1, 0] or slope <= rows[count - 1, 2]:
            break
        rows[count, 0], rows[count, 1], rows[count, 2] = height, p[1] + slope * p[2], slope
        count += 1
    return rows[:count]


def length_mm(prescription):
    """Front rim to image plane at infinity focus."""
    table, whole, focal = _laid_out(prescription)
    return prescription["vertex_behind_front_mm"] + table[-1, 0] + whole[0, 0] * focal
