"""The three ways to a map behind one face: which kernel, how many rays, in which pieces, with which seeds."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Box
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.pencil import Pencils
from raytrace.shares import Made, Shares, VignetteMap
from scenes.runtime.first_run import prepare
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.messages import did_you_mean

PIECE_RAYS = 1 << 18  # rays to a piece of work: small enough for the caches, large enough for numpy
WIDE_COLUMNS = 1024  # of a coverage map
LEAST_COLUMNS = 160  # of one where much more would take many seconds
DIVIDED_COLUMNS = 384  # where the edge of a glass divides the light: its cells are the smallest, and there are many
MOST_SIDES = 30e6  # of outlines that the pupils of a state's maps may be cut by: about a second of work, two on a slow core
AREAS = "coverage"
CPU, GPU = "cpu", "gpu"  # what `--device` may say
MAP, LOOK, FINE = range(3)  # what rays are spent on; each has its own stream of random numbers


class Kernel(Protocol):
    """A sampling way: pencils through a box."""

    def __call__(self, pencils: Pencils, box: Box, *, log2_rays: int, rng: np.random.Generator, alone: bool) -> Shares:
        """Shares of N pencils from 2**log2_rays rays each, the parts alone where asked for."""


class Engine(Protocol):
    """One of the ways to the same answer."""

    @property
    def name(self) -> str:
        """What a person types to choose it."""

    def columns(self, grid: PixelGrid) -> int:
        """Width of its maps in pixels where nothing else is asked for."""

    def shares(self, lens: LensState, points_mm: FloatArray, box: Box, *, seed: int, fine: bool) -> Shares:
        """Shares of picture points (N, 2) right, up [mm]; what `fine` does not ask for may be missing: parts alone, glass (nan)."""

    def map(self, lens: LensState, grid: PixelGrid, box: Box, *, seed: int, threads: int, tick: Tick) -> VignetteMap:
        """The map of a grid; `tick` counts to 100 over the whole map."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """A way that sends rays: the same numbers whatever the number of threads, because pieces and seeds do not depend on it."""

    name: str
    kernel: Kernel
    width: int
    log2_map: int
    log2_look: int
    log2_fine: int

    def columns(self, grid: PixelGrid) -> int:
        """Width of a map that takes seconds."""
        return min(self.width, grid.columns)

    def shares(self, lens: LensState, points_mm: FloatArray, box: Box, *, seed: int, fine: bool) -> Shares:
        """Shares of picture points (N, 2) right, up [mm]."""
        log2_rays, stream = (self.log2_fine, FINE) if fine else (self.log2_look, LOOK)
        pieces = list(_pieces(len(points_mm), log2_rays))
        done = [self._piece(lens, points_mm[rows], box, log2_rays, (seed, stream, k)) for k, rows in enumerate(pieces)]
        return joined(done, replace(done[0].made, engine=self.name, rays_per_point=1 << log2_rays, seed=seed))

    def map(self, lens: LensState, grid: PixelGrid, box: Box, *, seed: int, threads: int, tick: Tick = silent) -> VignetteMap:
        """The map of a grid, in pieces spread over threads."""
        points_mm = grid.points_mm
        pieces = list(_pieces(len(points_mm), self.log2_map))

        def piece(k: int) -> Shares:
            return _without_alone(self._piece(lens, points_mm[pieces[k]], box, self.log2_map, (seed, MAP, k)))

        done: list[Shares] = []
        with ThreadPoolExecutor(max_workers=max(threads, 1)) as pool:
            try:
                for k, part in enumerate(pool.map(piece, range(len(pieces)))):
                    done.append(part)
                    tick(100 * (k + 1) // len(pieces) - 100 * k // len(pieces))
            except BaseException:  # Ctrl-C included: what is queued must not go on behind the user's back
                pool.shutdown(wait=False, cancel_futures=True)
                raise
        made = replace(done[0].made, engine=self.name, rays_per_point=1 << self.log2_map, seed=seed)
        return as_map(joined(done, made), grid)

    def _piece(self, lens: LensState, points_mm: FloatArray, box: Box, log2_rays: int, key: tuple[int, int, int]) -> Shares:
        pencils = pencils_for(lens, points_mm)
        shares = self.kernel(pencils, box, log2_rays=log2_rays, rng=np.random.default_rng(list(key)), alone=key[1] == FINE)
        return without_dark_pencils(shares, pencils)


def _pieces(count: int, log2_rays: int) -> Iterator[slice]:
    size = max(PIECE_RAYS >> log2_rays, 1)
    return (slice(start, min(start + size, count)) for start in range(0, count, size))


def without_dark_pencils(shares: Shares, pencils: Pencils) -> Shares:
    """Shares in which points that the bare lens leaves dark count as untouched: the box takes nothing there."""
    dark = ~pencils.valid | ~(shares.lens > 0.0) | ~np.isfinite(shares.clear_share)
    if not dark.any():
        return shares
    return replace(
        shares,
        clear_share=np.where(dark, 1.0, shares.clear_share),
        glass=np.where(dark, 1.0, shares.glass),
        lens=np.where(dark, 0.0, shares.lens),
        blocked_by=np.where(dark, np.int16(-1), shares.blocked_by),
        alone=np.where(dark[:, None], 1.0, shares.alone),
        stderr=np.where(dark, 0.0, shares.stderr),
    )


def unlit_as_clear(map_: VignetteMap) -> VignetteMap:
    """The map in which pixels that the bare lens leaves dark count as untouched, as in `without_dark_pencils`."""
    dark = ~(map_.lens > 0.0) | ~np.isfinite(map_.clear_share)
    if not dark.any():
        return map_
    return replace(
        map_,
        clear_share=np.where(dark, np.float32(1), map_.clear_share),
        glass=np.where(dark, np.float32(1), map_.glass),
        lens=np.where(dark, np.float32(0), map_.lens),
        blocked_by=np.where(dark, np.int16(-1), map_.blocked_by),
        stderr=np.where(dark, np.float32(0), map_.stderr),
    )


def _without_alone(shares: Shares) -> Shares:
    return replace(shares, alone=np.zeros((len(shares.clear_share), 0)))


def joined(pieces: Sequence[Shares], made: Made) -> Shares:
    """Shares of consecutive pieces as one."""
    return Shares(
        clear_share=np.concatenate([piece.clear_share for piece in pieces]),
        glass=np.concatenate([piece.glass for piece in pieces]),
        lens=np.concatenate([piece.lens for piece in pieces]),
        blocked_by=np.concatenate([piece.blocked_by for piece in pieces]),
        alone=np.concatenate([piece.alone for piece in pieces]),
        stderr=np.concatenate([piece.stderr for piece in pieces]),
        part_names=pieces[0].part_names,
        made=made,
    )


def as_map(shares: Shares, grid: PixelGrid) -> VignetteMap:
    """Shares of a grid's points, row by row, as its map without the parts alone."""

    def picture(values: FloatArray) -> NDArray[np.float32]:
        return values.reshape(grid.rows, grid.columns).astype(np.float32)

    return VignetteMap(
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        clear_share=picture(shares.clear_share),
        glass=picture(shares.glass),
        lens=picture(shares.lens),
        blocked_by=shares.blocked_by.reshape(grid.rows, grid.columns).astype(np.int16),
        stderr=picture(shares.stderr),
        alone=np.zeros((0, grid.rows, grid.columns), dtype=np.float32),
        part_names=shares.part_names,
        made=shares.made,
    )


def darkest_of(maps: Sequence[VignetteMap]) -> VignetteMap:
    """Of several maps of one grid, at each pixel the one that loses most: the worst case over pupil depths."""
    if len(maps) == 1:
        return maps[0]
    which = np.argmin([map_.clear_share for map_ in maps], axis=0)[None]

    def taken(name: str) -> NDArray[np.float32]:
        return np.take_along_axis(np.stack([getattr(map_, name) for map_ in maps]), which, axis=0)[0]

    return replace(
        maps[0],
        clear_share=taken("clear_share"),
        glass=taken("glass"),
        lens=taken("lens"),
        blocked_by=taken("blocked_by").astype(np.int16),
        stderr=taken("stderr"),
        made=_made_together([map_.made for map_ in maps]),
    )


def _made_together(made: Sequence[Made]) -> Made:
    """How several maps were made, as one: with the device and the wider bounds of the graphics processor where it had a share."""
    first = max(made, key=lambda one: one.device == GPU)
    devices, notes = dict.fromkeys(one.device for one in made), dict.fromkeys(one.device_note for one in made if one.device_note)
    return replace(first, device=" and ".join(devices), device_note="; ".join(notes))


def seed_of(key: str) -> int:
    """A seed that belongs to a state's key alone, so that leaving out other states changes nothing."""
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:4], "big")


@dataclass(frozen=True, slots=True, kw_only=True)
class Areas:
    """The way that measures areas: no rays, no noise. Its maps may come from a graphics processor, its points never do.

    apart: parts (by index) that are known to stand out of all light of the maps to be made; points look at all parts together, and
    pass over these alone. glass: whether maps tell what the glass takes, else it is left at 1 there.
    """

    name: str = AREAS
    device: str = CPU
    apart: tuple[int, ...] = ()
    glass: bool = True

    def columns(self, grid: PixelGrid) -> int:
        """Width of a map that takes about a second."""
        return min(WIDE_COLUMNS, grid.columns)

    def shares(self, lens: LensState, points_mm: FloatArray, box: Box, *, seed: int, fine: bool) -> Shares:  # noqa: ARG002 - an Engine
        """Shares of picture points (N, 2) right, up [mm]; the parts alone, and the glass, only where `fine` asks for them."""
        from raytrace.coverage.engine import coverage_shares

        prepare()
        pencils = pencils_for(lens, points_mm)
        shares = coverage_shares(pencils, box, with_alone=fine, with_glass=fine, apart=self.apart)
        return without_dark_pencils(shares, pencils)

    def map(self, lens: LensState, grid: PixelGrid, box: Box, *, seed: int, threads: int, tick: Tick = silent) -> VignetteMap:  # noqa: ARG002
        """The map of a grid, whole at once."""
        from raytrace.coverage.picture import coverage_map

        prepare()
        if self.device == GPU:
            map_ = _gpu_map(lens, grid, box, threads)
        else:
            pencils_at = partial(pencils_for, lens)
            map_ = coverage_map(pencils_at, grid, box, threads=threads, apart=self.apart, with_glass=self.glass)
        tick(100)
        return unlit_as_clear(map_)


def in_seconds(engine: Engine, lenses: Sequence[LensState], grid: PixelGrid, box: Box) -> PixelGrid:
    """The grid, coarser where all of a picture's pupils are cut by so much that maps of these lenses would take many seconds.

    What is lost between the pixels of a coarser map is looked for again at places: scenes/verdicts/darkest.py.
    """
    if not isinstance(engine, Areas) or grid.columns <= LEAST_COLUMNS or len(engine.apart) == len(box.parts):
        return grid
    from raytrace.coverage.work import is_divided, sides_per_pixel

    prepare()
    pencils_at = partial(pencils_for, lenses[0])
    sides = sides_per_pixel(pencils_at, grid, box, engine.apart) * len(lenses)
    columns = int(np.sqrt(MOST_SIDES / max(sides, 1.0) * grid.columns / grid.rows)) // 16 * 16
    if is_divided(pencils_at, grid, box):
        columns = min(columns, DIVIDED_COLUMNS)
    return grid if columns >= grid.columns else grid.resized(max(columns, LEAST_COLUMNS))


def sparing(engine: Engine, apart: Sequence[int], *, glass: bool = True) -> Engine:
    """The engine; one that can make use of it leaves out of its maps parts that are known to stand out of all their light.

    Nor does it tell there what the glass takes, where that is not asked for.
    """
    return replace(engine, apart=tuple(apart), glass=glass) if isinstance(engine, Areas) else engine


def _gpu_map(lens: LensState, grid: PixelGrid, box: Box, threads: int) -> VignetteMap:
    from raytrace.coverage.gpu.engine import gpu_map

    said: list[str] = []
    map_ = gpu_map(partial(pencils_for, lens), grid, box, threads=threads, say=said.append)
    return replace(map_, made=replace(map_.made, device_note="; ".join(said)))


def device_trouble(engine: str, device: str) -> str | None:
    """Why this way of computing cannot use this device here, as a sentence; None where it can."""
    if device == CPU:
        return None
    if engine != AREAS:
        return f"only the {AREAS} way computes on a graphics processor: leave --engine out, or --device"
    from raytrace.coverage.gpu.engine import gpu_trouble

    return gpu_trouble()


def _reference() -> Engine:
    from raytrace.reference import reference_shares

    def kernel(pencils: Pencils, box: Box, *, log2_rays: int, rng: np.random.Generator, alone: bool) -> Shares:  # noqa: ARG001
        return reference_shares(pencils, box, log2_rays=log2_rays, rng=rng)

    return Sampled(name="reference", kernel=kernel, width=96, log2_map=8, log2_look=9, log2_fine=13)


def _mesh() -> Engine:
    from geometry.meshes import assembly_mesh
    from raytrace.embree import PartMeshes, embree_shares

    made: dict[int, tuple[Box, PartMeshes]] = {}  # of the last box: making them takes longer than tracing a few points

    def kernel(pencils: Pencils, box: Box, *, log2_rays: int, rng: np.random.Generator, alone: bool) -> Shares:
        held = made.get(0)
        if held is None or held[0] is not box:
            held = made[0] = (box, assembly_mesh(box.parts, for_tracing=True))
        return embree_shares(pencils, box, log2_rays=log2_rays, rng=rng, meshes=held[1], alone=alone)

    return Sampled(name="mesh", kernel=kernel, width=96, log2_map=8, log2_look=9, log2_fine=13)


ENGINES: dict[str, Callable[[], Engine]] = {AREAS: Areas, "reference": _reference, "mesh": _mesh}


def engine_of(name: str, device: str = CPU) -> Engine:
    """The engine of that name; its libraries are loaded now. ValueError where it cannot use the device."""
    if trouble := device_trouble(name, device):
        raise ValueError(trouble)
    if device == GPU:
        return Areas(device=GPU)
    if name not in ENGINES:
        raise ValueError(f'"{name}" is no way of computing; {did_you_mean(name, list(ENGINES))}')
    return ENGINES[name]()
