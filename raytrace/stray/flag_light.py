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
ALIKE_PAIR_DEG = 0.4  # the same for two flags together
PAIR_ROUNDS = 4
PAIR_CELLS = 24  # cells cut at a time for two flags, those that ask most first
PLACES, EDGE_PLACES = 4, 12  # along each side of the target, and round it: single places that are asked first
FAR_DEG = 1e6  # beyond all angles
MIDDLES = 32  # of cells that ask for what no two flags can do: in each round they are asked whether they truly do
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

    @property
    def first_deg(self) -> float:
        """The angle that is looked at first [deg]."""
        return min(max(self.from_deg, LEAST_DEG), MOST_DEG)


Pair = tuple[int, int, float]  # two shields, and by how much farther open the second is where both are as far from where they begin


def _pair_of(shields: Sequence[Shield], first: int, second: int) -> Pair:
    return first, second, shields[second].first_deg - shields[first].first_deg


def _shared(widest: FloatArray, pair: Pair) -> FloatArray:
    """How far a pair may be open that shades what its two do (S, C), told by its first (C,) [deg]."""
    first, second, wider_deg = pair
    return np.maximum(widest[first], widest[second] - wider_deg)


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

    def shared_deg(self, shields: Sequence[Shield], first: int, second: int) -> float:
        """How far the first of two shields may be open, both as far from where they begin, that shade all; inf where nothing is."""
        return float(_shared(self.widest_deg, _pair_of(shields, first, second)).min(initial=np.inf))

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
        return self._lit(*self._corners(cells), cells.piece)

    def _lit(self, points: FloatArray, cell: Index, piece: Index) -> Lit:
        """Rays from points (N, 2), each of one of the cells (N,), to the corners of the piece of light (C,) of its cell."""
        start, direction, cell, ray = self._to_light(points, cell, piece[cell])
        count = len(piece)
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
        edge = np.flatnonzero(~np.asarray(shapely.contains(self.outline, parts)))
        cell_mm = np.column_stack([cells.low_mm, cells.side_mm])[edge]
        _, first, same = np.unique(cell_mm, axis=0, return_index=True, return_inverse=True)  # one cell for many pieces of the light
        parts[edge] = np.asarray(shapely.intersection(self.outline, parts[edge[first]]))[same.ravel()]
        points, cell = shapely.get_coordinates(parts, return_index=True)
        closing = np.append(cell[1:] != cell[:-1], True) & (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON)[cell]
        return points[~closing], cell[~closing].astype(np.int64)

    def at(self, places: FloatArray, piece: Index) -> Lit:
        """As `rays`, of single places (C, 2) in place of cells, each against one piece of the light (C,)."""
        return self._lit(places, np.arange(len(places)), piece)

    def at_first_places(self) -> Lit:
        """Rays of places all over the outline and on its edge, each against every piece of the light."""
        left, low, right, high = self.outline.bounds
        steps = np.meshgrid(np.linspace(left, right, PLACES), np.linspace(low, high, PLACES))
        edge, pieces = shapely.get_coordinates(self.outline), np.arange(len(self.light.pieces))
        flat = self.drawn_in(np.concatenate([np.stack(steps, axis=-1).reshape(-1, 2), edge[:: -(-len(edge) // EDGE_PLACES)]]))
        return self.at(np.repeat(flat, len(pieces), axis=0), np.tile(pieces, len(flat)))

    def drawn_in(self, places: FloatArray) -> FloatArray:
        """Places (C, 2), those outside the outline moved onto its edge."""
        shapely.prepare(self.outline)
        points, edge = np.asarray(shapely.points(places)), self.outline.exterior
        out = ~np.asarray(shapely.covers(self.outline, points))
        moved = np.array(places)
        moved[out] = shapely.get_coordinates(shapely.line_interpolate_point(edge, shapely.line_locate_point(edge, points[out])))
        return moved

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
    asked_deg: Sequence[float] = (),
) -> Shading:
    """What each shield can do about a light, and pairs of them `together`; `world` is the box without its flags.

    Pairs are looked at closely where both are as far from where they begin, for so they share a light best; fewer pair_rounds look
    less closely, on the safe side, and so it is done where nothing can ask as much of a pair as is asked of it anyhow: asked_deg,
    by pair, the angle of its first so told, as `Shading.shared_deg` has it.
    """
    ground = _ground(target, light, world)
    if not ground.light.pieces:
        return Shading(widest_deg=np.zeros((len(shields), 0)))
    floor = _Floor.of([_pair_of(shields, *pair) for pair in together], asked_deg, len(shields))
    floor.add(_first_places(ground), shields, ground.ways)
    if floor.is_hopeless:
        return floor.shading
    cells, rays = _first_look(ground)
    widest = widest_shading(shields, rays, ground.ways)
    for turn in range(ROUNDS):
        with_pairs = turn < pair_rounds
        if with_pairs and (middles := _middles(ground, cells, rays, widest, floor)) is not None:
            floor.add(middles, shields, ground.ways)
            if floor.is_hopeless:
                return floor.shading
        cut = _deciding(rays, widest, floor, cells.side_mm, with_pairs=with_pairs)
        if not cut.any():
            break
        more = within(cells.take(cut).finer(), ground.outline)
        new = ground.rays(more)
        widest = np.concatenate([widest, widest_shading(shields, new, ground.ways)], axis=1)
        rays = rays.take(~cut).and_also(new)
        cells = cells.take(~cut).and_also(more)
    counted = ~rays.kept & bool(rays.passes.any())
    return Shading(widest_deg=rays.of_cells(widest)[:, counted])


_ground = KeptTogether(Ground.of)  # for many changes of flags are tried in one box
_first_places: Kept[Ground, Lit] = Kept(Ground.at_first_places, 64)


def _looked(ground: Ground) -> tuple[Cells, Lit]:
    """The first cells of a ground and the rays of these, which ask for no flag yet."""
    cells = ground.first_cells()
    return cells, ground.rays(cells)


_first_look: Kept[Ground, tuple[Cells, Lit]] = Kept(_looked, 64)


@dataclass(slots=True)
class _Floor:
    """What is known to be asked, however finely the target is cut: of each shield (S,) and of each pair of them (K,) [deg].

    is_lit: whether the box lets any light by.
    """

    pairs: list[Pair]
    alone_deg: FloatArray
    shared_deg: FloatArray
    is_lit: bool = False

    @classmethod
    def of(cls, pairs: list[Pair], asked_deg: Sequence[float], count: int) -> _Floor:
        """Before anything is looked at; asked_deg as in `shading_of`."""
        return cls(pairs, np.full(count, np.inf), np.array(asked_deg if len(asked_deg) else [np.inf] * len(pairs)))

    def add(self, places: Lit, shields: Sequence[Shield], ways: Sequence[Way]) -> None:
        """Count single places: finer cells about them ask no less than they do, but for those that the box keeps all light off."""
        asked = places.of_cells(widest_shading(shields, places, ways))[:, ~places.kept]
        self.alone_deg = np.minimum(self.alone_deg, asked.min(axis=1, initial=np.inf))
        self.shared_deg = np.minimum(self.shared_deg, self.of_pairs(asked).min(axis=1, initial=np.inf))
        self.is_lit = self.is_lit or bool(places.passes.any())

    def of_pairs(self, widest: FloatArray) -> FloatArray:
        """How far pairs may be open (K, C) that shade what shields do (S, C), told by the first of each; see `Shading`."""
        return np.array([_shared(widest, pair) for pair in self.pairs]).reshape(len(self.pairs), widest.shape[1])

    @property
    def alone_is_hopeless(self) -> bool:
        """Whether light gets by that no shield alone keeps off at any angle."""
        return self.is_lit and len(self.alone_deg) > 0 and bool(np.isneginf(self.alone_deg).all())

    @property
    def is_hopeless(self) -> bool:
        """Whether no two of them do either, or others ask as much of these two."""
        return self.alone_is_hopeless and bool(np.isneginf(self.shared_deg).all())

    @property
    def shading(self) -> Shading:
        """What comes of it where it is hopeless."""
        return Shading(widest_deg=np.full((len(self.alone_deg), 1), -np.inf))


def _middles(ground: Ground, cells: Cells, rays: Lit, widest: FloatArray, floor: _Floor) -> Lit | None:
    """Middles of cells that ask for what no two shields can do, where none does it alone: whether it is truly asked there."""
    if not floor.alone_is_hopeless:
        return None
    never = np.isneginf(floor.of_pairs(rays.of_cells(widest))) & np.isfinite(floor.shared_deg)[:, None]
    found = _first_of(never.any(axis=0) & ~rays.kept, cells.side_mm, MIDDLES)
    middle = cells.low_mm[found] + cells.side_mm[found, None] / 2
    return ground.at(ground.drawn_in(middle), cells.piece[found]) if len(found) else None


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


def _deciding(rays: Lit, widest: FloatArray, floor: _Floor, side_mm: FloatArray, *, with_pairs: bool) -> BoolArray:
    """Cells (C,) that ask more of a shield, or of two together, than is known to be asked: by rays that pass, by the floor."""
    open_ones = ~rays.kept & (side_mm > FINEST_MM)
    cut = np.zeros(len(open_ones), dtype=np.bool_)
    if not open_ones.any() or not len(widest):
        return cut
    known, asked = widest[:, rays.passes], rays.of_cells(widest)
    unsure = open_ones & rays.any_of(~rays.passes)
    least = np.minimum(known.min(axis=1, initial=np.inf), floor.alone_deg) - ALIKE_DEG
    cut[_first_of(unsure & (asked < least[:, None]).any(axis=0), asked.min(axis=0), MOST_CUT)] = True
    if not with_pairs:
        return cut
    least = np.minimum(floor.of_pairs(known).min(axis=1, initial=np.inf), floor.shared_deg) - ALIKE_PAIR_DEG
    for cells_ask, enough in zip(floor.of_pairs(asked), least, strict=True):
        most_first = np.where(np.isneginf(cells_ask), side_mm - FAR_DEG, cells_ask)  # of those that ask for all, the finest
        cut[_first_of(open_ones & (cells_ask < enough), most_first, PAIR_CELLS)] = True
    return cut


def _first_of(which: BoolArray, value: FloatArray, most: int) -> Index:
    """Those of some cells (C,) with the least values, at most so many."""
    found = np.flatnonzero(which)
    return found[np.argsort(value[found], kind="stable")[:most]]


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
    o, d = shield.hinge.to_box(start), shield.hinge.vectors_to_box(direction)
    bars = shield.bars
    flag = np.array([bars.length_mm, bars.width_mm, bars.extension_mm, bars.extension_deg])
    return widest_deg(flag, shield.first_deg, o, d, behind, farther_in=shield.farther_in)


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
