"""A box as flat tables of numbers that kernels read: points, shapes made of them, and items in the order rays meet them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Block, Loop, Part, Surface, Tube
from geometry.outline import Circle, is_convex
from raytrace.box import Box, Glass
from raytrace.coverage.tables.branches import Branches, branches, no_branches, single_branch, spatial_order
from raytrace.coverage.tables.clip import block_between, faces_between
from raytrace.coverage.tables.edge_webs import Web, polygon_web, surface_web

Ints = NDArray[np.int64]

LOOP, HULL, WEB = 0, 1, 2  # an ordered convex outline; points that span a convex body; edges between layers of triangles
PASSES, STOPS = 0, 1  # whether rays inside the shape get past it or are stopped
NO_HULL = -1
CHAIN_OF = 12  # a loop with more points is first tried by every k-th of them
ON_A_LINE_MM = 1e-9
HULL_TRIAL = 24  # a hull of more points is first tried by this many


# Columns of Tables.shape and Tables.item.
KIND, POINTS, POINTS_END, TRIAL, TRIAL_END, EDGES, EDGES_END, BRANCHES, BRANCHES_END = range(9)
SHAPE, SENSE_OF, HULL_OF, PART_OF = range(4)


class Tables(NamedTuple):
    """V points, S shapes, E web edges, I items, sorted as rays meet them going out. Few wide arrays: kernels compile faster so.

    point (V, 4): x, y, z and how many glasses light has passed there. shape (S, 9): kind, and where its points, the points that try
    it before all of them are looked at, its web edges and their branches begin and end. trial (T,) points. web (E, 5): points A, B
    and the third corners of up to two faces on the edge, -1 where there is none, and the layers to the left of A -> B less those to
    the right where they do not depend on the view (plane outlines). branch (B, 11) and branch_span (B, 3) as in `branches`.
    item (I, 4): shape, sense, a hull outside of which it stops nothing or NO_HULL, and part.
    """

    point: FloatArray
    shape: Ints
    trial: Ints
    web: Ints
    branch: FloatArray
    branch_span: Ints
    item: Ints


@dataclass(slots=True)
class _Draft:
    """Tables while they grow."""

    span_mm: tuple[float, float]
    sagitta_mm: float
    points: list[FloatArray] = field(default_factory=list)
    count: int = 0
    kinds: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    trials: list[Ints] = field(default_factory=list)
    webs: list[Web] = field(default_factory=list)
    items: list[tuple[float, int, int, int, int]] = field(default_factory=list)  # order, shape, sense, hull, part

    def shape(self, kind: int, points: FloatArray, web: Web | None = None) -> int:
        """Add a shape and answer its number."""
        trial = _loop_trial(len(points)) if kind == LOOP else _hull_trial(points) if kind == HULL else np.zeros(0, dtype=np.int64)
        self.trials.append(trial + self.count)
        self.webs.append((web or (polygon_web([len(points)]) if kind == LOOP else Web.none())).shifted(self.count))
        self.points.append(points)
        self.count += len(points)
        self.kinds.append(kind)
        self.counts.append(len(points))
        return len(self.kinds) - 1


def box_tables(box: Box, *, start_z_mm: float, end_z_mm: float, sagitta_mm: float) -> Tables:
    """Tables of everything in the box that lies between the pupil's reference plane and the object plane."""
    draft = _Draft((start_z_mm, end_z_mm), sagitta_mm)
    for number, part in enumerate(box.parts):
        _add_part(draft, part, number)
    return _finished(draft, box.glasses)


def _add_part(draft: _Draft, part: Part, number: int) -> None:
    match part.body:
        case Tube():
            _add_tube(draft, part.body, number)
        case Block():
            corners = block_between(part.body.corners_mm, draft.span_mm)
            if len(corners):
                draft.items.append((float(corners[:, 2].mean()), draft.shape(HULL, corners), STOPS, NO_HULL, number))
        case Surface():
            vertices, faces = faces_between(part.body.vertices_mm, part.body.faces, draft.span_mm)
            if len(faces):
                order = float(vertices[faces].mean(axis=(0, 1))[2])
                draft.items.append((order, draft.shape(WEB, vertices, _mesh_web(vertices, faces)), STOPS, NO_HULL, number))


def _add_tube(draft: _Draft, body: Tube, number: int) -> None:
    """One item per inner loop: a ray that misses a loop is stopped by the wall just before it."""
    hull = NO_HULL
    if body.bounded:
        points = block_between(np.concatenate(_spanning([np.concatenate(loop.points_mm()) for loop in body.outer])), draft.span_mm)
        if not len(points):
            return
        hull = draft.shape(HULL, points)
    before = None
    for loop in body.inner:
        loops = _loop_points(loop, draft.sagitta_mm)
        z = np.concatenate(loops)[:, 2]
        at = float(z.mean())
        if draft.span_mm[0] < z.max() and at < draft.span_mm[1]:
            order = at if before is None else (at + before) / 2
            draft.items.append((order, _loop_shape(draft, loop, loops), PASSES, hull, number))
        before = at


def _mesh_web(vertices_mm: FloatArray, faces: Ints) -> Web:
    web = surface_web(vertices_mm, faces)
    return Web(web.edges[spatial_order(vertices_mm, web.edges)], web.turn)


def _loop_shape(draft: _Draft, loop: Loop, loops: Sequence[FloatArray]) -> int:
    if is_convex(loop.outline):
        return draft.shape(LOOP, loops[0])
    return draft.shape(WEB, np.concatenate(loops), polygon_web([len(points) for points in loops]))


def _loop_points(loop: Loop, sagitta_mm: float) -> tuple[FloatArray, ...]:
    """The loop's points in the frame; a circle's lie so far outside it that their polygon has the circle's own area."""
    loops = loop.points_mm(sagitta_mm)
    if not isinstance(loop.outline, Circle):
        return loops
    centre, step = loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm])), 2 * np.pi / len(loops[0])
    return (centre + (loops[0] - centre) * np.sqrt(step / np.sin(step)),)


def _spanning(loops: Sequence[FloatArray]) -> list[FloatArray]:
    """Those of the loops (K, 3) that span the hull of all: none on straight lines from the one before to the last."""
    kept = list(loops[:1])
    for loop in loops[1:-1]:
        if not _lies_between(kept[-1], loop, loops[-1]):
            kept.append(loop)
    return [*kept, *loops[max(len(loops) - 1, 1) :]]


def _lies_between(before: FloatArray, loop: FloatArray, after: FloatArray) -> bool:
    """Whether each point of the loop lies on the line between its fellows, all at the same share of the way."""
    if not before.shape == loop.shape == after.shape:
        return False
    way = after - before
    share = float(np.sum((loop - before) * way) / max(np.sum(way * way), 1e-300))
    return 0.0 <= share <= 1.0 and bool(np.abs(before + share * way - loop).max() < ON_A_LINE_MM)


def _loop_trial(count: int) -> Ints:
    """Every k-th point of a loop, k the square root of their number: chains between them are walked only where the trial fails."""
    if count <= CHAIN_OF:
        return np.arange(count)
    return np.arange(0, count, int(np.ceil(np.sqrt(count))))


def _hull_trial(points: FloatArray) -> Ints:
    """Points far out in many directions; a disc within their hull is within the whole."""
    if len(points) <= HULL_TRIAL:
        return np.arange(len(points))
    angle = np.arange(HULL_TRIAL // 2) * (4 * np.pi / HULL_TRIAL)
    low_z, high_z = points[:, 2].min(), points[:, 2].max()
    lean = (2 * (points[:, 2] - low_z) / max(high_z - low_z, 1e-9) - 1) * np.ptp(points[:, :2])
    across = points[:, :2] @ np.array([np.cos(angle), np.sin(angle)])
    far = {int(np.argmax(across[:, k] + s * lean)) for k in range(len(angle)) for s in (-0.3, 0.3)}
    return np.array(sorted(far))  # np.unique would load masked arrays first


def _finished(draft: _Draft, glasses: Sequence[Glass]) -> Tables:
    points = np.concatenate([np.zeros((0, 3)), *draft.points])
    legs = _legs_passed(points, glasses)
    trees = [_tree(kind, points, legs, web.edges) for kind, web in zip(draft.kinds, draft.webs, strict=True)]
    parts = (draft.counts, [len(t) for t in draft.trials], [len(web.edges) for web in draft.webs], [len(t.box) for t in trees])
    return Tables(
        point=np.column_stack([points, legs]),
        shape=np.column_stack([np.array(draft.kinds, dtype=np.int64), *(_bounds(counts) for counts in parts)]),
        trial=np.concatenate([np.zeros(0, dtype=np.int64), *draft.trials]),
        web=np.concatenate([np.zeros((0, 5), dtype=np.int64), *(web.rows() for web in draft.webs)]),
        branch=np.concatenate([no_branches().box, *(tree.box for tree in trees)]),
        branch_span=np.concatenate([no_branches().span, *(tree.span for tree in trees)]),
        item=np.array([item[1:] for item in sorted(draft.items, key=lambda item: item[0])], dtype=np.int64).reshape(-1, 4),
    )


def _tree(kind: int, points: FloatArray, legs: Ints, edges: Ints) -> Branches:
    if kind == HULL:
        return no_branches()
    return branches(points, legs, edges) if kind == WEB else single_branch(len(edges))


def _bounds(counts: Sequence[int]) -> Ints:
    """Where each of so many rows begins and ends (S, 2)."""
    ends = np.cumsum(np.array(counts, dtype=np.int64))
    return np.column_stack([ends - np.array(counts, dtype=np.int64), ends])


def _legs_passed(points_mm: FloatArray, glasses: Sequence[Glass]) -> Ints:
    """How many glasses lie between the lens and each point (V,): those whose middle plane it is ahead of."""
    passed = np.zeros(len(points_mm), dtype=np.int64)
    for glass in glasses:
        passed += glass.slab.pose.points_to_part(points_mm)[:, 2] > 0
    return passed
