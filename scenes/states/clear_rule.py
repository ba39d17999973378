"""How much room a clear frame needs where a lens's pupil is taken as fixed: the one rule, which every command asks.

Why: docs/physics.md, "Pupils taken as fixed".
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from raytrace.optics.lens import FixedPupil, LensState, WalkingPupil
from raytrace.optics.projection import slopes

if TYPE_CHECKING:
    pass

WALK_MM = 2.5  # most that a fixed pupil was wrong at a box's edge in published wide lenses; docs/validation.md
REACH_SHARE = 0.9  # of the tangent at the picture's corner: a walk told so far is carried straight on for the rest
FARTHEST_DEG = 80.0  # of the field: beyond, a pencil runs along the front rim, and no box stands there
TOLD_MM = 0.005  # clearances are told to a hundredth: room that is told as enough is enough


def room_needed_mm(variants: Iterable[LensState]) -> float:
    """The clearance [mm] that a frame needs to be called clear: 0 where the pupil's walk is known to the corner, or traced."""
    return WALK_MM if any(_stands_still(lens) for lens in variants) else 0.0


def has_room(clearance_mm: float | None, needed_mm: float) -> bool:
    """Whether a clearance is as much as is needed; one that could not be measured (None) is not, unless none is needed."""
    return needed_mm <= 0.0 or (clearance_mm is not None and beyond_room_mm(clearance_mm, needed_mm) > 0.0)


def beyond_room_mm(clearance_mm: float, needed_mm: float) -> float:
    """How much farther in a part could stand and keep its room [mm]: not positive where it has none, inf where it needs none."""
    return clearance_mm - needed_mm + TOLD_MM if needed_mm > 0.0 else math.inf


def lack_words(room_mm: float | None, needed_mm: float) -> str:
    """Why a frame that loses nothing is not called clear: 'room 1.20 mm, less than the 2.5 mm a fixed pupil can be out by'."""
    if room_mm is None:
        return f"the room could not be measured, and a fixed pupil can be out by {needed_mm:g} mm"
    if room_mm <= 0.0:
        return f"no room, and a fixed pupil can be out by {needed_mm:g} mm"
    return f"room {room_mm:.2f} mm, less than the {needed_mm:g} mm a fixed pupil can be out by"


def walk_ends_deg(lens: LensState) -> float | None:
    """The last field of a walk that ends short of the picture's corner, where its pupil is as unknown as a fixed one; else None."""
    if not isinstance(lens.pupil, WalkingPupil):
        return None
    last_deg = max(row[0] for row in lens.pupil.rows)
    return None if np.tan(np.radians(min(last_deg, FARTHEST_DEG))) >= REACH_SHARE * _corner_tan(lens) else last_deg


def _corner_tan(lens: LensState) -> float:
    """Tangent of the field at the picture's corner; of FARTHEST_DEG at most, and where the lens does not picture it."""
    half_mm = lens.half_diagonal_mm
    field = slopes(
        half_mm, 0.0, lens.projection, lens.field_focal_mm, lens.squeeze, distortion=lens.distortion, half_diagonal_mm=half_mm
    )
    farthest = float(np.tan(np.radians(FARTHEST_DEG)))
    return min(float(np.hypot(field.tan_right, field.tan_up)), farthest) if bool(field.valid) else farthest


def _stands_still(lens: LensState) -> bool:
    return isinstance(lens.pupil, FixedPupil) or walk_ends_deg(lens) is not None


UNSEEN_MM, UNSEEN_STOPS = 1.0, 0.005  # a part this deep in the beam takes more light than this from the frame's edge


NOTHING_SHARE = 0.002  # of the light: 0.003 stop, below what any monitor or film shows


ROOM_PERCENT = 2.0  # of the frame: a mount that sits 0.3 mm off moves a wide lens's edge by about this much


SHOWN_STOPS = 1.0  # from here on the edge itself is seen in the frame, not a shade


class Word(StrEnum):
    """How a guide fares, from best to worst."""

    CLEAR = "clear"
    TIGHT = "tight"
    SHADING = "shading"
    IN_FRAME = "in frame"


LOSING_NOTHING = frozenset({Word.CLEAR, Word.TIGHT})  # nothing that can be seen


RANK = {word: rank for rank, word in enumerate(Word)}


MEANING = {
    Word.CLEAR: "loses nothing visible and has room",
    Word.TIGHT: "loses nothing worth seeing, but has next to no room, or less than a fixed pupil can be out by",
    Word.SHADING: "loses a visible part of its light",
    Word.IN_FRAME: "shows the edge of a part",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What counts as visible, as nothing, and as room."""

    visible_loss_stops: float = 0.1
    nothing_share: float = NOTHING_SHARE
    room_percent: float = ROOM_PERCENT


def word_for(nothing_lost: bool, worst_case_stops: float, margin_percent: float, limits: Limits) -> Word:
    """The word for a loss that errors have already widened, and for the room around it."""
    if worst_case_stops >= SHOWN_STOPS:
        return Word.IN_FRAME
    if worst_case_stops > limits.visible_loss_stops:
        return Word.SHADING
    return Word.CLEAR if nothing_lost and margin_percent >= limits.room_percent else Word.TIGHT


def worst_word(words: Sequence[Word]) -> Word:
    """The worst of several words; clear if there are none."""
    return max(words, key=RANK.__getitem__, default=Word.CLEAR)
