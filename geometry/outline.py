"""Flat outlines of openings and edges: exact containment, distance, area, and polygons on demand.

An outline lives in its part's own plane, (x, y) in mm, centred on the part; x runs to the operator's left as in the frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from geometry.errors import GeometryError

SAGITTA_MM = 0.002  # chords of a round outline stray less than this inside it: a fiftieth of what a file takes off metal
SAME_CORNER_MM = 1e-6  # corners closer than this are one: what files of solids state as the nearest that two may be
STEP_MM = 2.0  # along drawn outlines, between places that are compared
LOOPS_KEPT = 256  # of the outlines in a process: those of a few boxes


@dataclass(frozen=True, slots=True)
class Circle:
    """A round outline about the part's centre."""

    radius_mm: float

    def __post_init__(self) -> None:
        """Refuse a radius that encloses nothing."""
        if not self.radius_mm > 0:
            raise GeometryError(f"a round opening needs a radius above 0 mm, found {self.radius_mm:g}")


@dataclass(frozen=True, slots=True)
class RoundedRectangle:
    """A rectangle about the part's centre with equal round corners (corner_mm may be 0)."""

    width_mm: float
    height_mm: float
    corner_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse sizes that enclose nothing and corners that do not fit."""
        if not (self.width_mm > 0 and self.height_mm > 0):
            raise GeometryError(f"an opening needs width and height above 0 mm, found {self.width_mm:g} x {self.height_mm:g}")
        if not 0 <= self.corner_mm <= min(self.width_mm, self.height_mm) / 2 + 1e-9:
            raise GeometryError(
                f"a corner radius must lie between 0 and half the shorter side ({min(self.width_mm, self.height_mm) / 2:g} mm), "
                f"found {self.corner_mm:g}"
            )


@dataclass(frozen=True, slots=True)
class Freeform:
    """Any closed outline, from a drawing file: a shapely Polygon or MultiPolygon in mm, x to the operator's left.

    Corners that stand twice in one place, as where lines of a drawing meet, are one: an edge without length has no direction.
    """

    shape: shapely.Polygon | shapely.MultiPolygon

    def __post_init__(self) -> None:
        """Refuse outlines that enclose nothing or cross themselves, and let each corner stand once."""
        if self.shape.is_empty or not self.shape.is_valid:
            raise GeometryError(f"an outline must be closed and must not cross itself: {shapely.is_valid_reason(self.shape)}")
        once = shapely.remove_repeated_points(self.shape, SAME_CORNER_MM)
        if shapely.get_num_coordinates(once) < shapely.get_num_coordinates(self.shape) and once.is_valid and not once.is_empty:
            object.__setattr__(self, "shape", once)


Outline = Circle | RoundedRectangle | Freeform


def contains(outline: Outline, points_mm: ArrayLike) -> NDArray[np.bool_]:
    """Whether points (N, 2) [mm] lie inside the outline; the edge itself counts as material, so it is outside."""
    p = np.asarray(points_mm, dtype=np.float64)
    if isinstance(outline, Freeform):
        return np.asarray(shapely.contains_xy(outline.shape, p[..., 0], p[..., 1]), dtype=np.bool_)
    return inside_distance(outline, p) > 0


def inside_distance(outline: Outline, points_mm: ArrayLike) -> NDArray[np.float64]:
    """Distance of points (N, 2) to the outline [mm]: positive inside, negative outside; exact for every kind."""
    p = np.asarray(points_mm, dtype=np.float64)
    if isinstance(outline, Circle):
        return outline.radius_mm - np.hypot(p[..., 0], p[..., 1])
    if isinstance(outline, RoundedRectangle):
        return _inside_distance_rounded(outline, p)
    points = shapely.points(p[..., 0], p[..., 1])
    distance = shapely.distance(outline.shape.boundary, points)
    return np.where(shapely.contains_xy(outline.shape, p[..., 0], p[..., 1]), distance, -distance)


def _inside_distance_rounded(outline: RoundedRectangle, p: NDArray[np.float64]) -> NDArray[np.float64]:
    half = np.array([outline.width_mm, outline.height_mm]) / 2 - outline.corner_mm
    beyond = np.abs(p) - half  # from the inner rectangle that the corner circles roll along
    outside = np.hypot(np.maximum(beyond[..., 0], 0.0), np.maximum(beyond[..., 1], 0.0))
    inside = np.minimum(np.maximum(beyond[..., 0], beyond[..., 1]), 0.0)
    return outline.corner_mm - outside - inside


def area_mm2(outline: Outline) -> float:
    """Enclosed area in closed form [mm^2]."""
    if isinstance(outline, Circle):
        return float(np.pi * outline.radius_mm**2)
    if isinstance(outline, RoundedRectangle):
        return float(outline.width_mm * outline.height_mm - (4 - np.pi) * outline.corner_mm**2)
    return float(outline.shape.area)


def polygon_loops(outline: Outline, sagitta_mm: float = SAGITTA_MM) -> tuple[NDArray[np.float64], ...]:
    """Closed loops (K, 2) [mm], counter-clockwise seen with x to the right, last point not repeated.

    Round parts become chords whose ends lie on the outline (inscribed: an opening never grows), straying at most `sagitta_mm`.
    A Freeform gives its outer rings first, then its holes (clockwise). The loop of another is kept, and nobody can change it.
    """
    return _freeform_loops(outline.shape) if isinstance(outline, Freeform) else (_kept_loop(outline, sagitta_mm),)


@lru_cache(maxsize=LOOPS_KEPT)
def _kept_loop(outline: Circle | RoundedRectangle, sagitta_mm: float) -> NDArray[np.float64]:
    """The one loop of an outline: asked for again and again of parts that differ in where they stand alone."""
    if isinstance(outline, Circle):
        loop = _arc(np.zeros(2), outline.radius_mm, 0.0, 2 * np.pi, sagitta_mm)[:-1]
    else:
        loop = _rounded_loop(outline, sagitta_mm)
    loop.flags.writeable = False
    return loop


def to_shape(outline: Outline, sagitta_mm: float = SAGITTA_MM) -> shapely.Polygon | shapely.MultiPolygon:
    """The outline as a shapely shape in the part's plane [mm], round parts as inscribed chords."""
    if isinstance(outline, Freeform):
        return outline.shape
    return shapely.Polygon(polygon_loops(outline, sagitta_mm)[0])


def is_convex(outline: Outline) -> bool:
    """Whether a straight line between two inside points can never leave the outline."""
    if isinstance(outline, Freeform):
        hull_area = float(outline.shape.convex_hull.area)
        return bool(hull_area - outline.shape.area <= 1e-9 * hull_area)
    return True


def size_mm(outline: Outline) -> tuple[float, float]:
    """Width and height of an outline, wherever it lies about the centre [mm]."""
    if isinstance(outline, Freeform):
        x0, y0, x1, y1 = outline.shape.bounds
        return float(x1 - x0), float(y1 - y0)
    width, height = (2.0 * half_size_mm(outline)).tolist()
    return width, height


def half_size_mm(outline: Outline) -> NDArray[np.float64]:
    """Half width and half height (2,) of the smallest upright rectangle about the centre that holds the outline [mm]."""
    if isinstance(outline, Circle):
        return np.array([outline.radius_mm, outline.radius_mm])
    if isinstance(outline, RoundedRectangle):
        return np.array([outline.width_mm, outline.height_mm]) / 2
    x0, y0, x1, y1 = outline.shape.bounds
    return np.array([max(-x0, x1), max(-y0, y1)])


def apart_mm(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """How far two drawn outlines lie apart where they do most; between their corners too, which may all lie on the other [mm]."""
    return float(shapely.hausdorff_distance(shapely.segmentize(one, STEP_MM), shapely.segmentize(other, STEP_MM)))


def _arc(
    centre: NDArray[np.float64], radius_mm: float, start_rad: float, sweep_rad: float, sagitta_mm: float
) -> NDArray[np.float64]:
    widest = 2 * np.arccos(max(1 - sagitta_mm / radius_mm, 0.5))
    steps = max(int(np.ceil(sweep_rad / widest)), 2)
    angles = start_rad + sweep_rad * np.arange(steps + 1) / steps
    return np.asarray(centre + radius_mm * np.column_stack([np.cos(angles), np.sin(angles)]))


def _rounded_loop(outline: RoundedRectangle, sagitta_mm: float) -> NDArray[np.float64]:
    w, h, r = outline.width_mm / 2, outline.height_mm / 2, outline.corner_mm
    if r <= sagitta_mm:
        return np.array([[w, h], [-w, h], [-w, -h], [w, -h]])
    corners = ((w - r, h - r, 0.0), (r - w, h - r, 0.5), (r - w, r - h, 1.0), (w - r, r - h, 1.5))
    loop = np.concatenate([_arc(np.array([x, y]), r, quarter * np.pi, np.pi / 2, sagitta_mm) for x, y, quarter in corners])
    doubled = np.all(np.isclose(loop, np.roll(loop, 1, axis=0), atol=1e-9), axis=1)  # corners that meet share a point
    return loop[~doubled]


def _freeform_loops(shape: shapely.Polygon | shapely.MultiPolygon) -> tuple[NDArray[np.float64], ...]:
    polygons = [shapely.geometry.polygon.orient(p) for p in (shape.geoms if isinstance(shape, shapely.MultiPolygon) else [shape])]
    outer = [np.asarray(p.exterior.coords)[:-1] for p in polygons]
    holes = [np.asarray(ring.coords)[:-1] for p in polygons for ring in p.interiors]
    return (*outer, *holes)
