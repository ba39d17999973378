"""States of which no light can be told: a part stands in a filter, so that no ray goes the way that the scene says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from geometry.notes import Note
from raytrace.beam.frame_margin import Margin
from scenes.states.names import the
from scenes.verdicts.rooms import PartResult
from scenes.verdicts.verdict import GuideVerdict, fault_step

UNTOLD = "not told"


def note_in_glass(notes: Sequence[Note]) -> Note | None:
    """The fault that leaves no light to be told, where there is one."""
    return next((note for note in notes if note.in_glass), None)


def without_rooms(guides: tuple[GuideVerdict, ...], fault: Note) -> tuple[GuideVerdict, ...]:
    """The verdicts with no room that anyone could rely on: no margin, nothing of empty trays, and the fault first."""
    step, none = fault_step(fault), Margin(percent=0.0)
    return tuple(replace(guide, room_mm=None, margin=none, trays_empty=None, next_step=step) for guide in guides)


def parts_without_rooms(parts: tuple[PartResult, ...]) -> tuple[PartResult, ...]:
    """The parts, none with a clearance."""
    return tuple(PartResult(name=part.name, kind=part.kind) for part in parts)


def why_untold(notes: Sequence[Note]) -> str:
    """'no light can be told, for the mask stands in stage 1 filter'; '' where light can be told."""
    note = note_in_glass(notes)
    return "" if note is None else f"no light can be told, for {the(note.part)} {note.text.partition(', by')[0]}"
