"""A tapered hood laid flat: four panels side by side with bends between them, or each panel alone; and folded up again.

Everything is of the inside of the walls, which a bend does not stretch where it is flat, seen from the inside with the front up.
Panels come as top, left, bottom, right, as the operator sees them: from the inside, front up, his left lies to the right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from geometry.frame import Side, right_up_to_frame

ORDER = (Side.TOP, Side.LEFT, Side.BOTTOM, Side.RIGHT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """The inside of a hood: (left, right, bottom, top) [mm] from the axis at its rear and front edge, and its depth."""

    rear_mm: tuple[float, float, float, float]
    front_mm: tuple[float, float, float, float]
    depth_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bending:
    """How a wall is folded: thickness T, inside radius R [mm] and the share K of T at which nothing stretches."""

    thickness_mm: float
    radius_mm: float = 0.0
    k_factor: float = 0.0

    def allowance_mm(self, turn_rad: float) -> float:
        """Length of sheet that a bend takes [mm]: BA = turn (R + K T), turn 0 is flat. 0 for a fold on a scored line."""
        return turn_rad * (self.radius_mm + self.k_factor * self.thickness_mm)

    def setback_mm(self, turn_rad: float) -> float:
        """From the corner of the inside faces to where the bend begins, along either of them [mm]: R tan(turn / 2)."""
        return self.radius_mm * float(np.tan(turn_rad / 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """A bend on a flat: the line (2, 2) [mm] along its middle, from rear to front, and how far the sheet is turned up there."""

    line_mm: FloatArray
    turn_deg: float
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A wall's inside on a flat: corners (4, 2) rear begin, rear end, front end, front begin [mm]."""

    side: Side | None
    corners_mm: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfolded:
    """A flat: its outline (K, 2) [mm], anticlockwise, the panels in it and the bends between them."""

    outline_mm: FloatArray
    panels: tuple[Panel, ...]
    bends: tuple[Bend, ...]


def ends_of(rear_mm: tuple[float, float], front_mm: tuple[float, float], depth_mm: float) -> Ends:
    """A hood whose ends, width and height [mm], lie about one axis."""
    (w, h), (a, b) = rear_mm, front_mm
    return Ends(rear_mm=(-w / 2, w / 2, -h / 2, h / 2), front_mm=(-a / 2, a / 2, -b / 2, b / 2), depth_mm=depth_mm)


def wall_corners_mm(ends: Ends, side: Side) -> FloatArray:
    """The inside of a wall as corners (4, 3) in the part's frame, rear edge at 0: rear begin, rear end, front end, front begin.

    Seen from the inside with the front up the wall begins at its left: the top one at the operator's right.
    """
    corners = []
    for (left, right, low, high), z in ((ends.rear_mm, 0.0), (ends.front_mm, ends.depth_mm)):
        begins, stops = {
            Side.TOP: ((right, high), (left, high)),
            Side.LEFT: ((left, high), (left, low)),
            Side.BOTTOM: ((left, low), (right, low)),
            Side.RIGHT: ((right, low), (right, high)),
        }[side]
        corners.append([(*right_up_to_frame(begins), z), (*right_up_to_frame(stops), z)])
    (a, b), (d, c) = corners
    return np.array([a, b, c, d], dtype=np.float64)


def wall_flat_mm(ends: Ends, side: Side) -> FloatArray:
    """The same wall laid flat (4, 2): its rear edge along x from the origin, the front above it."""
    a, b, c, d = wall_corners_mm(ends, side)
    along = (b - a) / np.linalg.norm(b - a)
    up = (d - a) - ((d - a) @ along) * along
    up /= np.linalg.norm(up)
    return np.array([[(p - a) @ along, (p - a) @ up] for p in (a, b, c, d)])


def outward(ends: Ends, side: Side) -> FloatArray:
    """Unit vector (3,) out of the hood, square to a wall's inside."""
    a, b, _, d = wall_corners_mm(ends, side)
    normal = np.cross(d - a, b - a)
    return np.asarray(normal / np.linalg.norm(normal))


def turn_rad(ends: Ends, side: Side, after: Side) -> float:
    """How far the sheet is turned from one wall to its neighbour: 180 degrees less the inside angle."""
    return float(np.arccos(np.clip(outward(ends, side) @ outward(ends, after), -1.0, 1.0)))


def round_corner_mm(ends: Ends, bending: Bending) -> float:
    """Radius [mm] of a corner, the same at both ends, that lets through no more than any bend of the hood does; 0 without radius.

    Cut across the lens axis a bend is part of an ellipse that leaves its walls setback / sin(angle of edge and bend line) from the
    corner. Where it turns by up to 90 degrees it lies nearer to the corner than a quarter circle that leaves them there; by more,
    the circle is made larger as their middles ask: (touching points' mean) / (1 + cos(turn / 2)), the shoulder of a conic
    (G. Farin, Curves and Surfaces for CAGD, on rational quadratics).
    """
    found = 0.0
    for side, after in zip(ORDER, (*ORDER[1:], ORDER[0]), strict=True):
        turn = turn_rad(ends, side, after)
        _, low, high, _ = wall_corners_mm(ends, side)
        line = (high - low) / np.linalg.norm(high - low)
        reach = bending.setback_mm(turn) / float(np.sqrt(1.0 - max(line[0] ** 2, line[1] ** 2)))
        found = max(found, reach * max((1.0 + np.cos(np.pi / 4)) / (1.0 + np.cos(turn / 2)), 1.0))
    sides = [side for left, right, low, high in (ends.rear_mm, ends.front_mm) for side in (right - left, high - low)]
    return min(found, min(sides) / 2)


def outside_corners_mm(ends: Ends, thickness_mm: float) -> tuple[FloatArray, FloatArray]:
    """Corners (4, 3) of the outside at rear and front, both ends cut flush: anticlockwise seen from ahead, from low right."""
    top, left, bottom, right = (thickness_mm * _slant(ends, side) for side in ORDER)
    out = []
    for (lo, hi, low, high), z in ((ends.rear_mm, 0.0), (ends.front_mm, ends.depth_mm)):
        out.append(corners_at(z, (lo - left, hi + right, low - bottom, high + top)))
    return out[0], out[1]


def corners_at(z_mm: float, box_mm: tuple[float, float, float, float]) -> FloatArray:
    """Corners (4, 3) of an upright rectangle (left, right, low, high), anticlockwise seen from ahead (x to the operator's left)."""
    left, right, low, high = box_mm
    flat = right_up_to_frame([(right, low), (left, low), (left, high), (right, high)])
    return np.column_stack([flat, np.full(4, z_mm)])


def _slant(ends: Ends, side: Side) -> float:
    """How much wider a slanted wall is when it is cut across than it is thick."""
    return 1.0 / float(np.hypot(*outward(ends, side)[:2]))


def _moved_edge(corners: FloatArray, *, at_end: bool, by_mm: float) -> FloatArray:
    """A panel whose side edge is moved inward by a distance square to it; its rear and front edges are cut or run on."""
    a, b, c, d = corners
    low, high = (b, c) if at_end else (a, d)
    along = (high - low) / np.linalg.norm(high - low)
    inward = np.array([-along[1], along[0]]) * (1.0 if at_end else -1.0)
    start = low + by_mm * inward
    rear, front = _crossing(start, along, a, b - a), _crossing(start, along, d, c - d)
    return np.array([a, rear, front, d]) if at_end else np.array([rear, b, c, front])


def _crossing(p: FloatArray, u: FloatArray, q: FloatArray, v: FloatArray) -> FloatArray:
    """Where the line from p along u meets that from q along v."""
    s = np.linalg.solve(np.column_stack([u, -v]), q - p)
    return np.asarray(p + s[0] * u)


def one_piece(ends: Ends, bending: Bending, tab_mm: float) -> Unfolded:
    """The hood as one flat, open at the corner of right and top, with a tab there that is bent over the outside of the top wall.

    Every bend takes its allowance; the flat parts between bends keep their size. Without radius and tab it is the plain fan.
    """
    turns = [turn_rad(ends, side, after) for side, after in zip(ORDER, (*ORDER[1:], ORDER[0]), strict=True)]
    pairs = [(_trimmed(ends, k, turns, bending, with_tab=tab_mm > 0), wall_flat_mm(ends, ORDER[k])) for k in range(4)]
    if tab_mm > 0:
        tab = _tab(pairs[3][0], turns[3], bending, tab_mm)
        pairs.append((tab, tab))
    both = [_stood_up(*pairs[0])]
    bends = []
    for k, pair in enumerate(pairs[1:]):
        if k == 3:
            both[-1] = both[-1][0], both[-1][0]  # the tab's bend has no corner of the hood: it runs along the wall's own edge
        both.append(_set_against(*both[-1], *pair, bending.allowance_mm(turns[k])))
        bends.append(_bend(both[-2][0], both[-1][0], turns[k], bending.radius_mm))
    placed = [trimmed for trimmed, _ in both]
    rear = [point for panel in placed for point in (panel[0], panel[1])]
    front = [point for panel in reversed(placed) for point in (panel[2], panel[3])]
    outline = _without_doubles(np.array([*rear, *front]))
    sides: list[Side | None] = [*ORDER, None]
    panels = tuple(Panel(side=side, corners_mm=corners) for side, corners in zip(sides, placed, strict=False))
    return Unfolded(outline_mm=outline, panels=panels, bends=tuple(bends))


def _trimmed(ends: Ends, k: int, turns: list[float], bending: Bending, *, with_tab: bool) -> FloatArray:
    """A wall laid flat, as far as it stays flat between its bends."""
    corners = wall_flat_mm(ends, ORDER[k])
    last, inside = np.pi - turns[3], bending.setback_mm(turns[3])
    begin = bending.setback_mm(turns[k - 1]) if k else 0.0
    end = bending.setback_mm(turns[k])
    if with_tab and k == 0:  # its free edge keeps out of the bend that the tab hangs on
        begin = max(-bending.thickness_mm / np.tan(last), 0.0) + inside
    if k == 3:  # runs on past the top wall's thickness, to its outside
        end = inside - bending.thickness_mm / np.sin(last) if with_tab else 0.0
    if min(np.linalg.norm(corners[1] - corners[0]), np.linalg.norm(corners[2] - corners[3])) <= begin + end:
        raise GeometryError(
            f"the {ORDER[k]} wall is too narrow to bend with a radius of {bending.radius_mm:g} mm; "
            "take a smaller bend radius, or panels"
        )
    return _moved_edge(_moved_edge(corners, at_end=True, by_mm=end), at_end=False, by_mm=begin)


def _tab(wall: FloatArray, turn: float, bending: Bending, tab_mm: float) -> FloatArray:
    """The tab beside the last wall, in the plane that it is bent into: as long as the wall's edge, its ends cut back."""
    length = float(np.linalg.norm(wall[2] - wall[1]))
    width = max(tab_mm - bending.setback_mm(turn), tab_mm / 2)
    bevel = min(width, length / 4)
    return np.array([[0.0, 0.0], [width, bevel], [width, length - bevel], [0.0, length]])


def _stood_up(panel: FloatArray, wall: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A panel, and the whole wall that it is of, with the panel's first edge upright from the origin."""
    edge = panel[3] - panel[0]
    turn = float(np.pi / 2 - np.arctan2(edge[1], edge[0]))
    return _turned(panel - panel[0], turn), _turned(wall - panel[0], turn)


def _turned(points: FloatArray, angle_rad: float) -> FloatArray:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return points @ np.array([[c, s], [-s, c]])


def _set_against(
    before: FloatArray, wall_before: FloatArray, panel: FloatArray, wall: FloatArray, gap_mm: float
) -> tuple[FloatArray, FloatArray]:
    """A panel and its wall, its first edge a gap away from the last edge of the panel before, their walls' rear corners level."""
    low, high = before[1], before[2]
    along = (high - low) / np.linalg.norm(high - low)
    away = np.array([along[1], -along[0]])
    own = panel[3] - panel[0]
    turn = float(np.arctan2(along[1], along[0]) - np.arctan2(own[1], own[0]))
    panel, wall = _turned(panel, turn), _turned(wall, turn)
    shift = ((wall_before[1] - wall[0]) @ along) * along + ((low - panel[0]) @ away + gap_mm) * away
    return np.asarray(panel + shift), np.asarray(wall + shift)


def _bend(before: FloatArray, after: FloatArray, turn: float, radius_mm: float) -> Bend:
    line = np.array([(before[1] + after[0]) / 2, (before[2] + after[3]) / 2])
    return Bend(line_mm=line, turn_deg=float(np.degrees(turn)), radius_mm=radius_mm)


def _without_doubles(points: FloatArray) -> FloatArray:
    near = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) < 1e-6
    return points[~near]


def loose_panels(ends: Ends, thickness_mm: float) -> tuple[Unfolded, ...]:
    """Four flats for walls that are glued: side walls cut to the inside, top and bottom wide enough to lie on the edges of both."""
    found = []
    for k, side in enumerate(ORDER):
        corners = wall_flat_mm(ends, side)
        if side in (Side.TOP, Side.BOTTOM):
            for at_end, other in ((True, ORDER[(k + 1) % 4]), (False, ORDER[k - 1])):
                inside_rad = np.pi - turn_rad(ends, side, other)
                corners = _moved_edge(corners, at_end=at_end, by_mm=-thickness_mm / np.sin(inside_rad))
        corners = corners - corners[0]
        found.append(Unfolded(outline_mm=corners, panels=(Panel(side=side, corners_mm=corners),), bends=()))
    return tuple(found)


def overlaps_itself(flat: Unfolded) -> bool:
    """Whether a flat cannot be cut from one sheet: its tab lies on its first wall, or two bends of a wall run into each other."""
    import shapely

    return any(_is_crossed(panel.corners_mm) for panel in flat.panels) or not shapely.Polygon(flat.outline_mm).is_valid


def _is_crossed(corners: FloatArray) -> bool:
    """Whether a panel's side edges have passed each other: its rear or front edge then runs backward."""
    up = corners[3] - corners[0]
    return any(along[0] * up[1] - along[1] * up[0] <= 0.0 for along in (corners[1] - corners[0], corners[2] - corners[3]))
