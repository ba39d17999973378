"""What a lens that is clear rests on and nobody may have measured: how deep its pupil, how wide its field could be instead.

A pupil measured from elsewhere, two lenses' numbers swapped, a focal length as engraved: no other number of the scene speaks
against such a slip. So a clear lens says how far it may go.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from raytrace.optics.lens import FixedPupil, LensState, TracedPupil, WalkingPupil
from scenes.cautions.traced_notes import LENGTH_PERCENT
from scenes.scene_file.tables.lens import Lens
from scenes.states.lens_front import front_notes
from scenes.states.rooms import stands_clear
from scenes.states.state import State

PUPIL_MM = 48.0  # a pupil may well be told from a place as far from the front: what is clear so much deeper is told no farther
FIELD_PERCENT = 24.0  # the same of a field's tangent: from one lens of a set to the next
HALVINGS = 4  # to 3 mm and 1.5 percent


class Number(StrEnum):
    """The numbers of a lens that are looked at."""

    PUPIL = "pupil_behind_front_mm"
    FIELD = "field"
    VERTEX = "vertex_behind_front_mm"  # of a lens with a table: how deep all of it lies in the barrel


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearWhile:
    """How far a number may be out, and the lens still be clear as checked: shown clear at `off_by` [mm or %], all else as stated.

    stated_mm: the pupil's depth where all states have one alike, else None.
    """

    number: Number
    off_by: float
    stated_mm: float | None = None

    @property
    def words(self) -> str:
        """'as long as its pupil is no deeper than 61 mm (43 stated)'."""
        if self.number is Number.VERTEX:
            return (
                f"as long as vertex_behind_front_mm of its table is no more than {self._deepest_mm} mm ({self.stated_mm:g} stated)"
            )
        if self.off_by == 0.0:
            return f"as long as {'its pupil is no deeper' if self.number is Number.PUPIL else 'it sees no wider'} than stated"
        if self.number is Number.FIELD:
            return f"as long as it sees no more than {self.off_by:g} % wider than stated"
        if self.stated_mm is None:
            return f"as long as its pupil is no more than {self.off_by:g} mm deeper than stated"
        return f"as long as its pupil is no deeper than {self._deepest_mm} mm ({self.stated_mm:g} stated)"

    @property
    def _deepest_mm(self) -> str:
        """The stated depth and what it may be out by, rounded to the safe side [mm]."""
        stated_mm = self.stated_mm or 0.0
        return f"{stated_mm:g}" if self.off_by == 0.0 else f"{math.floor(stated_mm + self.off_by)}"


def clear_while(states: Sequence[State]) -> ClearWhile | None:
    """Of a lens whose states are clear, the number that may be out by the least of what is likely; None where all may be."""
    looked_at = list(states)
    vertex_mm = _vertex_mm(states)
    most_mm = PUPIL_MM if vertex_mm is None else min(PUPIL_MM, _held_mm(states[0].lens))
    pupil = _share(looked_at, deeper, most_mm)
    field = _share(looked_at, wider, FIELD_PERCENT, below=pupil)
    if min(pupil, field) >= 1.0:
        return None
    if field < pupil:
        return ClearWhile(number=Number.FIELD, off_by=float(int(field * FIELD_PERCENT)))
    off_by = float(int(pupil * most_mm))
    if vertex_mm is not None:
        return ClearWhile(number=Number.VERTEX, off_by=off_by, stated_mm=vertex_mm)
    return ClearWhile(number=Number.PUPIL, off_by=off_by, stated_mm=_stated_mm(states))


def _vertex_mm(states: Sequence[State]) -> float | None:
    """How deep the table of a traced lens lies behind the front; None for other lenses."""
    pupils = [lens.pupil for state in states for lens in state.variants]
    return next((pupil.vertex_behind_front_mm for pupil in pupils if isinstance(pupil, TracedPupil)), None)


def _held_mm(lens: Lens) -> float:
    """How deep a table may be set by a slip without speaking against the length of the lens; inf where none is stated."""
    return math.inf if lens.front_to_sensor_mm is None else LENGTH_PERCENT / 100.0 * lens.front_to_sensor_mm


Out = Callable[[LensState, float], LensState | None]  # a lens with a number out by so much; None where it has none such


def _share(states: list[State], out: Out, most: float, below: float = 1.0) -> float:
    """The largest share of `most` by which a number may be out in all states, by halving; 1 where that is `below` or more."""
    if _is_clear(states, out, below * most):
        return 1.0
    low, high = 0.0, below
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _is_clear(states, out, middle * most) else (low, middle)
    return low


def _is_clear(states: list[State], out: Out, off_by: float) -> bool:
    """Whether all states stay clear; the one that does not comes first from now on, for it is likely to refuse the next."""
    for place, state in enumerate(states):
        lenses = tuple(other for lens in state.variants if (other := out(lens, off_by)) is not None)
        if lenses and not (_gets_out(state, lenses) and stands_clear(replace(state, variants=lenses))):
            states.insert(0, states.pop(place))
            return False
    return True


def _gets_out(state: State, lenses: Sequence[LensState]) -> bool:
    """Whether the lens's own front still lets its light out: where it does not, `check` has a fault."""
    notes = front_notes(state.lens, lenses, state.guides, field_is_guess=False, guess_share=_guess_share(state))
    return not any(note.doubts_light for note in notes)


def _guess_share(state: State) -> float:
    """How much wider than at infinity the field is taken to be by guess, of its tangent."""
    return 1.0 + max(state.field_guess_percent or (0.0,)) / 100.0


def deeper(lens: LensState, by_mm: float) -> LensState:
    """The lens with its pupil, or all of its table, so much farther behind the front; its field as it is."""
    pupil = lens.pupil
    if isinstance(pupil, FixedPupil):
        across, upright = pupil.behind_front_mm
        return replace(lens, pupil=replace(pupil, behind_front_mm=(across + by_mm, upright + by_mm)))
    if isinstance(pupil, WalkingPupil):
        rows = tuple((field, depth + by_mm, tangential, sagittal) for field, depth, tangential, sagittal in pupil.rows)
        return replace(lens, pupil=replace(pupil, behind_front_mm=pupil.behind_front_mm + by_mm, rows=rows))
    vertex_mm = pupil.vertex_behind_front_mm + by_mm
    pupil = replace(pupil, behind_front_mm=pupil.behind_front_mm + by_mm, vertex_behind_front_mm=vertex_mm)
    return replace(lens, pupil=pupil, object_z_mm=lens.object_z_mm - by_mm)


def wider(lens: LensState, percent: float) -> LensState | None:
    """The lens with a field wider by so much of its tangent; None where the field is traced."""
    if lens.picture is not None:
        return None
    return replace(lens, field_focal_mm=lens.field_focal_mm / (1.0 + percent / 100.0))


def _stated_mm(states: Sequence[State]) -> float | None:
    """The pupil's greatest depth where every state has one and the same, across as upright."""
    depths = {depth for state in states for depth in _depths_mm(state.variants[-1])}
    return depths.pop() if len(depths) == 1 else None


def _depths_mm(lens: LensState) -> tuple[float, ...]:
    depth = lens.pupil.behind_front_mm
    return depth if isinstance(depth, tuple) else (depth,)
