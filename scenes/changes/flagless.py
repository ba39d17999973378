"""What of a box stands in the beam whatever its flags do: opening a flag mends nothing of that."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from geometry.body import Kind, Part
from scenes.states.judgement import judge_state
from scenes.states.names import state_words
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


def in_beam_of(plan: State, stands_out: Callable[[Part], bool]) -> tuple[InBeam, ...]:
    """Every part but flags that touches the beam in a state, as the box is.

    Where each surely stands out of it, which `stands_out` says, none is judged.
    """
    if all(stands_out(part) for part in plan.box.parts if part.kind not in SWUNG):
        return ()
    return tuple(
        InBeam(part=room.part, state=plan, depth_mm=max(-room.room_mm, 0.0), through=room.through)
        for room in judge_state(plan, margin=False).rooms
        if room.kind not in SWUNG and room.is_in
    )


def deepest_in_beam(found: Iterable[InBeam]) -> tuple[InBeam, ...]:
    """Each part once, in the state in which it stands deepest, the deepest first."""
    worst: dict[str, InBeam] = {}
    for one in found:
        if one.part not in worst or one.depth_mm > worst[one.part].depth_mm:
            worst[one.part] = one
    return tuple(sorted(worst.values(), key=lambda one: -one.depth_mm))
