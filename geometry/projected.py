"""Solids drawn as lines: edges seen from one side, and those that material hides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from geometry.polyhedra import Polyhedron, triangles

SHARP_COS = float(np.cos(np.radians(20.0)))  # faces that meet at less are pieces of one round surface
STEP_MM, HALVINGS = 4.0, 7  # how finely an edge is looked at, and how its visible end is narrowed down
DEPTH_MM = 1e-3  # material nearer to the viewer than this hides what is behind it
INSIDE = 1e-6


@dataclass(frozen=True, slots=True)
class View:
    """Where solids are seen from: unit vectors to the right and up on the page, (3,) each; the viewer is along right x up."""

    right: FloatArray
    up: FloatArray

    @property
    def toward(self) -> FloatArray:
        """From the solids to the viewer."""
        return np.cross(self.right, self.up)

    def flat(self, points_mm: FloatArray) -> FloatArray:
        """Points (..., 3) as (right, up) on the page [mm]."""
        return np.stack([points_mm @ self.right, points_mm @ self.up], axis=-1)


@dataclass(frozen=True, slots=True)
class Lines:
    """Line pieces (N, 2, 2) [mm] on the page: those seen, those hidden."""

    seen_mm: FloatArray
    hidden_mm: FloatArray


def lines_of(solids: Sequence[Polyhedron], view: View) -> Lines:
    """The edges of solids as they are seen together."""
    cover = _Cover(solids, view)
    seen: list[FloatArray] = []
    hidden: list[FloatArray] = []
    for solid in solids:
        for ends in _edges(solid, view):
            for start, end, is_seen in cover.parted(ends):
                (seen if is_seen else hidden).append(np.array([start[:2], end[:2]]))
    return Lines(*(np.array(found).reshape(-1, 2, 2) for found in (seen, hidden)))


def _normals(solid: Polyhedron) -> FloatArray:
    found = []
    for face in solid.faces:
        points = solid.vertices_mm[list(face[0])]
        found.append(np.cross(points - points[0], np.roll(points, -1, axis=0) - points[0]).sum(axis=0))
    normals = np.array(found)
    return np.asarray(normals / np.linalg.norm(normals, axis=1, keepdims=True))


def _edges(solid: Polyhedron, view: View) -> Iterator[FloatArray]:
    """Edges worth a line as (right, up, toward) of both ends (2, 3): sharp ones, and where a round surface turns out of sight."""
    normals, toward = _normals(solid), view.toward
    owners: dict[tuple[int, int], list[int]] = {}
    for number, face in enumerate(solid.faces):
        for loop in face:
            for a, b in zip(loop, (*loop[1:], loop[0]), strict=True):
                owners.setdefault((min(a, b), max(a, b)), []).append(number)
    axes = np.column_stack([view.right, view.up, toward])
    for (a, b), faces in owners.items():
        first, second = normals[faces[0]], normals[faces[-1]]
        turns_away = (first @ toward > INSIDE) != (second @ toward > INSIDE)
        ends = solid.vertices_mm[[a, b]] @ axes
        if (turns_away or first @ second < SHARP_COS) and np.linalg.norm(ends[0, :2] - ends[1, :2]) > DEPTH_MM:
            yield ends


class _Cover:
    """The faces of solids as triangles in front of a viewer."""

    def __init__(self, solids: Sequence[Polyhedron], view: View) -> None:
        axes = np.column_stack([view.right, view.up, view.toward])
        self._corners = np.concatenate([(solid.vertices_mm @ axes)[triangles(solid)] for solid in solids])
        a, b, c = (self._corners[:, k, :2] for k in range(3))
        area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        self._corners = self._corners[np.abs(area) > 1e-9]
        self._low, self._high = self._corners.min(axis=1), self._corners.max(axis=1)

    def parted(self, ends: FloatArray) -> Iterator[tuple[FloatArray, FloatArray, bool]]:
        """An edge parted where it goes out of sight: start, end, whether that piece is seen."""
        low, high = ends.min(axis=0), ends.max(axis=0)
        near = np.all(self._low[:, :2] <= high[:2], axis=1) & np.all(self._high[:, :2] >= low[:2], axis=1)
        some = self._corners[near & (self._high[:, 2] > low[2] + DEPTH_MM)]
        count = max(int(np.ceil(np.linalg.norm(ends[1] - ends[0]) / STEP_MM)), 1)
        shares = (np.arange(count) + 0.5) / count
        seen = _is_seen(_between(ends, shares), some)
        begin = 0.0
        for k in range(1, count + 1):
            if k < count and seen[k] == seen[k - 1]:
                continue
            stop = 1.0 if k == count else _limit(ends, some, shares[k - 1], shares[k], first=bool(seen[k - 1]))
            yield *_between(ends, np.array([begin, stop])), bool(seen[k - 1])
            begin = stop


def _between(ends: FloatArray, shares: FloatArray) -> FloatArray:
    return np.asarray(ends[0] + shares[:, None] * (ends[1] - ends[0]))


def _limit(ends: FloatArray, some: FloatArray, low: float, high: float, *, first: bool) -> float:
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if bool(_is_seen(_between(ends, np.array([middle])), some)[0]) == first:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _is_seen(points: FloatArray, some: FloatArray) -> np.typing.NDArray[np.bool_]:
    """Whether no triangle (T, 3, 3) lies before points (P, 3)."""
    if not len(some):
        return np.ones(len(points), dtype=np.bool_)
    a, ab, ac = some[:, 0], some[:, 1] - some[:, 0], some[:, 2] - some[:, 0]
    ap = points[:, None, :2] - a[None, :, :2]
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    s = (ap[..., 0] * ac[:, 1] - ap[..., 1] * ac[:, 0]) / area
    t = (ab[:, 0] * ap[..., 1] - ab[:, 1] * ap[..., 0]) / area
    depth = a[:, 2] + s * ab[:, 2] + t * ac[:, 2]
    before = (s > INSIDE) & (t > INSIDE) & (s + t < 1 - INSIDE) & (depth > points[:, 2:] + DEPTH_MM)
    return np.asarray(~before.any(axis=1))
