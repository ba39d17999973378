"""Stills and prediction as one robust least-squares problem: residuals and derivatives of all stills at once.

A cell of a still shows   light = share(values) * 2^(exposure + right x + up y),   times   rims * cos^n * 2^(-q r^4)   where it has
no reference. Exposure, plane and fall-off belong to each still.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from scenes.stills.cells import Measured, coarser
from scenes.unknowns.predicted import Predicted, UnbuildableError, Values, field_cosine, predicted
from scenes.unknowns.unknown import Unknown, View, nominal_values

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Found = TypeVar("Found")
Kind = Hashable  # of a still: those of one kind are predicted alike
Kept = dict[tuple[Kind, tuple[float, ...]], Predicted]
Slopes = dict[tuple[Kind, int], tuple[tuple[float, ...], Floats]]

LN2 = float(np.log(2.0))
UNEVEN_STOPS = 0.01  # unevenness of the light that no plane takes up, over areas 1/24 of the width across
UNEVEN_AREAS = 24
MODEL_SHARE = 0.003  # what maps of exact areas and a thin-lens renderer differ by in the penumbra; docs/validation.md
PRIOR = 20.0  # mm or degrees: no dimension of a box is further off than a few times this, so values that no still shows stay put
STEP = 0.1  # mm or degrees, of the derivatives; the maps are exact areas, smooth to some 1e-3 of a share
MOST_POWER = 4.0  # that a start may lie off the usual power
FALLOFF_START, FALLOFF_PRIOR = 3.5, 2.0  # power of the cosine; "retrofocus lenses 2 to 3.5, a thin lens 4"
CORNER_PRIOR = 0.05  # stops at the corner, r^4: real lenses do not follow a power of the cosine
MOST_KEPT_CELLS = 12_000_000  # of the predictions that are kept
REUSED, ROUGHLY_REUSED = 0.1, 0.5  # mm or degrees: derivatives from so near by serve as well, as penumbrae are far wider
THREADS = 2  # kernels let go of the interpreter
THREADED_FROM = 3  # stills
UNBUILDABLE = 1e3  # residual in place of a box that cannot be built
PLANE, FALLOFF = 3, 2  # numbers of a still: exposure, right, up; power of the cosine and what is left of the fall-off at the corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A shot with what was measured on its cells, upright, and which of them count."""

    shot: View
    measured: Measured
    use: Bools
    cosine: Floats
    right: Floats
    up: Floats
    radial: bool = False  # a pair of which one still shows more of the field than the other: their fall-off does not cancel out

    @property
    def corner(self) -> Floats:
        """Fourth power of the distance from the middle, 1 at the corners."""
        rows, columns = self.cells
        wide = columns / float(np.hypot(rows, columns))
        high = rows / float(np.hypot(rows, columns))
        return np.asarray((4 * ((self.right * wide) ** 2 + (self.up * high) ** 2)) ** 2)

    @property
    def cells(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.measured.shape

    @property
    def kind(self) -> Kind:
        """What its prediction hangs on: lens and setting, area, cells."""
        state, area = self.shot.state, self.shot.area
        own = state.lens_name, state.focal_mm, state.focus_mm, state.f_number, self.measured.has_reference
        return *own, area.width_mm, area.height_mm, area.offset_mm, self.cells

    @property
    def extra(self) -> int:
        """How many numbers of its own the still has: exposure, plane and, without a reference, fall-off."""
        return PLANE if self.measured.has_reference and not self.radial else PLANE + FALLOFF

    @property
    def usual_power(self) -> float:
        """Of the cosine, that its fall-off has unless it shows otherwise."""
        return 0.0 if self.measured.has_reference else FALLOFF_START

    def without(self, left_out: Bools) -> Seen:
        """The same with more cells left out."""
        return replace(self, use=self.use & ~left_out)


def seen(shot: View, measured: Measured) -> Seen:
    """A still on the cells of its own shape; plane coordinates run from -1/2 to 1/2 across the picture."""
    rows, columns = measured.shape
    right = np.broadcast_to((np.arange(columns) + 0.5) / columns - 0.5, (rows, columns))
    up = np.broadcast_to(0.5 - (np.arange(rows)[:, None] + 0.5) / rows, (rows, columns))
    return Seen(shot=shot, measured=measured, use=measured.good, cosine=field_cosine(shot, (rows, columns)), right=right, up=up)


def seen_coarser(one: Seen, by: int) -> Seen:
    """The same on larger cells."""
    return seen(one.shot, coarser(replace(one.measured, good=one.use), by))


@dataclass(slots=True)
class Model:
    """All stills together. A vector is the unknown values, then each still's own numbers. Predictions made are kept."""

    unknowns: tuple[Unknown, ...]
    stills: tuple[Seen, ...]
    kept: Kept = field(default_factory=dict)
    rough: bool = False  # derivatives from a step to one side: half the maps, good enough to find the way
    slopes: Slopes = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many unknown values."""
        return len(self.unknowns)

    def own(self, k: int) -> slice:
        """Where the numbers of still k stand in the vector."""
        start = self.count + sum(one.extra for one in self.stills[:k])
        return slice(start, start + self.stills[k].extra)

    @property
    def size(self) -> int:
        """Length of the vector."""
        return self.count + sum(one.extra for one in self.stills)

    def predicted(self, k: int, values: Values) -> Predicted:
        """The prediction for still k; the last few are kept."""
        one = self.stills[k]
        key = one.kind, tuple(float(value) for value in values)
        found = self.kept.get(key)
        if found is None:
            if (len(self.kept) + 1) * one.use.size > MOST_KEPT_CELLS:
                self.kept.clear()
            found = predicted(one.shot, self.unknowns, key[1], one.cells, with_rims=not one.measured.has_reference)
            self.kept[key] = found
        return found

    def each(self, of: Callable[[int], Found]) -> list[Found]:
        """Something of every still, in their order, on threads where they are many."""
        count = len(self.stills)
        if count < THREADED_FROM:
            return [of(k) for k in range(count)]
        firsts = list({one.kind: k for k, one in reversed(list(enumerate(self.stills)))}.values())
        with ThreadPoolExecutor(THREADS) as pool:
            found = dict(zip(firsts, pool.map(of, firsts), strict=True))
        return [found[k] if k in found else of(k) for k in range(count)]

    def share(self, k: int, values: Values) -> Floats:
        """What still k keeps of its light by the prediction: of the reference's, or of an even field's but for fall-off."""
        one = self.predicted(k, values)
        return np.asarray(one.share if self.stills[k].measured.has_reference else one.share * one.rims, dtype=np.float64)

    def lit(self, k: int, own: Floats) -> Floats:
        """What still k would show without a box and rims: exposure, plane, fall-off."""
        one = self.stills[k]
        plane = 2.0 ** (own[0] + own[1] * one.right + own[2] * one.up)
        return plane if one.extra == PLANE else plane * one.cosine ** own[3] * 2.0 ** (-own[4] * one.corner)

    def sigma(self, k: int, lit: Floats) -> Floats:
        """Scale of the residuals of still k: noise, unevenness, and what the model itself is good to."""
        measured = self.stills[k].measured
        return np.sqrt(measured.noise**2 + (UNEVEN_STOPS * LN2 * measured.light) ** 2 + (MODEL_SHARE * lit) ** 2)

    def start(self, values: Values) -> Floats:
        """A vector at these values: the stills' own numbers from straight lines through the logarithms."""
        vector = np.zeros(self.size)
        vector[: self.count] = values
        for k, own in enumerate(self.each(lambda k: self._own_start(k, values))):
            vector[self.own(k)] = own
        return vector

    def _own_start(self, k: int, values: Values) -> Floats:
        one, share = self.stills[k], self.share(k, values)
        use = one.use & (share > 0.15) & (one.measured.light > 0.0)
        columns = [np.ones_like(share), one.right, one.up]
        if one.extra > PLANE:
            columns.append(np.log2(one.cosine))
        design = np.stack([column[use] for column in columns], axis=1)
        if len(design) < 4 * one.extra:
            return np.array([0.0, 0.0, 0.0, one.usual_power, 0.0][: one.extra])
        wanted = np.log2(one.measured.light[use] / share[use])
        weight = np.ones(len(wanted))
        for _ in range(4):
            found, *_ = np.linalg.lstsq(design * weight[:, None], wanted * weight, rcond=None)
            off = np.abs(wanted - design @ found)
            weight = np.sqrt(1.0 / np.maximum(off / max(1.5 * float(np.median(off)), 1e-4), 1.0))
        if one.extra > PLANE:
            found = np.append(found, 0.0)
            found[3] = np.clip(found[3], one.usual_power - MOST_POWER, one.usual_power + MOST_POWER)
        return np.asarray(found)

    def cell_residuals(self, vector: Floats) -> list[Floats]:
        """Of each still, every cell that counts, in its own scale (N,)."""
        try:
            return self.each(lambda k: self._cell_residuals(k, vector))
        except UnbuildableError:
            return [np.full(int(one.use.sum()), UNBUILDABLE) for one in self.stills]

    def _cell_residuals(self, k: int, vector: Floats) -> Floats:
        one, lit = self.stills[k], self.lit(k, vector[self.own(k)])
        off = self.share(k, vector[: self.count]) * lit - one.measured.light
        return np.asarray((off / self.sigma(k, lit))[one.use])

    def priors(self, vector: Floats) -> tuple[Floats, Floats]:
        """What is known beforehand, as residuals (M,), and their derivatives (M, size): values near the scene's, usual fall-off."""
        wanted, width = np.zeros(self.size), np.full(self.size, np.inf)
        wanted[: self.count], width[: self.count] = nominal_values(self.unknowns), PRIOR
        for k, one in enumerate(self.stills):
            if one.extra > PLANE:
                falloff = slice(self.own(k).start + PLANE, self.own(k).stop)
                wanted[falloff], width[falloff] = (one.usual_power, 0.0), (FALLOFF_PRIOR, CORNER_PRIOR)
        known = np.isfinite(width)
        return ((vector - wanted) / width)[known], np.diag(1.0 / width)[known]

    def cell_jacobians(self, vector: Floats) -> list[Floats]:
        """Of each still, derivatives of its residuals (N, P + own) by the unknown values, then by its own numbers."""
        return self.each(lambda k: self._cell_jacobian(k, vector))

    def places(self, k: int) -> NDArray[np.intp]:
        """Where in the vector the columns of still k's derivatives belong."""
        own = self.own(k)
        return np.concatenate([np.arange(self.count), np.arange(own.start, own.stop)])

    def _cell_jacobian(self, k: int, vector: Floats) -> Floats:
        one = self.stills[k]
        values, lit = vector[: self.count], self.lit(k, vector[self.own(k)])
        scale = self.sigma(k, lit)
        light = self.share(k, values) * lit / scale
        columns = [self._slope(k, values, place) * lit / scale for place in range(self.count)]
        own = (LN2 * light, LN2 * light * one.right, LN2 * light * one.up, light * np.log(one.cosine), -LN2 * light * one.corner)
        return np.stack([column[one.use] for column in (*columns, *own[: one.extra])], axis=1)

    def _slope(self, k: int, values: Floats, place: int) -> Floats:
        """Derivative of a share by one value; one from near by serves as well."""
        key, here = (self.stills[k].kind, place), tuple(float(value) for value in values)
        held = self.slopes.get(key)
        near = ROUGHLY_REUSED if self.rough else REUSED
        if held is None or max(abs(a - b) for a, b in zip(held[0], here, strict=True)) > near:
            held = self.slopes[key] = here, self._fresh_slope(k, here, place)
        return held[1]

    def _fresh_slope(self, k: int, values: tuple[float, ...], place: int) -> Floats:
        """From one side where the other cannot be built."""
        low, high = self.unknowns[place].limits
        ends = [values[place] if self.rough and values[place] + STEP <= high else max(values[place] - STEP, low)]
        ends.append(min(values[place] + STEP, high))
        shares: list[Floats] = []
        for at, end in enumerate(ends):
            try:
                shares.append(self.share(k, (*values[:place], end, *values[place + 1 :])))
            except UnbuildableError:
                ends[at] = values[place]
                shares.append(self.share(k, values))
        width = ends[1] - ends[0]
        return np.asarray((shares[1] - shares[0]) / width if width > 0 else np.zeros(shares[0].shape))
