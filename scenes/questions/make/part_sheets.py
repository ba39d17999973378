"""The drawings of single parts: two views of a plate, three of a hood, and a hood's flat with its corners and bends in tables."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geometry.rings import Ring, bounds_mm
from geometry.unfold import ORDER, turn_rad
from scenes.questions.make.allowed import Allowed
from scenes.questions.make.flag_places import flag_note
from scenes.questions.make.made_part import Made
from scenes.questions.make.pen import CHAIN, NARROW, SMALL, WIDE, Pen
from scenes.questions.make.shapes import DRAWN_SAGITTA_MM, FLAG_SEEN, Cut, HoodShape, PlateShape
from scenes.questions.make.views import (
    FROM_ABOVE,
    FROM_BEHIND,
    FROM_RIGHT,
    Placed,
    best_scale,
    centred,
    draw_view,
    flat_box,
    side_by_side,
)
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Back, Flag, Mask, Stage
from scenes.sheets.page import Box

TIER_MM = 9.0  # from an outline to its first dimension, and on to the next
APART_MM = 26.0  # between two views
ROW_MM = 4.6
TABLES_MM, CORNERS_MM, MOST_ROWS = 104.0, 48.0, 25  # of a flat: width of all tables, of one of corners, rows of one


def dimension(value: float) -> str:
    """A size on a drawing: to a hundredth, without zeros at its end."""
    return plain(round(value, 2) + 0.0)


# ---- plates ----


def draw_plate(pen: Pen, space: Box, part: Made, allowed: Allowed, *, third_angle: bool) -> str:
    """A plate from behind the camera and from the operator's right; the scale comes back."""
    shape = part.shape
    assert isinstance(shape, PlateShape)
    solid = part.own_solid(DRAWN_SAGITTA_MM)
    main, side = flat_box(solid, FROM_BEHIND), flat_box(solid, FROM_RIGHT)
    tables = _hole_rows(part)
    notes = 24.0 + (ROW_MM * (len(tables) + 2) if tables else 0.0)
    tiers = 2 * TIER_MM + 6.0
    free = Box(
        space.left + (tiers if third_angle else 8.0),
        space.bottom + tiers + 2.0,
        space.right - (8.0 if third_angle else tiers),
        space.top - notes,
    )
    (plan, edge), words = side_by_side(main, side, free, APART_MM, third_angle=third_angle)
    draw_view(pen, plan, [solid], FROM_BEHIND)
    draw_view(pen, edge, [solid], FROM_RIGHT)
    _plate_axes(pen, plan, edge, shape)
    _plate_dimensions(pen, plan, part, shape, allowed, left=third_angle)
    _thickness(pen, edge, part, allowed)
    _notes(pen, space, _plate_notes(part, allowed), _table_of_holes(tables) if tables else ())
    return words


def _plate_axes(pen: Pen, plan: Placed, edge: Placed, shape: PlateShape) -> None:
    over = 3.0
    if shape.holes:
        pen.axis((plan.left - over, plan.y(0)), (plan.right + over, plan.y(0)))
        pen.axis((plan.x(0), plan.bottom - over), (plan.x(0), plan.top + over))
        pen.axis((edge.left - over, edge.y(0)), (edge.right + over, edge.y(0)))
    for hole in shape.holes[1:]:
        circle = hole.as_circle
        if circle is not None:
            (x, y), r = circle
            reach = plan.scale * r + 2.0
            pen.line([(plan.x(x) - reach, plan.y(y)), (plan.x(x) + reach, plan.y(y))], NARROW, CHAIN)
            pen.line([(plan.x(x), plan.y(y) - reach), (plan.x(x), plan.y(y) + reach)], NARROW, CHAIN)


def _plate_dimensions(pen: Pen, plan: Placed, part: Made, shape: PlateShape, allowed: Allowed, *, left: bool) -> None:
    """Sizes of opening and outside below and beside the plate, the smaller nearer; round holes and corners by a leader."""
    sizes = []
    for hole in shape.holes[:1]:
        if hole.as_circle is None:
            sizes.append((bounds_mm(hole), _opening_words(part, allowed)))
        else:
            _diameter(pen, plan, hole, allowed.words(part.key, "bore_mm" if isinstance(part.item, Back) else "opening_diameter_mm"))
        _corner(pen, plan, part, hole)
    sizes.append((bounds_mm(shape.outer), _outside_words(part, allowed)))
    for tier, ((x0, y0, x1, y1), (more_wide, more_high)) in enumerate(sizes, 1):
        low = plan.bottom - tier * TIER_MM
        pen.across(plan.x(x0), plan.x(x1), (plan.y(y0), plan.y(y0)), low, f"{dimension(x1 - x0)}{more_wide}")
        line = plan.left - tier * TIER_MM if left else plan.right + tier * TIER_MM
        feature = plan.x(x0) if left else plan.x(x1)
        pen.upright(plan.y(y0), plan.y(y1), (feature, feature), line, f"{dimension(y1 - y0)}{more_high}")


def _opening_words(part: Made, allowed: Allowed) -> tuple[str, str]:
    if isinstance(part.item, Stage) and "filter frame" in part.name:
        return "", ""
    return allowed.words(part.key, "opening_mm", "width"), allowed.words(part.key, "opening_mm", "height")


def _outside_words(part: Made, allowed: Allowed) -> tuple[str, str]:
    if isinstance(part.item, Back):
        return allowed.words(part.key, "width_mm"), allowed.words(part.key, "height_mm")
    if isinstance(part.item, Flag):
        inside = ("extension",) if part.name.endswith("extension") else ()
        return allowed.words(part.key, "width_mm"), allowed.words(part.key, "length_mm", more=inside)
    return allowed.words(part.key, "outer_mm", "width"), allowed.words(part.key, "outer_mm", "height")


def _diameter(pen: Pen, plan: Placed, hole: Ring, more: str) -> None:
    circle = hole.as_circle
    assert circle is not None
    (x, y), r = circle
    tip = plan.point((x + r * np.cos(np.radians(65)), y + r * np.sin(np.radians(65))))
    pen.leader(tip, (tip[0] + 6.0, plan.top + 7.0), f"⌀{dimension(2 * r)}{more}")


def _corner(pen: Pen, plan: Placed, part: Made, hole: Ring) -> None:
    radius = getattr(part.item, "corner_mm", 0.0)
    if not radius or "filter frame" in part.name or hole.as_circle is not None or not hole.bulges.any():
        return
    _, _, right, high = bounds_mm(hole)
    turn = np.radians(55)
    tip = plan.point((right - radius + radius * np.cos(turn), high - radius + radius * np.sin(turn)))
    pen.leader(tip, (tip[0] - 12.0, plan.top + 7.0), f"4 × R{dimension(radius)}", to_right=False)


def _thickness(pen: Pen, edge: Placed, part: Made, allowed: Allowed) -> None:
    more = allowed.words(part.key, "thickness_mm")
    pen.across(edge.left, edge.right, (edge.bottom, edge.bottom), edge.bottom - TIER_MM, f"{dimension(part.thickness_mm)}{more}")


def _hole_rows(part: Made) -> list[tuple[str, str, str, str]]:
    assert isinstance(part.shape, PlateShape)
    found = []
    for number, hole in enumerate(part.shape.holes[1:], 1):
        circle = hole.as_circle
        if circle is not None:
            (x, y), r = circle
            found.append((str(number), dimension(x), dimension(y), f"⌀{dimension(2 * r)}"))
    return found


def _table_of_holes(rows: Sequence[tuple[str, str, str, str]]) -> tuple[tuple[str, ...], ...]:
    return (("hole", "right", "up", "diameter"), *rows)


def _plate_notes(part: Made, allowed: Allowed) -> list[str]:
    where = f"Seen {FLAG_SEEN}" if isinstance(part.item, Flag) else "Seen from behind the camera"
    lines = [f"{where}. Break all edges; matt black all over."]
    if isinstance(part.item, Flag):
        lines.append(flag_note(part, allowed))
    if part.lenses is not None:
        lines.append(f"{part.lenses_words.capitalize()}: not fitted with other lenses.")
    if isinstance(part.item, Mask) and part.item.outline is not None:
        lines.append(f"Cut-out by its drawing, {part.item.outline}: cut it from the DXF.")
    if _hole_rows(part):
        lines.append("Holes from the plate's middle, right and up as seen here.")
    return lines


def _notes(pen: Pen, space: Box, lines: Sequence[str], table: Sequence[Sequence[str]] = ()) -> None:
    y = pen.notes((space.left, space.top - 1.0), lines, space.width)
    if table:
        draw_table(pen, (space.left, y - 1.0), table, (16.0, 20.0, 20.0, 24.0))


def draw_table(pen: Pen, at: tuple[float, float], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> float:
    """Rows under a head, from a place down; where it ends."""
    x, y = at
    pen.line([(x, y), (x + sum(widths), y)], WIDE)
    for number, row in enumerate(rows):
        left = x
        for cell, wide in zip(row, widths, strict=True):
            pen.fitted((left + 1.0, y - ROW_MM + 1.2), cell, wide - 2.0, SMALL, bold=number == 0)
            left += wide
        y -= ROW_MM
        pen.line([(x, y), (x + sum(widths), y)], WIDE if number in {0, len(rows) - 1} else NARROW)
    return y


# ---- hoods ----


def draw_hood(pen: Pen, space: Box, part: Made, allowed: Allowed, *, third_angle: bool) -> str:
    """A hood from behind the camera, from the operator's right and from above; the scale comes back."""
    shape = part.shape
    assert isinstance(shape, HoodShape)
    solid = part.own_solid(DRAWN_SAGITTA_MM)
    rear, side, top = (flat_box(solid, view) for view in (FROM_BEHIND, FROM_RIGHT, FROM_ABOVE))
    tiers = 3 * TIER_MM + 4.0
    free = Box(
        space.left + (tiers if third_angle else 6.0),
        space.bottom + (tiers if third_angle else 4.0),
        space.right - (6.0 if third_angle else tiers),
        space.top - 22.0,
    )
    above_mm = APART_MM + (0.0 if third_angle else 3 * TIER_MM)
    (plan, edge, above), words = side_by_side(rear, side, free, APART_MM, third_angle=third_angle, top=top, above_mm=above_mm)
    for placed, view in ((plan, FROM_BEHIND), (edge, FROM_RIGHT), (above, FROM_ABOVE)):
        draw_view(pen, placed, [solid], view)
    pen.axis((plan.left - 3, plan.y(0)), (plan.right + 3, plan.y(0)))
    pen.axis((plan.x(0), plan.bottom - 3), (plan.x(0), plan.top + 3))
    pen.axis((edge.left - 3, edge.y(0)), (edge.right + 3, edge.y(0)))
    pen.axis((above.x(0), above.bottom - 3), (above.x(0), above.top + 3))
    _hood_dimensions(pen, plan, edge, part, shape, allowed, left=third_angle)
    _notes(pen, space, _hood_notes(shape))
    return words


def _hood_dimensions(pen: Pen, plan: Placed, edge: Placed, part: Made, shape: HoodShape, allowed: Allowed, *, left: bool) -> None:
    ends = shape.ends
    rows = (
        (ends.rear_mm, "rear_mm", "rear inside"),
        (ends.front_mm, "front_mm", "front inside"),
        ((plan.box.left, plan.box.right, plan.box.bottom, plan.box.top), "", "outside"),
    )
    for tier, ((x0, x1, y0, y1), key, which_end) in enumerate(rows, 1):
        wide, high = (allowed.words(part.key, key, which) if key else "" for which in ("width", "height"))
        pen.across(
            plan.x(x0),
            plan.x(x1),
            (plan.bottom, plan.bottom),
            plan.bottom - tier * TIER_MM,
            f"{dimension(x1 - x0)}{wide} {which_end}",
        )
        line = plan.left - tier * TIER_MM if left else plan.right + tier * TIER_MM
        feature = plan.left if left else plan.right
        pen.upright(plan.y(y0), plan.y(y1), (feature, feature), line, f"{dimension(y1 - y0)}{high} {which_end}")
    depth = allowed.words(part.key, "depth_mm")
    pen.across(edge.left, edge.right, (edge.bottom, edge.bottom), edge.bottom - TIER_MM, f"{dimension(ends.depth_mm)}{depth}")


def _hood_notes(shape: HoodShape) -> list[str]:
    thick = f"Walls {dimension(shape.thickness_mm)} mm, square to each wall; both ends flush. Inside sizes first, outside last."
    turns = [np.degrees(turn_rad(shape.ends, a, b)) for a, b in zip(ORDER, (*ORDER[1:], ORDER[0]), strict=True)]
    inside = f"Inside angle between walls {180 - turns[0]:.1f}°." if np.ptp(turns) < 0.05 else ""
    how = {
        "bend": f"Bent from one sheet, inside radius {dimension(shape.bending.radius_mm)} mm: see the flat. Corners drawn sharp.",
        "tabs": "Folded from one sheet on scored lines: see the flat.",
        "panels": "Glued from four panels, top and bottom lying on the edges of the side walls: see the flats.",
    }[shape.joint]
    return [f"{thick} {inside}", f"{how} Inside matt black."]


# ---- flats ----


def draw_flat(pen: Pen, space: Box, part: Made, cut: Cut, tab_is: str = "") -> str:
    """A flat with the numbers of its corners, their places and its bends in tables; the scale comes back."""
    left, low, right, high = cut.flat.bounds_mm
    points = cut.flat.outer.points_mm - np.array([left, low])
    lines = [bend.line_mm - np.array([left, low]) for bend in cut.flat.bends]
    about = [f"{part.number} {cut.name}: {cut.seen}. Corners and bends from the lower left of the outline.", tab_is]
    top = pen.notes((space.left, space.top - 1.0), about, space.width) - 2.0
    corners = [(str(k), dimension(x), dimension(y)) for k, (x, y) in enumerate(points.tolist(), 1)]
    bends = [
        _bend_row(k, line, bend.turn_deg, bend.radius_mm)
        for k, (line, bend) in enumerate(zip(lines, cut.flat.bends, strict=True), 1)
    ]
    beside = space.width > 300.0
    end = _draw_tables(pen, (space.right - TABLES_MM if beside else space.left, top), corners, bends)
    free = Box(
        space.left + TIER_MM + 8,
        space.bottom + TIER_MM + 10,
        space.right - (TABLES_MM + 8.0 if beside else 6.0),
        top if beside else end - 8.0,
    )
    box = Box(0.0, 0.0, right - left, high - low)
    scale, words = best_scale(lambda s: s * box.width <= free.width and s * box.height <= free.height)
    placed = centred(box, free, scale)
    ring = [placed.point(point) for point in points.tolist()]
    pen.line(ring, WIDE, closed=True)
    for number, line in enumerate(lines, 1):
        _draw_bend(pen, number, [placed.point(point) for point in line.tolist()])
    _number_corners(pen, ring)
    pen.across(placed.left, placed.right, (placed.bottom, placed.bottom), placed.bottom - TIER_MM - 4, dimension(box.width))
    pen.upright(placed.bottom, placed.top, (placed.left, placed.left), placed.left - TIER_MM - 2, dimension(box.height))
    return words


def _draw_tables(pen: Pen, at: tuple[float, float], corners: Sequence[Sequence[str]], bends: Sequence[Sequence[str]]) -> float:
    """Corners in one or two columns, bends below them; where they end."""
    x, y = at
    half = -(-len(corners) // (2 if len(corners) > MOST_ROWS else 1))
    ends = [
        draw_table(pen, (x + k * CORNERS_MM, y), [("corner", "x", "y"), *corners[k * half : (k + 1) * half]], (14.0, 15.0, 15.0))
        for k in range(-(-len(corners) // half))
    ]
    if not bends:
        return min(ends)
    return draw_table(pen, (x, min(ends) - 6.0), [("bend", "turn", "radius", "from", "to"), *bends], (12.0, 22.0, 16.0, 27.0, 27.0))


def _draw_bend(pen: Pen, number: int, ends: Sequence[tuple[float, float]]) -> None:
    pen.line(ends, NARROW)
    middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
    pen.disc(middle, 2.6)
    pen.text((middle[0], middle[1] - SMALL / 2), f"B{number}", SMALL, anchor="middle")


def _bend_row(number: int, line: np.typing.NDArray[np.float64], turn: float, radius: float) -> tuple[str, ...]:
    (x0, y0), (x1, y1) = line.tolist()
    ends = [f"{dimension(round(x, 1))}, {dimension(round(y, 1))}" for x, y in ((x0, y0), (x1, y1))]
    return f"B{number}", f"{turn:.1f}° up", f"R{dimension(radius)}" if radius else "score", *ends


def _number_corners(pen: Pen, ring: Sequence[tuple[float, float]]) -> None:
    """A number just outside each corner; of corners closer together than letters, beside the first alone."""
    count = len(ring)
    for k, (x, y) in enumerate(ring):
        before, after = np.array(ring[k - 1]), np.array(ring[(k + 1) % count])
        here = np.array([x, y])
        out = _unit(here - before) + _unit(here - after)
        if np.linalg.norm(out) < 0.05:
            way = _unit(after - before)
            out = np.array([way[1], -way[0]])
        out = _unit(out)
        turn = (here - before)[0] * (after - here)[1] - (here - before)[1] * (after - here)[0]
        out = out if turn >= 0 else -out
        shift = 0.0 if k == 0 or np.linalg.norm(here - np.array(ring[k - 1])) > 4.0 else 2.6
        place = here + out * (2.4 + shift)
        pen.text((float(place[0]), float(place[1]) - SMALL / 2), str(k + 1), SMALL, anchor="middle")


def _unit(way: np.typing.NDArray[np.float64]) -> np.typing.NDArray[np.float64]:
    length = float(np.linalg.norm(way))
    return way / length if length > 0 else way
