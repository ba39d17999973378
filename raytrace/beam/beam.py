"""The beam: all rays of all field points of a guide, and its section by any plane as an exact outline. Draws nothing.

A section contains every ray of the guide and exceeds them by no more than 0.02 mm (0.035 mm for a pupil traced through a lens
table, 0.1 mm for one that walks, a few tenths next to corners that the bare lens leaves dark). Only the guide's edge is traced: the
light of field points inside it falls inside the section of the edge, because every rim that cuts a pencil lies behind the plane and
so moves outward with the field. A pupil that walks by a table may shrink so fast that this is not so: then the inside is traced as
well (`raytrace.beam.inside`). Where the bare lens leaves the edge dark, the edge of what is lit takes its place.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import Pose, pose
from raytrace.beam.inside import COARSE, FINE, Inside, inside_points, outgrows
from raytrace.beam.outline import Section, as_section, chained
from raytrace.beam.rays import Outlines, Sheet, chords_for, lit, outlines, rim_disc, traced, traced_edgeless
from raytrace.box import Box
from raytrace.kept import Kept
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.pencil import Pencils

PencilsAt = Callable[[FloatArray], Pencils]

BULGE_MM = 0.003  # how far the beam may bulge between two neighbouring pencils; the outline is widened by as much
DENT_MM = 0.005  # how far it may fall short of the straight edge that joins them
LEAST_PAD_MM = 0.001  # where sides bend at all, the look at them is only so good
SPOKES_PAD_MM = 0.014  # a traced outline is known along spokes: its corners come and go between them by this much
STRAIGHT_MM = 1e-6  # sides that bend less are straight to rounding: the corners' pencils say all
FIRST_INTERVALS = 8  # per side of the guide, to see how much the beam's sides bend
MOST_INTERVALS = 96  # per side; half a millimetre of bend in the first look asks for as many
FIRST_CHORDS = 16  # outline rays in the first look
CUT_INTERVALS = 24  # per side at least, where rims cut pencils and their shape changes along the side
DARK_INTERVALS = 64  # per side, where the edge of what is lit takes the place of the guide's
CLOSER_LOOKS = 3  # rounds of halving intervals where pencils that rims cut still bulge too far
MOST_PAD_MM = 0.018  # more would claim light that is not there
NEAR_MM = 5.0  # where boxes begin: rims shape the beam most close to the lens
HALVINGS = 26  # of the way from the middle to a dark point of the edge: a nanometre in the picture
KEPT_RIMS = 32  # of guides' edges, half a megabyte each
FAR_MM = 400.0  # no box reaches farther ahead: where the beam's bend is judged unless a plane is given


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """Outline rays of pencils round a guide's edge, in order; sections come from it without tracing again.

    pad_mm is how far the beam may bulge between two neighbours; `inside` holds pencils inside the edge that may reach farther.
    """

    sheets: tuple[Sheet, ...]
    pad_mm: float
    inside: Inside | None = None

    def section(self, plane: Pose) -> Section:
        """The beam's outline in a plane, in the plane's own coordinates (x to the operator's left, y up) [mm]; may be empty."""
        shape = chained(*_together([sheet.at_plane(plane) for sheet in self.sheets]))
        if self.pad_mm > 0 and not shape.is_empty:
            shape = as_section(shape.buffer(self.pad_mm, join_style="mitre"))
        return shape if self.inside is None or shape.is_empty else self.inside.added_to(shape, plane)

    def reaches_out(self, inside: Inside, far: Pose) -> bool:
        """Whether pencils inside the edge may reach past its beam near the lens, at a far plane, or half way."""
        planes = (pose(ahead_mm=NEAR_MM), pose(ahead_mm=(NEAR_MM + float(far.origin_mm[2])) / 2), far)
        sections = [(self.section(plane), plane) for plane in planes]
        return any(inside.reaches_out(section, plane) for section, plane in sections if not section.is_empty)

    def runs_along(self, plane: Pose) -> bool:
        """Whether some ray starts behind a plane and never gets nearer to it."""
        return any(sheet.runs_along(plane) for sheet in self.sheets)

    def bends_behind(self, plane: Pose) -> FloatArray | None:
        """Frame points (M, 3) whose hull, `pad_mm` larger, holds the beam behind a plane [mm]; None where that is not known."""
        found = [sheet.bends_behind(plane) for sheet in self.sheets]
        known = [points for points in found if points is not None]
        return np.concatenate(known) if self.inside is None and known and len(known) == len(found) else None

    def endless(self) -> Beam:
        """The same rays, running on beyond the plane in focus."""
        inside = None if self.inside is None else self.inside.endless()
        return replace(self, sheets=tuple(sheet.endless() for sheet in self.sheets), inside=inside)

    def section_at(self, z_mm: float) -> Section:
        """The section square to the axis, z ahead of the lens front [mm]."""
        return self.section(pose(ahead_mm=z_mm))


def beam_of(pencils_at: PencilsAt, guide: Guide, box: Box, *, far: Pose | None = None) -> Beam:
    """The beam of a guide, fine enough for sections up to the plane `far` (400 mm ahead unless given)."""
    far = far or pose(ahead_mm=FAR_MM)
    look = _look(pencils_at, guide, box, far)
    place = _places(look.per_side)
    sheets = _sheets(pencils_at, guide, box, place)
    edge = Beam(sheets=sheets, pad_mm=look.pad_mm)
    planes_mm = (NEAR_MM, float(far.origin_mm[2]))
    looks_in = look.walks and (look.cut or outgrows(pencils_at, guide, planes_mm))
    inside = _inside(pencils_at, guide, box, edge, far) if looks_in else None
    if look.dark or not look.cut:
        return Beam(sheets=sheets, pad_mm=look.pad_mm, inside=inside)
    planes, enough_mm = (pose(ahead_mm=NEAR_MM), far), look.pad_mm + BULGE_MM
    bulge = _seen_bulges(sheets, planes, place)
    for _ in range(CLOSER_LOOKS):
        if bulge.max() <= enough_mm:
            break
        place = _halved(place, bulge > enough_mm)
        sheets = _sheets(pencils_at, guide, box, place)
        bulge = _seen_bulges(sheets, planes, place)
    return Beam(sheets=sheets, pad_mm=max(look.pad_mm, min(look.pad_mm + float(bulge.max()), MOST_PAD_MM)), inside=inside)


def _together(sheets: Sequence[tuple[FloatArray, NDArray[np.bool_]]]) -> tuple[FloatArray, NDArray[np.bool_]]:
    """The points (N, S * K, 2) of all sheets pencil by pencil, and which pencils have any; one sheet fills another's gaps."""
    if len(sheets) == 1:
        return sheets[0]
    there = np.array([crossed for _, crossed in sheets])
    first = there.argmax(axis=0)
    stand_in = np.stack([points for points, _ in sheets])[first, np.arange(there.shape[1])]
    whole = [np.where(crossed[:, None, None], points, stand_in) for points, crossed in sheets]
    return np.concatenate(whole, axis=1), np.asarray(there.any(axis=0))


def lens_beam(lens: LensState, guide: Guide, box: Box, *, far: Pose | None = None) -> Beam:
    """The beam of a guide behind one lens."""
    return beam_of(_pencils_of(lens), guide, box, far=far)


def _pencils_at(lens: LensState) -> PencilsAt:
    return partial(pencils_for, lens)


_pencils_of: Kept[LensState, PencilsAt] = Kept(_pencils_at)  # the same one for a lens, so that what is kept of its rims is found


def beam_section(pencils_at: PencilsAt, guide: Guide, box: Box, plane: Pose) -> Section:
    """The section of a guide's beam by a plane, through the glass before it; see `Beam.section`."""
    return beam_of(pencils_at, guide, box, far=plane).section(plane)


def lens_section(variants: Sequence[LensState], guides: Sequence[Guide], box: Box, plane: Pose) -> Section:
    """The union of the sections of several guides for several states or pupil depths."""
    return union([lens_beam(lens, guide, box, far=plane).section(plane) for lens in variants for guide in outer_guides(guides)])


def outer_guides(guides: Sequence[Guide]) -> tuple[Guide, ...]:
    """The guides that no other holds: the beam of a guide inside another is part of the other's."""
    return tuple(
        guide
        for k, guide in enumerate(guides)
        if not any(holds(other, guide) and (j < k or not holds(guide, other)) for j, other in enumerate(guides) if j != k)
    )


def holds(outer: Guide, inner: Guide) -> bool:
    """Whether all of the inner guide lies within the outer one."""
    away = np.abs(np.subtract(outer.centre_mm, inner.centre_mm))
    return bool(np.all(away + np.array((inner.half_width_mm, inner.half_height_mm)) <= (outer.half_width_mm, outer.half_height_mm)))


def union(sections: Sequence[Section]) -> Section:
    """Sections in one plane as one."""
    return as_section(shapely.union_all(list(sections)))


def edge_points(guide: Guide, place: FloatArray) -> FloatArray:
    """Points of the guide's edge (M, 2) right, up [mm] at places (M,) from 0 to 4: one for each side, corners at whole numbers."""
    corners = guide.corners_mm()
    side = place.astype(np.int64) % 4
    return np.asarray(corners[side] + (place % 1)[:, None] * (corners[(side + 1) % 4] - corners[side]))


def _places(per_side: Sequence[int]) -> FloatArray:
    """Places once round the edge, each side cut into its number of intervals."""
    return np.concatenate([side + np.arange(count) / count for side, count in enumerate(per_side)])


def _largest_mm(pencils: Pencils) -> float:
    return float(np.linalg.norm(pencils.axes_mm, ord=2, axis=(1, 2)).max(initial=0.0))


@dataclass(frozen=True, slots=True)
class _Look:
    """What a first look tells: intervals that each side needs, and how far the beam may then bulge between neighbours.

    cut: the lens's own rims shape its pencils, so that the look is not enough; dark: they leave some of the edge without light;
    walks: its pupil changes with the field by a table, so that points inside the guide may reach farther than its edge.
    """

    per_side: tuple[int, ...]
    pad_mm: float
    cut: bool
    walks: bool
    dark: bool = False


def _look(pencils_at: PencilsAt, guide: Guide, box: Box, far: Pose) -> _Look:
    """A first look at the beam with few rays, its rims' cuts left out.

    What lies over a chord of n intervals falls as 1 / n^2; it is an eighth of the second difference, square to the side.
    """
    points = edge_points(guide, _places((FIRST_INTERVALS,) * 4))
    pencils = pencils_at(points)
    rims = outlines(pencils, FIRST_CHORDS)
    if not rims.lit.all():
        return _Look((DARK_INTERVALS,) * 4, MOST_PAD_MM, True, _walks(pencils), dark=True)
    whole = replace(rims, crossing_mm=pencils.crossing_mm(rim_disc(pencils, FIRST_CHORDS)))
    sheet = traced_edgeless(pencils, whole, box.glasses)
    bulge, dent = _bends(*sheet.endless().at_plane(far))
    cut = rims.cut.any() or pencils.rim_share.shape[1] > 0
    wanted = FIRST_INTERVALS * np.sqrt(np.maximum(bulge / BULGE_MM, dent / DENT_MM))
    count = np.clip(np.ceil(wanted), CUT_INTERVALS if cut else 1, MOST_INTERVALS).astype(int)
    straight = max(bulge.max(), dent.max()) < STRAIGHT_MM
    least = SPOKES_PAD_MM if pencils.rim_share.shape[1] > 0 else LEAST_PAD_MM
    pad = 0.0 if straight else least + float((bulge * (FIRST_INTERVALS / count) ** 2).max())
    return _Look(tuple(count.tolist()), pad, bool(cut), _walks(pencils))


def _walks(pencils: Pencils) -> bool:
    """Whether a pupil walks by a table of its own sizes; a traced one, whose rims all lie behind the front, does not shrink so."""
    return len(pencils.kink_tan) > 1 and pencils.rim_share.shape[1] == 0


def _inside(pencils_at: PencilsAt, guide: Guide, box: Box, edge: Beam, far: Pose) -> Inside | None:
    """Pencils inside the guide, if a coarse look says that any may reach past those of its edge."""
    if not (edge.reaches_out(_pencils_inside(pencils_at, guide, box, COARSE, FIRST_CHORDS), far)):
        return None
    return _pencils_inside(pencils_at, guide, box, FINE)


def _pencils_inside(pencils_at: PencilsAt, guide: Guide, box: Box, steps: tuple[int, int], chords: int | None = None) -> Inside:
    points, shares, place = inside_points(pencils_at, guide, steps)
    pencils = pencils_at(points)
    rims = outlines(pencils, chords or chords_for(_largest_mm(pencils)))
    return Inside(sheets=traced(pencils, rims, box.glasses), shares=shares, place=place)


def _sheets(pencils_at: PencilsAt, guide: Guide, box: Box, place: FloatArray) -> tuple[Sheet, ...]:
    return traced(*_kept_rims(pencils_at, guide, place), box.glasses)


def _kept_rims(pencils_at: PencilsAt, guide: Guide, place: FloatArray) -> tuple[Pencils, Outlines]:
    """As `_rims`, worked out once while it is asked for: glass does not change it, and trays are filled in many ways."""
    key = (id(pencils_at), guide, place.tobytes())
    held = _known_rims.get(key)
    if held is None:
        held = _known_rims[key] = pencils_at, _rims(pencils_at, guide, place)  # with that, so that no other gets its id
        if len(_known_rims) > KEPT_RIMS:
            _known_rims.popitem(last=False)
    return held[1]


_known_rims: OrderedDict[tuple[int, Guide, bytes], tuple[PencilsAt, tuple[Pencils, Outlines]]] = OrderedDict()


def _rims(pencils_at: PencilsAt, guide: Guide, place: FloatArray) -> tuple[Pencils, Outlines]:
    """The pencils of places on a guide's edge, or of what is lit nearest to them, and their rims."""
    edge = edge_points(guide, place)
    there = pencils_at(edge)
    chords = chords_for(_largest_mm(there))
    dark = ~lit(there, chords)
    pencils = pencils_at(_lit_edge(pencils_at, guide, edge, dark, chords)) if dark.any() else there
    return pencils, outlines(pencils, chords)


def _seen_bulges(sheets: Sequence[Sheet], planes: Sequence[Pose], place: FloatArray) -> FloatArray:
    """How far the beam may bulge over each pencil (M,), from how far out it and its neighbours reach [mm].

    A parabola through the three rises over its chord by c a^2 / 8 in each gap, c its second derivative and a the wider gap. The
    guide's corners reach farthest themselves.
    """
    bulge = np.zeros(len(place))
    for points, crossed in (sheet.at_plane(plane) for sheet in sheets for plane in planes):
        bulge = np.maximum(bulge, np.where(crossed, _peaks(points, place), 0.0))
    return np.where(place % 1 == 0, 0.0, bulge)


def _peaks(points: FloatArray, place: FloatArray) -> FloatArray:
    """The bulge (M,) square to the way from each pencil's neighbour before to the one after, as far out as they reach that way."""
    middle = points.mean(axis=1)
    outward = _square_to(_way(middle), -1 if shapely.LinearRing(middle).is_ccw else 1)
    for _ in range(2):  # first square to the way of their middles, then of the points that reach farthest
        farthest = np.take_along_axis(points, np.einsum("mkj,mj->mk", points, outward).argmax(axis=1)[:, None, None], axis=1)[:, 0]
        way = _way(farthest)
        outward = _square_to(way, 1) * np.sign(np.sum(_square_to(way, 1) * outward, axis=1))[:, None]
    here, before, after = (np.einsum("mkj,mj->mk", np.roll(points, shift, axis=0), outward).max(axis=1) for shift in (0, 1, -1))
    a, b = (place - np.roll(place, 1)) % 4, (np.roll(place, -1) - place) % 4
    height = ((here - before) / a + (here - after) / b) / (a + b) * np.maximum(a, b) ** 2 / 4
    return np.maximum(height, 0.0)


def _way(points: FloatArray) -> FloatArray:
    return np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)


def _square_to(way: FloatArray, turn: int) -> FloatArray:
    left = turn * np.column_stack([-way[:, 1], way[:, 0]])
    return left / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)


def _halved(place: FloatArray, where: NDArray[np.bool_]) -> FloatArray:
    """Places with one more in the middle of both intervals beside each named one."""
    gap = (np.roll(place, -1) - place) % 4
    either = where | np.roll(where, -1)
    return np.sort(np.concatenate([place, (place + gap / 2)[either]]))


def _bends(points: FloatArray, crossed: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """How far the beam bulges over, and falls short of, the chords of the first intervals, by side (4,), (4,) [mm].

    points (4 * FIRST_INTERVALS, K, 2).
    """
    sides = np.arange(4)[:, None] * FIRST_INTERVALS + np.arange(FIRST_INTERVALS + 1)
    p = points[sides % len(points)]
    along = p[:, 2:] - p[:, :-2]
    second = p[:, 2:] - 2 * p[:, 1:-1] + p[:, :-2]
    left = (along[..., 0] * second[..., 1] - along[..., 1] * second[..., 0]) / np.maximum(np.linalg.norm(along, axis=-1), 1e-9)
    known = crossed[sides % len(points)].all(axis=1)
    inward = np.where(known[:, None, None], left / 8, 0.0) * (1 if shapely.LinearRing(points.mean(axis=1)).is_ccw else -1)
    return np.maximum(inward.max(axis=(1, 2)), 0.0), np.maximum(-inward.min(axis=(1, 2)), 0.0)


def _lit_edge(pencils_at: PencilsAt, guide: Guide, edge: FloatArray, dark: NDArray[np.bool_], chords: int) -> FloatArray:
    """The edge's points, dark ones moved toward the lit middle until some light is left of them."""
    middle = _lit_middle(pencils_at, guide, chords)
    low, high = np.zeros(int(dark.sum())), np.ones(int(dark.sum()))
    for _ in range(HALVINGS):
        tried = (low + high) / 2
        seen = lit(pencils_at(middle + tried[:, None] * (edge[dark] - middle)), chords)
        low, high = np.where(seen, tried, low), np.where(seen, high, tried)
    moved = np.array(edge)
    moved[dark] = middle + low[:, None] * (edge[dark] - middle)
    return moved


def _lit_middle(pencils_at: PencilsAt, guide: Guide, chords: int) -> FloatArray:
    """The middle of what is lit inside a guide."""
    steps = np.linspace(-1.0, 1.0, 2 * FIRST_INTERVALS + 1)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    points = np.asarray(guide.centre_mm) + grid * [guide.half_width_mm, guide.half_height_mm]
    seen = lit(pencils_at(points), chords)
    return np.asarray(points[seen].mean(axis=0)) if seen.any() else np.asarray(guide.centre_mm)
