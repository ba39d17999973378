"""What of a box stands beyond the plane in focus, where rays end and nobody looks: such a state is never called clear.

Why: docs/physics.md, "Parts beyond the plane in focus".
"""

from __future__ import annotations

from collections.abc import Sequence

from geometry.notes import Note, Severity
from raytrace.box import Box
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.optics.lens import LensState

TOUCHING_MM = 0.01  # a part that ends in the plane itself is wholly looked at


def focus_notes(box: Box, variants: Sequence[LensState]) -> tuple[Note, ...]:
    """A fault for the part that reaches farthest beyond the plane in focus, if any does."""
    plane_mm = min((lens.object_z_mm for lens in variants), default=float("inf"))
    ends = {part.name: float(box_depths_mm(Box(parts=(part,)))[1]) for part in box.parts}
    beyond = sorted((name for name, end in ends.items() if end > plane_mm + TOUCHING_MM), key=lambda name: -ends[name])
    if not beyond:
        return ()
    more = f", as {'does' if len(beyond) == 2 else 'do'} {len(beyond) - 1} more" if len(beyond) > 1 else ""
    text = (
        f"reaches {ends[beyond[0]] - plane_mm:.0f} mm beyond the plane in focus{more}: that plane lies in the box, "
        f"{plane_mm:.0f} mm ahead of the lens front at this focus, and what stands beyond it is not looked at; "
        "check a farther focus too, or bring it back"
    )
    return (Note(beyond[0], text, Severity.FAULT),)
