"""Direct light: which directions of the whole sphere see the target past the box, through which opening, and what stops the others.

The sky is charted with equal areas: straight ahead in the middle, behind on the rim, r = 2 sin(angle / 2) (Lambert's azimuthal
projection), so that a pixel of side h is h^2 steradian wherever it lies. Formulas: docs/stray-light.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray, cross_product
from geometry.body import Surface
from geometry.frame import frame_to_right_up, right_up_to_frame
from geometry.openings import triangle_areas_mm2
from raytrace.lights import LightPlace
from raytrace.optics.sampling import concentric_disc, sobol_square
from raytrace.stray.target import Target
from raytrace.stray.world import NOTHING, Index, World

BoolArray = NDArray[np.bool_]

RAYS_AT_ONCE = 1 << 18
LOG2_OPENING = 13  # pairs of target and opening points; a slot's solid angle then stands to about a hundredth
WIDER_DEG = (0.0, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 20.0, 28.0)  # how far round a light its nearest edge is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyChart:
    """An equal-area chart of the sky, `size` pixels across."""

    size: int

    @property
    def step(self) -> float:
        """Side of a pixel; its square is the solid angle [sr]."""
        return 4.0 / self.size

    def radius(self) -> FloatArray:
        """Distance from the middle (H, W): 2 sin(angle / 2); above 2 is off the chart."""
        right, up = self.right_up()
        return np.hypot(right, up)

    def right_up(self) -> tuple[FloatArray, FloatArray]:
        """Chart coordinates (H, W) of the pixel centres, row 0 at the top."""
        c = (np.arange(self.size) + 0.5) * self.step - 2.0
        right, up = np.meshgrid(c, c[::-1])
        return right, up

    def directions(self) -> FloatArray:
        """Unit vectors (D, 3) of the pixels on the chart, row by row."""
        right, up = self.right_up()
        on = self.radius() < 2.0
        return chart_to_direction(np.column_stack([right[on], up[on]]))

    def spread(self, values: FloatArray) -> FloatArray:
        """Values (..., D) of the pixels on the chart as pictures (..., H, W); NaN off it."""
        picture = np.full((*values.shape[:-1], self.size, self.size), np.nan)
        picture[..., self.radius() < 2.0] = values
        return picture


def chart_to_direction(right_up: FloatArray) -> FloatArray:
    """Unit vectors (N, 3) of chart places (N, 2). Source: Snyder, Map Projections (USGS 1395), Lambert azimuthal (from memory)."""
    r2 = np.minimum((right_up**2).sum(axis=1), 4.0)
    lean = np.sqrt(1.0 - r2 / 4.0)
    xy = right_up_to_frame(right_up * lean[:, None])
    return np.column_stack([xy, 1.0 - r2 / 2.0])


def direction_to_chart(direction: FloatArray) -> FloatArray:
    """Chart places (N, 2) right and up of unit vectors (N, 3): the inverse of `chart_to_direction`."""
    scale = np.sqrt(2.0 / np.maximum(1.0 + direction[:, 2], 1e-12))
    return frame_to_right_up(direction[:, :2]) * scale[:, None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sky:
    """The target as every direction sees it: share lit by opening (O, D), and the first part that stops most of the rest (D,)."""

    chart: SkyChart
    direction: FloatArray
    share: FloatArray
    stopped_by: Index
    cosine: FloatArray

    def open_sr(self, where: BoolArray) -> FloatArray:
        """Solid angle (O,) weighted with the share lit, over some directions (D,) [sr]."""
        return np.asarray((self.share * where).sum(axis=1) * self.chart.step**2)

    def irradiance(self, where: BoolArray) -> FloatArray:
        """Light (O,) on the target from brightness 1 in some directions (D,): the solid angle weighted with the cosine too [sr]."""
        return np.asarray((self.share * self.cosine * where).sum(axis=1) * self.chart.step**2)


def sky_of(target: Target, world: World, size: int = 121) -> Sky:
    """The share of the target that each direction of a chart lights."""
    chart = SkyChart(size=size)
    direction = chart.directions()
    step = max(1, RAYS_AT_ONCE // len(target.points_mm))
    pieces = [_seen(target, world, direction[k : k + step]) for k in range(0, len(direction), step)]
    return Sky(
        chart=chart,
        direction=direction,
        share=np.concatenate([share for share, _ in pieces], axis=1),
        stopped_by=np.concatenate([stopped for _, stopped in pieces]),
        cosine=np.abs(direction @ target.normal),
    )


def _seen(target: Target, world: World, direction: FloatArray) -> tuple[FloatArray, Index]:
    start = target.starts(direction)
    return _shares(world, start, np.broadcast_to(direction[:, None, :], start.shape))


def _shares(world: World, start: FloatArray, direction: FloatArray) -> tuple[FloatArray, Index]:
    """Shares (O, D) of rays (D, M, 3) by the opening they leave by, and the wall (D,) that stops most; NaN starts reach nothing."""
    count, per = start.shape[:2]
    there = np.isfinite(start[..., 0]).ravel()
    escape = world.escape(start.reshape(-1, 3)[there], direction.reshape(-1, 3)[there])
    row = np.repeat(np.arange(count), per)[there]
    share = _counted(row, escape.opening, count, len(world.openings)) / per
    stopped = _counted(row, escape.wall, count, len(world.walls))
    return share, np.where(stopped.any(axis=0), stopped.argmax(axis=0), NOTHING) if len(stopped) else np.full(count, NOTHING)


def _counted(row: Index, item: Index, rows: int, items: int) -> FloatArray:
    kept = item != NOTHING
    flat = np.bincount(item[kept] * rows + row[kept], minlength=items * rows)
    return flat.reshape(items, rows).astype(np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Through:
    """What the target sees through one opening: solid angle, and that times cosine, means over the target with errors [sr]."""

    open_sr: float
    open_stderr_sr: float
    irradiance_sr: float
    irradiance_stderr_sr: float


def through_opening(
    target: Target, world: World, opening: int, *, rng: np.random.Generator, log2_pairs: int = LOG2_OPENING
) -> Through:
    """Solid angle that an opening leaves open, by points spread over the opening: a slot of half a millimetre is not missed.

    The mean over target and opening points of A |cos_o| / d^2 where the ray leaves through this opening, and times cos_t.
    """
    surface = world.openings[opening].surface
    if not len(surface.faces):
        return Through(open_sr=0.0, open_stderr_sr=0.0, irradiance_sr=0.0, irradiance_stderr_sr=0.0)
    solid, light = np.zeros(1 << log2_pairs), np.zeros(1 << log2_pairs)
    for points, normal in target.faces:
        place, facing, area = surface_points(surface, log2_pairs, rng)
        start = points[rng.permutation(len(place)) % len(points)]
        way = place - start
        distance = np.linalg.norm(way, axis=1)
        way /= distance[:, None]
        ahead = way @ normal
        out = np.flatnonzero(ahead > 0)
        leaves = out[world.escape(start[out], way[out]).opening == opening]
        term = area * np.abs(np.einsum("nj,nj->n", facing, way)) / distance**2
        solid[leaves] += term[leaves]
        light[leaves] += term[leaves] * ahead[leaves]
    root = np.sqrt(len(solid))
    return Through(
        open_sr=float(solid.mean()),
        open_stderr_sr=float(solid.std() / root),
        irradiance_sr=float(light.mean()),
        irradiance_stderr_sr=float(light.std() / root),
    )


def surface_points(surface: Surface, log2_count: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, float]:
    """Points (K, 3) spread evenly over a surface's triangles, their unit normals (K, 3), and the whole area [mm^2]."""
    areas = triangle_areas_mm2(surface)
    square = sobol_square(log2_count, rng)
    edges = np.cumsum(areas)
    face = np.minimum(np.searchsorted(edges, square[:, 0] * edges[-1], side="right"), len(areas) - 1)
    left = (square[:, 0] * edges[-1] - (edges[face] - areas[face])) / areas[face]  # what is left of the first number is even again
    u, v = np.sqrt(np.clip(left, 0.0, 1.0)), square[:, 1]
    a, b, c = np.moveaxis(surface.vertices_mm[surface.faces[face]], 1, 0)
    points = a + u[:, None] * (b - a + v[:, None] * (c - b))
    normal = cross_product(b - a, c - a)
    return points, normal / np.linalg.norm(normal, axis=1, keepdims=True), float(edges[-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class LightShare:
    """How a light fares: share of the target it lights, by opening (O,), what stops most of the rest, and whose edge is nearest.

    cut_by is the part that a wider and wider light would meet first, `cut_at_deg` from the light's rim; '' where nothing is near.
    rays is how many were followed: a share of none of them may be as much as `least_seen`.
    """

    light: str
    share: float
    by_opening: FloatArray
    stopped_by: str
    cut_by: str
    cut_at_deg: float
    rays: int = 0

    @property
    def least_seen(self) -> float:
        """The largest share that so many rays miss once in twenty times. Source: the rule of three, any handbook of statistics."""
        return 3.0 / self.rays if self.rays else 1.0


def light_share(target: Target, world: World, light: LightPlace, *, rng: np.random.Generator, log2_rays: int = 13) -> LightShare:
    """Share of the target that a light reaches, over the target's points and the light's own disc."""
    share, stopped = _lit(target, world, light, 0.0, log2_rays, rng)
    cut_by, cut_at = "", 0.0
    if share.sum() > 0:
        cut_by, cut_at = _nearest_edge(target, world, light, 1.0 - share.sum(), rng)
    name = world.wall_names[int(stopped.argmax())] if stopped.any() else ""
    return LightShare(
        light=light.name,
        share=float(share.sum()),
        by_opening=share,
        stopped_by=name,
        cut_by=cut_by,
        cut_at_deg=cut_at,
        rays=1 << log2_rays,
    )


def lit_share(target: Target, world: World, light: LightPlace, *, rng: np.random.Generator, log2_rays: int = 11) -> float:
    """Share of the target that a light reaches, alone."""
    return float(_lit(target, world, light, 0.0, log2_rays, rng)[0].sum())


def _nearest_edge(target: Target, world: World, light: LightPlace, stopped: float, rng: np.random.Generator) -> tuple[str, float]:
    """The part that stops most of a light made wider, at the first widening that stops a hundredth more than the light itself."""
    for wider in WIDER_DEG:
        share, walls = _lit(target, world, light, wider, 12, rng)
        if walls.any() and (stopped > 0.01 or 1.0 - share.sum() > stopped + 0.01):
            return world.wall_names[int(walls.argmax())], wider
    return "", WIDER_DEG[-1]


def _lit(
    target: Target, world: World, light: LightPlace, wider_deg: float, log2_rays: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Shares (O,) of rays that reach the light by opening, and shares (W,) that each wall stops first."""
    count = 1 << log2_rays
    start = target.scattered(log2_rays, rng)
    direction = light_rays(light, start, wider_deg, concentric_disc(sobol_square(log2_rays, rng)))
    behind = direction @ target.normal <= 0
    if len(target.rear_points_mm):
        start = np.where(behind[:, None], target.scattered(log2_rays, rng, rear=True), start)
        behind = np.zeros(count, dtype=np.bool_)
    escape = world.escape(start[~behind], direction[~behind])
    opening = np.bincount(escape.opening[escape.opening != NOTHING], minlength=len(world.openings))
    wall = np.bincount(escape.wall[escape.wall != NOTHING], minlength=max(len(world.walls), 1))
    return opening / count, wall / count


def light_rays(light: LightPlace, start: FloatArray, wider_deg: float, disc: FloatArray) -> FloatArray:
    """Unit vectors (N, 3) from points (N, 3) to places of a light, spread over its disc by `disc` (N, 2), made wider by so much."""
    toward = np.broadcast_to(light.direction, start.shape) if light.place_mm is None else light.place_mm - start
    distance = np.linalg.norm(toward, axis=1)
    toward = toward / distance[:, None]
    half = np.radians(light.width_deg) / 2 if light.place_mm is None else np.arctan(light.size_mm / 2 / distance)
    first, second = _axes_round(toward if light.place_mm is not None else toward[:1])
    reach = 2 * np.sin((half + np.radians(wider_deg)) / 2)  # a disc of equal areas on the sphere
    place = disc * np.broadcast_to(reach, len(disc))[:, None]
    r2 = (place**2).sum(axis=1)
    lean = np.sqrt(1.0 - r2 / 4.0)
    return (1.0 - r2 / 2.0)[:, None] * toward + (place[:, [0]] * first + place[:, [1]] * second) * lean[:, None]


def _axes_round(toward: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors each (N, 3), square to directions (N, 3) and to each other."""
    aside = np.where(np.abs(toward[:, [1]]) < 0.9, np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]))
    first = cross_product(toward, aside)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return first, cross_product(toward, first)


def worth_of(target: Target, world: World, without: Mapping[str, World], where: BoolArray, size: int) -> dict[str, float]:
    """Solid angle [sr] that parts keep off, each alone, outside the frame: what opens in the box `without` it."""
    now = sky_of(target, world, size).open_sr(where).sum()
    return {name: float(sky_of(target, other, size).open_sr(where).sum() - now) for name, other in without.items()}
