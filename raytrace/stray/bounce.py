"""One diffuse bounce: light that meets a lining and from there the target, against the light as it would fall without a box.

Light that comes in by the mouth is looked for from every place of a lining; light through a gap from places spread over the gap,
since it lights little spots that places spread over a whole hood would miss. Formulas: docs/stray-light.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray, cross_product
from geometry.body import Surface
from geometry.openings import OpeningKind
from raytrace.lights import LightPlace
from raytrace.optics.sampling import concentric_disc, sobol_square
from raytrace.stray.direct import light_rays, surface_points
from raytrace.stray.target import Target
from raytrace.stray.world import NOTHING, STEP_MM, World

BoolArray = NDArray[np.bool_]

LOG2_SAMPLES = 14  # for each lining and each gap
LOG2_RUNS = 4  # independent runs, whose spread gives the standard error
WIDE_OPEN = (OpeningKind.MOUTH, OpeningKind.REAR, OpeningKind.JOINT, OpeningKind.REST)


@dataclass(frozen=True, slots=True, kw_only=True)
class Veil:
    """Light on the target after one bounce, as a share of the light on a surface that faces the light with no box.

    by_part (W, O): from each wall, having come in by each opening; stderr (W, O).
    """

    light: str
    by_part: FloatArray
    stderr: FloatArray

    @property
    def total(self) -> float:
        """Everything together."""
        return float(self.by_part.sum())

    @property
    def total_stderr(self) -> float:
        """Standard error of the total."""
        return float(np.sqrt((self.stderr**2).sum()))


def veil_of(
    target: Target,
    world: World,
    light: LightPlace,
    linings: Mapping[str, float],
    *,
    rng: np.random.Generator,
    log2_samples: int = LOG2_SAMPLES,
) -> Veil:
    """The veil that a light makes by one bounce off each lining; `linings` holds diffuse reflectances by wall name."""
    runs = 1 << LOG2_RUNS
    values = np.zeros((runs, len(world.walls), len(world.openings)))
    for run, child in enumerate(rng.spawn(runs)):
        for wall, part in enumerate(world.walls):
            if linings.get(part.name, 0.0) > 0 and isinstance(part.body, Surface):
                found = _off_lining(target, world, light, part.body, log2_samples - LOG2_RUNS, child)
                values[run, wall] += linings[part.name] * found
        for opening in range(len(world.openings)):
            values[run, :, opening] += _through_gap(target, world, light, opening, linings, log2_samples - LOG2_RUNS, child)
    return Veil(light=light.name, by_part=values.mean(axis=0), stderr=np.asarray(values.std(axis=0, ddof=1) / np.sqrt(runs)))


def _off_lining(
    target: Target, world: World, light: LightPlace, lining: Surface, log2_samples: int, rng: np.random.Generator
) -> FloatArray:
    """Light (O,) off a lining of reflectance 1 that came in by the wide openings: area / pi * cos_l cos_x cos_y / d^2, a mean."""
    place, normal, area = surface_points(lining, log2_samples, rng)
    toward = light_rays(light, place, 0.0, concentric_disc(sobol_square(log2_samples, rng)))
    side = np.sign(np.einsum("nj,nj->n", normal, toward))
    normal = normal * side[:, None]
    gain = area * np.einsum("nj,nj->n", normal, toward) / np.pi * _distance_share(light, place)
    opening = world.escape(place + STEP_MM * normal, toward).opening
    wide = np.array([o.kind in WIDE_OPEN for o in world.openings])
    lit = (opening != NOTHING) & wide[opening]
    gain[lit] *= _onto_target(target, world, place[lit] + STEP_MM * normal[lit], normal[lit], rng)
    return np.bincount(opening[lit], gain[lit], minlength=len(world.openings)) / len(place)


def _through_gap(
    target: Target,
    world: World,
    light: LightPlace,
    opening: int,
    linings: Mapping[str, float],
    log2_samples: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Light (W,) by one gap: places on the gap, the wall that light through them meets, and on to the target."""
    gap, total = world.openings[opening], np.zeros(len(world.walls))
    if gap.kind in WIDE_OPEN or not len(gap.surface.faces):
        return total
    place, facing, area = surface_points(gap.surface, log2_samples, rng)
    toward = light_rays(light, place, 0.0, concentric_disc(sobol_square(log2_samples, rng)))
    seen = world.seen(place, -toward)
    spot = place - np.where(np.isfinite(seen.distance_mm), seen.distance_mm, 0.0)[:, None] * toward
    rho = np.array([linings.get(wall.name, 0.0) for wall in world.walls])
    met = (seen.wall != NOTHING) & (rho[seen.wall] > 0)
    inside = spot + STEP_MM * seen.normal
    met[met] = world.escape(inside[met], toward[met]).opening == opening
    flux = area * np.abs(np.einsum("nj,nj->n", facing, toward)) / np.pi * _distance_share(light, place)
    flux[met] *= rho[seen.wall[met]] * _onto_target(target, world, inside[met], seen.normal[met], rng)
    return np.bincount(seen.wall[met], flux[met], minlength=len(total)) / len(place)


def _distance_share(light: LightPlace, place: FloatArray) -> FloatArray | float:
    """Light at a place against that at the lens front: nearer to a lamp there is more. Source: inverse square law."""
    if light.place_mm is None:
        return 1.0
    return np.asarray((light.place_mm**2).sum() / ((light.place_mm - place) ** 2).sum(axis=1))


def _onto_target(target: Target, world: World, place: FloatArray, normal: FloatArray, rng: np.random.Generator) -> FloatArray:
    """cos_x cos_y / d^2 (N,) from places to one random point of the target each, 0 where something is between [1/mm^2]."""
    total = np.zeros(len(place))
    for points, facing in target.faces:
        way = points[rng.integers(len(points), size=len(place))] - place
        distance = np.linalg.norm(way, axis=1)
        way /= distance[:, None]
        leaving, arriving = np.einsum("nj,nj->n", normal, way), -(way @ facing)
        seen = np.flatnonzero((leaving > 0) & (arriving > 0))
        seen = seen[world.first_wall(place[seen], way[seen], distance[seen] - STEP_MM) == NOTHING]
        total[seen] += leaving[seen] * arriving[seen] / distance[seen] ** 2
    return total


def _square_to(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    aside = np.array([0.0, 1.0, 0.0]) if abs(normal[1]) < 0.9 else np.array([1.0, 0.0, 0.0])
    first = cross_product(normal, aside)
    first /= np.linalg.norm(first)
    return first, cross_product(normal, first)
