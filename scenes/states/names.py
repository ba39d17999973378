"""A state, a lens, a place in the picture as the crew says them."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from raytrace.optics.lens import LensState
from scenes.states.state import State


class Named(Protocol):
    """A state, planned or done."""

    @property
    def key(self) -> str:
        """Its name for files."""

    @property
    def lens_name(self) -> str:
        """The lens's name."""

    @property
    def is_zoom(self) -> bool:
        """Whether the lens has several focal lengths."""

    @property
    def focal_mm(self) -> float:
        """Focal length."""

    @property
    def focus_mm(self) -> float:
        """Focus distance from the image plane."""

    @property
    def f_number(self) -> float:
        """Stop."""


class OfState:
    """A value that tells of one state, its `plan`, and is named as that is."""

    __slots__ = ()
    plan: Named

    @property
    def key(self) -> str:
        """The state's name for files."""
        return self.plan.key

    @property
    def lens_name(self) -> str:
        """The lens's name."""
        return self.plan.lens_name

    @property
    def is_zoom(self) -> bool:
        """Whether the lens has several focal lengths."""
        return self.plan.is_zoom

    @property
    def focal_mm(self) -> float:
        """Focal length."""
        return self.plan.focal_mm

    @property
    def focus_mm(self) -> float:
        """Focus distance from the image plane."""
        return self.plan.focus_mm

    @property
    def f_number(self) -> float:
        """Stop."""
        return self.plan.f_number


def lens_words(state: Named) -> str:
    """The lens as the crew says it, with its focal length where it is a zoom: '25-50 at 35 mm'."""
    return f"{state.lens_name} at {state.focal_mm:g} mm" if state.is_zoom else state.lens_name


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


def middle_variant(plan: State) -> LensState:
    """The lens with its pupil where it is, or in the middle of its bounds."""
    return plan.variants[len(plan.variants) // 2]


def the(part: str) -> str:
    """A part in a sentence: 'the front tray', but 'mask 1', 'stage 2': a number needs no article."""
    return part if part.rpartition(" ")[2].isdigit() else f"the {part}"
