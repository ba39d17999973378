"""A design on a page: a dimensioned cut of its box, level or upright as a shop measures it. Returns a figure; saves nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from scenes.questions.design.text import size_words
from scenes.rig.outsides import with_outsides
from scenes.scene_file.tables.scene import box_for
from scenes.states.judgement import judge_state
from scenes.states.names import state_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from geometry.body import Assembly
    from scenes.questions.design.report import Shown
    from scenes.sheets.cut_shapes import CutPlane


def level_cut(number: int, shown: Shown) -> Figure:
    """The true level cut: widths."""
    from scenes.sheets.cut_shapes import TOP

    return _cut(number, shown, TOP)


def upright_cut(number: int, shown: Shown) -> Figure:
    """The true upright cut: heights."""
    from scenes.sheets.cut_shapes import SIDE

    return _cut(number, shown, SIDE)


def as_made(shown: Shown) -> Assembly:
    """The box that comes nearest to a beam, its trays and masks as large as they are made."""
    made = shown.loaded.scene.model_copy(update={"box": with_outsides(shown.loaded.scene, shown.loaded.resources.outlines)})
    return shown.nearest.rebuilt(box_for(made, shown.nearest.lens))[0]


def _cut(number: int, shown: Shown, plane: CutPlane) -> Figure:
    """The cut of the state that has least room, with every part's room, trays and masks drawn as large as they are made."""
    from scenes.sheets.section_of_state import section_sheets
    from scenes.sheets.section_sheet import Callout, PartNote

    rooms = judge_state(shown.nearest).worst_rooms
    nearest = min(rooms, key=lambda room: room.room_mm)
    notes = {room.part: PartNote(room=f"{room.room_mm:.1f} mm", where=room.where.partition(",")[0]) for room in rooms}
    point = nearest.point_mm
    callout = None if point is None else Callout(nearest.part, f"{nearest.room_mm:.1f} mm", point)
    title, subtitle = (
        f"Design {number}: {size_words(shown.design)}",
        f"{shown.loaded.scene.title}. Least room: {state_words(shown.nearest)}",
    )
    drawn = replace(shown.nearest, assembly=as_made(shown))
    return section_sheets(drawn, title, subtitle, notes, callout, drawn=(plane,))[f"cut-{plane.name}"]
