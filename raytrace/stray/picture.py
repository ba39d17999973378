"""The leak picture: how bright what lies behind the box shows in each pixel, against the same brightness in front.

A coarse pass over the frame finds which paths count and where; the fine pass works only there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Glass
from raytrace.optics.bundle import launch
from raytrace.optics.camera import PixelGrid
from raytrace.optics.glass import walk
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.pencil import Pencils
from raytrace.optics.sampling import sobol_square
from raytrace.stray.mirror import Leaked, MirrorPath, MirrorScene, leaked, mirror_paths, path_name, pupil_rays
from raytrace.stray.world import OUTSIDE_MM

COARSE_COLUMNS = 128
LOG2_COARSE = 4  # rays per coarse pixel: with its neighbours 144 look for a leak before a place counts as dark
RAYS_AT_ONCE = 1 << 15
FINE_SHARE = 0.02  # of the strongest path's peak: weaker ones are smooth enough, and weak enough, for the coarse pass alone
WANTED_STDERR = 1e-3  # of the picture's total: the fine pass is repeated until it is met, or
MOST_PASSES = 4
LEAST_STRENGTH = 1e-4  # of the same brightness in front, 13 stops under it: below what a black level shows


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakPath:
    """One way for light into the picture: through an opening, off one face or several.

    strength is the mean over the picture and peak that of the brightest place, both against the same brightness in front. place_mm
    (right, up) is where it shows brightest, direction (3,) toward where the light comes from, corners_mm (C, 3) the strongest ray.
    """

    opening: int
    path: MirrorPath
    name: str
    strength: float
    peak: float
    place_mm: tuple[float, float]
    direction: FloatArray
    corners_mm: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakPicture:
    """Leaks on a pixel grid, row 0 the top; brightness outside taken as 1 all round.

    absolute (O, H, W) by opening, as light on the lens; front (H, W) what the glass leaves of brightness 1 in front; stderr (H, W)
    of the sum over openings. left_out bounds the strength that paths below the stated one would add.
    """

    grid: PixelGrid
    absolute: FloatArray
    front: FloatArray
    stderr: FloatArray
    total_stderr: float
    paths: tuple[LeakPath, ...]
    left_out: float
    opening_names: tuple[str, ...]

    @property
    def relative(self) -> FloatArray:
        """Strength (H, W) of all openings together against the same brightness in front, both as recorded."""
        return np.asarray(self.absolute.sum(axis=0) / self.front)

    def by_opening(self) -> FloatArray:
        """Mean strength (O,) over the picture of each opening, against the same brightness in front."""
        return np.asarray((self.absolute / self.front).mean(axis=(1, 2)))


def leak_picture(
    lens: LensState,
    grid: PixelGrid,
    scene: MirrorScene,
    *,
    rng: np.random.Generator,
    log2_rays: int = 3,
    most_mirrors: int = 3,
    least_strength: float = LEAST_STRENGTH,
    threads: int = 1,
) -> LeakPicture:
    """The leak picture on a grid, with 2**log2_rays rays a pixel and pass wherever a coarse look finds anything.

    The result does not depend on the number of threads.
    """
    scene = replace(scene, least_strength=least_strength * 0.1)
    look = _look(lens, grid.resized(min(COARSE_COLUMNS, grid.columns)), scene, most_mirrors, rng)
    counted = tuple(found for found in look.paths if found.peak >= least_strength)
    strong = FINE_SHARE * max((found.peak for found in counted), default=0.0)
    fine = tuple(dict.fromkeys(found.path for found in counted if found.peak >= strong))
    lit = look.lit_by(fine)
    absolute, variance = _fine(lens, grid, scene, fine, lit, log2_rays, rng, threads)
    for passes in range(1, MOST_PASSES):
        if total_stderr(absolute.sum(axis=0)) <= WANTED_STDERR:
            break
        more, spread = _fine(lens, grid, scene, fine, lit, log2_rays, rng, threads)
        absolute = (absolute * passes + more) / (passes + 1)
        variance = (variance * passes**2 + spread) / (passes + 1) ** 2
    absolute += _upsampled(look.light_of([found for found in counted if found.path not in fine]), grid)
    front = front_transmission(lens, grid, scene.glasses)
    return LeakPicture(
        grid=grid,
        absolute=absolute,
        front=front,
        stderr=np.sqrt(variance),
        total_stderr=total_stderr(absolute.sum(axis=0)),
        paths=tuple(sorted(counted, key=lambda found: -found.strength)),
        left_out=float(sum(found.peak for found in look.paths if found.peak < least_strength)) + scene.least_strength,
        opening_names=scene.world.opening_names,
    )


def total_stderr(picture: FloatArray) -> float:
    """Standard error of a picture's total, as a share of it, from how pixels (H, W) stray from their neighbours in the row.

    Each pixel has its own random pupil points, so (2 b - a - c)^2 / 6 is its variance where the picture itself runs straight;
    its bends make this larger, never smaller. 0 for a dark picture.
    """
    total = picture.sum()
    if total <= 0 or picture.shape[1] < 3:
        return 0.0
    bend = 2 * picture[:, 1:-1] - picture[:, :-2] - picture[:, 2:]
    return float(np.sqrt((bend**2).sum() / 6) / total)


def _fine(
    lens: LensState,
    grid: PixelGrid,
    scene: MirrorScene,
    paths: Sequence[MirrorPath],
    lit: NDArray[np.bool_],
    log2_rays: int,
    rng: np.random.Generator,
    threads: int,
) -> tuple[FloatArray, FloatArray]:
    """Light (O, H, W) by the stronger paths, and the variance (H, W) of its sum over openings."""
    count = grid.rows * grid.columns
    absolute, variance = np.zeros((len(scene.world.openings), count)), np.zeros(count)
    points = grid.points_mm
    chunks = list(_chunks(np.flatnonzero(_lit_pixels(lit, grid)), 1 << log2_rays))

    def work(some: NDArray[np.int64], child: np.random.Generator) -> None:
        absolute[:, some], variance[some] = _traced(pencils_for(lens, points[some]), paths, scene, log2_rays, child)

    with ThreadPoolExecutor(max_workers=threads) as pool:
        list(pool.map(work, chunks, rng.spawn(len(chunks))))
    return absolute.reshape(-1, grid.rows, grid.columns), variance.reshape(grid.rows, grid.columns)


def _upsampled(light: FloatArray, grid: PixelGrid) -> FloatArray:
    rows, columns = _nearest(light.shape[1], grid.rows), _nearest(light.shape[2], grid.columns)
    return np.asarray(light[:, rows][:, :, columns])


def front_transmission(lens: LensState, grid: PixelGrid, glasses: Sequence[Glass]) -> FloatArray:
    """Share of light from in front that the glass passes along the middle of each pencil (H, W), from a coarse grid."""
    coarse = grid.resized(min(COARSE_COLUMNS, grid.columns))
    bundle, _ = walk(launch(pencils_for(lens, coarse.points_mm), np.zeros((1, 2))), glasses)
    light = bundle.weight.reshape(coarse.rows, coarse.columns)
    return light[_nearest(coarse.rows, grid.rows)][:, _nearest(coarse.columns, grid.columns)]


def _nearest(few: int, many: int) -> NDArray[np.int64]:
    return np.minimum((np.arange(many) + 0.5) * few / many, few - 1).astype(np.int64)


def _chunks(items: NDArray[np.int64], per_item: int) -> Iterator[NDArray[np.int64]]:
    step = max(1, RAYS_AT_ONCE // per_item)
    for first in range(0, len(items), step):
        yield items[first : first + step]


def _squares(count: int, log2_rays: int, rng: np.random.Generator) -> FloatArray:
    """Pupil points (N, K, 2) on the unit square: one Sobol set, shifted round by chance for each pencil."""
    return (sobol_square(log2_rays, rng)[None] + rng.random((count, 1, 2))) % 1.0


def _traced(
    pencils: Pencils, paths: Sequence[MirrorPath], scene: MirrorScene, log2_rays: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Mean light (O, P) of pencils by opening, and the variance (P,) of its sum as if rays were independent: on the safe side."""
    rays = pupil_rays(pencils, _squares(len(pencils), log2_rays, rng))
    per_ray = np.zeros((len(scene.world.openings), len(rays.sent)))
    for path in paths:
        found = leaked(rays, path, scene)
        np.add.at(per_ray, (found.opening, found.ray), found.strength)
    split = per_ray.reshape(len(per_ray), len(pencils), -1)
    sent = np.maximum(rays.sent.reshape(len(pencils), -1).sum(axis=1), 1).astype(np.float64)
    light = split.sum(axis=2) / sent
    square = (split.sum(axis=0) ** 2).sum(axis=1) / sent
    return light, np.maximum(square - light.sum(axis=0) ** 2, 0.0) / np.maximum(sent - 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """The coarse pass: every path that came through, and its light (h, w) on the coarse grid, in the same order."""

    paths: tuple[LeakPath, ...]
    light: tuple[FloatArray, ...]
    openings: int
    shape: tuple[int, int]

    def lit_by(self, paths: Sequence[MirrorPath]) -> NDArray[np.bool_]:
        """Coarse pixels (h, w) that get anything by these paths."""
        lit = [light > 0 for found, light in zip(self.paths, self.light, strict=True) if found.path in paths]
        return np.any(lit, axis=0) if lit else np.zeros(self.shape, dtype=np.bool_)

    def light_of(self, paths: Sequence[LeakPath]) -> FloatArray:
        """Light (O, h, w) of these paths."""
        total = np.zeros((self.openings, *self.shape))
        for found, light in zip(self.paths, self.light, strict=True):
            if any(found is path for path in paths):
                total[found.opening] += light
        return total


def _look(lens: LensState, grid: PixelGrid, scene: MirrorScene, most_mirrors: int, rng: np.random.Generator) -> _Look:
    front = front_transmission(lens, grid, scene.glasses).ravel()
    found, sent = [], np.zeros(len(front))
    paths = mirror_paths(len(scene.glasses), most_mirrors)
    for some in _chunks(np.arange(len(front)), 1 << LOG2_COARSE):
        rays = pupil_rays(pencils_for(lens, grid.points_mm[some]), _squares(len(some), LOG2_COARSE, rng))
        sent[some] = rays.sent.reshape(len(some), -1).sum(axis=1)
        pieces = [leaked(rays, path, scene) for path in paths]
        found.append([replace(piece, ray=some[piece.ray >> LOG2_COARSE]) for piece in pieces])
    whole = [Leaked.joined([pieces[k] for pieces in found]) for k in range(len(paths))]
    named, light = [], []
    for path, leaks in zip(paths, whole, strict=True):
        for opening in np.unique(leaks.opening):
            of_this = leaks.opening == opening
            light.append(np.bincount(leaks.ray[of_this], leaks.strength[of_this], minlength=len(front)) / np.maximum(sent, 1))
            named.append(_path(leaks, int(opening), path, light[-1] / front, grid, scene))
    shape = (grid.rows, grid.columns)
    light = [one.reshape(shape) for one in light]
    return _Look(paths=tuple(named), light=tuple(light), openings=len(scene.world.openings), shape=shape)


def _path(found: Leaked, opening: int, path: MirrorPath, relative: FloatArray, grid: PixelGrid, scene: MirrorScene) -> LeakPath:
    """One path through one opening; `found.ray` counts coarse pixels here, `relative` (P,) is its strength in each."""
    best = int(np.argmax(relative))
    here = np.flatnonzero((found.opening == opening) & (found.ray == best))
    strongest = here[np.argmax(found.strength[here])]
    mean = np.average(found.direction[here], axis=0, weights=found.strength[here])
    right, up = grid.points_mm[best]
    end = found.corners_mm[strongest, -1] + OUTSIDE_MM / 10 * found.direction[strongest]
    return LeakPath(
        opening=opening,
        path=path,
        name=path_name(path, scene.glasses),
        strength=float(relative.mean()),
        peak=float(relative[best]),
        place_mm=(float(right), float(up)),
        direction=mean / np.linalg.norm(mean),
        corners_mm=np.concatenate([found.corners_mm[strongest], end[None]]),
    )


def _lit_pixels(coarse: NDArray[np.bool_], grid: PixelGrid) -> NDArray[np.bool_]:
    """Fine pixels (H W,) in or beside a coarse pixel that gets anything."""
    h, w = coarse.shape
    wide = np.pad(coarse, 1)
    near = np.zeros_like(coarse)
    for down in range(3):
        for right in range(3):
            near |= wide[down : down + h, right : right + w]
    return near[_nearest(h, grid.rows)][:, _nearest(w, grid.columns)].ravel()
