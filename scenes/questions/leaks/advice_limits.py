"""What advice on leaks goes by in every state: which stay clear, how far flags come in, what room tilts have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from geometry.errors import GeometryError
from scenes.changes.flag_cuts import FlagCuts
from scenes.changes.flag_limits import FlagLimits
from scenes.changes.tilts import TiltRoom
from scenes.changes.trial import Kept, is_dark, spoilt_words
from scenes.scene_file.errors import SceneError
from scenes.scene_file.tables.box import Box
from scenes.states.full_range import checked_ranges
from scenes.states.select import widest_stops
from scenes.states.state import State

TARGETS = ("glass", "lens")


@dataclass(frozen=True, slots=True)
class Changed:
    """A change in words, the box with it, what speaks against it, and what it costs: room that a clear frame has."""

    words: str
    box: Box
    against: str = ""
    but: str = ""


class AdviceLimits:
    """What advice goes by in every state and between them: clear states, the room for tilts and flags. Shared between reports."""

    def __init__(self, plans: Sequence[State]) -> None:
        ranges = checked_ranges(plans)
        states = (*widest_stops(plans), *(plan for one in ranges for plan in one.plans))
        self.limits, self.tilts, self.kept = FlagLimits(plans, ranges), TiltRoom(states), Kept(states)
        self._cuts = {target: FlagCuts(plans, ranges, self.limits, target=target) for target in TARGETS}

    def look(self) -> None:
        """Work out what all advice asks for, on all cores, before each process would do so by itself."""
        self.limits.all()
        self.kept.look()

    def cuts(self, target: str) -> FlagCuts:
        """How far in flags keep lights off a target, by the same states as their limits."""
        return self._cuts[target]

    def judged(self, change: Changed, lens_name: str) -> Changed:
        """A change with what the judgement of its lens's states says against it: it cannot be built, or one is no longer clear."""
        own = [state for state in self.kept.states if state.lens_name == lens_name]
        try:
            spoilt = self.kept.worst_spoilt(lambda _: change.box, own)
        except (GeometryError, SceneError) as error:
            return replace(change, against=f"cannot be built: {' '.join(str(error).split())}")
        if spoilt is None:
            return change
        words = spoilt_words(spoilt)
        return replace(change, against=words) if is_dark(spoilt) else replace(change, but=words)
