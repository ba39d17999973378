"""A tree over the edges of a web, so that a cell of pixels looks only at those that can count there.

Branches come in the order of a walk from the root, and know the branch to go on with where they are passed over; one without
smaller ones of its own goes on with the next. A branch has the upright box of its edges' points and a cone about the normals of
their faces, so that whole branches are proven to lie beside the disc, or to hold no fold.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.tables.edge_webs import NO_FACE

Ints = NDArray[np.int64]

TWIG = 16  # edges of the smallest branches
SPLIT = 8  # branches of a larger one
GRID_BITS = 10  # of the space-filling order along each axis
NEVER_HIDDEN = 2.0  # sine of a cone that no view can clear

# Columns of Branches.box: low x y z, high x y z, axis of the cone, sine of its half angle, glasses passed (-1 where points differ).
AXIS, SINE, LEG, BOX_COLUMNS = 6, 9, 10, 11


class Branches(NamedTuple):
    """`box` (B, 11) and `span` (B, 3): first edge, edge after the last, branch to go on with; counted within the web."""

    box: FloatArray
    span: Ints


def no_branches() -> Branches:
    """None."""
    return Branches(np.zeros((0, BOX_COLUMNS)), np.zeros((0, 3), dtype=np.int64))


def spatial_order(points_mm: FloatArray, edges: Ints) -> Ints:
    """Order (E,) of edges along a space-filling curve through the middles of their ends.

    Source: Morton, A computer oriented geodetic data base, IBM (1966) (from memory).
    """
    middle = points_mm[edges[:, :2]].mean(axis=1)
    low, size = middle.min(axis=0), np.maximum(np.ptp(middle, axis=0), 1e-9)
    cell = ((middle - low) / size * ((1 << GRID_BITS) - 1)).astype(np.int64)
    code = np.zeros(len(edges), dtype=np.int64)
    for bit in range(GRID_BITS):
        for axis in range(3):
            code |= ((cell[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(code, kind="stable")


def single_branch(count: int) -> Branches:
    """All of so many edges in one branch that is never passed over: enough for a plane outline."""
    box = np.zeros((1, BOX_COLUMNS))
    box[0, SINE], box[0, LEG] = NEVER_HIDDEN, -1
    return Branches(box, np.array([[0, count, 1]]))


def branches(points_mm: FloatArray, legs: Ints, edges: Ints) -> Branches:
    """Tree over edges (E, 4) that are in spatial order."""
    count, step = len(edges), TWIG
    normals, hideable = _normals(points_mm, edges)
    box, span = [], []
    while True:
        first = np.arange(0, count, step)
        box.append(_boxes(points_mm, legs, edges, first, normals, hideable))
        span.append(np.column_stack([first, np.minimum(first + step, count)]))
        if len(first) == 1:
            break
        step *= SPLIT
    boxes, spans = np.concatenate(box[::-1]), np.concatenate(span[::-1])
    walk = np.lexsort((-spans[:, 1], spans[:, 0]))
    boxes, spans = boxes[walk], spans[walk]
    fresh = np.append(True, np.any(spans[1:] != spans[:-1], axis=1))  # a last branch may be no larger than its only twig
    boxes, spans = boxes[fresh], spans[fresh]
    return Branches(boxes, np.column_stack([spans, np.searchsorted(spans[:, 0], spans[:, 1])]))


def _normals(points_mm: FloatArray, edges: Ints) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Unit normals (E, 2, 3) of both faces, turned alike across the edge, and which edges have two faces (E,)."""
    a, b = points_mm[edges[:, 0]], points_mm[edges[:, 1]]
    two = (edges[:, 2] != NO_FACE) & (edges[:, 3] != NO_FACE)
    first = np.cross(b - a, points_mm[edges[:, 2]] - a)
    second = np.cross(points_mm[edges[:, 3]] - a, b - a)
    normals = np.stack([first, second], axis=1)
    length = np.linalg.norm(normals, axis=2, keepdims=True)
    return normals / np.maximum(length, 1e-300), two & (length[:, :, 0] > 0).all(axis=1)


def _boxes(
    points_mm: FloatArray, legs: Ints, edges: Ints, first: Ints, normals: FloatArray, hideable: NDArray[np.bool_]
) -> FloatArray:
    corners = np.where(edges == NO_FACE, edges[:, :1], edges)
    spots, leg = points_mm[corners], legs[corners]
    low, high = np.minimum.reduceat(spots.min(axis=1), first), np.maximum.reduceat(spots.max(axis=1), first)
    leg_low, leg_high = np.minimum.reduceat(leg.min(axis=1), first), np.maximum.reduceat(leg.max(axis=1), first)
    number = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(edges))))
    axis, sine = _cones(normals, first, number)
    sine = np.where(np.logical_and.reduceat(hideable, first), sine, NEVER_HIDDEN)
    return np.column_stack([low, high, axis, sine, np.where(leg_low == leg_high, leg_low, -1)])


def _cones(normals: FloatArray, first: Ints, number: Ints) -> tuple[FloatArray, FloatArray]:
    """Axis (B, 3) and sine of the half angle (B,) of cones that hold the normals of each branch's edges, or their opposites.

    Both faces of an edge turn over together: whether an edge is a fold does not depend on which way its pair of normals points.
    """
    lead = normals[first, 0][number]
    pair = normals.sum(axis=1)
    sign = np.where(np.sum(pair * lead, axis=1) < 0, -1.0, 1.0)
    axis = np.add.reduceat(sign[:, None] * pair, first, axis=0)
    axis /= np.maximum(np.linalg.norm(axis, axis=1, keepdims=True), 1e-300)
    along = np.sum(pair * axis[number], axis=1)
    turned = normals * np.where(along < 0, -1.0, 1.0)[:, None, None]
    cosine = np.minimum.reduceat(np.einsum("eij,ej->ei", turned, axis[number]).min(axis=1), first)
    sine = np.sqrt(np.maximum(1.0 - np.clip(cosine, 0.0, 1.0) ** 2, 0.0))
    return axis, np.where(cosine > 0, sine, NEVER_HIDDEN)
