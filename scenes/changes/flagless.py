"""What of a box stands in the beam whatever its flags do: opening a flag mends nothing of that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from geometry.body import Kind
from scenes.states.judgement import judge_state
from scenes.states.names import state_words
from scenes.states.select import widest_stops
from scenes.states.state import State

SWUNG = (Kind.FLAG, Kind.EXTENSION)


@dataclass(frozen=True, slots=True, kw_only=True)
class InBeam:
    """A part that is no flag and stands in the beam: in which state deepest, and how deep [mm]; `through`: right through."""

    part: str
    state: State
    depth_mm: float
    through: bool = False

    @property
    def words(self) -> str:
        """'mask, 8.4 mm (25, infinity, f/1.8)'."""
        deep = "right through" if self.through else f"{self.depth_mm:.1f} mm"
        return f"{self.part}, {deep} ({state_words(self.state)})"


def in_beam_without_flags(plans: Sequence[State]) -> tuple[InBeam, ...]:
    """Every part but flags that touches the beam in some state, as the box is, the deepest first."""
    worst: dict[str, InBeam] = {}
    for plan in widest_stops(plans):
        for room in judge_state(plan, margin=False).rooms:
            if room.kind in SWUNG or not room.is_in:
                continue
            found = InBeam(part=room.part, state=plan, depth_mm=max(-room.room_mm, 0.0), through=room.through)
            if room.part not in worst or found.depth_mm > worst[room.part].depth_mm:
                worst[room.part] = found
    return tuple(sorted(worst.values(), key=lambda found: -found.depth_mm))
