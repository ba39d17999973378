"""Rays through plates and close-up lenses and against parts, one at a time: Snell's law, clipped lines, crossed triangles."""

from __future__ import annotations

import numba
import numpy as np

PLATE, HOOD, BLOCK, SEAL, SLAB, CLOSE_UP, DRAWN, MESH = range(1, 9)
SIZE = 400  # numbers of a part: kind, rotation (9), origin (3), then its own
# Parts go by number: a view of one would cost more than its test.
LEGS = 12
LONG = 1e5


@numba.njit(cache=True)
def _to_part(parts, i, v, moved):
    x, y, z = v[0], v[1], v[2]
    if moved:
        x, y, z = x - parts[i, 10], y - parts[i, 11], z - parts[i, 12]
    return (
        parts[i, 1] * x + parts[i, 4] * y + parts[i, 7] * z,
        parts[i, 2] * x + parts[i, 5] * y + parts[i, 8] * z,
        parts[i, 3] * x + parts[i, 6] * y + parts[i, 9] * z,
    )


@numba.njit(cache=True)
def _to_frame(parts, i, x, y, z, moved):
    a, b, c = (
        parts[i, 1] * x + parts[i, 2] * y + parts[i, 3] * z,
        parts[i, 4] * x + parts[i, 5] * y + parts[i, 6] * z,
        parts[i, 7] * x + parts[i, 8] * y + parts[i, 9] * z,
    )
    if moved:
        return (a + parts[i, 10], b + parts[i, 11], c + parts[i, 12])
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
def _in_opening(parts, i, x, y):
    """14 to 17: kind (0 round, 1 rectangle), half width or radius, half height, corner."""
    if parts[i, 14] == 0:
        return x * x + y * y < parts[i, 15] * parts[i, 15]
    ax, ay = abs(x) - (parts[i, 15] - parts[i, 17]), abs(y) - (parts[i, 16] - parts[i, 17])
    if ax <= 0:
        return ay < parts[i, 17]
    if ay <= 0:
        return ax < parts[i, 17]
    return ax * ax + ay * ay < parts[i, 17] * parts[i, 17]


@numba.njit(cache=True)
def _in_polygon(parts, i, x, y):
    inside, n = False, int(parts[i, 14])
    for k in range(n):
        j = (k + 1) % n
        x0, y0, x1, y1 = parts[i, 15 + 2 * k], parts[i, 16 + 2 * k], parts[i, 15 + 2 * j], parts[i, 16 + 2 * j]
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
def _leaves_polygon(parts, i, ax, ay, bx, by):
    if not (_in_polygon(parts, i, ax, ay) and _in_polygon(parts, i, bx, by)):
        return True
    n = int(parts[i, 14])
    for k in range(n):
        j = (k + 1) % n
        if _crosses(ax, ay, bx, by, parts[i, 15 + 2 * k], parts[i, 16 + 2 * k], parts[i, 15 + 2 * j], parts[i, 16 + 2 * j]):
            return True
    return False


@numba.njit(cache=True)
def _meets_triangle(a, d, end, triangles, i):
    """Line a + s d, 0 <= s <= end, against a triangle of nine numbers: the sides of its planes."""
    e0, e1, e2 = triangles[i, 3] - triangles[i, 0], triangles[i, 4] - triangles[i, 1], triangles[i, 5] - triangles[i, 2]
    f0, f1, f2 = triangles[i, 6] - triangles[i, 0], triangles[i, 7] - triangles[i, 1], triangles[i, 8] - triangles[i, 2]
    n0, n1, n2 = e1 * f2 - e2 * f1, e2 * f0 - e0 * f2, e0 * f1 - e1 * f0
    down = n0 * d[0] + n1 * d[1] + n2 * d[2]
    if down == 0:
        return False
    s = (n0 * (triangles[i, 0] - a[0]) + n1 * (triangles[i, 1] - a[1]) + n2 * (triangles[i, 2] - a[2])) / down
    if s < 0 or s > end:
        return False
    x, y, z = a[0] + s * d[0] - triangles[i, 0], a[1] + s * d[1] - triangles[i, 1], a[2] + s * d[2] - triangles[i, 2]
    nn = n0 * n0 + n1 * n1 + n2 * n2
    u = ((y * f2 - z * f1) * n0 + (z * f0 - x * f2) * n1 + (x * f1 - y * f0) * n2) / nn
    v = ((e1 * z - e2 * y) * n0 + (e2 * x - e0 * z) * n1 + (e0 * y - e1 * x) * n2) / nn
    return u >= 0 and v >= 0 and u + v <= 1


@numba.njit(cache=True)
def _mesh_stops(parts, i, a, d, end, triangles):
    k, past = int(parts[i, 13]), int(parts[i, 14])
    while k < past and not _meets_triangle(a, d, end, triangles, k):
        k += 1
    return k < past


@numba.njit(cache=True)
def _block_stops(parts, i, a, d, end):
    low, high = 0.0, end
    for k in range(3):
        low, high = _clip(a[k] - parts[i, 16 + k], d[k], low, high)
        low, high = _clip(parts[i, 13 + k] - a[k], -d[k], low, high)
    return low <= high


@numba.njit(cache=True)
def _seal_stops(parts, i, a, d, end):
    missed = reached = False
    for k in range(int(parts[i, 13])):
        z, r = parts[i, 15 + 2 * k], parts[i, 16 + 2 * k]
        t = (z - a[2]) / d[2]
        if 0 <= t <= end:
            q = (a[0] + t * d[0]) ** 2 + (a[1] + t * d[1]) ** 2
            missed |= q >= r * r
            reached |= q < parts[i, 14] * parts[i, 14]
    return missed and reached


@numba.njit(cache=True)
def _plate_stops(parts, i, a, d, low, high):
    if parts[i, 18] != 0:
        for k in range(2):
            low, high = _clip(a[k] - parts[i, 19 + k], d[k], low, high)
            low, high = _clip(-a[k] - parts[i, 19 + k], -d[k], low, high)
        if low > high:
            return False
    first = _in_opening(parts, i, a[0] + low * d[0], a[1] + low * d[1])
    return not (first and _in_opening(parts, i, a[0] + high * d[0], a[1] + high * d[1]))


@numba.njit(cache=True)
def _hood_stops(parts, i, a, d, low, high):
    """14, 15 rear inner half, 16, 17 front inner half, 18 to 21 the same outside."""
    h = parts[i, 13]
    for k in range(2):
        grow, middle = (parts[i, 20 + k] - parts[i, 18 + k]) / (2 * h), (parts[i, 20 + k] + parts[i, 18 + k]) / 2
        low, high = _clip(a[k] - middle - grow * a[2], d[k] - grow * d[2], low, high)
        low, high = _clip(-a[k] - middle - grow * a[2], -d[k] - grow * d[2], low, high)
    if low > high:
        return False
    inside = True
    for t in (low, high):
        z = a[2] + t * d[2]
        for k in range(2):
            wall = (parts[i, 16 + k] + parts[i, 14 + k]) / 2 + (parts[i, 16 + k] - parts[i, 14 + k]) / (2 * h) * z
            inside &= abs(a[k] + t * d[k]) < wall
    return not inside


@numba.njit(cache=True)
def _between_faces_stops(parts, i, a, d, end):
    """A plate, a drawn one or a hood: what happens between its two planes."""
    low, high = _clip(a[2] - parts[i, 13], d[2], 0.0, end)
    low, high = _clip(-a[2] - parts[i, 13], -d[2], low, high)
    if low > high:
        return False
    if parts[i, 0] == PLATE:
        return _plate_stops(parts, i, a, d, low, high)
    if parts[i, 0] == HOOD:
        return _hood_stops(parts, i, a, d, low, high)
    return _leaves_polygon(parts, i, a[0] + low * d[0], a[1] + low * d[1], a[0] + high * d[0], a[1] + high * d[1])


@numba.njit(cache=True)
def _stops(parts, i, a0, d0, end, triangles):
    if parts[i, 0] == MESH:
        return _mesh_stops(parts, i, a0, d0, end, triangles)
    a, d = _to_part(parts, i, a0, True), _to_part(parts, i, d0, False)
    if parts[i, 0] == BLOCK:
        return _block_stops(parts, i, a, d, end)
    if parts[i, 0] == SEAL:
        return _seal_stops(parts, i, a, d, end)
    return _between_faces_stops(parts, i, a, d, end)


@numba.njit(cache=True)
def _is_glass(parts, i):
    return parts[i, 0] == SLAB or parts[i, 0] == CLOSE_UP  # `in` would make a set for every ray


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
        if not _is_glass(parts, k):
            continue
        la, ld = _to_part(parts, k, a, True), _to_part(parts, k, d, False)
        half = parts[k, 13] if parts[k, 0] == SLAB else 0.0
        t = (-half - la[2]) / ld[2]
        if t < 0:
            continue
        legs = _add_leg(legs, starts, lines, ends, a, d, t)
        x, y = la[0] + t * ld[0], la[1] + t * ld[1]
        if parts[k, 0] == CLOSE_UP:  # a thin lens: slopes change by minus power times height
            power = parts[k, 14] / 1000.0
            a = _to_frame(parts, k, x, y, 0.0, True)
            d = _to_frame(parts, k, ld[0] / ld[2] - power * x, ld[1] / ld[2] - power * y, 1.0, False)
            last = parts[k, 12] + 1.0 / (power + (1.0 / (last - parts[k, 12]) if last < 1e29 else 0.0))
            continue
        length = np.sqrt(ld[0] ** 2 + ld[1] ** 2 + ld[2] ** 2)
        sx, sy = ld[0] / length / parts[k, 14], ld[1] / length / parts[k, 14]
        sz = np.sqrt(1 - sx * sx - sy * sy)
        e, g = _to_frame(parts, k, x, y, -half, True), _to_frame(parts, k, sx, sy, sz, False)
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
            if _is_glass(parts, k):
                continue
            for s in range(legs):
                if ends[s] > 0 and _stops(parts, k, starts[s], lines[s], ends[s], triangles):
                    found[i] = k
                    break
            if found[i] >= 0:
                break
    return found
