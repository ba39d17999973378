"""How far in a flag may come: its limits in one state, and over all states that it is fitted in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from geometry.flags import LEAST_DEG, MOST_DEG, Bars
from geometry.frame import Side
from raytrace.stray.flag_window import Touch
from scenes.changes.flag_places import FlagPlace
from scenes.states.state import State


@dataclass(frozen=True, slots=True, kw_only=True)
class HingeRoom:
    """How far a hinge stays out of the beam itself (negative: how deep it stands in it) [mm], rounded down.

    farther_mm, rounded up, is how much farther out it has to be for its flag to fold right back and leave a clear frame its room;
    None where that is nowhere near, or the hinge stands beyond the plane in focus.
    """

    clear_mm: float
    farther_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The smallest opening angles of one flag [deg], rounded up to STEP_DEG; -inf: any angle does, inf: none does.

    clear_deg keeps the frame clear as `check` has it: room enough with the glass in and out, nothing beyond the plane in focus.
    touch is where the edge of the beam itself is met;
    visible_deg costs at most the visible loss. most_deg and touch_most_deg are how far the flag may be opened by the first two,
    rounded down: less than MOST_DEG where a blade folded back would reach into a beam that passes close by its hinge; hinge then,
    and where no angle is clear, says how close.
    """

    clear_deg: float
    touch_deg: float
    touch: Touch
    visible_deg: float
    most_deg: float = MOST_DEG
    touch_most_deg: float = MOST_DEG
    hinge: HingeRoom | None = None

    @property
    def folds_back(self) -> bool:
        """Whether the flag may be folded right back."""
        return self.most_deg >= MOST_DEG


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagState:
    """One flag in one state, with its extension as it is and without any."""

    flag: FlagPlace
    plan: State
    limits: Limits
    bare: Limits | None  # None where the flag has no extension
    focus_in_reach: bool = False  # whether it can reach beyond the plane in focus


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagSummary:
    """One flag over all states that it is fitted in: the largest of each limit, and the state that asks for it."""

    name: str
    side: Side
    set_deg: float
    bars: Bars
    states: tuple[FlagState, ...]

    def limit(self, key: str, *, bare: bool = False) -> tuple[float, FlagState]:
        """The largest `clear_deg`, `touch_deg` or `visible_deg` of all states, and whose it is."""
        found = [(getattr(_of(state, bare), key), state) for state in self.states]
        return max(found, key=lambda pair: float(pair[0]))

    @property
    def darkens(self) -> bool:
        """Whether it costs more than the visible loss as it is set."""
        return any(not state.limits.visible_deg <= self.set_deg <= state.limits.touch_most_deg for state in self.states)

    @property
    def most_deg(self) -> float:
        """How far it may be opened in every state that it can keep clear."""
        return min((state.limits.most_deg for state in self.kept().states), default=MOST_DEG)

    @property
    def hopeless(self) -> tuple[FlagState, ...]:
        """States in which no angle clears: the hinge itself stands in the beam."""
        return tuple(state for state in self.states if state.limits.clear_deg == math.inf)

    @property
    def clear_deg(self) -> float:
        """The smallest opening angle that keeps clear every state that this flag can keep clear."""
        kept = self.kept()
        return kept.limit("clear_deg")[0] if kept.states else math.inf

    def kept(self) -> FlagSummary:
        """The same flag without the states in which no angle clears."""
        return replace(self, states=tuple(state for state in self.states if state.limits.clear_deg < math.inf))


def _of(state: FlagState, bare: bool) -> Limits:
    return state.bare if bare and state.bare is not None else state.limits


def summaries(states: Sequence[FlagState]) -> tuple[FlagSummary, ...]:
    """The states gathered flag by flag, in the order of the first box that has it."""
    by_name: dict[str, list[FlagState]] = {}
    for state in states:
        by_name.setdefault(state.flag.name, []).append(state)
    return tuple(
        FlagSummary(name=name, side=mine[0].flag.side, set_deg=mine[0].flag.set_deg, bars=mine[0].flag.bars, states=tuple(mine))
        for name, mine in by_name.items()
    )


def clear_angles(flags: Sequence[FlagSummary]) -> dict[str, float]:
    """Each flag's smallest clear angle over all states, by name; those that no angle clears are left out."""
    return {flag.name: max(flag.clear_deg, LEAST_DEG) for flag in flags if flag.clear_deg < math.inf}
