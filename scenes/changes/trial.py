"""A change put into a copy of the box and judged as `check` judges it, before it is advised."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from scenes.runtime.first_run import prepare_judge
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.tables.box import Box
from scenes.states.judgement import doubts, judge_state
from scenes.states.keys import StateLabel
from scenes.states.names import state_words, the
from scenes.states.rooms import stands_clear
from scenes.states.state import State

Change = Callable[[Box], Box]  # of the box as it is on one lens
STATE_S = 0.02  # what the judgement of a state takes, about


class Kept:
    """States of a show, whole ranges of lenses, and whether a change leaves those clear that are.

    What was judged is kept by label, so that it holds in another process too.
    """

    def __init__(self, states: Sequence[State]) -> None:
        self.states = tuple(states)
        self._known: dict[StateLabel, list[tuple[Box, bool]]] = {}

    def look(self) -> None:
        """Judge every state as the box is, on all cores."""
        prepare_judge()
        asked = [state for state in self.states if state.label not in self._known]
        for state, clear in zip(asked, shared_out(_is_clear, asked, each_s=STATE_S), strict=True):
            self._known[state.label] = [(state.fitted, clear)]

    def is_clear_now(self, state: State) -> bool:
        """Whether a state is clear as the box is."""
        return self._is_clear_with(state, state.fitted)

    def _is_clear_with(self, state: State, box: Box) -> bool:
        """Whether a state is clear with a box; judged once."""
        known = self._known.setdefault(state.label, [])
        for tried, clear in known:
            if tried == box:
                return clear
        known.append((box, stands_clear(state.with_box(box))))
        return known[-1][1]

    def spoilt(self, change: Change, states: Sequence[State] | None = None) -> Iterator[State]:
        """Those of the states, all by default, that are clear and would no longer be, as they then are."""
        for state in self.states if states is None else states:
            box = change(state.fitted)
            if box != state.fitted and self.is_clear_now(state) and not self._is_clear_with(state, box):
                yield state.with_box(box)

    def worst_spoilt(self, change: Change, states: Sequence[State] | None = None) -> State | None:
        """Of the states that a change spoils one in which a part stands in the beam, else the first; None where it spoils none."""
        found = list(self.spoilt(change, states))
        return next((state for state in found if is_dark(state)), found[0] if found else None)

    def not_clear(self, change: Change) -> tuple[State, ...]:
        """The states that are not clear with a change made."""
        return tuple(state for state in self.states if not self._is_clear_with(state, change(state.fitted)))


def _is_clear(state: State) -> bool:
    return stands_clear(state.with_box(state.fitted))


def is_dark(state: State) -> bool:
    """Whether a part stands in a state's beam, or its light is in doubt: more than too little room."""
    nearest = judge_state(state, margin=False).nearest
    return bool(doubts(state)) or nearest is None or nearest.is_in


def spoilt_words(state: State) -> str:
    """Which state is no longer clear, and why."""
    return f"{state_words(state)} is then no longer clear: {why_not_clear(state)}"


def why_not_clear(state: State) -> str:
    """What keeps a state from clear, in a few words: 'the mask stands 1.2 mm in the beam'."""
    if found := doubts(state):
        return f"{found[0].part} {found[0].text.partition(';')[0].partition(':')[0]}"
    nearest = judge_state(state, margin=False).nearest
    if nearest is None:
        return "its light cannot be followed"
    if nearest.is_in:
        return f"{the(nearest.part)} stands {-nearest.room_mm:.1f} mm in the beam"
    return f"{the(nearest.part)} leaves {nearest.room_mm:.1f} mm of room"
