"""A lens over its whole range: from which focus to which it is clear, at each focal length, and what is shown between settings.

Between two settings whose front rim stands alike everything is shown at once: the body that holds the beams of both and of one
between them, widened by their second difference. Where the rim moves, rooms are sampled, and their second difference is taken off.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby, pairwise

from raytrace.optics.lens import LensState
from scenes.scene_file.tables.lens import Lens
from scenes.states.full_range import settings_spanned
from scenes.states.judgement import doubts
from scenes.states.keys import Setting
from scenes.states.rooms import ClearRooms, least_rooms, stands_clear
from scenes.states.state import State, plan_state
from scenes.states.unconfirmed import ClearWhile

HALVINGS = 5  # of a span between two settings that could not be shown whole
LIMIT_STEPS = 6  # halvings that find the focus at which it stops being clear
LISTED_FOCALS = 4  # more are told as how many, from which to which
METRE_PLACES = (2, 3, 4)
WHOLE_METRES_MM = 10_000.0  # limits farther than this are told to the metre
FARTHEST_TOLD_MM = 100_000.0  # nobody focuses beyond it but at infinity
SAME_TRAVEL_MM = 1e-6
SAME_STOP_SHARE = 1.06  # stops are rounded by less
SAME_FOCUS_SHARE = 0.98  # nearest focus and the one that is asked for are rounded apart by less


class Shown(StrEnum):
    """What is known of all focus distances of a span."""

    CLEAR = "clear"
    NOT_CLEAR = "not clear"
    IN_DOUBT = "in doubt"  # clear wherever it was looked at, but not shown for all between


WORST_FIRST = (Shown.NOT_CLEAR, Shown.IN_DOUBT, Shown.CLEAR)


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusSpan:
    """Focus distances at one focal length, far to near [mm], and whether the lens is clear at all of them."""

    focal_mm: float
    far_mm: float
    near_mm: float
    shown: Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class LensJudgement:
    """A lens's spans of focus at the widest stop asked for, by focal length, far to near.

    clear_while: of a clear lens what that rests on, where it was asked for and any likely slip could undo it.
    f_number: the widest stop looked at.
    """

    lens: Lens
    spans: tuple[FocusSpan, ...]
    clear_while: ClearWhile | None = None
    f_number: float | None = None

    @property
    def clear(self) -> bool:
        """Whether it is clear over all of its range."""
        return all(span.shown is Shown.CLEAR for span in self.spans)

    @property
    def nearer_words(self) -> str:
        """'nearer, down to close_focus_mm = 450, not looked at' of a clear lens that focuses nearer than it was asked about."""
        near_mm = self.lens.close_focus_mm
        if not self.clear or near_mm is None or near_mm >= SAME_FOCUS_SHARE * min(span.near_mm for span in self.spans):
            return ""
        return f"nearer, down to close_focus_mm = {near_mm:g}, not looked at"

    @property
    def wider_words(self) -> str:
        """'wider than f/8, up to f_number = 1, not looked at' of a clear lens that opens further than it was asked about."""
        if not self.clear or self.f_number is None or self.f_number <= SAME_STOP_SHARE * self.lens.f_number:
            return ""
        return f"wider than f/{self.f_number:g}, up to f_number = {self.lens.f_number:g}, not looked at"

    @property
    def words(self) -> str:
        """'clear from infinity to 0.45 m', or where it is not: 'clear from infinity to 0.61 m, not clear from 0.61 m to 0.45 m'."""
        by_focal = {focal: rounded_limits(tuple(spans)) for focal, spans in groupby(self.spans, key=lambda span: span.focal_mm)}
        told = {focal: _span_words(spans) for focal, spans in by_focal.items()}
        runs = [(words, [focal for focal, _ in some]) for words, some in groupby(told.items(), key=lambda item: item[1])]
        if len(runs) == 1:
            return f"{runs[0][0]}{f', {_focal_words(runs[0][1])}' if len(told) > 1 else ''}"
        return "; ".join(f"{_focal_words(focals)} {words}" for words, focals in runs)


def rounded_limits(spans: Sequence[FocusSpan]) -> tuple[FocusSpan, ...]:
    """Spans of one focal length, far to near, that meet at focus distances which can be set: nothing is called clear by it.

    A limit farther than 10 m goes to a whole metre, one beyond 100 m to that or to infinity, each so that the worse span grows.
    """
    if len(spans) < 2:
        return tuple(spans)
    farthest_mm, nearest_mm = spans[0].far_mm, spans[-1].near_mm
    limits_mm = [farthest_mm]
    for far, near in pairwise(spans):
        rounded_mm = _rounded_mm(near.far_mm, up=WORST_FIRST.index(near.shown) < WORST_FIRST.index(far.shown))
        limits_mm.append(min(max(rounded_mm, nearest_mm), farthest_mm))
    limits_mm.append(nearest_mm)
    grown = [replace(span, far_mm=far, near_mm=near) for span, (far, near) in zip(spans, pairwise(limits_mm), strict=True)]
    ends_mm = sorted(set(limits_mm), reverse=True)
    return tuple(_joined(_worst_between(grown, far, near) for far, near in pairwise(ends_mm)))


def _worst_between(spans: Sequence[FocusSpan], far_mm: float, near_mm: float) -> FocusSpan:
    """The worst of some spans that reach all over a part of them."""
    over = [span for span in spans if span.far_mm >= far_mm and span.near_mm <= near_mm]
    worst = min(over, key=lambda span: WORST_FIRST.index(span.shown))
    return replace(worst, far_mm=far_mm, near_mm=near_mm)


def _rounded_mm(focus_mm: float, *, up: bool) -> float:
    if focus_mm > FARTHEST_TOLD_MM:
        return math.inf if up else FARTHEST_TOLD_MM
    if focus_mm <= WHOLE_METRES_MM:
        return focus_mm
    return 1000.0 * (math.ceil(focus_mm / 1000.0) if up else math.floor(focus_mm / 1000.0))


def _focal_words(focals: Sequence[float]) -> str:
    """'at 45 and 75 mm', 'at 15 focal lengths from 18.75 to 35 mm'."""
    if len(focals) > LISTED_FOCALS:
        return f"at {len(focals)} focal lengths from {focals[0]:g} to {focals[-1]:g} mm"
    listed = [f"{focal:g}" for focal in focals]
    return f"at {' and '.join(filter(None, (', '.join(listed[:-1]), listed[-1])))} mm"


def _span_words(spans: Sequence[FocusSpan]) -> str:
    """Spans in turn, to the cm, or finer where ends of one would read alike."""
    places = next((n for n in METRE_PLACES if not any(_reads_alike(span, n) for span in spans)), METRE_PLACES[-1])
    return ", ".join(_one_span_words(span, places) for span in spans)


def _reads_alike(span: FocusSpan, places: int) -> bool:
    return span.far_mm != span.near_mm and _focus(span.far_mm, places) == _focus(span.near_mm, places)


def _one_span_words(span: FocusSpan, places: int) -> str:
    """A span; of one that is not shown whole the words that `check` has for every focus of it that was looked at."""
    if span.far_mm == span.near_mm:
        return f"{span.shown} at {_focus(span.far_mm, places)}"
    between = f"from {_focus(span.far_mm, places)} to {_focus(span.near_mm, places)}"
    if span.shown is Shown.IN_DOUBT:
        return f"clear at each focus tried {between}, but by so little that those between them are not proven"
    return f"{span.shown} {between}"


def _focus(focus_mm: float, places: int) -> str:
    if math.isinf(focus_mm):
        return "infinity"
    whole = focus_mm >= WHOLE_METRES_MM and focus_mm % 1000.0 == 0.0
    return f"{focus_mm / 1000.0:.{0 if whole else places}f} m"


def lens_judgements(plans: Sequence[State]) -> tuple[LensJudgement, ...]:
    """Every lens of some states over the range that they span, from infinity on."""
    return tuple(judge_lens(states) for states in settings_spanned(plans))


def judge_lens(states: Sequence[State], told: Mapping[str, bool] | None = None) -> LensJudgement:
    """The judgement of one lens over the settings given (scenes.states.full_range) and all focus distances between them.

    told: by a state's key, whether it was called clear: by a hair's breadth of room, it may be so by another way of looking alone.
    """
    look = _Look(told or {})
    spans = [span for _, some in _by_focal(states) for span in _joined(look.spans(some))]
    return LensJudgement(lens=states[0].lens, spans=tuple(spans), f_number=min(state.f_number for state in states))


def _by_focal(states: Iterable[State]) -> Iterator[tuple[float, list[State]]]:
    ordered = sorted(states, key=lambda state: (state.focal_mm, -state.focus_mm, -state.f_number))
    for focal_mm, some in groupby(ordered, key=lambda state: state.focal_mm):
        yield focal_mm, list({state.focus_mm: state for state in some}.values())


class _Look:
    """What is known of the settings of one lens, each looked at once."""

    def __init__(self, told: Mapping[str, bool]) -> None:
        self._told = told
        self._clear: dict[int, tuple[State, bool]] = {}

    def is_clear(self, state: State) -> bool:
        if id(state) not in self._clear:
            is_clear = self._told[state.key] if state.key in self._told else stands_clear(state)
            self._clear[id(state)] = state, is_clear
        return self._clear[id(state)][1]

    def spans(self, states: Sequence[State]) -> Iterator[FocusSpan]:
        """Spans between neighbours, far to near; a lone setting is a span of its own."""
        if len(states) == 1:
            yield _span(states[0], states[0], Shown.CLEAR if self.is_clear(states[0]) else Shown.NOT_CLEAR)
        for far, near in pairwise(states):
            yield from self._between(far, near, HALVINGS)

    def _between(self, far: State, near: State, halvings: int) -> Iterator[FocusSpan]:
        ends = self.is_clear(far), self.is_clear(near)
        if ends == (False, False):
            yield _span(far, near, Shown.NOT_CLEAR)
        elif ends == (True, True):
            yield from self._between_clear(far, near, halvings)
        else:
            yield from self._split(far, near, far_is_clear=ends[0], halvings=halvings)

    def _between_clear(self, far: State, near: State, halvings: int) -> Iterator[FocusSpan]:
        middle = at_focus(far, _middle_mm(far, near))
        if self.is_clear(middle) and shown_between(far, middle, near):
            yield _span(far, near, Shown.CLEAR)
        elif halvings:
            yield from self._between(far, middle, halvings - 1)
            yield from self._between(middle, near, halvings - 1)
        else:
            yield _span(far, near, Shown.IN_DOUBT if self.is_clear(middle) else Shown.NOT_CLEAR)

    def _split(self, far: State, near: State, *, far_is_clear: bool, halvings: int) -> Iterator[FocusSpan]:
        """A span one end of which is clear, parted where it stops being so."""
        low, high = far, near
        for _ in range(LIMIT_STEPS):
            middle = at_focus(far, _middle_mm(low, high))
            low, high = (middle, high) if self.is_clear(middle) == far_is_clear else (low, middle)
        if far_is_clear:
            yield from self._between(far, low, halvings)
            yield _span(low, near, Shown.NOT_CLEAR)
        else:
            yield _span(far, high, Shown.NOT_CLEAR)
            yield from self._between(high, near, halvings)


def _joined(spans: Iterable[FocusSpan]) -> Iterator[FocusSpan]:
    """Neighbours that fare alike as one."""
    for _, alike in groupby(spans, key=lambda span: span.shown):
        some = list(alike)
        yield replace(some[0], near_mm=some[-1].near_mm)


def _span(far: State, near: State, shown: Shown) -> FocusSpan:
    return FocusSpan(focal_mm=far.focal_mm, far_mm=far.focus_mm, near_mm=near.focus_mm, shown=shown)


def _middle_mm(far: State, near: State) -> float:
    """Half way in 1 / distance, as focus runs [mm]."""
    return 2.0 / (1.0 / far.focus_mm + 1.0 / near.focus_mm)


def at_focus(state: State, focus_mm: float) -> State:
    """The same lens, zoom and stop at another focus, with the faults that its box has."""
    setting = Setting(focal_mm=state.focal_mm, focus_mm=focus_mm, f_number=state.f_number)
    return plan_state(state.scene, state.lens, state.resources, setting, grid=state.grid, guides=state.guides)


def shown_between(far: State, middle: State, near: State) -> bool:
    """Whether all focus distances between two clear settings, and a clear one half way, are shown to be clear."""
    if len({len(state.variants) for state in (far, middle, near)}) > 1 or doubts(near):
        return False
    if abs(far.travel_mm - near.travel_mm) > SAME_TRAVEL_MM:
        return _sampled(far, middle, near)
    held = zip(far.variants, middle.variants, near.variants, strict=True)
    return all(_held(far, variants) for variants in held)


def _held(state: State, variants: Sequence[LensState]) -> bool:
    """Whether the body that holds the beams of a lens at three settings, and what may lie between them, stands clear."""
    rooms = ClearRooms(variants, state.guides, state.box)
    return all(rooms.clears(part) for part in state.box.parts)


def _sampled(far: State, middle: State, near: State) -> bool:
    """Whether every beam's least room, less what may lie between three samples of it, is what a clear frame needs."""
    each = [least_rooms(state) for state in (far, middle, near)]
    return all(min(three) - abs(three[0] - 2.0 * three[1] + three[2]) / 2.0 > 0.0 for three in zip(*each, strict=True))
