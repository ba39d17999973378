"""How far a flag must come in to keep a light off a flat target: the widest opening angle at which it shades all that is lit.

The target is cut into cells. What a flag shades of it is convex, so it shades a cell where it shades the cell's corners. Cells that
the box leaves half in the light, and those beside lit ones, count as lit whole; where they decide they are cut ever finer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import Pose
from geometry.openings import OpeningKind
from raytrace.stray.direct import StrayLight, light_rays
from raytrace.stray.flag_window import LEAST_DEG, MOST_DEG, Bars, Hinge
from raytrace.stray.world import World

BoolArray = NDArray[np.bool_]
Index = NDArray[np.int64]

CELLS = 14  # along the longer side of the target at first
CUT = 3  # a cell that decides is cut into as many along each side
FINEST_MM = 0.1  # cells so small need no further cutting: a tenth of a millimetre on the glass
ROUNDS = 6
RIM = 8  # places round the rim of a light, and one in its middle
HINGE_GAP_MM = 0.05  # a ray this near to the hinge line does not slip past it
SCAN_DEG = 3.0  # steps in which a flag is followed
HALVINGS = 9  # of that: a hundredth of a degree
ALIKE_DEG = 0.05  # rays whose angles differ by less decide together
ALIKE_PAIR_DEG = 0.4  # the same for two flags together: their curve has no single place that decides
PAIR_ROUNDS = 3
PAIR_CELLS = 24  # cells cut at a time for two flags, those that are least sure first


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTarget:
    """What light must not reach: an outline in the plane of a pose, x to the operator's left, z toward the scene [mm]."""

    name: str
    pose: Pose
    outline: shapely.Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class Shield:
    """A flag that may shade the target, and the angle from which on it may be opened or closed [deg].

    Not farther_in: angles below from_deg are of no interest, and a ray that it does not shade there counts as one it cannot shade.
    """

    hinge: Hinge
    bars: Bars
    from_deg: float
    farther_in: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Shading:
    """What shields can do about a light.

    widest_deg (S, R) for S shields and R rays: the widest angle at which it shades the ray, and so does every angle from its
    `from_deg` on; where it does not shade the ray there, the widest angle farther in; -inf where none does. No rays: nothing lit.
    """

    widest_deg: FloatArray

    def alone_deg(self, shield: int) -> float:
        """The widest angle at which one shield shades all that is lit; inf where nothing is."""
        return float(self.widest_deg[shield].min(initial=np.inf))

    def second_deg(self, first: int, second: int, first_deg: FloatArray) -> FloatArray:
        """The widest angles (A,) of a second shield that shades what a first one at angles (A,) leaves; inf if nothing."""
        a, b = self.widest_deg[first], self.widest_deg[second]
        return np.array([b[a < angle].min(initial=np.inf) for angle in first_deg])


@dataclass(frozen=True, slots=True)
class _Cells:
    """Square cells by their lower corners (C, 2) and sides (C,) [mm]."""

    low_mm: FloatArray
    side_mm: FloatArray

    def boxes(self) -> NDArray[np.object_]:
        """The cells as shapes (C,)."""
        high = self.low_mm + self.side_mm[:, None]
        return np.asarray(shapely.box(*self.low_mm.T, *high.T))

    def take(self, which: BoolArray) -> _Cells:
        """Some of them."""
        return _Cells(self.low_mm[which], self.side_mm[which])

    def finer(self) -> _Cells:
        """Every cell cut into CUT x CUT."""
        steps = np.array([[i, j] for i in range(CUT) for j in range(CUT)]) / CUT
        low = self.low_mm[:, None] + steps * self.side_mm[:, None, None]
        return _Cells(low.reshape(-1, 2), np.repeat(self.side_mm / CUT, CUT * CUT))


@dataclass(frozen=True, slots=True)
class _Lit:
    """Rays from corners of cells to places of the light: cell (R,), start and direction (R, 3), whether the box lets it by (R,)."""

    cell: Index
    start: FloatArray
    direction: FloatArray
    passes: BoolArray

    def take(self, which: BoolArray, number: Index) -> _Lit:
        """Some rays, their cells renumbered."""
        return _Lit(number[self.cell[which]], self.start[which], self.direction[which], self.passes[which])

    def and_also(self, more: _Lit, offset: int) -> _Lit:
        """These and those of further cells."""
        return _Lit(
            np.concatenate([self.cell, more.cell + offset]),
            np.concatenate([self.start, more.start]),
            np.concatenate([self.direction, more.direction]),
            np.concatenate([self.passes, more.passes]),
        )


def shading_of(
    target: FlatTarget,
    light: StrayLight,
    world: World,
    shields: Sequence[Shield],
    together: Sequence[tuple[int, int]] = (),
    pair_rounds: int = PAIR_ROUNDS,
) -> Shading:
    """What each shield can do about a light, and pairs of them `together`; `world` is the box without its flags.

    Fewer pair_rounds look at pairs less closely, on the safe side.
    """
    cells = _first_cells(target.outline)
    rays = _rays(cells, target, light, world)
    widest = widest_shading(shields, rays)
    for turn in range(ROUNDS):
        counted = _counted(cells, rays)
        unsure = counted & ~rays.passes & (cells.side_mm[rays.cell] > FINEST_MM)
        deciding = _deciding(rays, widest, unsure, together if turn < pair_rounds else ())
        if not len(deciding):
            break
        cut = np.zeros(len(cells.side_mm), dtype=np.bool_)
        cut[deciding] = True
        stays, more = ~cut[rays.cell], _within(cells.take(cut).finer(), target.outline)
        new = _rays(more, target, light, world)
        widest = np.concatenate([widest[:, stays], widest_shading(shields, new)], axis=1)
        rays = rays.take(stays, np.cumsum(~cut) - 1).and_also(new, int((~cut).sum()))
        kept = cells.take(~cut)
        cells = _Cells(np.concatenate([kept.low_mm, more.low_mm]), np.concatenate([kept.side_mm, more.side_mm]))
    return Shading(widest_deg=widest[:, _counted(cells, rays)])


def _first_cells(outline: shapely.Polygon) -> _Cells:
    left, low, right, high = outline.bounds
    side = max(right - left, high - low) / CELLS
    columns, rows = int(np.ceil((right - left) / side)), int(np.ceil((high - low) / side))
    place = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2)
    return _within(_Cells(np.array([left, low]) + side * place, np.full(len(place), side)), outline)


def _within(cells: _Cells, outline: shapely.Polygon) -> _Cells:
    """Those that hold any of an outline."""
    return cells.take(np.asarray(shapely.intersects(outline, cells.boxes())))


def _counted(cells: _Cells, rays: _Lit) -> BoolArray:
    """Rays (R,) of cells that are lit anywhere, or lie beside such a one."""
    lit = np.zeros(len(cells.side_mm), dtype=np.bool_)
    lit[rays.cell[rays.passes]] = True
    if not lit.any():
        return np.zeros(len(rays.cell), dtype=np.bool_)
    boxes = cells.boxes()
    beside = shapely.STRtree(boxes[lit]).query(boxes, predicate="intersects")[0]
    lit[beside] = True
    return np.asarray(lit[rays.cell])


def _rays(cells: _Cells, target: FlatTarget, light: StrayLight, world: World) -> _Lit:
    """Rays from the corners of what cells hold of the target to the light's middle and rim; by the mouth of the box they pass."""
    parts = np.asarray(shapely.intersection(target.outline, cells.boxes()))
    points, cell = shapely.get_coordinates(parts, return_index=True)
    disc = _light_disc()
    start = target.pose.points_to_frame(np.column_stack([points, np.zeros(len(points))]))
    start, cell = np.repeat(start, len(disc), axis=0), np.repeat(cell.astype(np.int64), len(disc))
    direction = light_rays(light, start, 0.0, np.tile(disc, (len(points), 1)))
    ahead = direction @ target.pose.rotation[:, 2] > 0.0
    opening = np.full(len(start), -1)
    opening[ahead] = world.escape(start[ahead], direction[ahead]).opening
    mouths = [k for k, gap in enumerate(world.openings) if gap.kind in (OpeningKind.MOUTH, OpeningKind.REST)]
    return _Lit(cell[ahead], start[ahead], direction[ahead], np.isin(opening, mouths)[ahead])


def _light_disc() -> FloatArray:
    """Places (RIM + 1, 2) that span the unit disc from outside, its middle first."""
    turn = 2 * np.pi * (np.arange(RIM) + 0.5) / RIM
    rim = np.column_stack([np.cos(turn), np.sin(turn)]) / np.cos(np.pi / RIM)
    return np.concatenate([[[0.0, 0.0]], rim])


def _deciding(rays: _Lit, widest: FloatArray, unsure: BoolArray, together: Sequence[tuple[int, int]]) -> Index:
    """Cells with unsure rays that ask more of a shield, or of two together, than any ray does that is known to pass."""
    if not unsure.any() or not len(widest):
        return np.zeros(0, dtype=np.int64)
    known, doubt = widest[:, rays.passes], widest[:, unsure]
    cell = rays.cell[unsure]
    alone = (doubt < known.min(axis=1, keepdims=True, initial=np.inf) - ALIKE_DEG).any(axis=0)
    gap = np.zeros(len(cell))
    for i, j in together:
        order = np.argsort(known[i])
        least = np.append(np.inf, np.minimum.accumulate(known[j][order]))
        asked = least[np.searchsorted(known[i][order], doubt[i] + ALIKE_PAIR_DEG, side="right")]
        with np.errstate(invalid="ignore"):  # -inf less -inf: nothing of such a ray is unsure
            gap = np.fmax(gap, np.minimum(asked, MOST_DEG) - np.maximum(doubt[j], 2 * LEAST_DEG))
    least_sure = np.argsort(-gap)[: int((gap > ALIKE_PAIR_DEG).sum())]
    _, first = np.unique(cell[least_sure], return_index=True)
    return np.union1d(cell[alone], cell[least_sure][np.sort(first)][:PAIR_CELLS])


def widest_shading(shields: Sequence[Shield], rays: _Lit) -> FloatArray:
    """The widest angles (S, R) at which shields shade rays; see `Shading`.

    A ray that the box stops stands for lit places beside it. On the hinge's side that is the shadow of what carries the hinge, so
    there nothing is asked of the flag.
    """
    if not len(rays.cell) or not shields:
        return np.zeros((len(shields), len(rays.cell)))
    behind = np.where(rays.passes, HINGE_GAP_MM, np.inf)
    return np.stack([_widest(shield, rays.start, rays.direction, behind) for shield in shields])


def _widest(shield: Shield, start: FloatArray, direction: FloatArray, behind: FloatArray) -> FloatArray:
    first_deg = min(max(shield.from_deg, LEAST_DEG), MOST_DEG)
    o, d = shield.hinge.to_box(start), shield.hinge.vectors_to_box(direction)
    up = np.append(np.arange(first_deg, MOST_DEG, SCAN_DEG), MOST_DEG)
    down = np.append(np.arange(first_deg, LEAST_DEG, -SCAN_DEG), LEAST_DEG) if shield.farther_in else np.array([first_deg])
    inner, outer = np.full(len(o), -np.inf), np.full(len(o), -np.inf)
    now = _shades(shield.bars, np.full(len(o), first_deg), o, d, behind)
    for which, angles, sought in ((now, up, False), (~now, down, True)):
        pending = np.flatnonzero(which)
        inner[pending] = angles[-1] if not sought else -np.inf
        outer[pending] = inner[pending]
        for before, angle in pairwise(angles):  # each ray is followed until it comes free, or is caught
            met = _shades(shield.bars, np.full(len(pending), angle), o[pending], d[pending], behind[pending]) == sought
            found = pending[met]
            inner[found], outer[found] = (angle, before) if sought else (before, angle)
            pending = pending[~met]
    open_ones = np.flatnonzero(inner != outer)
    for _ in range(HALVINGS):
        middle = (inner[open_ones] + outer[open_ones]) / 2
        held = _shades(shield.bars, middle, o[open_ones], d[open_ones], behind[open_ones])
        inner[open_ones] = np.where(held, middle, inner[open_ones])
        outer[open_ones] = np.where(held, outer[open_ones], middle)
    return inner


def _shades(bars: Bars, angle_deg: FloatArray, o: FloatArray, d: FloatArray, behind: FloatArray) -> BoolArray:
    """Whether a flag at angles (R,) stops rays o + t d (R, 3) of (along, ahead, out)."""
    angle, half = np.radians(angle_deg), bars.width_mm / 2
    stopped = _stops(o, d, np.zeros(len(o)), np.zeros(len(o)), angle, bars.length_mm, half, behind)
    if bars.extension_mm <= 0.0:
        return stopped
    ahead, out = bars.length_mm * np.cos(angle), bars.length_mm * np.sin(angle)
    return stopped | _stops(o, d, ahead, out, angle + np.radians(bars.extension_deg), bars.extension_mm, half, HINGE_GAP_MM)


def _stops(
    o: FloatArray,
    d: FloatArray,
    ahead: FloatArray,
    out: FloatArray,
    angle: FloatArray,
    length_mm: float,
    half_mm: float,
    behind_mm: FloatArray | float,
) -> BoolArray:
    """Whether thin blades from (ahead, out) stop rays: with n square to the blade, t = (base - o).n / d.n."""
    c, s = np.cos(angle), np.sin(angle)
    with np.errstate(divide="ignore", invalid="ignore"):  # rays along the blade give inf or nan and are not stopped
        t = ((out - o[:, 2]) * c - (ahead - o[:, 1]) * s) / (d[:, 2] * c - d[:, 1] * s)
        place = (o[:, 1] + t * d[:, 1] - ahead) * c + (o[:, 2] + t * d[:, 2] - out) * s
        across = o[:, 0] + t * d[:, 0]
        return np.asarray((t > 0.0) & (place >= -behind_mm) & (place <= length_mm) & (np.abs(across) <= half_mm))
