"""How large a plate has to be to hold a shape about its own centre, upright or turned; and the room that a given plate leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.frame import rotation_about_z
from geometry.outline import Circle, Outline, half_size_mm, inside_distance

Shape = shapely.Polygon | shapely.MultiPolygon


def upright_size_mm(shape: Shape) -> tuple[float, float]:
    """Width and height of the smallest upright rectangle about the origin that holds a shape [mm]; a lopsided one counts twice."""
    corners = np.abs(shapely.get_coordinates(shape))
    if not len(corners):
        return 0.0, 0.0
    width, height = 2 * corners.max(axis=0)
    return float(width), float(height)


def turned_size_mm(shape: Shape) -> float:
    """Shorter side, or diameter, of the smallest plate about the origin that holds a shape however the plate is turned [mm]."""
    corners = shapely.get_coordinates(shape)
    return 2 * float(np.hypot(corners[:, 0], corners[:, 1]).max(initial=0.0))


def room_mm(outline: Outline, shape: Shape, turn_deg: float = 0.0) -> float:
    """Least distance of a shape to the edge of a convex plate turned about the origin [mm]; negative where it reaches past."""
    corners = _turned_back(shapely.get_coordinates(shape), turn_deg)
    return float(inside_distance(outline, corners).min(initial=np.inf))


def room_any_turn_mm(outline: Outline, shape: Shape) -> float:
    """The same at the worst turn: where the farthest corner meets the nearest side [mm]."""
    reach = turned_size_mm(shape) / 2
    nearest = outline.radius_mm if isinstance(outline, Circle) else float(half_size_mm(outline).min())
    return nearest - reach


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateRoom:
    """The room that a plate leaves round several shapes, turned as it is and at the worst turn [mm]; `which` has least of it."""

    fitted_mm: float
    turned_mm: float
    which: int


def plate_room(outline: Outline, shapes: Sequence[Shape], turn_deg: float) -> PlateRoom:
    """The least room of a convex plate turned about the origin, over shapes."""
    rooms = [room_mm(outline, shape, turn_deg) for shape in shapes]
    which = int(np.argmin(rooms))
    return PlateRoom(fitted_mm=rooms[which], turned_mm=min(room_any_turn_mm(outline, shape) for shape in shapes), which=which)


def _turned_back(points: NDArray[np.float64], turn_deg: float) -> NDArray[np.float64]:
    """Points in the plate's own axes; a turn is clockwise as the operator sees it, as everywhere."""
    return np.asarray(points @ rotation_about_z(turn_deg)[:2, :2])
