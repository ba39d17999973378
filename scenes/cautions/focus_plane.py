"""What of a box stands beyond the plane in focus, where rays end and nobody looks: such a state is never called clear.

Why: docs/physics.md, "Parts beyond the plane in focus".
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from geometry.notes import Note, Severity
from raytrace.box import Box
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.optics.closeup import MM_PER_M
from raytrace.optics.lens import LensState

BEYOND = "beyond the plane in focus"
TOUCHING_MM = 0.01  # a part that ends in the plane itself is wholly looked at


def focus_notes(box: Box, variants: Sequence[LensState]) -> tuple[Note, ...]:
    """A fault for the part that reaches farthest beyond the plane in focus, if any does."""
    main_mm = min((lens.object_z_mm for lens in variants), default=float("inf"))
    plane_mm = nearest_plane_mm(box, main_mm)
    ends = {part.name: float(box_depths_mm(Box(parts=(part,)))[1]) for part in box.parts}
    beyond = sorted((name for name, end in ends.items() if end > plane_mm + TOUCHING_MM), key=lambda name: -ends[name])
    if not beyond:
        return ()
    more = f", as {'does' if len(beyond) == 2 else 'do'} {len(beyond) - 1} more" if len(beyond) > 1 else ""
    text = (
        f"reaches {ends[beyond[0]] - plane_mm:.0f} mm {BEYOND}{more}: that plane lies in the box, "
        f"{plane_mm:.0f} mm ahead of the lens front at this focus{_close_up_words(main_mm, plane_mm)}, and what stands beyond it "
        f"is not looked at; {'use less power' if plane_mm < main_mm else 'check a farther focus too'}, or bring it back"
    )
    return (Note(beyond[0], text, Severity.FAULT, doubts_light=True),)


def nearest_plane_mm(box: Box, main_mm: float) -> float:
    """Where the nearest plane in focus stands, ahead of the lens front, for a lens focused at main_mm there [mm].

    Behind a close-up lens it comes nearer, to 1000 / D from it at infinity; light that goes past the glass keeps the lens's own.
    """
    plane_mm = main_mm
    for glass in box.glasses:
        if glass.power_dioptre and glass.slab.pose.origin_mm[2] < plane_mm:
            at_mm = float(glass.slab.pose.origin_mm[2])
            vergence = 1.0 / (plane_mm - at_mm) + glass.power_dioptre / MM_PER_M
            plane_mm = at_mm + 1.0 / vergence if vergence > 0.0 else math.inf
    return min(plane_mm, main_mm)


def _close_up_words(main_mm: float, plane_mm: float) -> str:
    return " behind its close-up lens" if plane_mm < main_mm else ""


def light_in_doubt(notes: Sequence[Note]) -> bool:
    """Whether a state's notes hold a fault besides that leaves its light in doubt, whatever stands in the box."""
    return any(note.doubts_light and BEYOND not in note.text for note in notes)
