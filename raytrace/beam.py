"""The beam: all rays of all field points of a guide, and its section by any plane as an exact outline. Draws nothing.

A section contains every ray of the guide and exceeds them by no more than 0.02 mm. Only the guide's edge is traced: the light of
field points inside it falls inside the section of the edge, because every rim that cuts a pencil lies behind the plane and so
moves outward with the field. Where the bare lens leaves the edge dark, the edge of what is lit takes its place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.frame import Pose, pose
from raytrace.beam_outline import Section, as_section, chained, filled
from raytrace.beam_rays import Outlines, Sheet, chords_for, edgeless, outlines, rim_disc, traced
from raytrace.box import Box
from raytrace.bundle import FloatArray
from raytrace.camera import Guide
from raytrace.lens import LensState, pencils_for
from raytrace.pencil import Pencils

PencilsAt = Callable[[FloatArray], Pencils]

BULGE_MM = 0.003  # how far the beam may bulge between two neighbouring pencils; the outline is widened by as much
DENT_MM = 0.009  # how far it may fall short of the straight edge that joins them
LEAST_PAD_MM = 0.001  # where sides bend at all, the look at them is only so good
STRAIGHT_MM = 1e-6  # sides that bend less are straight to rounding: the corners' pencils say all
FIRST_INTERVALS = 8  # per side of the guide, to see how much the beam's sides bend
MOST_INTERVALS = 96  # per side; half a millimetre of bend in the first look asks for as many
FIRST_CHORDS = 16  # outline rays in the first look
CUT_INTERVALS = 32  # per side at least, where rims cut pencils and their shape changes along the side
DARK_INTERVALS = 64  # per side, where the edge of what is lit takes the place of the guide's
HALVINGS = 40  # of the way from the middle to a dark point of the edge: a micrometre in the picture
FAR_MM = 400.0  # no box reaches farther ahead: where the beam's bend is judged unless a plane is given


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """Outline rays of pencils round a guide's edge, in order; sections come from it without tracing again.

    pad_mm is how far the beam may bulge between two neighbours.
    """

    sheets: tuple[Sheet, ...]
    pad_mm: float

    def section(self, plane: Pose) -> Section:
        """The beam's outline in a plane, in the plane's own coordinates (x to the operator's left, y up) [mm]; may be empty."""
        pieces = [chained(*sheet.at_plane(plane)) for sheet in self.sheets]
        shape = pieces[0] if len(pieces) == 1 else filled(shapely.union_all(pieces))
        return shape if self.pad_mm <= 0 or shape.is_empty else as_section(shape.buffer(self.pad_mm, join_style="mitre"))

    def runs_along(self, plane: Pose) -> bool:
        """Whether some ray starts behind a plane and never gets nearer to it."""
        return any(sheet.runs_along(plane) for sheet in self.sheets)

    def section_at(self, z_mm: float) -> Section:
        """The section square to the axis, z ahead of the lens front [mm]."""
        return self.section(pose(ahead_mm=z_mm))


def beam_of(pencils_at: PencilsAt, guide: Guide, box: Box, *, far: Pose | None = None) -> Beam:
    """The beam of a guide, fine enough for sections up to the plane `far` (400 mm ahead unless given)."""
    per_side, pad_mm = _intervals(pencils_at, guide, box, far or pose(ahead_mm=FAR_MM))
    edge = edge_points(guide, per_side)
    chords = chords_for(_largest_mm(pencils_at(edge)))
    pencils = pencils_at(_lit_edge(pencils_at, guide, edge, chords))
    rims = outlines(pencils, chords)
    return Beam(sheets=traced(pencils, rims, box.glasses), pad_mm=pad_mm)


def lens_beam(lens: LensState, guide: Guide, box: Box, *, far: Pose | None = None) -> Beam:
    """The beam of a guide behind one lens."""
    return beam_of(partial(pencils_for, lens), guide, box, far=far)


def beam_section(pencils_at: PencilsAt, guide: Guide, box: Box, plane: Pose) -> Section:
    """The section of a guide's beam by a plane, through the glass before it; see `Beam.section`."""
    return beam_of(pencils_at, guide, box, far=plane).section(plane)


def lens_section(variants: Sequence[LensState], guides: Sequence[Guide], box: Box, plane: Pose) -> Section:
    """The union of the sections of several guides for several states or pupil depths."""
    return union([lens_beam(lens, guide, box, far=plane).section(plane) for lens in variants for guide in guides])


def union(sections: Sequence[Section]) -> Section:
    """Sections in one plane as one."""
    return as_section(shapely.union_all(list(sections)))


def edge_points(guide: Guide, per_side: Sequence[int]) -> FloatArray:
    """Points once round the guide's edge (M, 2) right, up [mm]: each side cut into its number of intervals."""
    corners = guide.corners_mm()
    sides = [
        corners[k] + np.arange(count)[:, None] / count * (corners[(k + 1) % 4] - corners[k]) for k, count in enumerate(per_side)
    ]
    return np.concatenate(sides)


def _largest_mm(pencils: Pencils) -> float:
    return float(np.linalg.norm(pencils.axes_mm, ord=2, axis=(1, 2)).max(initial=0.0))


def _intervals(pencils_at: PencilsAt, guide: Guide, box: Box, far: Pose) -> tuple[tuple[int, ...], float]:
    """Intervals that each side of the guide needs, and how far the beam may then bulge between neighbours [mm].

    What lies over a chord of n intervals falls as 1 / n^2; it is an eighth of the second difference, square to the side.
    """
    points = edge_points(guide, (FIRST_INTERVALS,) * 4)
    pencils = pencils_at(points)
    rims = outlines(pencils, FIRST_CHORDS)
    if not rims.lit.all():
        return (DARK_INTERVALS,) * 4, BULGE_MM
    whole = Outlines(crossing_mm=pencils.crossing_mm(rim_disc(pencils, FIRST_CHORDS)), lit=pencils.valid)
    (sheet,) = traced(pencils, whole, [edgeless(glass) for glass in box.glasses])
    bulge, dent = _bends(*sheet.at_plane(far))
    least = 1 if _same(pencils, whole, rims) else CUT_INTERVALS
    wanted = FIRST_INTERVALS * np.sqrt(np.maximum(bulge / BULGE_MM, dent / DENT_MM))
    count = np.clip(np.ceil(wanted), least, MOST_INTERVALS).astype(int)
    straight = max(bulge.max(), dent.max()) < STRAIGHT_MM
    return tuple(count.tolist()), 0.0 if straight else LEAST_PAD_MM + float((bulge * (FIRST_INTERVALS / count) ** 2).max())


def _same(pencils: Pencils, whole: Outlines, rims: Outlines) -> bool:
    """Whether neither rims nor the front ring cut any pencil."""
    return (
        pencils.rim_share.shape[1] == 0
        and rims.crossing_mm.shape == whole.crossing_mm.shape
        and not np.isfinite(pencils.front_ring_mm[1])
    )


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


def _lit_edge(pencils_at: PencilsAt, guide: Guide, edge: FloatArray, chords: int) -> FloatArray:
    """The edge's points, dark ones moved toward the lit middle until some light is left of them."""
    dark = ~_lit(pencils_at, edge, chords)
    if not dark.any():
        return edge
    middle = _lit_middle(pencils_at, guide, chords)
    low, high = np.zeros(int(dark.sum())), np.ones(int(dark.sum()))
    for _ in range(HALVINGS):
        tried = (low + high) / 2
        lit = _lit(pencils_at, middle + tried[:, None] * (edge[dark] - middle), chords)
        low, high = np.where(lit, tried, low), np.where(lit, high, tried)
    moved = np.array(edge)
    moved[dark] = middle + low[:, None] * (edge[dark] - middle)
    return moved


def _lit(pencils_at: PencilsAt, points_mm: FloatArray, chords: int) -> NDArray[np.bool_]:
    return outlines(pencils_at(points_mm), chords).lit


def _lit_middle(pencils_at: PencilsAt, guide: Guide, chords: int) -> FloatArray:
    """The middle of what is lit inside a guide."""
    steps = np.linspace(-1.0, 1.0, 2 * FIRST_INTERVALS + 1)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    points = np.asarray(guide.centre_mm) + grid * [guide.half_width_mm, guide.half_height_mm]
    lit = _lit(pencils_at, points, chords)
    return np.asarray(points[lit].mean(axis=0)) if lit.any() else np.asarray(guide.centre_mm)
