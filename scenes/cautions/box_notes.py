"""What is told of a box as it is on a lens before any ray is traced: by shapes, sizes and weight, by filters, by the focus."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

from geometry.body import Assembly
from geometry.carrying import clamp_notes
from geometry.checks import assembly_notes, seal_notes
from geometry.notes import Note
from raytrace.box import Box as TracedBox
from raytrace.optics.lens import LensState
from scenes.cautions.box_slips import slip_notes
from scenes.cautions.contradictions import box_contradictions
from scenes.cautions.doubtful_numbers import doubtful_box_notes
from scenes.cautions.focus_plane import focus_notes
from scenes.rig.rod_height import rod_notes
from scenes.scene_file.tables.box import CLAMP, Box
from scenes.scene_file.tables.lens import Lens


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxNotes:
    """What is told of a box on a lens: by its shapes, by its filters' numbers, by where the lens is focused."""

    facts: tuple[Note, ...]
    contradictions: tuple[Note, ...]
    focus: tuple[Note, ...]


def box_notes(fitted: Box, lens: Lens, assembly: Assembly, box: TracedBox, variants: Sequence[LensState]) -> BoxNotes:
    """All that is told of a box as it is on a lens, and as it is built."""
    of_filters, of_focus = box_contradictions(fitted), focus_notes(box, variants)
    held = _facts_kept.get(id(assembly))
    if held is None:
        held = _facts_kept[id(assembly)] = assembly, box_facts(fitted, lens, assembly)
        if len(_facts_kept) > KEPT:
            _facts_kept.popitem(last=False)
    return BoxNotes(facts=held[1], contradictions=of_filters, focus=of_focus)


KEPT = 64
_facts_kept: OrderedDict[int, tuple[Assembly, tuple[Note, ...]]] = OrderedDict()  # with the assembly, so that no other gets its id


def box_facts(box: Box, lens: Lens, assembly: Assembly) -> tuple[Note, ...]:
    """Parts that intersect, filters that do not fit, units mistaken; common practice: no heavy box hangs on a lens front."""
    of_rods, parts, barrel_mm = tuple(rod_notes(box)), assembly.parts, lens.front_diameter_mm
    return (
        *assembly_notes(assembly, front_diameter_mm=barrel_mm),
        *(seal_notes(parts, barrel_mm=barrel_mm, bore_mm=box.back[0].bore_mm) if box.back else ()),
        *(clamp_notes(parts, assembly.slabs) if box.mount == CLAMP else ()),
        *slip_notes(box, lens),
        *of_rods,
        *doubtful_box_notes(box, parts),
    )
