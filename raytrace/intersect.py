"""Where a part's material is met: plain formulas for tubes, blocks and meshes along the straight legs of many rays.

A `Stopper` answers the distance along each ray to the first material, inf where the part lets the ray pass.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Block, Body, Loop, Surface, Tube
from geometry.outline import inside_distance, is_convex
from raytrace.kept import Kept
from raytrace.optics.bundle import BoolArray, Leg

Stopper = Callable[[Sequence[Leg]], FloatArray]

JOINT_EPS_MM = 1e-7  # legs overlap by this: a plane that lies on a glass face must not fall between two of them
EDGE_EPS = 1e-9  # triangles overlap by this share of their size: no ray slips between two that share an edge
NEVER_THROUGH_MM = 1e9  # distance given to a ray that runs along behind an endless plate: beyond all else that may stop it
PAIRS_AT_ONCE = 1 << 18  # ray-triangle pairs worked on together: 2 MB a column stays near the cache


def stopper(body: Body) -> Stopper:
    """The function that answers where rays meet this body; what does not depend on the rays is worked out once, here."""
    match body:
        case Tube(bounded=True):
            return partial(_bounded_tube, body.inner, *_facets_of(body))
        case Tube():
            return partial(_tube, body.inner)
        case Block():
            return partial(_hull, *_facets_of(body))
        case Surface():
            return partial(_surface, body)


def passes_whole(body: Body, legs: Sequence[Leg]) -> bool:
    """Whether rays round a bundle, their legs straight images of one another, show that all rays among them pass a body.

    Through a way that is not hollow anywhere goes what lies among rays that go through; past a convex body what lies among rays
    that all stay outside one of its facets. False where neither shows it.
    """
    match body:
        case Tube(inner=inner):
            return all(is_convex(loop.outline) for loop in inner) and bool(np.isinf(_tube(inner, legs)).all())
        case Block():
            facets, _ = _facets_of(body)
            return any(all(_stays_outside(facet, leg) for leg in legs) for facet in facets)
        case Surface():
            return False


def _stays_outside(facet: FloatArray, leg: Leg) -> bool:
    outside, speed = leg.origin @ facet[:3] + facet[3], leg.direction @ facet[:3]
    nears = speed < 0.0
    return bool((outside > 0.0).all() and (outside[nears] + speed[nears] * leg.length_mm[nears] > 0.0).all())


def half_spaces(corners_mm: FloatArray) -> tuple[FloatArray, tuple[float, float]]:
    """Facets of the convex hull as rows (nx, ny, nz, b), inside where n.x + b <= 0, and the hull's lowest and highest z [mm].

    Points that all lie in one plane get a skin of a micrometre, so that a sheet stops rays too.
    """
    from scipy.spatial import ConvexHull  # here, for it takes long to load

    spread = corners_mm - corners_mm.mean(axis=0)
    _, size, axes = np.linalg.svd(spread, full_matrices=False)
    points = corners_mm if size[-1] > 1e-6 else np.concatenate([corners_mm + 5e-4 * axes[-1], corners_mm - 5e-4 * axes[-1]])
    facets = np.unique(ConvexHull(points).equations.round(12), axis=0)
    return facets, (float(points[:, 2].min()), float(points[:, 2].max()))


def _outer_facets(body: Block | Tube) -> tuple[FloatArray, tuple[float, float]]:
    if isinstance(body, Block):
        return half_spaces(body.corners_mm)
    return half_spaces(np.concatenate([points for loop in body.outer for points in loop.points_mm()]))


_facets_of: Kept[Block | Tube, tuple[FloatArray, tuple[float, float]]] = Kept(_outer_facets)


def _overlapping(legs: Sequence[Leg], span_mm: tuple[float, float]) -> list[Leg]:
    """The legs that reach a part's depth."""
    spans = [leg.z_span_mm() for leg in legs]
    reach = [low <= span_mm[1] + JOINT_EPS_MM and high >= span_mm[0] - JOINT_EPS_MM for low, high in spans]
    return [leg for leg, there in zip(legs, reach, strict=True) if there]


def _tube(inner: Sequence[Loop], legs: Sequence[Leg]) -> FloatArray:
    """Distance to a tube's material: a ray has to go through every loop, rear to front.

    A ray that goes through one loop and misses the next meets the wall between them where its distance to the edge, taken to run
    straight from one loop to the other, is nought: exact for flat walls, near enough for round ones to tell who comes first.
    """
    met = np.full(len(legs[0].start_mm), np.inf)
    before = np.zeros_like(met)
    inside_before = np.full_like(met, -1.0)
    for loop in inner:
        at, inside = _loop_crossing(loop, legs)
        missed = inside <= 0
        between = missed & (inside_before > 0) & np.isfinite(before)
        wall = np.array(at)
        share = inside_before[between] / (inside_before[between] - inside[between])
        wall[between] = before[between] + share * (at[between] - before[between])
        met = np.where(missed, np.minimum(met, wall), met)
        before, inside_before = at, inside
    return met


def _bounded_tube(inner: Sequence[Loop], facets: FloatArray, span: tuple[float, float], legs: Sequence[Leg]) -> FloatArray:
    """As `_tube`, but a ray that stays outside the hull of the outer loops goes round the part; its skin may be met first."""
    met = _tube(inner, legs)
    lost = np.isfinite(met)  # only a ray that misses the way through can need the hull, and that is slow to ask
    if lost.any():
        met[lost] = np.maximum(met[lost], _hull(facets, span, [_rays_of(leg, lost) for leg in legs]))
    return met


def _rays_of(leg: Leg, which: BoolArray) -> Leg:
    return Leg(
        origin=leg.origin[which], direction=leg.direction[which], length_mm=leg.length_mm[which], start_mm=leg.start_mm[which]
    )


def _loop_crossing(loop: Loop, legs: Sequence[Leg]) -> tuple[FloatArray, FloatArray]:
    """Distance along the ray to the loop's plane, and how far inside the loop it crosses, negative outside (N,), (N,) [mm].

    A plane behind the ray's start or beyond the object plane counts as passed: inf, and inf inside. A ray that starts behind the
    plane and never gets nearer to it cannot go through: NEVER_THROUGH_MM, and outside.
    """
    at = np.full(len(legs[0].start_mm), np.inf)
    xy = np.zeros((len(at), 2))
    for leg in reversed(_overlapping(legs, _plane_span_mm(loop))):  # the first leg to cross has the last word
        o, d = loop.pose.points_to_part(leg.origin), loop.pose.vectors_to_part(leg.direction)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # rays along the plane give inf or nan and do not cross
            t = (loop.z_mm - o[:, 2]) / d[:, 2]
            crosses = (t >= -JOINT_EPS_MM) & (t <= leg.length_mm + JOINT_EPS_MM) & np.isfinite(t)
        t = np.where(crosses, t, 0.0)
        at = np.where(crosses, leg.start_mm + t, at)
        xy = np.where(crosses[:, None], o[:, :2] + t[:, None] * d[:, :2], xy)
    crossed = np.isfinite(at)
    inside = np.full(len(at), np.inf)
    inside[crossed] = inside_distance(loop.outline, xy[crossed])
    lost = ~crossed & _runs_away(loop, legs)
    return np.where(lost, NEVER_THROUGH_MM, at), np.where(lost, -NEVER_THROUGH_MM, inside)


def _plane_span_mm(loop: Loop) -> tuple[float, float]:
    """Lowest and highest z of the loop's whole plane: everything unless it stands square to the axis."""
    normal = loop.pose.rotation[:, 2]
    if np.abs(normal[:2]).max() > 1e-12:
        return -np.inf, np.inf
    z = loop.pose.origin_mm[2] + normal[2] * loop.z_mm
    return float(z), float(z)


def _runs_away(loop: Loop, legs: Sequence[Leg]) -> BoolArray:
    normal = loop.pose.rotation[:, 2]
    ahead = normal if normal[2] >= 0 else -normal
    centre = loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm]))
    behind = (legs[0].origin - centre) @ ahead < 0
    return np.asarray(behind & (legs[0].direction @ ahead <= 0) & (legs[-1].direction @ ahead <= 0), dtype=np.bool_)


def _hull(facets: FloatArray, span: tuple[float, float], legs: Sequence[Leg]) -> FloatArray:
    """Distance to a convex body: each leg is cut down to what lies behind every facet; anything left is a hit."""
    met = np.full(len(legs[0].start_mm), np.inf)
    for leg in reversed(_overlapping(legs, span)):
        enter, leave = clipped(facets, leg.origin, leg.direction, leg.length_mm)
        met = np.where(enter <= leave, leg.start_mm + enter, met)
    return met


def clipped(facets: FloatArray, origin: FloatArray, direction: FloatArray, length_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distances between which rays are inside all half spaces (N,), (N,) [mm]; none where the first is the greater.

    A facet with n.d < 0 is entered at -(n.o + b) / n.d, one with n.d > 0 left there; a ray along a facet is outside it for good or
    not at all.

    Source: Cyrus and Beck, Computer Graphics and Image Processing 14, 23 (1978) (from memory).
    """
    enter, leave = np.zeros(len(origin)), np.array(length_mm)
    for facet in facets:
        outside, speed = origin @ facet[:3] + facet[3], direction @ facet[:3]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # rays along the facet are settled below
            t = -outside / speed
        enter = np.where(speed < 0, np.maximum(enter, t), enter)
        leave = np.where(speed > 0, np.minimum(leave, t), leave)
        leave = np.where((speed == 0) & (outside > 0), -np.inf, leave)
    return enter, leave


def _surface(body: Surface, legs: Sequence[Leg]) -> FloatArray:
    met = np.full(len(legs[0].start_mm), np.inf)
    corners = body.vertices_mm[body.faces]
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    walls = np.concatenate([np.column_stack([np.eye(3), -high - EDGE_EPS]), np.column_stack([-np.eye(3), low - EDGE_EPS])])
    for leg in reversed(_overlapping(legs, (float(low[2]), float(high[2])))):
        enter, leave = clipped(walls, leg.origin, leg.direction, leg.length_mm)
        near = np.flatnonzero(enter <= leave)  # only rays through the mesh's upright box can meet it
        t = _nearest_triangle(corners, leg.origin[near], leg.direction[near], leg.length_mm[near])
        hit = np.isfinite(t)
        met[near[hit]] = leg.start_mm[near[hit]] + t[hit]
    return met


def _nearest_triangle(corners: FloatArray, origin: FloatArray, direction: FloatArray, length_mm: FloatArray) -> FloatArray:
    nearest = np.full(len(origin), np.inf)
    step = max(1, PAIRS_AT_ONCE // max(1, len(corners)))
    for first in range(0, len(origin), step):
        rays = slice(first, first + step)
        for low in range(0, len(corners), PAIRS_AT_ONCE):
            t = triangle_distance(corners[low : low + PAIRS_AT_ONCE], origin[rays], direction[rays]).min(axis=1)
            nearest[rays] = np.minimum(nearest[rays], t)
    return np.where(nearest <= length_mm + JOINT_EPS_MM, nearest, np.inf)


def triangle_distance(corners: NDArray[np.float64], origin: FloatArray, direction: FloatArray) -> FloatArray:
    """Distance from each ray's start to each triangle (N, F) [mm], inf where it is missed; both sides stop, edges count.

    corners (F, 3, 3), origin and direction (N, 3). With edges e, g from the first corner and s = o - corner:
    u = s . (d x g) / D, v = d . (s x e) / D, t = g . (s x e) / D, D = e . (d x g).

    Source: Moller and Trumbore, Journal of Graphics Tools 2, 21 (1997) (from memory).
    """
    e, g = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    d_cross_g = np.cross(direction[:, None, :], g[None])
    s = origin[:, None, :] - corners[None, :, 0]
    s_cross_e = np.cross(s, e[None])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # rays in a triangle's plane give inf or nan and miss it
        inverse = 1.0 / np.einsum("fj,nfj->nf", e, d_cross_g)
        u = np.einsum("nfj,nfj->nf", s, d_cross_g) * inverse
        v = np.einsum("nj,nfj->nf", direction, s_cross_e) * inverse
        t = np.einsum("fj,nfj->nf", g, s_cross_e) * inverse
        hit = (u >= -EDGE_EPS) & (v >= -EDGE_EPS) & (u + v <= 1 + EDGE_EPS) & (t >= -JOINT_EPS_MM) & np.isfinite(t)
    return np.where(hit, np.maximum(t, 0.0), np.inf)
