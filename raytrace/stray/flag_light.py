"""How far a flag must come in to keep a light off a flat target: the widest opening angle at which it shades all that is lit.

The target is cut into cells. What a flag shades of it is convex, so it shades a cell where it shades the cell's corners, against
all of a light where it does so against the light's corners. Cells that one edge of the box's ways through keeps off wholly need no
flag (raytrace.stray.ways); all others count as lit whole, and where they decide they are cut ever finer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Kind, Loop
from geometry.flags import LEAST_DEG, MOST_DEG, OPEN_DEG, Bars, Hinge
from geometry.frame import OUTWARD
from geometry.openings import OpeningKind
from geometry.walls import BODY_NAME
from raytrace.kept import Kept, KeptTogether
from raytrace.lights import LightPlace
from raytrace.stray.flag_cells import Cells, Lit, marked, within
from raytrace.stray.flag_kernel import HINGE_GAP_MM, widest_deg
from raytrace.stray.target import FlatTarget
from raytrace.stray.ways import LightCorners, Way, kept_off, light_corners, ways_of
from raytrace.stray.world import NOTHING, World

BoolArray = NDArray[np.bool_]
Index = NDArray[np.int64]

CELLS = 14  # along the longer side of the target at first
FINEST_MM = 0.1  # cells so small need no further cutting: a tenth of a millimetre on the glass
ROUNDS = 14
SAME_DIGITS = 9  # corners of two cells that differ by less than so many digits of a millimetre are one
MOST_CUT = 60  # cells cut at a time, those that ask most first: one lit place among them may decide
ALIKE_DEG = 0.05  # cells whose angles differ by less decide together
ALIKE_PAIR_DEG = 0.4  # the same for two flags together: their curve has no single place that decides
PAIR_ROUNDS = 4
PAIR_CELLS = 24  # cells cut at a time for two flags, those that are least sure first
STRAIGHT = 1.0 - 1e-9  # cosine: an edge along the hinge
FLAT_KINDS = (Kind.FLAG, Kind.EXTENSION, Kind.ROD)  # convex: what one keeps off at its corners it keeps off


_ways_of: Kept[tuple[Loop, ...], tuple[Way, ...]] = Kept(ways_of)


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

    widest_deg (S, C) for S shields and C cells that the box leaves in the light: the widest angle at which it shades the cell, and
    so does every angle from its `from_deg` on; where it does not shade it there, the widest angle farther in; -inf where none
    does. No cells: nothing lit.
    """

    widest_deg: FloatArray

    def alone_deg(self, shield: int) -> float:
        """The widest angle at which one shield shades all that is lit; inf where nothing is."""
        return float(self.widest_deg[shield].min(initial=np.inf))

    def second_deg(self, first: int, second: int, first_deg: FloatArray) -> FloatArray:
        """The widest angles (A,) of a second shield that shades the cells a first one at angles (A,) leaves; inf if nothing."""
        return _second(self.widest_deg[first], self.widest_deg[second], first_deg)


def _second(first: FloatArray, second: FloatArray, first_deg: FloatArray) -> FloatArray:
    order = np.argsort(first)
    least = np.append(np.inf, np.minimum.accumulate(second[order]))
    return np.asarray(least[np.searchsorted(first[order], first_deg, side="left")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A light on a target in a box: the outline that counts, the light's corners ahead of it, the box's walls and ways through.

    all_ahead: no corner of the light stands behind the target's plane.
    """

    target: FlatTarget
    outline: shapely.Polygon
    light: LightCorners
    world: World
    ways: tuple[Way, ...]
    all_ahead: bool

    @classmethod
    def of(cls, target: FlatTarget, light: LightPlace, world: World) -> Ground:
        """The ground for one light."""
        corners = light_corners(light.direction, light.width_deg, light.place_mm, light.size_mm)
        normal = target.pose.rotation[:, 2]
        ahead = corners.ahead_of(target.pose.origin_mm, normal)
        outline = target.outline
        if ahead.pieces:
            outline = target.outline_for(ahead.all_from(target.pose.origin_mm))
        is_whole = bool((corners.all_from(target.pose.origin_mm) @ normal > 0).all())
        return cls(target=target, outline=outline, light=ahead, world=world, ways=_ways_of(world.ways), all_ahead=is_whole)

    def rays(self, cells: Cells) -> Lit:
        """Rays from the corners of what cells hold of the target; by the mouth of the box they pass."""
        points, cell = self._corners(cells)
        start, direction, cell, ray = self._to_light(points, cell, cells.piece[cell])
        count = len(cells.side_mm)
        kept = kept_off(self.ways, cell, start[ray], direction[ray], count)
        opening, wall = np.full(len(start), NOTHING), np.full(len(start), NOTHING)
        open_ones = marked(ray[~kept[cell]], len(start))
        found = self.world.escape(start[open_ones], direction[open_ones])
        opening[open_ones], wall[open_ones] = found.opening, found.wall
        kept |= self._behind_one_wall(cell, wall[ray], count)
        return Lit(start, direction, np.isin(opening, self._mouths()), cell, ray, kept)

    def _corners(self, cells: Cells) -> tuple[FloatArray, Index]:
        """Corners (N, 2) [mm] of what cells hold of the outline, each with its cell (N,)."""
        parts = cells.boxes()
        shapely.prepare(self.outline)
        edge = ~np.asarray(shapely.contains(self.outline, parts))
        parts[edge] = shapely.intersection(self.outline, parts[edge])
        points, cell = shapely.get_coordinates(parts, return_index=True)
        closing = np.append(cell[1:] != cell[:-1], True) & (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON)[cell]
        return points[~closing], cell[~closing].astype(np.int64)

    def first_cells(self) -> Cells:
        """The outline in CELLS cells along its longer side, each against every piece of the light."""
        low, side = _grid(self.outline)
        pieces = np.arange(len(self.light.pieces))
        low, piece = np.repeat(low, len(pieces), axis=0), np.tile(pieces, len(low))
        return within(Cells(low, np.full(len(low), side), piece), self.outline)

    def _to_light(self, points: FloatArray, cell: Index, piece: Index) -> tuple[FloatArray, FloatArray, Index, Index]:
        """Start, direction, cell and ray of `Lit`: from corners (N, 2) of cells (N,) to those of the light's pieces (N,)."""
        starts, ways, cells, rays, base = [], [], [], [], 0
        for k, corners in enumerate(self.light.pieces):
            mine = np.flatnonzero(piece == k)
            flat, place = _once_each(points[mine])
            start = self.target.pose.points_to_frame(np.column_stack([flat, np.zeros(len(flat))]))
            starts.append(np.repeat(start, len(corners), axis=0))
            ways.append(self.light.rays_from(start, k).reshape(-1, 3))
            cells.append(np.repeat(cell[mine], len(corners)))
            rays.append((base + len(corners) * place[:, None] + np.arange(len(corners))).ravel())
            base += len(starts[-1])
        way = np.concatenate(ways)
        direction = way / np.linalg.norm(way, axis=1, keepdims=True)
        return np.concatenate(starts), direction, np.concatenate(cells), np.concatenate(rays)

    def _mouths(self) -> list[int]:
        kinds = (OpeningKind.MOUTH, OpeningKind.REST)
        return [k for k, gap in enumerate(self.world.openings) if gap.kind in kinds]

    def _behind_one_wall(self, cell: Index, wall: Index, count: int) -> BoolArray:
        """Cells (C,) all of whose rays end on one wall that is no plate with a way through."""
        least, most = np.full(count, len(self.world.walls)), np.full(count, NOTHING)
        np.minimum.at(least, cell, wall)
        np.maximum.at(most, cell, wall)
        flat = np.array([not self.ways or self._is_flat(k) for k in range(len(self.world.walls))] + [False])
        return np.asarray((least == most) & (least >= 0) & flat[np.clip(least, 0, len(flat) - 1)])

    def _is_flat(self, wall: int) -> bool:
        part = self.world.walls[wall]
        return part.kind in FLAT_KINDS or (part.kind is Kind.SOLID and part.name != BODY_NAME)


def shading_of(
    target: FlatTarget,
    light: LightPlace,
    world: World,
    shields: Sequence[Shield],
    together: Sequence[tuple[int, int]] = (),
    pair_rounds: int = PAIR_ROUNDS,
) -> Shading:
    """What each shield can do about a light, and pairs of them `together`; `world` is the box without its flags.

    Fewer pair_rounds look at pairs less closely, on the safe side.
    """
    look = _first_look(target, light, world)
    if look is None:
        return Shading(widest_deg=np.zeros((len(shields), 0)))
    ground, cells, rays = look
    widest = widest_shading(shields, rays, ground.ways)
    for turn in range(ROUNDS):
        cut = _deciding(rays, widest, cells.side_mm > FINEST_MM, together if turn < pair_rounds else ())
        if not cut.any():
            break
        more = within(cells.take(cut).finer(), ground.outline)
        new = ground.rays(more)
        widest = np.concatenate([widest, widest_shading(shields, new, ground.ways)], axis=1)
        rays = rays.take(~cut).and_also(new)
        cells = cells.take(~cut).and_also(more)
    counted = ~rays.kept & bool(rays.passes.any())
    return Shading(widest_deg=rays.of_cells(widest)[:, counted])


def _looked(target: FlatTarget, light: LightPlace, world: World) -> tuple[Ground, Cells, Lit] | None:
    """The ground, its first cells and the rays of these, which ask for no flag yet; None where no light is ahead."""
    ground = Ground.of(target, light, world)
    if not ground.light.pieces:
        return None
    cells = ground.first_cells()
    return ground, cells, ground.rays(cells)


_first_look = KeptTogether(_looked)  # for many changes of flags are tried in one box


def _once_each(points: FloatArray) -> tuple[FloatArray, Index]:
    """Points (N, 2) that differ, and the place (N,) of each among them."""
    told = np.round(points, SAME_DIGITS)
    _, first, place = np.unique(told[:, 0] + 1j * told[:, 1], return_index=True, return_inverse=True)
    return points[first], place


def _grid(outline: shapely.Polygon) -> tuple[FloatArray, float]:
    """Lower corners (C, 2) and side of square cells over an outline [mm]."""
    left, low, right, high = outline.bounds
    side = max(right - left, high - low) / CELLS
    columns, rows = int(np.ceil((right - left) / side)), int(np.ceil((high - low) / side))
    place = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2)
    return np.array([left, low]) + side * place, side


def _deciding(rays: Lit, widest: FloatArray, coarse: BoolArray, together: Sequence[tuple[int, int]]) -> BoolArray:
    """Cells (C,) that ask more of a shield, or of two together, than any ray does that is known to pass."""
    open_ones = ~rays.kept & coarse
    cut = np.zeros(len(open_ones), dtype=np.bool_)
    if not open_ones.any() or not len(widest):
        return cut
    known, asked = widest[:, rays.passes], rays.of_cells(widest)
    unsure = open_ones & rays.any_of(~rays.passes)
    least = known.min(axis=1, keepdims=True, initial=np.inf) - ALIKE_DEG
    cut[_first_of(unsure & (asked < least).any(axis=0), asked.min(axis=0), MOST_CUT)] = True
    for i, j in together:
        gap = np.where(open_ones, _pair_gap(known, asked, ~rays.kept, i, j), 0.0)
        cut[_first_of(gap > ALIKE_PAIR_DEG, -gap, PAIR_CELLS)] = True
    return cut


def _first_of(which: BoolArray, value: FloatArray, most: int) -> Index:
    """Those of some cells (C,) with the least values, at most so many."""
    found = np.flatnonzero(which)
    return found[np.argsort(value[found], kind="stable")[:most]]


def _pair_gap(known: FloatArray, asked: FloatArray, open_ones: BoolArray, i: int, j: int) -> FloatArray:
    """By how much a cell (C,) closes the second of two flags beyond what rays ask that are known to pass [deg].

    The second flag has to shade a cell as soon as the first leaves any of it; the rays that are known to pass ask for it later.
    """
    after = np.nextafter(asked[i], np.inf)
    rays, cells = (_second(some[i], some[j], after) for some in (known, asked[:, open_ones]))
    with np.errstate(invalid="ignore"):  # -inf less -inf: nothing of such a cell is unsure
        gap = np.minimum(rays, MOST_DEG) - np.maximum(np.minimum(cells, MOST_DEG), 2 * LEAST_DEG)
    return np.where(asked[j] <= cells, gap, 0.0)


def widest_shading(shields: Sequence[Shield], rays: Lit, ways: Sequence[Way]) -> FloatArray:
    """The widest angles (S, R) at which shields shade rays; see `Shading`.

    A ray that the box stops stands for lit places beside it. Behind a hinge that an edge of the box carries it goes on into that
    edge, so there nothing is asked of the flag.
    """
    found = np.full((len(shields), len(rays.start)), np.inf)
    asked = rays.of_open_cells()
    if not asked.any():
        return found
    for row, shield in zip(found, shields, strict=True):
        behind = np.where(rays.passes[asked] | (not is_carried(shield.hinge, ways)), HINGE_GAP_MM, np.inf)
        row[asked] = _widest(shield, rays.start[asked], rays.direction[asked], behind)
    return found


def set_at(hinge: Hinge, bars: Bars, angle_deg: float, rays: Lit, *, carried: bool) -> BoolArray:
    """Whether a flag at an angle stops rays (R,), or the edge of the box that carries its hinge does."""
    behind = np.full(len(rays.start), np.inf if carried else HINGE_GAP_MM)
    o, d = hinge.to_box(rays.start), hinge.vectors_to_box(rays.direction)
    return _shades(bars, np.full(len(o), angle_deg), o, d, behind)


def is_carried(hinge: Hinge, ways: Sequence[Way]) -> bool:
    """Whether a hinge lies on an edge of a way through, or farther out in its plane: what comes in by the hinge meets the edge."""
    at = hinge.box.points_to_frame(hinge.out_mm * OUTWARD[hinge.side] + np.array([0.0, 0.0, hinge.at_mm]))
    out = hinge.box.vectors_to_frame(OUTWARD[hinge.side])
    return any(_carries(way, at, out) for way in ways)


def _carries(way: Way, at: FloatArray, out: FloatArray) -> bool:
    level = abs(float((at - way.origin_mm) @ way.normal)) <= HINGE_GAP_MM
    beyond = ((at - way.edge_mm) * way.outward).sum(axis=1) >= -HINGE_GAP_MM
    return level and bool((beyond & (way.outward @ out > STRAIGHT)).any())


def _widest(shield: Shield, start: FloatArray, direction: FloatArray, behind: FloatArray) -> FloatArray:
    first_deg = min(max(shield.from_deg, LEAST_DEG), MOST_DEG)
    o, d = shield.hinge.to_box(start), shield.hinge.vectors_to_box(direction)
    bars = shield.bars
    flag = np.array([bars.length_mm, bars.width_mm, bars.extension_mm, bars.extension_deg])
    return widest_deg(flag, first_deg, o, d, behind, farther_in=shield.farther_in)


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
        outward = d[:, 2] * c - d[:, 1] * s
        t = ((out - o[:, 2]) * c - (ahead - o[:, 1]) * s) / outward
        place = (o[:, 1] + t * d[:, 1] - ahead) * c + (o[:, 2] + t * d[:, 2] - out) * s
        across = o[:, 0] + t * d[:, 0]
        carried = (outward > 0.0) & (angle <= np.radians(OPEN_DEG))
        begins = place >= -np.where(carried, behind_mm, HINGE_GAP_MM)
        return np.asarray((t > 0.0) & begins & (place <= length_mm) & (np.abs(across) <= half_mm))
