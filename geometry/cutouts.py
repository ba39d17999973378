"""The tightest opening round a shape that a cutter of a given radius can make. Plane geometry in mm; knows no light."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.errors import GeometryError

Shape = shapely.Polygon | shapely.MultiPolygon

QUARTER_CHORDS = 32  # of a round corner: chords stray less than 0.3 thousandths of its radius inside it
NOTCH_MM = 10.0  # radius of what must fit into a notch of the beam for material to stand there: spikes bend, and nobody files them
HELD_MM = 0.004  # what the chords of two round corners may differ by
CUT_FLATNESS_MM = 0.004  # points of a cut line that stand off it by less are left out: a tenth of what a file takes off metal
HALVINGS = 16  # of the corner radius: 12 mm comes down to a fifth of a micrometre


def tightest(need: Shape, margin_mm: float, corner_mm: float) -> Shape:
    """The smallest opening that keeps a margin all round a shape, with no inside corner sharper than `corner_mm`.

    Notches of the shape too narrow for a disc of NOTCH_MM are filled first, so that no spike of material is left in them.
    The shape grown by the margin has corners of at least the margin. Where the cutter is larger it must swing out past them, and
    the opening grows evenly by the least that lets it.
    """
    if need.is_empty or margin_mm < 0 or corner_mm < 0:
        raise GeometryError(
            "a cut-out needs a beam to hold, a margin and a corner radius of 0 mm or more, "
            f"found {'no beam, ' if need.is_empty else ''}{margin_mm:g} and {corner_mm:g} mm"
        )
    need = without_notches(need)
    wanted = _grown(need, margin_mm)
    if corner_mm <= margin_mm:
        return _thinned(wanted)
    small, large = 0.0, corner_mm - margin_mm  # grown by the whole radius, corners are as round as the cutter
    if _holds(_opened(wanted, corner_mm), wanted):
        return _thinned(_opened(wanted, corner_mm))
    for _ in range(HALVINGS):
        more = (small + large) / 2
        held = _holds(_opened(_grown(need, margin_mm + more), corner_mm), wanted)
        small, large = (small, more) if held else (more, large)
    return _thinned(_opened(_grown(need, margin_mm + large), corner_mm))


def _grown(shape: Shape, by_mm: float) -> Shape:
    return _areas(shape.buffer(by_mm, quad_segs=QUARTER_CHORDS))


def _opened(shape: Shape, radius_mm: float) -> Shape:
    """What a disc of this radius can sweep without leaving the shape."""
    return _areas(shape.buffer(-radius_mm, quad_segs=QUARTER_CHORDS).buffer(radius_mm, quad_segs=QUARTER_CHORDS))


def without_notches(shape: Shape) -> Shape:
    """The shape and every notch that a disc of NOTCH_MM cannot enter from outside."""
    closed = shape.buffer(NOTCH_MM, quad_segs=QUARTER_CHORDS).buffer(-NOTCH_MM, quad_segs=QUARTER_CHORDS)
    return _areas(shapely.union(shape, _areas(closed)))


def _holds(outer: Shape, inner: Shape) -> bool:
    return reach_beyond_mm(outer, inner) <= HELD_MM


def _thinned(shape: Shape) -> Shape:
    """The same outline with fewer points, grown by what leaving them out may cost; which ones, wherever its ring was begun."""
    return _areas(shape.buffer(CUT_FLATNESS_MM, join_style="mitre").normalize().simplify(CUT_FLATNESS_MM))


def _areas(shape: shapely.Geometry) -> Shape:
    assert isinstance(shape, shapely.Polygon | shapely.MultiPolygon)
    return shape


def joined(shapes: list[Shape]) -> Shape:
    """Several openings as one; what the cutter can sweep of each it can sweep of all."""
    return _areas(shapely.union_all(shapes))


def reach_beyond_mm(outer: Shape, inner: Shape) -> float:
    """How far the second shape reaches outside the first at its farthest corner; 0 where it lies inside [mm]."""
    corners = shapely.get_coordinates(inner)
    if outer.is_empty or not len(corners):
        return float("inf") if len(corners) else 0.0
    past = corners[~np.asarray(shapely.contains_xy(outer, corners[:, 0], corners[:, 1]))]
    return float(np.asarray(shapely.distance(shapely.points(past), outer)).max(initial=0.0))


def closed_rings_mm(shape: Shape) -> tuple[NDArray[np.float64], ...]:
    """The outer rings (K, 2) of a shape, counter-clockwise with x to the right, last point not repeated [mm]."""
    parts = [shapely.geometry.polygon.orient(part) for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return tuple(np.asarray(part.exterior.coords)[:-1] for part in parts)
