"""How far a flag must come in to keep a light off a flat target: the widest opening angle at which it shades all that is lit.

The target is cut into cells. A cell counts as lit where a ray from its middle to some place of the light gets past the box without
its flags; a flag must shade such a ray for every start within a cell and its neighbours. Cells that decide are cut ever finer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.frame import Pose
from geometry.openings import OpeningKind
from raytrace.bundle import FloatArray
from raytrace.flag_window import LEAST_DEG, MOST_DEG, Bars, Hinge
from raytrace.stray_direct import StrayLight, light_rays
from raytrace.stray_world import World

BoolArray = NDArray[np.bool_]
Index = NDArray[np.int64]

CELLS = 14  # along the longer side of the target at first
CUT = 3  # a cell that decides is cut into as many along each side
FINEST_MM = 0.1  # cells so small need no further cutting: a tenth of a millimetre on the glass
ROUNDS = 6
RIM = 8  # places round the rim of a light, and one in its middle
HINGE_GAP_MM = 0.05  # a ray this near to the hinge line does not slip past it
SCAN_DEG = 4.0
HALVINGS = 9  # of that: a hundredth of a degree
ALIKE_DEG = 0.02  # rays whose angles differ by less decide together
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
    """A flag that may shade the target, and the angle from which on it may be opened or closed [deg]."""

    hinge: Hinge
    bars: Bars
    from_deg: float


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
    """Cells by column and row (C, 2) and level (C,): their middles (C, 2) [mm] and sides (C,) follow."""

    place: Index
    level: Index
    corner_mm: FloatArray
    side_mm: float

    def sides(self) -> FloatArray:
        return self.side_mm / CUT ** self.level.astype(np.float64)

    def middles(self) -> FloatArray:
        return self.corner_mm + (self.place + 0.5) * self.sides()[:, None]

    def take(self, which: BoolArray) -> _Cells:
        return _Cells(self.place[which], self.level[which], self.corner_mm, self.side_mm)

    def halves(self) -> _Cells:
        """Every cell cut into CUT x CUT."""
        steps = np.array([[i, j] for i in range(CUT) for j in range(CUT)])
        place = (self.place[:, None] * CUT + steps).reshape(-1, 2)
        return _Cells(place, np.repeat(self.level + 1, CUT * CUT), self.corner_mm, self.side_mm)

    def and_also(self, more: _Cells) -> _Cells:
        """These and others of the same target."""
        place, level = np.concatenate([self.place, more.place]), np.concatenate([self.level, more.level])
        return _Cells(place, level, self.corner_mm, self.side_mm)

    def touching(self, outline: shapely.Polygon) -> _Cells:
        """Those that hold any of an outline."""
        reach = self.sides() / 2
        low, high = self.middles() - reach[:, None], self.middles() + reach[:, None]
        return self.take(np.asarray(shapely.intersects(outline, shapely.box(*low.T, *high.T))))


@dataclass(frozen=True, slots=True)
class _Rays:
    """Rays that get past the box: the number of their cell (R,), starts and directions (R, 3), how far starts may be off (R,)."""

    cell: Index
    start: FloatArray
    direction: FloatArray
    pad_mm: FloatArray


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
    cells, normal = _first_cells(target.outline), target.pose.rotation[:, 2]
    known = _lit_rays(cells, target, light, world)
    safe, exact = _bounds(shields, known, normal)
    for turn in range(ROUNDS):
        deciding = _deciding(known.cell, safe, exact, together if turn < pair_rounds else ())
        if not len(deciding) or cells.sides()[deciding].max() <= FINEST_MM:
            break
        near = _with_neighbours(cells, deciding)
        finer = cells.take(near).halves().touching(target.outline)
        stays, number = ~near[known.cell], np.cumsum(~near) - 1
        new = _lit_rays(finer, target, light, world)
        known = _joined(_picked(known, stays, number), new, int((~near).sum()))
        more = _bounds(shields, new, normal)
        safe, exact = (np.concatenate([old[:, stays], add], axis=1) for old, add in zip((safe, exact), more, strict=True))
        cells = cells.take(~near).and_also(finer)
    return Shading(widest_deg=safe)


def _bounds(shields: Sequence[Shield], rays: _Rays, normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The widest angles (S, R), (S, R) for every start within the pads, and for the starts themselves."""
    sharp = _Rays(rays.cell, rays.start, rays.direction, np.zeros(len(rays.cell)))
    return widest_shading(shields, rays, normal), widest_shading(shields, sharp, normal)


def _first_cells(outline: shapely.Polygon) -> _Cells:
    left, low, right, high = outline.bounds
    side = max(right - left, high - low) / CELLS
    columns, rows = int(np.ceil((right - left) / side)), int(np.ceil((high - low) / side))
    place = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2)
    return _Cells(place, np.zeros(len(place), dtype=np.int64), np.array([left, low]), side).touching(outline)


def _with_neighbours(cells: _Cells, which: Index) -> BoolArray:
    """Cells (C,) named or beside a named one of the same level."""
    around = np.array([[i, j] for i in (-1, 0, 1) for j in (-1, 0, 1)])
    wanted = {(int(cells.level[k]), *map(int, cells.place[k] + step)) for k in which for step in around}
    return np.array(
        [(int(v), int(p[0]), int(p[1])) in wanted for v, p in zip(cells.level, cells.place, strict=True)], dtype=np.bool_
    )


def _lit_rays(cells: _Cells, target: FlatTarget, light: StrayLight, world: World) -> _Rays:
    """Rays from the middles of cells to the light's middle and rim that get past the box by its mouth."""
    disc, count = _light_disc(), len(cells.level)
    start = target.pose.points_to_frame(np.column_stack([cells.middles(), np.zeros(count)]))
    start = np.repeat(start, len(disc), axis=0)
    direction = light_rays(light, start, 0.0, np.tile(disc, (count, 1)))
    ahead = direction @ target.pose.rotation[:, 2] > 0.0
    opening = np.full(len(start), -1)
    opening[ahead] = world.escape(start[ahead], direction[ahead]).opening
    mouths = [k for k, gap in enumerate(world.openings) if gap.kind in (OpeningKind.MOUTH, OpeningKind.REST)]
    out = np.flatnonzero(np.isin(opening, mouths))
    cell = out // len(disc)
    return _Rays(cell, start[out], direction[out], np.sqrt(2.0) * cells.sides()[cell])


def _light_disc() -> FloatArray:
    """Places (RIM + 1, 2) that span the unit disc from outside, its middle first."""
    turn = 2 * np.pi * (np.arange(RIM) + 0.5) / RIM
    rim = np.column_stack([np.cos(turn), np.sin(turn)]) / np.cos(np.pi / RIM)
    return np.concatenate([[[0.0, 0.0]], rim])


def _picked(rays: _Rays, which: BoolArray, number: Index) -> _Rays:
    return _Rays(number[rays.cell[which]], rays.start[which], rays.direction[which], rays.pad_mm[which])


def _joined(first: _Rays, second: _Rays, offset: int) -> _Rays:
    return _Rays(
        np.concatenate([first.cell, second.cell + offset]),
        np.concatenate([first.start, second.start]),
        np.concatenate([first.direction, second.direction]),
        np.concatenate([first.pad_mm, second.pad_mm]),
    )


def _deciding(cell: Index, safe: FloatArray, exact: FloatArray, together: Sequence[tuple[int, int]]) -> Index:
    """Cells whose rays, moved within their pads, might ask more of a shield, or of two together, than any ray is known to."""
    if not len(cell):
        return np.zeros(0, dtype=np.int64)
    alone = (safe < exact.min(axis=1, keepdims=True) - ALIKE_DEG).any(axis=0)
    unsure = np.zeros(len(cell))
    for i, j in together:
        order = np.argsort(exact[i])
        least = np.append(np.inf, np.minimum.accumulate(exact[j][order]))
        known = least[np.searchsorted(exact[i][order], safe[i] + ALIKE_PAIR_DEG, side="right")]
        with np.errstate(invalid="ignore"):  # -inf less -inf: nothing of such a ray is unsure
            unsure = np.fmax(unsure, np.minimum(known, MOST_DEG) - np.maximum(safe[j], 2 * LEAST_DEG))
    least_sure = np.argsort(-unsure)[: int((unsure > ALIKE_PAIR_DEG).sum())]
    _, first = np.unique(cell[least_sure], return_index=True)
    pairs = cell[least_sure][np.sort(first)][:PAIR_CELLS]
    return np.union1d(cell[alone], pairs)


def widest_shading(shields: Sequence[Shield], rays: _Rays, normal: FloatArray) -> FloatArray:
    """The widest angles (S, R) at which shields shade rays; see `Shading`. `normal` (3,) is the target's."""
    if not len(rays.cell) or not shields:
        return np.zeros((len(shields), len(rays.cell)))
    return np.stack([_widest(shield, rays, normal) for shield in shields])


def _widest(shield: Shield, rays: _Rays, normal: FloatArray) -> FloatArray:
    start = min(max(shield.from_deg, LEAST_DEG), MOST_DEG)
    up = np.append(np.arange(start, MOST_DEG, SCAN_DEG), MOST_DEG)
    down = np.append(np.arange(start, LEAST_DEG, -SCAN_DEG), LEAST_DEG)
    opening = shades(shield, up[:, None], rays, normal)
    closing = shades(shield, down[:, None], rays, normal)
    last = np.where(opening.all(axis=0), len(up) - 1, opening.argmin(axis=0) - 1)
    first = np.where(closing.any(axis=0), closing.argmax(axis=0), -1)
    shut, now = first < 0, opening[0]
    inner = np.where(now, up[np.maximum(last, 0)], down[np.maximum(first, 0)])
    outer = np.where(now, up[np.minimum(last + 1, len(up) - 1)], down[np.maximum(first - 1, 0)])
    for _ in range(HALVINGS):
        middle = (inner + outer) / 2
        held = shades(shield, middle, rays, normal)
        inner, outer = np.where(held, middle, inner), np.where(held, outer, middle)
    return np.where(~now & shut, -np.inf, inner)


def shades(shield: Shield, angle_deg: FloatArray, rays: _Rays, normal: FloatArray) -> BoolArray:
    """Whether a flag at angles (R,) or (A, 1) stops rays (R,) for every start within their pads: (R,) or (A, R)."""
    hinge, bars = shield.hinge, shield.bars
    o, d, m = hinge.to_box(rays.start), hinge.vectors_to_box(rays.direction), hinge.vectors_to_box(normal)
    angle = np.radians(angle_deg)
    base = np.zeros_like(angle)
    if bars.extension_mm <= 0.0:
        return _stops(o, d, m, rays.pad_mm, (base, base), angle, bars.length_mm, bars.width_mm / 2, open_end=True)
    flag = _stops(o, d, m, rays.pad_mm, (base, base), angle, bars.length_mm, bars.width_mm / 2, open_end=False)
    far = (bars.length_mm * np.cos(angle), bars.length_mm * np.sin(angle))
    bent, length = angle + np.radians(bars.extension_deg), bars.extension_mm
    return flag | _stops(o, d, m, rays.pad_mm, far, bent, length, bars.width_mm / 2, open_end=True)


def _stops(
    o: FloatArray,
    d: FloatArray,
    m: FloatArray,
    pad_mm: FloatArray,
    base: tuple[FloatArray, FloatArray],
    angle: FloatArray,
    length_mm: float,
    half_mm: float,
    *,
    open_end: bool,
) -> BoolArray:
    """Whether a thin blade from `base` (ahead, out) stops rays o + t d of (along, ahead, out) wherever their pads let them start.

    With e along the blade and n square to it, t = (base - o).n / d.n; a start moved by p moves the place on the blade by
    p.(e - n d.e / d.n) along it and p.(w - n d.w / d.n) across, w along the hinge; p lies square to the target's normal m.
    """
    c, s = np.cos(angle), np.sin(angle)
    with np.errstate(divide="ignore", invalid="ignore"):  # rays along the blade give inf or nan and are not stopped
        into = d[:, 2] * c - d[:, 1] * s
        t = ((base[1] - o[:, 2]) * c - (base[0] - o[:, 1]) * s) / into
        place = (o[:, 1] + t * d[:, 1] - base[0]) * c + (o[:, 2] + t * d[:, 2] - base[1]) * s
        across = o[:, 0] + t * d[:, 0]
        lean, aside = (d[:, 1] * c + d[:, 2] * s) / into, d[:, 0] / into
        along_m, out_m = m[1] * c + m[2] * s, m[2] * c - m[1] * s
        end_pad = pad_mm * np.sqrt(np.maximum(1 + lean**2 - (along_m - lean * out_m) ** 2, 0.0)) if open_end else 0.0
        side_pad = pad_mm * np.sqrt(np.maximum(1 + aside**2 - (m[0] - aside * out_m) ** 2, 0.0))
        held = (place >= -HINGE_GAP_MM) & (place <= length_mm - end_pad) & (np.abs(across) <= half_mm - side_pad)
        return np.asarray((t > 0.0) & held)
