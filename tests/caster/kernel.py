"""Rays through plates and close-up lenses and against parts, one at a time: Snell's law, clipped lines, crossed triangles."""

from __future__ import annotations

import numba
import numpy as np

PLATE, HOOD, BLOCK, SEAL, SLAB, CLOSE_UP, DRAWN, MESH = range(1, 9)
SIZE = 400  # numbers of a part: kind, rotation (9), origin (3), then its own
LEGS = 12
LONG = 1e5


@numba.njit(cache=True)
def _to_part(p, v, moved):
    x, y, z = v[0], v[1], v[2]
    if moved:
        x, y, z = x - p[10], y - p[11], z - p[12]
    return (p[1] * x + p[4] * y + p[7] * z, p[2] * x + p[5] * y + p[8] * z, p[3] * x + p[6] * y + p[9] * z)


@numba.njit(cache=True)
def _to_frame(p, x, y, z, moved):
    a, b, c = p[1] * x + p[2] * y + p[3] * z, p[4] * x + p[5] * y + p[6] * z, p[7] * x + p[8] * y + p[9] * z
    if moved:
        return (a + p[10], b + p[11], c + p[12])
    return (a, b, c)


@numba.njit(cache=True)
def _clip(value, slope, low, high):
    """The part of a line's [low, high] where value + t slope <= 0."""
    if slope > 0:
        return low, min(high, -value / slope)
    if slope < 0:
        return max(low, -value / slope), high
    if value > 0:
        return 1.0, 0.0
    return low, high


@numba.njit(cache=True)
def _in_opening(s, x, y):
    """s: kind (0 round, 1 rectangle), half width or radius, half height, corner."""
    if s[0] == 0:
        return x * x + y * y < s[1] * s[1]
    ax, ay = abs(x) - (s[1] - s[3]), abs(y) - (s[2] - s[3])
    if ax <= 0:
        return ay < s[3]
    if ay <= 0:
        return ax < s[3]
    return ax * ax + ay * ay < s[3] * s[3]


@numba.njit(cache=True)
def _in_polygon(s, n, x, y):
    inside = False
    for k in range(n):
        j = (k + 1) % n
        x0, y0, x1, y1 = s[2 * k], s[2 * k + 1], s[2 * j], s[2 * j + 1]
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            inside = not inside
    return inside


@numba.njit(cache=True)
def _crosses(ax, ay, bx, by, cx, cy, dx, dy):
    def side(px, py, qx, qy, rx, ry):
        return (qx - px) * (ry - py) - (qy - py) * (rx - px)

    return (side(ax, ay, bx, by, cx, cy) > 0) != (side(ax, ay, bx, by, dx, dy) > 0) and (side(cx, cy, dx, dy, ax, ay) > 0) != (
        side(cx, cy, dx, dy, bx, by) > 0
    )


@numba.njit(cache=True)
def _leaves_polygon(s, n, ax, ay, bx, by):
    if not (_in_polygon(s, n, ax, ay) and _in_polygon(s, n, bx, by)):
        return True
    for k in range(n):
        j = (k + 1) % n
        if _crosses(ax, ay, bx, by, s[2 * k], s[2 * k + 1], s[2 * j], s[2 * j + 1]):
            return True
    return False


@numba.njit(cache=True)
def _meets_triangle(a, d, end, t):
    """Line a + s d, 0 <= s <= end, against a triangle of nine numbers: the sides of its planes."""
    e0, e1, e2 = t[3] - t[0], t[4] - t[1], t[5] - t[2]
    f0, f1, f2 = t[6] - t[0], t[7] - t[1], t[8] - t[2]
    n0, n1, n2 = e1 * f2 - e2 * f1, e2 * f0 - e0 * f2, e0 * f1 - e1 * f0
    down = n0 * d[0] + n1 * d[1] + n2 * d[2]
    if down == 0:
        return False
    s = (n0 * (t[0] - a[0]) + n1 * (t[1] - a[1]) + n2 * (t[2] - a[2])) / down
    if s < 0 or s > end:
        return False
    x, y, z = a[0] + s * d[0] - t[0], a[1] + s * d[1] - t[1], a[2] + s * d[2] - t[2]
    nn = n0 * n0 + n1 * n1 + n2 * n2
    u = ((y * f2 - z * f1) * n0 + (z * f0 - x * f2) * n1 + (x * f1 - y * f0) * n2) / nn
    v = ((e1 * z - e2 * y) * n0 + (e2 * x - e0 * z) * n1 + (e0 * y - e1 * x) * n2) / nn
    return u >= 0 and v >= 0 and u + v <= 1


@numba.njit(cache=True)
def _mesh_stops(p, a, d, end, triangles):
    hit = False
    for k in range(int(p[13]), int(p[14])):
        hit |= _meets_triangle(a, d, end, triangles[k])
    return hit


@numba.njit(cache=True)
def _block_stops(p, a, d, end):
    low, high = 0.0, end
    for k in range(3):
        low, high = _clip(a[k] - p[16 + k], d[k], low, high)
        low, high = _clip(p[13 + k] - a[k], -d[k], low, high)
    return low <= high


@numba.njit(cache=True)
def _seal_stops(p, a, d, end):
    missed = reached = False
    for k in range(int(p[13])):
        z, r = p[15 + 2 * k], p[16 + 2 * k]
        t = (z - a[2]) / d[2]
        if 0 <= t <= end:
            q = (a[0] + t * d[0]) ** 2 + (a[1] + t * d[1]) ** 2
            missed |= q >= r * r
            reached |= q < p[14] * p[14]
    return missed and reached


@numba.njit(cache=True)
def _plate_stops(p, a, d, low, high):
    if p[18] != 0:
        for k in range(2):
            low, high = _clip(a[k] - p[19 + k], d[k], low, high)
            low, high = _clip(-a[k] - p[19 + k], -d[k], low, high)
        if low > high:
            return False
    first = _in_opening(p[14:18], a[0] + low * d[0], a[1] + low * d[1])
    return not (first and _in_opening(p[14:18], a[0] + high * d[0], a[1] + high * d[1]))


@numba.njit(cache=True)
def _hood_stops(p, a, d, low, high):
    """14, 15 rear inner half, 16, 17 front inner half, 18 to 21 the same outside."""
    h = p[13]
    for k in range(2):
        grow, middle = (p[20 + k] - p[18 + k]) / (2 * h), (p[20 + k] + p[18 + k]) / 2
        low, high = _clip(a[k] - middle - grow * a[2], d[k] - grow * d[2], low, high)
        low, high = _clip(-a[k] - middle - grow * a[2], -d[k] - grow * d[2], low, high)
    if low > high:
        return False
    inside = True
    for t in (low, high):
        z = a[2] + t * d[2]
        for k in range(2):
            wall = (p[16 + k] + p[14 + k]) / 2 + (p[16 + k] - p[14 + k]) / (2 * h) * z
            inside &= abs(a[k] + t * d[k]) < wall
    return not inside


@numba.njit(cache=True)
def _between_faces_stops(p, a, d, end):
    """A plate, a drawn one or a hood: what happens between its two planes."""
    low, high = _clip(a[2] - p[13], d[2], 0.0, end)
    low, high = _clip(-a[2] - p[13], -d[2], low, high)
    if low > high:
        return False
    if p[0] == PLATE:
        return _plate_stops(p, a, d, low, high)
    if p[0] == HOOD:
        return _hood_stops(p, a, d, low, high)
    return _leaves_polygon(p[15:], int(p[14]), a[0] + low * d[0], a[1] + low * d[1], a[0] + high * d[0], a[1] + high * d[1])


@numba.njit(cache=True)
def _stops(p, a0, d0, end, triangles):
    if p[0] == MESH:
        return _mesh_stops(p, a0, d0, end, triangles)
    a, d = _to_part(p, a0, True), _to_part(p, d0, False)
    if p[0] == BLOCK:
        return _block_stops(p, a, d, end)
    if p[0] == SEAL:
        return _seal_stops(p, a, d, end)
    return _between_faces_stops(p, a, d, end)


@numba.njit(cache=True)
def _is_glass(p):
    return p[0] in {SLAB, CLOSE_UP}


@numba.njit(cache=True)
def _add_leg(legs, starts, lines, ends, a, d, end):
    for c in range(3):
        starts[legs, c], lines[legs, c] = a[c], d[c]
    ends[legs] = end
    return legs + 1


@numba.njit(cache=True)
def _ways(a, d, parts, object_z, starts, lines, ends):
    """The legs of a ray through all glass: how many."""
    legs, last = 0, object_z
    for k in range(len(parts)):
        p = parts[k]
        if not _is_glass(p):
            continue
        la, ld = _to_part(p, a, True), _to_part(p, d, False)
        half = p[13] if p[0] == SLAB else 0.0
        t = (-half - la[2]) / ld[2]
        if t < 0:
            continue
        legs = _add_leg(legs, starts, lines, ends, a, d, t)
        x, y = la[0] + t * ld[0], la[1] + t * ld[1]
        if p[0] == CLOSE_UP:  # a thin lens: slopes change by minus power times height
            power = p[14] / 1000.0
            a = _to_frame(p, x, y, 0.0, True)
            d = _to_frame(p, ld[0] / ld[2] - power * x, ld[1] / ld[2] - power * y, 1.0, False)
            last = p[12] + 1.0 / (power + (1.0 / (last - p[12]) if last < 1e29 else 0.0))
            continue
        length = np.sqrt(ld[0] ** 2 + ld[1] ** 2 + ld[2] ** 2)
        sx, sy = ld[0] / length / p[14], ld[1] / length / p[14]
        sz = np.sqrt(1 - sx * sx - sy * sy)
        e, g = _to_frame(p, x, y, -half, True), _to_frame(p, sx, sy, sz, False)
        through = 2 * half / sz
        legs = _add_leg(legs, starts, lines, ends, e, g, through)
        a = (e[0] + through * g[0], e[1] + through * g[1], e[2] + through * g[2])
    return _add_leg(legs, starts, lines, ends, a, d, (last - a[2]) / d[2] if last < 1e29 else LONG)


@numba.njit(cache=True)
def stopped_by(origins, ways, parts, triangles, object_z):
    """For each ray the index of a part that stops it, or -1. Glass stands in `parts` in the order in which light meets it."""
    found = np.full(len(origins), -1, dtype=np.int64)
    starts, lines, ends = np.empty((LEGS, 3)), np.empty((LEGS, 3)), np.empty(LEGS)
    for i in range(len(origins)):
        a = (origins[i, 0], origins[i, 1], origins[i, 2])
        d = (ways[i, 0], ways[i, 1], ways[i, 2])
        legs = _ways(a, d, parts, object_z, starts, lines, ends)
        for k in range(len(parts)):
            if _is_glass(parts[k]):
                continue
            for s in range(legs):
                if ends[s] > 0 and _stops(parts[k], starts[s], lines[s], ends[s], triangles):
                    found[i] = k
                    break
            if found[i] >= 0:
                break
    return found
