"""What the test shoot has to confirm: from a checked run to a short list of set-ups, where to look, and what to expect there."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from geometry.notes import Severity
from scenes.scene_file.messages import ALL_STOPS
from scenes.states.clear_rule import RANK, Word
from scenes.states.names import lens_words, setting_words, the
from scenes.states.notes import wider_words
from scenes.states.unconfirmed import ClearWhile, Number
from scenes.verdicts.check import CheckResult, StateResult
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS, loss_words
from scenes.verdicts.text import WIDTH, caution_lines, nearest_words
from scenes.verdicts.verdict import GuideVerdict, at_words

# Common practice.
HOW = (
    "How to read it: light a plain wall or card evenly, larger than the frame, and expose it to middle grey at "
    "the focus named. Compare the waveform at the place named, box on and box off: the difference is what the box takes; a stop is "
    "a halving of the light. Then rack focus and zoom once through with the box on, and look for what this list does not name."
)
TICK = "[ ] "
PUPIL, FIELD, WALK, FAR_FIELD, TABLE, NOTE = "pupil", "field", "pupil walk", "far field", "table", "note"
BY_PUPIL = "depending on the pupil"
OPEN_GAP = re.compile(r"the gap of ([\d.]+ mm) all round the barrel lets light in")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """Something to measure or look at before the shoot: of what, what, and the value so far.

    `key` is the state it is asked at; `enters` the key of the scene file that the value goes into. `two_pupils`: an
    anamorphic's, measured for the horizontal field and for the vertical one.
    """

    kind: str
    who: str
    what: str
    so_far: str = ""
    key: str = ""
    enters: str = ""
    two_pupils: bool = False

    @property
    def text(self) -> str:
        """All of it in a sentence."""
        return f"{self.who}: {self.what}{self.enters and f' ({self.enters})'}{self.so_far and f'; {self.so_far}'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One set-up: the state, its worst guide, where to look and what to expect, and what to do where it is otherwise."""

    state: StateResult
    guide: GuideVerdict

    @property
    def where(self) -> str:
        """Where to look, with its article; the place with least room where nothing is lost."""
        worst, margin = self.guide.worst, self.guide.margin
        if worst.where and worst.loss_stops >= SHOWN_LOSS_STOPS:
            return at_words(worst.where)
        return at_words(margin.where) if margin.where else "every corner and edge"

    @property
    def expected(self) -> str:
        """What the waveform should show there."""
        worst, margin = self.guide.worst, self.guide.margin
        low, high = worst.range_stops
        if high < SHOWN_LOSS_STOPS:
            grows = f"by {'more than 50' if margin.capped else f'{margin.percent:.0f}'} %" if margin.percent > 0 else "no further"
            spare = f"no darkening; the frame could grow {grows} before any shows"
            return f"{spare}; tight: {wanted_words(self.guide)}" if self.guide.lacks_room else spare
        part = f", by {the(worst.blame.part)}" if worst.blame else ""
        most = "no light at all" if high >= ALL_STOPS else f"{loss_words(high)} less light"
        if loss_words(low) == loss_words(high):
            return f"{most}{part}"
        return f"{'from ' if high >= ALL_STOPS else ''}{least_words(low)} to {most}{part}, {BY_PUPIL}"


def least_words(low_stops: float) -> str:
    """The lesser of two losses without its unit: '0', '0.25'."""
    return "0" if low_stops < SHOWN_LOSS_STOPS else loss_words(low_stops).split()[0]


def wanted_words(guide: GuideVerdict) -> str:
    """Why a frame that loses nothing is tight: '0.4 mm of room, 2.5 mm wanted until the pupil is measured off axis'."""
    if guide.room_mm is None:
        return f"room not known, {guide.room_needed_mm:g} mm wanted until the pupil is measured off axis"
    room_mm = max(guide.room_mm, 0.0)
    one, two = f"{room_mm:.1f}", f"{room_mm:.2f}"
    told = two if float(one) >= guide.room_needed_mm else one
    return f"{told} mm of room, {guide.room_needed_mm:g} mm wanted until the pupil is measured off axis"


def shots(check: CheckResult) -> tuple[Shot, ...]:
    """The set-ups worth shooting, worst first: of each lens its tightest, and every focus at which it is less than clear."""
    chosen: list[Shot] = []
    for lens in dict.fromkeys(lens_words(state) for state in check.states):
        ranked = sorted((shot_of(state) for state in check.states if lens_words(state) == lens), key=badness, reverse=True)
        chosen.append(ranked[0])
        seen = {ranked[0].state.focus_mm}
        for shot in ranked[1:]:
            if shot.guide.word is not Word.CLEAR and shot.state.focus_mm not in seen:
                chosen.append(shot)
                seen.add(shot.state.focus_mm)
    return tuple(sorted(chosen, key=badness, reverse=True))


def shot_of(state: StateResult) -> Shot:
    """A state as a shot, with its worst guide."""
    return Shot(state=state, guide=max(state.guides, key=lambda guide: (RANK[guide.word], -guide.margin.percent)))


def badness(shot: Shot) -> tuple[int, float, float]:
    """What the worst of several shots has most of."""
    guide = shot.guide
    return RANK[guide.word], guide.worst.worst_case_stops, -guide.margin.percent


def plan_lines(check: CheckResult, title: str) -> list[str]:
    """The test plan as text, `WIDTH` columns, with a box to tick for each thing to do."""
    lines = [f"Test plan: {title}" if title else "Test plan", "=" * WIDTH, *_wrapped(HOW), ""]
    faults, gaps = list(fault_lines(check)), list(gap_lines(check))
    head = f"Change before the shoot{': as it stands the box cannot be used' if faults else ''}"
    lines += [head, "-" * WIDTH, *faults, *gaps, ""] if faults or gaps else []
    measures = list(measure_lines(check))
    lines += ["Measure first", "-" * WIDTH, *measures, ""] if measures else []
    lines += ["Shoot, the most doubtful first", "-" * WIDTH]
    lines += [line for shot in shots(check) for line in _shot_lines(shot)]
    for failed in check.failed:
        lines += _wrapped(f"{failed.key}: could not be computed, so nothing is known of it: look at every corner.", TICK)
    return [*lines, "", *caution_lines()]


def fault_lines(check: CheckResult) -> Iterator[str]:
    """What of the box cannot be built or used as it stands."""
    for one in noticed(check, Severity.FAULT):
        yield from _wrapped(one.text, TICK)


def gap_lines(check: CheckResult) -> Iterator[str]:
    """Which gaps round lenses are to be closed."""
    for lens in dict.fromkeys(state.lens_name for state in check.states):
        for told in open_gaps([state for state in check.states if state.lens_name == lens]):
            yield from _wrapped(f"{lens}: {told}", TICK)


def open_gaps(states: Sequence[StateResult]) -> tuple[str, ...]:
    """What to close round a lens without a seal: 'no seal: close the gap of 15.0 mm round the lens', and how."""
    found = dict.fromkeys(match[1] for state in states for note in state.notes if (match := OPEN_GAP.match(note.text)))
    return tuple(f"no seal: close the gap of {gap} round the lens, with nothing ahead of the lens front" for gap in found)


def measure_lines(check: CheckResult) -> Iterator[str]:
    """What a prediction rests on that a person can measure: pupils known by bounds, and what else needs a look."""
    for one in measures(check):
        yield from _wrapped(one.text, TICK)


def measures(check: CheckResult) -> Iterator[Measure]:
    """The same, lens by lens, then what was noticed of the box."""
    for lens in dict.fromkeys(state.lens_name for state in check.states):
        states = [state for state in check.states if state.lens_name == lens]
        rests = _clear_while(lens, check) if all(state.word is Word.CLEAR for state in states) else None
        yield from _pupil(lens, states, rests)
        yield from _fields(states)
        if rests and rests.number is Number.FIELD:
            what = "field of view at infinity, measured left and right"
            yield Measure(kind=FAR_FIELD, who=lens, what=what, so_far=f"clear {rests.words}", enters="half_field_deg")
        if rests and rests.number is Number.VERTEX:
            what = "how far the middle of its front glass lies behind the front rim"
            yield Measure(kind=TABLE, who=lens, what=what, so_far=f"clear {rests.words}", enters="vertex_behind_front_mm")
        yield from _walks(lens, [(state, guide) for state in states for guide in state.guides if guide.lacks_room])
    yield from (one for one in noticed(check, Severity.CAUTION) if not OPEN_GAP.match(one.what))


def range_words(first: str, last: str) -> str:
    """Two places that differ by one number as a range: 'pupil 34 to 40 mm behind the front'."""
    low, high = first.split(), last.split()
    apart = [k for k, (a, b) in enumerate(zip(low, high, strict=False)) if a != b]
    if len(low) != len(high) or len(apart) != 1:
        return f"{first} to {last}"
    low[apart[0]] += f" to {high[apart[0]]}"
    return " ".join(low)


def noticed(check: CheckResult, severity: Severity) -> Iterator[Measure]:
    """Notes of one severity, each once."""
    found = {(note.part, note.text) for state in check.states for note in state.notes if note.severity is severity}
    return (Measure(kind=NOTE, who=part, what=text) for part, text in sorted(found))


def _fields(states: Sequence[StateResult]) -> Iterator[Measure]:
    """The fields at the nearest focus that no row states."""
    guessed = [state for state in states if state.field_guess_percent is not None]
    nearest = {lens_words(state): state for state in sorted(guessed, key=lambda state: -state.focus_mm)}
    for words, state in nearest.items():
        what = f"field of view at {state.focus_mm:g} mm focus, measured left and right"
        so_far = f"assumed {wider_words(state.field_guess_percent or (0.0, 0.0))}"
        yield Measure(kind=FIELD, who=words, what=what, so_far=so_far, key=state.key, enters="half_field_deg")


def _clear_while(lens: str, check: CheckResult) -> ClearWhile | None:
    """What a clear lens rests on that a slip could undo."""
    return next((one.clear_while for one in check.lenses if one.lens.name == lens), None)


def _pupil(lens: str, states: Sequence[StateResult], rests: ClearWhile | None) -> Iterator[Measure]:
    """The pupil on the axis, where it is known by bounds only or a slip in it could undo what is called clear."""
    bounds = next(((state.pupils[0], state.pupils[-1]) for state in states if len(state.pupils) > 1), None)
    told = [f"known so far: {range_words(*bounds)}"] if bounds else []
    told += [f"clear {rests.words}"] if rests and rests.number is Number.PUPIL else []
    if told:
        what = "where its entrance pupil lies, by parallax"
        yield Measure(kind=PUPIL, who=lens, what=what, so_far="; ".join(told), enters="pupil_behind_front_mm")


def _walks(lens: str, lacking: Sequence[tuple[StateResult, GuideVerdict]]) -> Iterator[Measure]:
    """What to measure of a lens whose room is less than its pupil, taken as fixed, can be out by."""
    if not lacking:
        return
    state, guide = min(lacking, key=lambda one: -math.inf if one[1].room_mm is None else one[1].room_mm)
    what = "the pupil again, with the lens panned until the target sits at the frame edge"
    at = setting_words(state) if lens_words(state) == lens else f"{state.focal_mm:g} mm, {setting_words(state)}"
    so_far = f"assumed to stay where it is; at {at}: {wanted_words(guide)}"
    yield Measure(kind=WALK, who=lens, what=what, so_far=so_far, key=state.key, enters="pupil_walk")


def _shot_lines(shot: Shot) -> list[str]:
    state, guide = shot.state, shot.guide
    lines = _wrapped(f"{lens_words(state)}, {setting_words(state)}: {guide.word}, {guide.guide}", TICK)
    lines += _wrapped(f"look at {shot.where}; expect {shot.expected}", " " * len(TICK))
    nearest = nearest_words(state.parts)
    lines += _wrapped(nearest and f"nearest to the beam: {nearest}", " " * len(TICK))
    return lines + _wrapped(otherwise(guide), " " * len(TICK))


def otherwise(guide: GuideVerdict) -> str:
    """What to do where it is as predicted, or for a clear one where it is not."""
    if guide.word is Word.CLEAR:
        return "darker than predicted: measure pupil and box again, and do not trust the other focus and stop settings of this lens"
    return f"to do: {guide.next_step}" if guide.next_step else ""


def _wrapped(text: str, lead: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead))
