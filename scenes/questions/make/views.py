"""Views of a part on a page: where they stand, at which scale, their lines; the same for first and third angle."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from geometry.polyhedra import Polyhedron
from geometry.projected import Lines, View, lines_of
from scenes.questions.make.pen import HIDDEN, NARROW, WIDE, Pen, Point
from scenes.sheets.page import Box

SCALES = ((1, 1), (1, 2), (1, 3), (1, 4), (1, 5), (1, 10), (1, 20), (1, 50))  # ISO 5455, and two between that a page often asks for
OPERATORS_RIGHT, UP, AHEAD = np.array([-1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
FROM_BEHIND = View(OPERATORS_RIGHT, UP)
FROM_RIGHT = View(AHEAD, UP)
FROM_ABOVE = View(OPERATORS_RIGHT, AHEAD)


def flat_box(solid: Polyhedron, view: View) -> Box:
    """What a solid takes of a page at full size."""
    points = view.flat(solid.vertices_mm)
    (left, low), (right, high) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return Box(left, low, right, high)


@dataclass(frozen=True, slots=True)
class Placed:
    """A view on a page: how a place of it, in mm at full size, is found there."""

    at: Point
    scale: float
    box: Box

    def x(self, value: float) -> float:
        """Across, on the page."""
        return self.at[0] + self.scale * value

    def y(self, value: float) -> float:
        """Up, on the page."""
        return self.at[1] + self.scale * value

    def point(self, xy: Sequence[float]) -> Point:
        """A place, on the page."""
        return self.x(xy[0]), self.y(xy[1])

    @property
    def left(self) -> float:
        """Left edge on the page."""
        return self.x(self.box.left)

    @property
    def right(self) -> float:
        """Right edge on the page."""
        return self.x(self.box.right)

    @property
    def bottom(self) -> float:
        """Lower edge on the page."""
        return self.y(self.box.bottom)

    @property
    def top(self) -> float:
        """Upper edge on the page."""
        return self.y(self.box.top)

    def lines(self, lines: Lines) -> tuple[FloatArray, FloatArray]:
        """Lines seen and hidden, on the page."""
        return self.scale * lines.seen_mm + np.asarray(self.at), self.scale * lines.hidden_mm + np.asarray(self.at)


def best_scale(fits: Callable[[float], bool]) -> tuple[float, str]:
    """The largest usual scale at which views fit, and how it is written."""
    for up, down in SCALES:
        if fits(up / down):
            return up / down, f"{up}:{down}"
    up, down = SCALES[-1]
    return up / down, f"{up}:{down}"


def centred(box: Box, space: Box, scale: float) -> Placed:
    """A view in the middle of a space."""
    x = (space.left + space.right) / 2 - scale * (box.left + box.right) / 2
    y = (space.bottom + space.top) / 2 - scale * (box.bottom + box.top) / 2
    return Placed((x, y), scale, box)


def side_by_side(
    rear: Box, side: Box, free: Box, gap_mm: float, *, third_angle: bool, top: Box | None = None, above_mm: float = 0.0
) -> tuple[tuple[Placed, ...], str]:
    """Views from behind, from the right and, if told, from above, in a space at the largest scale at which they fit.

    Third angle: the view from the right stands right, that from above stands above; first angle: left, and below.
    """
    stacked = 0.0 if top is None else top.height
    between = 0.0 if top is None else above_mm

    def size(scale: float) -> tuple[float, float]:
        return scale * (rear.width + side.width) + gap_mm, scale * (rear.height + stacked) + between

    scale, said = best_scale(lambda s: size(s)[0] <= free.width and size(s)[1] <= free.height)
    wide, high = size(scale)
    left, low = (free.left + free.right - wide) / 2, (free.bottom + free.top - high) / 2
    rear_left, side_left = (left, left + scale * rear.width + gap_mm) if third_angle else (left + scale * side.width + gap_mm, left)
    rear_low, top_low = (low, low + scale * rear.height + between) if third_angle else (low + scale * stacked + between, low)
    middle = rear_low + scale * rear.height / 2
    found = [_at(rear, rear_left, middle, scale), _at(side, side_left, middle, scale)]
    found += [] if top is None else [_at(top, rear_left, top_low + scale * top.height / 2, scale)]
    return tuple(found), said


def _at(box: Box, left: float, middle: float, scale: float) -> Placed:
    return Placed((left - scale * box.left, middle - scale * (box.bottom + box.top) / 2), scale, box)


def draw_view(
    pen: Pen, placed: Placed, solids: Sequence[Polyhedron], view: View, *, hidden: bool = True, width: float = WIDE
) -> None:
    """Visible edges wide, hidden ones narrow and dashed, those first."""
    seen, behind = placed.lines(lines_of(solids, view))
    if hidden:
        pen.pieces(_without_covered(behind, seen), NARROW, HIDDEN)
    pen.pieces(seen, width)


def _without_covered(hidden: FloatArray, seen: FloatArray) -> FloatArray:
    """Hidden pieces that no visible piece runs along: those would only blot it."""
    if not len(hidden) or not len(seen):
        return hidden
    known = {tuple(sorted(map(tuple, np.round(piece, 2).tolist()))) for piece in seen}
    kept = [piece for piece in hidden if tuple(sorted(map(tuple, np.round(piece, 2).tolist()))) not in known]
    return np.array(kept).reshape(-1, 2, 2)
