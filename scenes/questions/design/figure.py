"""A design on a page: a dimensioned cut of its box, level or upright as a shop measures it. Returns a figure; saves nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scenes.questions.design.text import size_words
from scenes.states.judgement import judge_state
from scenes.states.names import state_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


def _cut(number: int, shown: Shown, plane: CutPlane) -> Figure:
    """The cut of the state that has least room, with every part's room."""
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
    return section_sheets(shown.nearest, title, subtitle, notes, callout, drawn=(plane,))[f"cut-{plane.name}"]
