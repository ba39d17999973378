"""A state, a lens, a place in the picture as the crew says them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np

from geometry.arrays import FloatArray
from geometry.frame import where_in_words
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import LensState
from scenes.states.state import StatePlan

if TYPE_CHECKING:
    from scenes.states.state import StatePlan


class Named(Protocol):
    """A state, planned or done."""

    @property
    def key(self) -> str:
        """Its name for files."""

    @property
    def lens_name(self) -> str:
        """The lens's name."""

    @property
    def focal_mm(self) -> float:
        """Focal length."""

    @property
    def focus_mm(self) -> float:
        """Focus distance from the image plane."""

    @property
    def f_number(self) -> float:
        """Stop."""


def lens_words(state: Named) -> str:
    """The lens as the crew says it, with its focal length where it is a zoom: '25-50 at 35 mm'."""
    zoomed = f"_{state.focal_mm:g}mm_" in state.key
    return f"{state.lens_name} at {state.focal_mm:g} mm" if zoomed else state.lens_name


def setting_words(state: Named) -> str:
    """Focus and stop: 'infinity, f/2', 'focus 300 mm, f/2'."""
    focus = "infinity" if np.isinf(state.focus_mm) else f"focus {state.focus_mm:g} mm"
    return f"{focus}, f/{state.f_number:g}"


def state_words(state: Named) -> str:
    """A state as the crew says it: '18, infinity, f/2', '28, focus 300 mm, f/2'."""
    return f"{lens_words(state)}, {setting_words(state)}"


def in_a_sentence(error: Exception) -> str:
    """What went wrong, on one line; a fault of the program itself says its kind, and asks to be told."""
    text = " ".join(str(error).split()) or "no further words"
    if isinstance(error, ValueError | OSError):
        return text
    return f"{type(error).__name__}: {text} (a fault of the program: please report it with the scene file)"


OUTSIDE = "outside the picture"


def middle_variant(plan: StatePlan) -> LensState:
    """The lens with its pupil where it is, or in the middle of its bounds: at infinity focus ghosts do not depend on it."""
    return plan.variants[len(plan.variants) // 2]


def where(place_mm: FloatArray, grid: PixelGrid) -> str:
    """A place of the picture in the operator's words; past its edge: over which side."""
    if not np.isfinite(place_mm).all():
        return OUTSIDE
    right = float((place_mm[0] - grid.offset_mm[0]) / (grid.width_mm / 2))
    up = float((place_mm[1] - grid.offset_mm[1]) / (grid.height_mm / 2))
    if max(abs(right), abs(up)) <= 1:
        return where_in_words(right, up)
    return f"out at {where_in_words(right if abs(right) > 1 else 0.0, up if abs(up) > 1 else 0.0)}"
