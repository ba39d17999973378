"""The truth inside the project: every pencil sampled with rays, every part met by plain formulas. Written to be read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import NO_PART, Box
from raytrace.intersect import stopper
from raytrace.optics.bundle import BoolArray, Bundle, Fate, Leg, launch
from raytrace.optics.glass import walk
from raytrace.optics.pencil import Pencils
from raytrace.optics.sampling import sobol_disc
from raytrace.shares import Made, Shares

LOG2_RUNS = 4  # 16 independent runs: with fewer, standard errors are themselves too uncertain to test against
RAYS_AT_ONCE = 8192  # columns of this length stay in the cache and still drown the cost of a call


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops:
    """What a box does to N rays: `first_part` (N,) or NO_PART; `passes` (N, P) if part p alone lets it by, (N, 0) if not asked."""

    first_part: NDArray[np.int16]
    passes: BoolArray


Tracer = Callable[[Bundle, Sequence[Leg]], Stops]


def reference_shares(pencils: Pencils, box: Box, *, log2_rays: int = 8, rng: np.random.Generator) -> Shares:
    """Light of every pencil by 2**log2_rays rays through plain formulas, with its standard error.

    The pupil points are the same for every pencil; 16 independent scrambles of 2**(log2_rays - 4) points give the standard error.
    """
    return sampled_shares(pencils, box, plain_tracer(box), engine="reference", log2_rays=log2_rays, rng=rng)


def plain_tracer(box: Box, asked: Sequence[bool] | None = None) -> Tracer:
    """The tracer that asks every part of the box for every ray, or only those `asked` (P,), the others known to be passed."""
    stoppers = [stopper(part.body) if asked is None or asked[k] else None for k, part in enumerate(box.parts)]

    def trace(bundle: Bundle, legs: Sequence[Leg]) -> Stops:
        met = np.full((len(bundle), len(stoppers)), np.inf)
        for k, distance in enumerate(stoppers):
            if distance is not None:
                met[:, k] = distance(legs)
        return Stops(first_part=_nearest_part(met), passes=np.isinf(met))

    return trace


def _nearest_part(met_mm: FloatArray) -> NDArray[np.int16]:
    if met_mm.shape[1] == 0:
        return np.full(len(met_mm), NO_PART, dtype=np.int16)
    first = met_mm.argmin(axis=1).astype(np.int16)
    return np.where(np.isfinite(met_mm.min(axis=1)), first, NO_PART)


def sampled_shares(pencils: Pencils, box: Box, trace: Tracer, *, engine: str, log2_rays: int, rng: np.random.Generator) -> Shares:
    """Shares of every pencil by sampling its pupil; `trace` says which part stops each ray."""
    if log2_rays < LOG2_RUNS:
        raise ValueError(f"log2_rays: must be at least {LOG2_RUNS}, got {log2_rays}")
    discs = np.concatenate([sobol_disc(log2_rays - LOG2_RUNS, child) for child in rng.spawn(1 << LOG2_RUNS)])
    step = max(1, RAYS_AT_ONCE // len(discs))
    pieces = [_counted(pencils.take(slice(k, k + step)), box, trace, discs) for k in range(0, len(pencils), step)]
    counts = _Counts.joined(pieces, len(box.parts))
    return _shares(counts, pencils.falloff, box, Made(engine=engine, rays_per_point=len(discs)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counts:
    """Sums over the rays of N pencils.

    bare, clear, light (N, R) by run: rays of the bare pencil, those that get through, and their light after glass; dimmed (N,)
    light after glass of the whole bare pencil; first (N, P) rays stopped first by part p; alone (N, P) rays that part p lets by,
    or (N, 0); sent (N,) rays tried.
    """

    bare: FloatArray
    clear: FloatArray
    light: FloatArray
    dimmed: FloatArray
    first: FloatArray
    alone: FloatArray
    sent: FloatArray

    @classmethod
    def joined(cls, pieces: Sequence[_Counts], parts: int) -> _Counts:
        """Pencils of all pieces, one after the other."""
        tails = {
            "bare": (1 << LOG2_RUNS,),
            "clear": (1 << LOG2_RUNS,),
            "light": (1 << LOG2_RUNS,),
            "dimmed": (),
            "first": (parts,),
            "alone": (parts,),
            "sent": (),
        }
        empty = {name: np.zeros((0, *tail)) for name, tail in tails.items()}
        return cls(**{name: np.concatenate([getattr(p, name) for p in pieces]) if pieces else empty[name] for name in tails})


def _counted(pencils: Pencils, box: Box, trace: Tracer, discs: FloatArray) -> _Counts:
    bundle, legs = walk(launch(pencils, discs), box.glasses)
    bare = bundle.alive
    stops = trace(bundle, legs)
    bundle = bundle.stopped(stops.first_part)
    shape = (len(pencils), 1 << LOG2_RUNS, -1)
    per_pencil = (len(pencils), len(discs))
    stopped = np.stack([bundle.stopped_by == k for k in range(len(box.parts))], axis=1) if box.parts else np.zeros((len(bundle), 0))
    return _Counts(
        bare=bare.reshape(shape).sum(axis=2).astype(np.float64),
        clear=bundle.alive.reshape(shape).sum(axis=2).astype(np.float64),
        light=(bundle.weight * bundle.alive).reshape(shape).sum(axis=2),
        dimmed=(bundle.weight * bare).reshape(per_pencil).sum(axis=1),
        first=stopped.reshape(*per_pencil, -1).sum(axis=1).astype(np.float64),
        alone=(stops.passes & bare[:, None]).reshape(*per_pencil, -1).sum(axis=1).astype(np.float64),
        sent=(bundle.fate != Fate.NO_RAY).reshape(per_pencil).sum(axis=1).astype(np.float64),
    )


def _shares(counts: _Counts, falloff: FloatArray, box: Box, made: Made) -> Shares:
    """Sums turned into shares. Where the bare lens sends nothing the box takes nothing: share 1, with `lens` 0 to tell it.

    Where nothing gets through, `glass` is the mean over the bare pencil, so that the glass layer has no holes.
    """
    bare, clear = counts.bare.sum(axis=1), counts.clear.sum(axis=1)
    share = _ratio(clear, bare, 1.0)
    stopped = counts.first.sum(axis=1)
    worst = counts.first.argmax(axis=1).astype(np.int16) if box.parts else np.full(len(bare), NO_PART, dtype=np.int16)
    return Shares(
        clear_share=share,
        glass=_ratio(counts.light.sum(axis=1), clear, _ratio(counts.dimmed, bare, 1.0)),
        lens=np.where(bare > 0, falloff, 0.0) * _ratio(bare, counts.sent, 0.0),
        blocked_by=np.where(stopped > 0, worst, NO_PART),
        alone=_ratio(counts.alone, bare[:, None], 1.0),
        stderr=_standard_error(counts.bare, counts.clear, share),
        part_names=box.part_names,
        made=made,
    )


def _ratio(part: FloatArray, whole: FloatArray, otherwise: FloatArray | float) -> FloatArray:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), otherwise)


def _standard_error(bare: FloatArray, clear: FloatArray, share: FloatArray) -> FloatArray:
    """Standard error of sum(clear) / sum(bare) from independent runs (N, R): spread of clear - share * bare over the mean of bare.

    Source: ratio estimator, Cochran, Sampling Techniques, section 2.11 (from memory).
    """
    runs = bare.shape[1]
    spread = (clear - share[:, None] * bare).std(axis=1, ddof=1) / np.sqrt(runs)
    return _ratio(spread, bare.mean(axis=1), 0.0)
