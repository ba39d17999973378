"""Rays that leave a lens, from the numbers of its scene table: written apart from the program, with nothing of it.

Frame as in the scene file's: mm, origin at the lens front, z toward the scene, y up, x to the operator's left; so what is seen
at the right of the picture comes from negative x. Sources: straight lines; projections and finite focus as docs/physics.md states
them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FAR = 1e30
INVERSE = {  # image radius over focal length -> field angle
    "rectilinear": np.arctan,
    "equidistant": lambda r: r,
    "equisolid": lambda r: 2 * np.arcsin(r / 2),
    "stereographic": lambda r: 2 * np.arctan(r / 2),
    "orthographic": np.arcsin,
}


@dataclass(frozen=True, slots=True)
class Lens:
    """What rays need: focal lengths of the field across and up, pupil depths and radii across and up, object plane, ring."""

    focal: tuple[float, float]
    depth: tuple[float, float]
    radius: tuple[float, float]
    object_z: float
    ring: float
    projection: str
    distortion: tuple[float, float]
    half_diagonal: float
    walk: tuple[tuple[float, float, float, float], ...] = ()

    def rays(self, points, disc):
        """Origins and ways (N * K, 3) of the rays through points (N, 2) of the picture and points (K, 2) of the unit disc.

        Only those that get through the front ring; the way's z is 1, its origin lies in the pupil.
        """
        tangent = self.tangent(points)
        crossing = self._crossing(tangent, disc)
        depth = np.broadcast_to(self._depth(tangent)[:, None], crossing.shape)
        if self.object_z < FAR:
            aim = (tangent * (self.object_z + self.depth[1]))[:, None]  # one object plane; the upright pupil maps the field onto it
            slope = (aim - crossing) / (self.object_z + depth)
        else:
            slope = np.broadcast_to(tangent[:, None], crossing.shape)
        start = depth.max()
        at = crossing + (depth - start) * slope  # every ray from one plane behind both pupils
        origin = np.concatenate([at, np.full((*at.shape[:2], 1), -start)], axis=-1).reshape(-1, 3)
        way = np.concatenate([slope, np.ones((*slope.shape[:2], 1))], axis=-1).reshape(-1, 3)
        front = origin[:, :2] + start * way[:, :2]
        which = np.repeat(np.arange(len(points)), len(disc))
        passed = np.hypot(*front.T) < self.ring
        return np.ascontiguousarray(origin[passed]), np.ascontiguousarray(way[passed]), which[passed]

    def tangent(self, points):
        """Slopes (N, 2) of the chief rays of picture points (N, 2), right and up."""
        seen = np.asarray(points, dtype=np.float64) * [-1.0, 1.0]
        radius = np.hypot(*seen.T)
        plain = radius * np.where(radius > 0, self._undistorted(radius) / np.where(radius > 0, radius, 1.0), 1.0)
        share = np.where(radius > 0, plain / np.where(radius > 0, radius, 1.0), 1.0)[:, None]
        if self.projection == "rectilinear":
            return seen * share / self.focal
        field = INVERSE[self.projection](plain / self.focal[0])
        return seen / np.where(radius > 0, radius, 1.0)[:, None] * np.tan(field)[:, None]

    def _undistorted(self, radius):
        return undistorted(radius, self.distortion, self.half_diagonal)

    def _row(self, tangent):
        field = np.degrees(np.arctan(np.hypot(*tangent.T)))
        rows = np.array(self.walk)
        return field, [np.interp(field, rows[:, 0], rows[:, k]) for k in (1, 2, 3)]

    def _depth(self, tangent):
        if not self.walk:
            return np.broadcast_to(np.array(self.depth), tangent.shape)
        _, (depth, _, _) = self._row(tangent)
        return np.column_stack([depth, depth])

    def _crossing(self, tangent, disc):
        if not self.walk:
            return np.broadcast_to(disc * self.radius, (len(tangent), *disc.shape))
        field, (_, along, across) = self._row(tangent)
        length = np.hypot(*tangent.T)
        out = np.where(length[:, None] > 0, tangent / np.where(length > 0, length, 1.0)[:, None], [0.0, 1.0])
        part = disc[None] @ out[:, :, None]
        tall = along / np.cos(np.radians(field))
        return self.radius[0] * (across[:, None, None] * disc[None] + (tall - across)[:, None, None] * part * out[:, None])


def undistorted(radius, distortion, half_diagonal):
    """Where a radius in the picture would lie without distortion, by Newton's steps."""
    k1, k2 = distortion
    if k1 == k2 == 0:
        return radius
    want, r = radius / half_diagonal, radius / half_diagonal
    for _ in range(60):
        r = r - (r * (1 + k1 * r**2 + k2 * r**4) - want) / (1 + 3 * k1 * r**2 + 5 * k2 * r**4)
    return r * half_diagonal


def lens_of(scene, *, depth=None):
    """The lens of a parsed scene with one lens, one stop and one focus; `depth` picks one between bounds."""
    lens, camera, check = scene["lens"][0], scene["camera"], scene.get("check", {})
    focal = lens["focal_mm"]
    stop = check.get("f_numbers", [lens["f_number"]])[0]
    squeeze = lens.get("squeeze", 1.0)
    walk = tuple(tuple(row) for row in lens.get("pupil_walk", ()))
    told = lens.get("pupil_behind_front_mm", walk[0][1] if walk else None)
    depths = (told["horizontal"], told["vertical"]) if isinstance(told, dict) else (depth or told,) * 2
    focus = check.get("focus_mm", ["infinity"])[0]
    half = np.hypot(camera["width_mm"], camera["height_mm"]) / 2
    field, plane = focal, FAR
    if focus != "infinity":
        plane = focus - lens["front_to_sensor_mm"]
        field = _field_focal(lens, focal, focus, depths[1])
    if "field_focal_mm" in lens:  # of a measured half field, at a picture's edge that distortion has moved
        edge = camera["width_mm"] / 2
        field = lens["field_focal_mm"] * undistorted(edge, lens.get("distortion", (0.0, 0.0)), half) / edge
    radius = focal / stop / 2
    width = lens.get("pupil_width_factor", 1.0 / squeeze)
    return Lens(
        focal=(field / squeeze, field), depth=depths, radius=(radius * width, radius), object_z=plane,
        ring=lens.get("front_glass_mm", np.inf) / 2, projection=lens.get("projection", "rectilinear"),
        distortion=tuple(lens.get("distortion", (0.0, 0.0))), half_diagonal=half, walk=walk,
    )  # fmt: skip


def _field_focal(lens, focal, focus, depth):
    """What stands for the focal length at a near focus: stated, from the pupil magnification, or the thin-lens guess."""
    behind = lens["front_to_sensor_mm"] - depth
    p = lens.get("pupil_magnification")
    if p is None:
        q = focus / focal - 2
        m = (q - np.sqrt(q * q - 4)) / 2
        return min(m * (focus - behind), focal)
    apart = behind - 2 * focal + focal / p
    q = (focus - apart) / focal - 2
    m = (q - np.sqrt(q * q - 4)) / 2
    return focal * (1 + m / p)
