"""A ray cast of light on the glass that shares no judgement with the program: many points, many directions, triangles.

The beam's outline is traced here with straight lines and Snell's law; what stops rays are the box's walls, met by trimesh.
"""

from dataclasses import dataclass

import numpy as np
import trimesh
from scipy.spatial import ConvexHull, Delaunay

from geometry.walls import enclosure_of
from scenes.rig.box import build_box, fit_of

STEP_MM = 0.01


@dataclass(frozen=True)
class Glass:
    """Places (N, 3) on both faces of the outermost glass that the beam crosses, its normal, thickness and index."""

    rear_mm: np.ndarray
    front_mm: np.ndarray
    normal: np.ndarray
    thickness_mm: float
    index: float


def refracted(d, normal, index):
    lateral = (d - (d @ normal)[:, None] * normal) / index
    return lateral + np.sqrt(1 - (lateral**2).sum(axis=1, keepdims=True)) * normal


def beam_on_glass(plan, *, inside=800, seed=1):
    """Both faces, by rays of the picture's edge through the pupil's rim of a rectilinear lens with one fixed pupil."""
    (lens,), grid = plan.variants, plan.grid
    w, h = grid.width_mm / 2, grid.height_mm / 2
    t = np.linspace(-1, 1, 41)
    edge = np.concatenate([np.column_stack([w * t, s * h * np.ones(41)]) for s in (-1, 1)])
    edge = np.concatenate([edge, *[np.column_stack([s * w * np.ones(41), h * t]) for s in (-1, 1)]])
    depth = lens.pupil.behind_front_mm  # a table of walk in these tests does not walk
    depth, radius = depth[1] if isinstance(depth, tuple) else depth, lens.focal_mm / lens.f_number / 2
    turn = 2 * np.pi * np.arange(96) / 96
    rim = np.tile(radius * np.column_stack([np.cos(turn), np.sin(turn)]), (len(edge), 1))
    slope = np.repeat(np.column_stack([-edge[:, 0], edge[:, 1]]) / lens.field_focal_mm, 96, axis=0)
    sharp = lens.object_z_mm + depth
    d = np.column_stack([slope - (rim / sharp if np.isfinite(sharp) else 0 * rim), np.ones(len(rim))])
    d /= np.linalg.norm(d, axis=1, keepdims=True)
    o = np.column_stack([rim, np.full(len(rim), -depth)])
    for glass in plan.box.glasses:
        slab = glass.slab
        n, half = slab.pose.rotation[:, 2], slab.thickness_mm / 2
        rear = o + (((slab.pose.origin_mm - half * n - o) @ n) / (d @ n))[:, None] * d
        within = refracted(d, n, glass.index)
        o = rear + within * (2 * half / (within @ n))[:, None]
    rng = np.random.default_rng(seed)
    return Glass(_filled(slab.pose, rear, inside, rng), _filled(slab.pose, o, inside, rng), n, 2 * half, glass.index)


def _filled(pose, points, inside, rng):
    flat = pose.points_to_part(points)
    hull = flat[ConvexHull(flat[:, :2]).vertices]
    low, high = hull[:, :2].min(axis=0), hull[:, :2].max(axis=0)
    some = low + rng.random((2 * inside, 2)) * (high - low)
    some = some[Delaunay(hull[:, :2]).find_simplex(some) >= 0][:inside]
    return pose.points_to_frame(np.concatenate([hull, np.column_stack([some, np.full(len(some), flat[0, 2])])]))


def walls(box, plan):
    """Everything of a box on a state's lens that stops light, as one mesh."""
    assembly, _ = build_box(box, plan.lens, plan.resources, front_travel_mm=0.0)
    found = enclosure_of(assembly, fit_of(box, plan.lens, 0.0)).walls
    return trimesh.util.concatenate([trimesh.Trimesh(w.body.vertices_mm, w.body.faces, process=False) for w in found])


def disc_of(light, at):
    """Unit directions (48, 3) from a place to a light: its middle, its rim, and rings between."""
    toward = light.direction if light.place_mm is None else light.place_mm - at
    half = np.radians(light.width_deg / 2) if light.place_mm is None else np.arctan(light.size_mm / 2 / np.linalg.norm(toward))
    u = toward / np.linalg.norm(toward)
    a = np.cross(u, [0.0, 1.0, 0.0] if abs(u[1]) < 0.9 else [1.0, 0.0, 0.0])
    a /= np.linalg.norm(a)
    b = np.cross(u, a)
    turn = 2 * np.pi * np.arange(32) / 32
    rim = np.cos(turn)[:, None] * a + np.sin(turn)[:, None] * b
    rings = [np.cos(s * half) * u + np.sin(s * half) * rim[:: 1 if s == 1 else 4] for s in (1.0, 0.6)]
    return np.concatenate([u[None], *rings])


def lit_share(glass, mesh, light, seed=2):
    """Share of places on both faces (each with one direction of the light at random) that see the light past the walls."""
    rng = np.random.default_rng(seed)
    disc = disc_of(light, glass.front_mm.mean(axis=0))
    found = []
    for face in (glass.front_mm, glass.rear_mm):
        starts = np.repeat(face, 6, axis=0)
        if light.place_mm is None:
            d = disc[rng.integers(0, len(disc), len(starts))]
        else:
            own = np.array([disc_of(light, p) for p in face])
            d = own[np.repeat(np.arange(len(face)), 6), rng.integers(0, len(disc), len(starts))]
        ahead = d @ glass.normal > 1e-3
        behind = d @ glass.normal < -1e-3
        is_front = face is glass.front_mm
        go = ahead if is_front else ahead | behind
        d, starts, ahead = d[go], starts[go], ahead[go]
        if not is_front and len(d):  # through the glass to its front face, then on
            within = refracted(d, glass.normal, glass.index)
            entry = starts + within * (glass.thickness_mm / np.abs(within @ glass.normal))[:, None]
            starts = np.where(ahead[:, None], entry, starts)
        if len(d):
            found.append(~mesh.ray.intersects_any(starts + STEP_MM * d, d))
    return float(np.concatenate(found).mean()) if found else 0.0
