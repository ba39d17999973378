"""Blades and meshes against the beam: slice by slice square to the axis, and between slices where it is nearest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.body import Block, Surface
from geometry.frame import Pose, pose
from raytrace.beam.clearance_plane import Nearest, slice_distance
from raytrace.beam.hull_cut import edge_cut, hull_edges, mesh_cut
from raytrace.beam.outline import Section

BLADE_SLICES = 5  # of a convex body at first: enough to bracket the least of a convex function
MESH_SLICES = 33  # of a mesh at first, which may come near the beam in several places
FAR_MM = 30.0  # what stays as far away as this is not looked at more closely: told to a tenth of a millimetre
CLOSE_MM = 0.02  # slices this close need none between them
ROUNDS = 3  # of closing in on the nearest slice: each leaves a third of the gap
CLOSE_CORNERS = 12  # corner depths of a mesh tried round the nearest slice


@dataclass(frozen=True, slots=True)
class Slicer:
    """A body as slices: depths (S,) of its corners along the axis, rising [mm]; how many slices to begin with; the slice itself."""

    depths_mm: FloatArray
    first: int
    cut: Callable[[Pose], BaseGeometry]


def slicer(body: Block | Surface) -> Slicer:
    """The slices of a blade or mesh."""
    if isinstance(body, Block):
        points, edges = hull_edges(body.corners_mm)
        return Slicer(_rising(points[:, 2]), BLADE_SLICES, partial(edge_cut, points, edges))
    used = body.vertices_mm[np.unique(body.faces)]
    return Slicer(_rising(used[:, 2]), MESH_SLICES, partial(mesh_cut, body.vertices_mm, body.faces))


def _rising(depths_mm: FloatArray) -> FloatArray:
    return np.unique(depths_mm.round(6))


def slice_clearance(slices: Slicer, section_at: Callable[[float], Section]) -> Nearest:
    """The least distance over all slices.

    Of a convex body and a beam with straight sides the distance is a convex function of depth, so closing in on the least of a few
    slices finds it.
    """
    found: dict[float, Nearest] = {}

    def at(z_mm: float) -> float:
        if z_mm not in found:
            plane = pose(ahead_mm=z_mm)
            found[z_mm] = slice_distance(slices.cut(plane), section_at(z_mm), plane)
        return found[z_mm].distance_mm

    for z_mm in np.linspace(slices.depths_mm[0], slices.depths_mm[-1], slices.first):
        at(float(z_mm))
    for turn in range(ROUNDS):
        low, middle, high = _around_least(found)
        if turn and (found[middle].distance_mm > FAR_MM or high - low < CLOSE_MM):
            break
        for z_mm in (*_corners_between(slices.depths_mm, low, high), (low + 2 * middle) / 3, (2 * middle + high) / 3):
            at(float(z_mm))
    return min(found.values(), key=lambda nearest: nearest.distance_mm)


def _around_least(found: dict[float, Nearest]) -> tuple[float, float, float]:
    depths = sorted(found)
    k = min(range(len(depths)), key=lambda i: found[depths[i]].distance_mm)
    return depths[max(k - 1, 0)], depths[k], depths[min(k + 1, len(depths) - 1)]


def _corners_between(depths_mm: FloatArray, low: float, high: float) -> FloatArray:
    between = depths_mm[(depths_mm > low) & (depths_mm < high)]
    return (
        between if len(between) <= CLOSE_CORNERS else between[np.linspace(0, len(between) - 1, CLOSE_CORNERS).round().astype(int)]
    )
