"""A lens over its whole range: from which focus to which it is clear, at each focal length, and what is shown between settings.

Between two settings whose front rim stands alike everything is shown at once: the body that holds the beams of both and of one
between them, widened by their second difference. Where the rim moves, rooms are sampled, and their second difference is taken off.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from scenes.scene_file.tables.lens import Lens
from scenes.states.clear_rule import has_room
from scenes.states.judgement import StateJudgement, judge_state
from scenes.states.keys import Setting
from scenes.states.rooms import ClearRooms, stands_clear
from scenes.states.state import State, plan_state

HALVINGS = 3  # of a span between two settings that could not be shown whole
LIMIT_STEPS = 6  # halvings that find the focus at which it stops being clear
SAME_TRAVEL_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusSpan:
    """Focus distances at one focal length, far to near [mm], and whether the lens is shown to be clear at all of them.

    room_mm is the least room of any part found, glass in or out.
    """

    focal_mm: float
    far_mm: float
    near_mm: float
    clear: bool
    room_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LensJudgement:
    """A lens's settings with their judgements, and its spans of focus, by focal length, far to near."""

    lens: Lens
    states: tuple[tuple[State, StateJudgement], ...]
    spans: tuple[FocusSpan, ...]

    @property
    def clear(self) -> bool:
        """Whether it is clear over all of its range."""
        return all(span.clear for span in self.spans)

    @property
    def words(self) -> str:
        """'clear from infinity to 0.45 m', or where it is not: 'clear from infinity to 0.61 m, not from there to 0.45 m'."""
        by_focal = {focal: tuple(spans) for focal, spans in groupby(self.spans, key=lambda span: span.focal_mm)}
        told = [f"{'' if len(by_focal) < 2 else f'at {focal:g} mm '}{_span_words(spans)}" for focal, spans in by_focal.items()]
        return "; ".join(told)


def _span_words(spans: Sequence[FocusSpan]) -> str:
    parts = [f"{'clear' if span.clear else 'not clear'} from {_focus(span.far_mm)} to {_focus(span.near_mm)}" for span in spans]
    return ", ".join(parts)


def _focus(focus_mm: float) -> str:
    return "infinity" if math.isinf(focus_mm) else f"{focus_mm / 1000.0:.2f} m"


def judge_lens(states: Sequence[State]) -> LensJudgement:
    """The judgement of one lens over the settings given (scenes.states.full_range) and all focus distances between them."""
    judged = tuple((state, judge_state(state, margin=False)) for state in states)
    spans = [span for _, some in _by_focal(states) for span in _joined(_spans(some))]
    return LensJudgement(lens=states[0].lens, states=judged, spans=tuple(spans))


def _by_focal(states: Sequence[State]) -> Iterator[tuple[float, list[State]]]:
    ordered = sorted(states, key=lambda state: (state.focal_mm, -state.focus_mm))
    for focal_mm, some in groupby(ordered, key=lambda state: state.focal_mm):
        yield focal_mm, list({state.focus_mm: state for state in some}.values())


def _spans(states: Sequence[State]) -> Iterator[FocusSpan]:
    """Spans between neighbours, far to near; a lone setting is a span of its own."""
    if len(states) == 1:
        yield _span(states[0], states[0], stands_clear(states[0]))
    for far, near in pairwise(states):
        yield from _between(far, near, HALVINGS)


def _between(far: State, near: State, halvings: int) -> Iterator[FocusSpan]:
    ends = stands_clear(far), stands_clear(near)
    if ends == (True, True) and shown_between(far, near):
        yield _span(far, near, clear=True)
    elif ends == (False, False) or (ends == (True, True) and not halvings):
        yield _span(far, near, clear=False)
    elif ends == (True, True):
        middle = at_focus(far, _middle_mm(far, near))
        yield from _between(far, middle, halvings - 1)
        yield from _between(middle, near, halvings - 1)
    else:
        yield from _split(far, near, far_is_clear=ends[0], halvings=halvings)


def _split(far: State, near: State, *, far_is_clear: bool, halvings: int) -> Iterator[FocusSpan]:
    """A span one end of which is clear, parted where it stops being so."""
    low, high = far, near
    for _ in range(LIMIT_STEPS):
        middle = at_focus(far, _middle_mm(low, high))
        low, high = (middle, high) if stands_clear(middle) == far_is_clear else (low, middle)
    if far_is_clear:
        yield from _between(far, low, halvings)
        yield _span(low, near, clear=False)
    else:
        yield _span(far, high, clear=False)
        yield from _between(high, near, halvings)


def _joined(spans: Iterator[FocusSpan]) -> Iterator[FocusSpan]:
    """Neighbours that fare alike as one."""
    for _, alike in groupby(spans, key=lambda span: span.clear):
        some = list(alike)
        yield replace(some[0], near_mm=some[-1].near_mm, room_mm=min(span.room_mm for span in some))


def _span(far: State, near: State, clear: bool) -> FocusSpan:
    return FocusSpan(
        focal_mm=far.focal_mm,
        far_mm=far.focus_mm,
        near_mm=near.focus_mm,
        clear=clear,
        room_mm=min(judge_state(state, margin=False).room_mm for state in (far, near)),
    )


def _middle_mm(far: State, near: State) -> float:
    """Half way in 1 / distance, as focus runs [mm]."""
    return 2.0 / (1.0 / far.focus_mm + 1.0 / near.focus_mm)


def at_focus(state: State, focus_mm: float) -> State:
    """The same lens, zoom and stop at another focus."""
    setting = Setting(focal_mm=state.focal_mm, focus_mm=focus_mm, f_number=state.f_number)
    return plan_state(state.scene, state.lens, state.resources, setting, grid=state.grid, guides=state.guides)


def shown_between(far: State, near: State) -> bool:
    """Whether all focus distances between two clear settings are shown to be clear."""
    middle = at_focus(far, _middle_mm(far, near))
    if not stands_clear(middle):
        return False
    if abs(far.travel_mm - near.travel_mm) <= SAME_TRAVEL_MM and len(far.variants) == 1:
        return _held(far, middle, near)
    rooms = [judge_state(state, margin=False).room_mm for state in (far, middle, near)]
    needed_mm = judge_state(far, margin=False).needed_mm
    least_mm = min(rooms) - abs(rooms[0] - 2.0 * rooms[1] + rooms[2]) / 2.0
    return least_mm > 0.0 and has_room(least_mm, needed_mm)


def _held(far: State, middle: State, near: State) -> bool:
    """Whether the body that holds all three beams, and what may lie between them, stands clear."""
    variants = (*far.variants, *middle.variants, *near.variants)
    rooms = ClearRooms(variants, far.guides, far.box)
    return all(rooms.clears(part) for part in far.box.parts)
