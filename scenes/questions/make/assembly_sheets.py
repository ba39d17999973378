"""The assembly: parts drawn apart with numbers in balloons, together from two sides; the parts list."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.polyhedra import Polyhedron
from geometry.projected import View
from scenes.questions.make.flag_places import hinge_mm, is_extension
from scenes.questions.make.made_part import Made
from scenes.questions.make.part_sheets import TIER_MM, dimension, draw_table
from scenes.questions.make.pen import CHAIN, LARGE, NARROW, TEXT, Pen
from scenes.questions.make.report import MakeReport
from scenes.questions.make.views import FROM_BEHIND, FROM_RIGHT, Placed, centred, draw_view, flat_box, side_by_side
from scenes.scene_file.tables.box import Flag
from scenes.sheets.page import Box

COARSE_MM = 0.1  # of chords in the view of the whole box: it is looked at, not measured
STEP_MM = 45.0  # between neighbours that are drawn apart
BALLOON_MM, ROOM_MM = 4.0, 12.0
APART_MM = 30.0  # between two views
THIN = 0.35  # of outlines where many stand close together


def _apart_view() -> View:
    """From ahead and above, at the operator's right: the axis runs across the page."""
    toward = np.array([-0.72, 0.50, 0.48])
    toward /= np.linalg.norm(toward)
    right = np.cross([0.0, 1.0, 0.0], toward)
    right /= np.linalg.norm(right)
    return View(right, np.cross(toward, right))


APART = _apart_view()


def drawn_apart(made: Sequence[Made]) -> list[tuple[Made, Polyhedron]]:
    """Parts in their order along the axis, each moved ahead of the one behind it; flags moved out as well."""
    rows = sorted(((part, part.solid(COARSE_MM)) for part in made), key=lambda row: (row[0].key[0] == "flag", _middle(row[1])[2]))
    found: list[tuple[Made, Polyhedron]] = []
    ends, hood_ends = -math.inf, None
    for part, solid in rows:
        low, high = solid.vertices_mm[:, 2].min(), solid.vertices_mm[:, 2].max()
        if part.key[0] == "flag":
            hood_ends = (ends if found else low) if hood_ends is None else hood_ends
            out = np.array([*_middle(solid)[:2], 0.0])
            out /= max(float(np.linalg.norm(out)), 1e-9)
            shift = (hood_ends + STEP_MM - _nearest_flag(rows)) * np.array([0.0, 0.0, 1.0]) + STEP_MM * out
        else:
            start = low if not found else ends + STEP_MM
            shift = np.array([0.0, 0.0, start - low])
            ends = start + high - low
        found.append((part, replace(solid, vertices_mm=solid.vertices_mm + shift)))
    return found


def _nearest_flag(rows: Sequence[tuple[Made, Polyhedron]]) -> float:
    return min(float(solid.vertices_mm[:, 2].min()) for part, solid in rows if part.key[0] == "flag")


def _middle(solid: Polyhedron) -> FloatArray:
    return (solid.vertices_mm.min(axis=0) + solid.vertices_mm.max(axis=0)) / 2


def _box_of(solids: Sequence[Polyhedron], view: View) -> Box:
    boxes = [flat_box(solid, view) for solid in solids]
    return Box(min(b.left for b in boxes), min(b.bottom for b in boxes), max(b.right for b in boxes), max(b.top for b in boxes))


def draw_apart(pen: Pen, space: Box, made: Sequence[Made], words: str) -> str:
    """The parts of one set-up drawn apart, each with its number in a balloon; the scale comes back."""
    rows = drawn_apart(made)
    solids = [solid for _, solid in rows]
    box = _box_of(solids, APART)
    free = Box(space.left, space.bottom + ROOM_MM + 6.0, space.right, space.top - ROOM_MM - 12.0)
    scale = min(free.width / box.width, free.height / box.height)
    placed = centred(box, free, scale)
    draw_view(pen, placed, solids, APART, hidden=False, width=THIN)
    pen.notes((space.left, space.top - 1.0), [words], space.width)
    anchors = [(part, placed.point(APART.flat(_on_part(part, solid)).tolist())) for part, solid in rows]
    _balloons(pen, space, placed, anchors)
    return "none"


def _on_part(part: Made, solid: Polyhedron) -> FloatArray:
    """A place on a part that shows: the middle of its top edge's front; of a flag, its middle."""
    if part.key[0] == "flag":
        return _middle(solid)
    points = solid.vertices_mm
    top = points[points[:, 1] > points[:, 1].max() - 0.5]
    return np.asarray((top.min(axis=0) + top.max(axis=0)) / 2)


def _balloons(pen: Pen, space: Box, placed: Placed, anchors: Sequence[tuple[Made, tuple[float, float]]]) -> None:
    """Numbers in a row above, those of parts low on the page below, by where they stand from left to right."""
    middle = (placed.bottom + 2 * placed.top) / 3
    _row(
        pen, space, min(placed.top + ROOM_MM, space.top - 10.0), [row for row in anchors if row[1][1] >= placed.bottom + middle / 4]
    )
    _row(
        pen,
        space,
        max(placed.bottom - ROOM_MM, space.bottom + BALLOON_MM),
        [row for row in anchors if row[1][1] < placed.bottom + middle / 4],
    )


def _row(pen: Pen, space: Box, y: float, anchors: Sequence[tuple[Made, tuple[float, float]]]) -> None:
    ordered = sorted(anchors, key=lambda row: row[1][0])
    step = min(2.6 * BALLOON_MM, space.width / max(len(ordered), 1))
    xs = _spread([x for _, (x, _) in ordered], step, space.left + BALLOON_MM, space.right - BALLOON_MM)
    for (part, anchor), x in zip(ordered, xs, strict=True):
        way = np.array([anchor[0] - x, anchor[1] - y])
        edge = np.array([x, y]) + BALLOON_MM * way / np.linalg.norm(way)
        pen.line([(float(edge[0]), float(edge[1])), anchor], NARROW)
        pen.circle(anchor, 0.6, filled=True)
        pen.circle((x, y), BALLOON_MM, 0.35)
        pen.text((x, y - TEXT / 2), part.number.removeprefix("P").lstrip("0"), TEXT, anchor="middle")


def _spread(wanted: Sequence[float], step: float, low: float, high: float) -> list[float]:
    """Places at least a step apart, in their order, as near to the wanted ones as that allows."""
    found: list[float] = []
    for value in wanted:
        found.append(max(value, found[-1] + step if found else low))
    over = max(found[-1] - high, 0.0) if found else 0.0
    for k in range(len(found) - 1, -1, -1):
        most = high if k == len(found) - 1 else found[k + 1] - step
        found[k] = min(found[k] - (over if k == len(found) - 1 else 0.0), most)
    return found


def draw_together(pen: Pen, space: Box, made: Sequence[Made], words: str, *, third_angle: bool) -> str:
    """The box as it stands, from behind the camera and from the operator's right, with its overall sizes; the scale comes back."""
    solids = [part.solid(COARSE_MM) for part in made]
    rear, side = _box_of(solids, FROM_BEHIND), _box_of(solids, FROM_RIGHT)
    top = pen.notes((space.left, space.top - 1.0), [words, places(made)], space.width)
    free = Box(space.left + TIER_MM + 6, space.bottom + TIER_MM + 8, space.right - TIER_MM - 8, min(top - 4.0, space.top - 16.0))
    (plan, edge), said = side_by_side(rear, side, free, APART_MM, third_angle=third_angle)
    draw_view(pen, plan, solids, FROM_BEHIND, hidden=False, width=THIN)
    draw_view(pen, edge, solids, FROM_RIGHT, hidden=False, width=NARROW)
    pen.line([(edge.left - 8, edge.y(0)), (edge.right + 8, edge.y(0))], NARROW, CHAIN)
    pen.line([(plan.x(0), plan.bottom - 3), (plan.x(0), plan.top + 3)], NARROW, CHAIN)
    pen.line([(plan.left - 3, plan.y(0)), (plan.right + 3, plan.y(0))], NARROW, CHAIN)
    pen.across(plan.left, plan.right, (plan.bottom, plan.bottom), plan.bottom - TIER_MM, dimension(round(rear.width, 1)))
    pen.across(edge.left, edge.right, (edge.bottom, edge.bottom), edge.bottom - TIER_MM, dimension(round(side.width, 1)))
    outer = plan.left - TIER_MM if third_angle else plan.right + TIER_MM
    feature = plan.left if third_angle else plan.right
    pen.upright(plan.bottom, plan.top, (feature, feature), outer, dimension(round(rear.height, 1)))
    return said


def places(made: Sequence[Made]) -> str:
    """Where each part stands: its rearmost point ahead of that of the rearmost part, in mm; of a flag its hinge and its angle."""
    starts = {part.number: float(part.solid(COARSE_MM).vertices_mm[:, 2].min()) for part in made if part.key[0] != "flag"}
    said = []
    if len(starts) > 1:
        (first, low), *others = sorted(starts.items(), key=lambda one: one[1])
        listed = "; ".join(f"{number} {dimension(round(start - low, 2))}" for number, start in others)
        said.append(f"Rear of each part ahead of the rear of {first}, mm: {listed}.")
    flags = [part for part in made if isinstance(part.item, Flag) and not is_extension(part)]
    if flags:
        listed = "; ".join(f"{part.number} {_flag_place(part)}" for part in flags)
        said.append(
            f"Hinge of each flag ahead of the back plate's rear face and from the middle, mm, and angle from the axis: {listed}."
        )
    return " ".join(said)


def _flag_place(part: Made) -> str:
    assert isinstance(part.item, Flag)
    ahead, out = hinge_mm(part)
    return f"{dimension(ahead)}, {dimension(out)}, {dimension(part.item.angle_deg)}°"


# ---- parts list ----

MOST_LETTERS = 24  # of the lenses that a part is for, in a row of the list
PART_WIDTHS = (13.0, 56.0, 11.0, 54.0, 12.0, 14.0)


def part_rows(report: MakeReport) -> list[tuple[str, ...]]:
    """The parts list, what is bought at its end."""
    rows: list[tuple[str, ...]] = [
        (part.number, part.name, "1", _material_words(part), dimension(part.thickness_mm), f"{part.kg:.3f}")
        for part in report.parts.made
    ]
    rows += [("-", one.name, str(one.count), one.note, "", "") for one in report.bought]
    return rows


def _material_words(part: Made) -> str:
    """Its material, and with which lenses it is fitted, where not with all."""
    lenses = part.lenses_words if len(part.lenses_words) <= MOST_LETTERS else f"for {len(part.lenses or ())} lenses, see its sheet"
    return f"{part.material.title}; {lenses}" if lenses else part.material.title


HEADS = ("no.", "name", "count", "material, remark", "mm", "kg")


def draw_list(pen: Pen, space: Box, rows: Sequence[tuple[str, ...]]) -> None:
    """One page of the parts list."""
    pen.text((space.left, space.top - 1.0 - LARGE), "Parts list", LARGE, bold=True)
    draw_table(pen, (space.left, space.top - 8.0), [HEADS, *rows], PART_WIDTHS)
