"""Distances in one plane: a section of the beam against the edge of an opening, or against a slice of material."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from geometry.arrays import FloatArray
from geometry.frame import Pose
from geometry.outline import Freeform, Outline, inside_distance, is_convex

STEP_MM = 0.5  # least spacing of points along an edge whose deepest point is looked for
MOST_STEPS = 240  # along one edge: what is far inside the beam is deep to a millimetre, what only touches it to a hundredth


@dataclass(frozen=True, slots=True)
class Nearest:
    """The least distance of material to the beam [mm], negative inside it, inf where they never meet.

    point_mm (3,) is where, in the frame; side (2,) the same from the middle of the section (x to the operator's left, y up), in
    shares of its half size.
    """

    distance_mm: float
    point_mm: FloatArray | None = None
    side: FloatArray | None = None


def placed(distance_mm: float, xy: FloatArray, section: BaseGeometry, plane: Pose) -> Nearest:
    """A distance found at a point (2,) of a plane."""
    left, low, right, high = section.bounds
    half = np.maximum(np.array([right - left, high - low]) / 2, 1e-9)
    from_middle = plane.vectors_to_frame(np.append(xy - np.array([(left + right) / 2, (low + high) / 2]), 0.0))[:2] / half
    largest = max(float(np.abs(from_middle).max()), 1e-9)
    return Nearest(float(distance_mm), plane.points_to_frame(np.append(xy, 0.0)), from_middle / largest)


def loop_clearance(outline: Outline, plane: Pose, section: BaseGeometry) -> Nearest:
    """Least distance of a section to the material round an opening; depth inside is how far it reaches past the opening's edge."""
    return Nearest(np.inf) if section.is_empty else _inside(outline, section, plane)


def _inside(outline: Outline, section: BaseGeometry, plane: Pose) -> Nearest:
    """Least distance to the outline from within, over a whole section; convex openings have it at a corner of the section."""
    if isinstance(outline, Freeform) and not is_convex(outline):
        return _inside_any(outline.shape, section, plane)
    corners = shapely.get_coordinates(section)
    distance = inside_distance(outline, corners)
    k = int(distance.argmin())
    return placed(float(distance[k]), corners[k], section, plane)


def _inside_any(opening: shapely.Polygon | shapely.MultiPolygon, section: BaseGeometry, plane: Pose) -> Nearest:
    past = section.difference(opening)
    if past.is_empty:
        on_section, _ = nearest_points(section, opening.boundary)
        return placed(section.distance(opening.boundary), np.array(on_section.coords[0]), section, plane)
    points = shapely.get_coordinates(_dense(past))
    depth = np.asarray(shapely.distance(shapely.points(points), opening))
    k = int(depth.argmax())
    return placed(-float(depth[k]), points[k], section, plane)


def slice_distance(material: BaseGeometry, section: BaseGeometry, plane: Pose) -> Nearest:
    """Least distance of a slice of material to a section of the beam; negative: how deep its deepest point is in."""
    if material.is_empty or section.is_empty:
        return Nearest(np.inf)
    met = material.intersection(section)
    if met.is_empty:
        on_material, _ = nearest_points(material, section)
        return placed(material.distance(section), np.array(on_material.coords[0]), section, plane)
    points = shapely.get_coordinates(_dense(met))
    depth = np.asarray(shapely.distance(shapely.points(points), section.boundary))
    k = int(depth.argmax())
    return placed(-float(depth[k]), points[k], section, plane)


def _dense(shape: BaseGeometry) -> BaseGeometry:
    return shapely.segmentize(shape, max(STEP_MM, shape.length / MOST_STEPS))
