"""Distances of rays to the triangles of parts, by trying them all, and closer round the nearest: slow, and never too small."""

from __future__ import annotations

from functools import partial

import numba
import numpy as np

from geometry.meshes import trace_mesh
from raytrace.optics.bundle import Bundle
from raytrace.optics.glass import walk
from raytrace.optics.lens import pencils_for

FAR_MM = 700.0  # how far rays are followed
ROUNDS = 5  # of looking closer, each in a window a quarter as wide


def brute_room(lens, guide, box, part, *, fields=15, angles=24):
    """The least distance of a part's triangles to the guide's rim rays, all rays with a front ring [mm]; 0 where one hits."""
    mesh = trace_mesh(part, sagitta_mm=0.002)
    triangles = np.ascontiguousarray(mesh.triangles)
    shares = np.linspace(-1, 1, fields)
    uv = np.stack(np.meshgrid(shares, shares), axis=-1).reshape(-1, 2)
    turn = 2 * np.pi * np.arange(angles) / angles
    radii = np.linspace(0.0, 1.0, 9) if np.isfinite(lens.front_radius_mm) else np.ones(1)
    t, r = (a.ravel() for a in np.meshgrid(turn, radii))
    measure = partial(_distances, lens, guide, box, triangles)
    best, at = measure(uv, t, r)
    width, sweep, deep = 2 / (fields - 1), 2 * np.pi / angles, 0.125
    steps = np.linspace(-1, 1, 7)
    for _ in range(ROUNDS):
        if best <= 0:
            return 0.0
        near = np.clip(at[0] + width * np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2), -1, 1)
        rr = np.clip(at[2] + deep * steps, 0, 1) if len(radii) > 1 else np.ones(1)
        t, r = (a.ravel() for a in np.meshgrid(at[1] + sweep * np.linspace(-1, 1, 9), rr))
        found, where = measure(near, t, r)
        if found < best:
            best, at = found, where
        width, sweep, deep = width / 3, sweep / 3, deep / 3
    return best


def _distances(lens, guide, box, triangles, uv, turn, radius):
    points = np.asarray(guide.centre_mm) + uv * [guide.half_width_mm, guide.half_height_mm]
    pencils = pencils_for(lens, points)
    disc = radius[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    crossing = pencils.crossing_mm(_within_outline(pencils, disc))
    start_z = pencils.reference_z_mm.min()
    at = pencils.at_plane_mm(crossing, start_z)
    slope = pencils.ray_slope(crossing)
    lit = np.repeat(pencils.valid, len(turn))
    ring_z, ring = pencils.front_ring_mm
    lit &= (np.hypot(*np.moveaxis(pencils.at_plane_mm(crossing, float(ring_z)), -1, 0)) <= ring).ravel()
    origin = np.concatenate([at, np.full((*at.shape[:2], 1), start_z)], axis=-1).reshape(-1, 3)
    way = np.concatenate([slope, np.ones((*slope.shape[:2], 1))], axis=-1).reshape(-1, 3)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    which = np.flatnonzero(lit)
    if not len(which):
        return np.inf, (np.zeros(2), 0.0, 1.0)
    n = len(which)
    bundle = Bundle(
        origin=origin[which], direction=way[which], end_z_mm=np.full(n, lens.object_z_mm), weight=np.ones(n),
        fate=np.zeros(n, dtype=np.int8), stopped_by=np.full(n, -1, dtype=np.int16),
    )  # fmt: skip
    _, legs = walk(bundle, box.glasses)
    starts = np.concatenate([leg.origin for leg in legs])
    ends = np.concatenate([leg.origin + leg.direction * np.minimum(leg.length_mm, FAR_MM)[:, None] for leg in legs])
    distance, index = nearest(starts, ends, triangles)
    ray = which[index % n]
    return distance, (uv[ray // len(turn)], turn[ray % len(turn)], radius[ray % len(turn)])


def _within_outline(pencils, disc):
    """Points (R, 2) of the unit disc drawn in to the outline of each traced pupil (N, R, 2), straight between its spokes' ends."""
    count = pencils.rim_share.shape[1]
    if count == 0:
        return disc
    angle = np.arctan2(disc[:, 1], disc[:, 0]) % (2 * np.pi) * count / (2 * np.pi)
    low, part = np.floor(angle).astype(int) % count, angle % 1.0
    near, far = pencils.rim_share[:, low], pencils.rim_share[:, (low + 1) % count]
    step = 2 * np.pi / count
    rim = near * far * np.sin(step) / (near * np.sin(part * step) + far * np.sin((1 - part) * step))
    return disc[None] * rim[..., None]


@numba.njit(cache=True, fastmath=False)
def nearest(starts, ends, triangles):
    """The least distance between segments (R, 3) and triangles (T, 3, 3), and the index of the segment."""
    best, index = np.inf, 0
    middles = np.empty((len(triangles), 3))
    reach = np.empty(len(triangles))
    for t in range(len(triangles)):
        for k in range(3):
            middles[t, k] = (triangles[t, 0, k] + triangles[t, 1, k] + triangles[t, 2, k]) / 3
        reach[t] = 0.0
        for c in range(3):
            d = 0.0
            for k in range(3):
                d += (triangles[t, c, k] - middles[t, k]) ** 2
            reach[t] = max(reach[t], np.sqrt(d))
    for t in range(len(triangles)):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        for r in range(len(starts)):
            if point_segment(middles[t], starts[r], ends[r]) - reach[t] >= best:
                continue
            d = segment_triangle(starts[r], ends[r], a, b, c)
            if d < best:
                best, index = d, r
                if best <= 0.0:
                    return 0.0, index
    return best, index


@numba.njit(cache=True)
def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@numba.njit(cache=True)
def point_segment(p, a, b):
    ab2 = ap = 0.0
    for k in range(3):
        ab2 += (b[k] - a[k]) ** 2
        ap += (p[k] - a[k]) * (b[k] - a[k])
    t = min(max(ap / ab2, 0.0), 1.0) if ab2 > 0 else 0.0
    d = 0.0
    for k in range(3):
        d += (p[k] - a[k] - t * (b[k] - a[k])) ** 2
    return np.sqrt(d)


@numba.njit(cache=True)
def segments(p, q, a, b):
    """Distance of two segments: the best of the inner solution and the four ends."""
    best = min(point_segment(p, a, b), point_segment(q, a, b), point_segment(a, p, q), point_segment(b, p, q))
    u, v, w = q - p, b - a, p - a
    uu, uv, vv, uw, vw = dot(u, u), dot(u, v), dot(v, v), dot(u, w), dot(v, w)
    det = uu * vv - uv * uv
    if det > 1e-12 * uu * vv:
        s, t = (uv * vw - vv * uw) / det, (uu * vw - uv * uw) / det
        if 0 <= s <= 1 and 0 <= t <= 1:
            d = w + s * u - t * v
            best = min(best, np.sqrt(dot(d, d)))
    return best


@numba.njit(cache=True)
def point_triangle(p, a, b, c):
    """Distance to the inside of a triangle along its normal; inf where the foot lies outside."""
    u, v, w = b - a, c - a, p - a
    uu, uv, vv, wu, wv = dot(u, u), dot(u, v), dot(v, v), dot(w, u), dot(w, v)
    det = uu * vv - uv * uv
    if det <= 1e-18:
        return np.inf
    s, t = (vv * wu - uv * wv) / det, (uu * wv - uv * wu) / det
    if s < 0 or t < 0 or s + t > 1:
        return np.inf
    d = w - s * u - t * v
    return np.sqrt(dot(d, d))


@numba.njit(cache=True)
def crosses(p, q, a, b, c):
    u, v, d = b - a, c - a, q - p
    n = np.array([u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]])
    down = dot(n, d)
    if abs(down) < 1e-300:
        return False
    t = dot(n, a - p) / down
    return 0 <= t <= 1 and point_triangle(p + t * d, a, b, c) < 1e-6


@numba.njit(cache=True)
def segment_triangle(p, q, a, b, c):
    if crosses(p, q, a, b, c):
        return 0.0
    best = min(segments(p, q, a, b), segments(p, q, b, c), segments(p, q, c, a))
    return min(best, point_triangle(p, a, b, c), point_triangle(q, a, b, c))
