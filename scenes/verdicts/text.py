"""What a check says to people: the table, summaries, notes."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from geometry.notes import Severity, largest_of_each
from scenes.scene_file.messages import ALL_LIGHT
from scenes.states.clear_rule import LOSING_NOTHING, WALK_MM, Limits, Word, word_for
from scenes.states.judgement import FARTHEST_MM, LENS_FRONT
from scenes.states.names import state_words, the
from scenes.states.notes import field_words
from scenes.states.numbers_told import told_lines
from scenes.verdicts.check import CheckResult, StateResult
from scenes.verdicts.in_glass import UNTOLD, why_untold
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS, TOLD_LOSS_STOPS, loss_words
from scenes.verdicts.proof_words import proof_words
from scenes.verdicts.rooms import PartResult
from scenes.verdicts.verdict import GuideVerdict, at_words, room_without_glass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scenes.states.lens_judgement import LensJudgement


LEAST_ROOM_PERCENT = 0.5  # less is none
CAUTIONS = (
    "A prediction is no substitute for the test shoot: confirm it with the real lens, box and filters.",
    "Support the weight of the box on rods, not on the lens front; never point a lens at the sun unprotected; rig by local codes.",
)


def summary(check: CheckResult) -> str:
    """The whole run in a sentence or two."""
    if not check.states:
        return f"None of {_count(len(check.failed), 'state')} could be computed."
    total = len(check.states)
    counts = [(sum(state.word is word for state in check.states), word) for word in Word]
    listed = ", ".join(f"{count} {word}" for count, word in counts if count)
    bad = max(check.states, key=state_rank)
    failed = f" {_count(len(check.failed), 'state')} could not be computed." if check.failed else ""
    sentences = (_worst_sentence(bad), _fixed_sentence(check), _fault_sentence(check), failed, _nominal_sentence(check))
    return f"{_count(total, 'state')}: {listed}.{''.join(sentences)}"


def _fixed_sentence(check: CheckResult) -> str:
    """How many states have less room than a fixed pupil may be wrong by: the test shoot, or the lens's own table, decides them."""
    count = sum(any(guide.lacks_room for guide in state.guides) for state in check.states if state.word is Word.TIGHT)
    if not count:
        return ""
    has = "state has" if count == 1 else "states have"
    return f" {count} tight {has} less room than the {WALK_MM:g} mm a fixed pupil can be out by."


def _nominal_sentence(check: CheckResult) -> str:
    return f" {told}" if (told := tolerance_sentence(check)) else ""


def tolerance_sentence(check: CheckResult) -> str:
    """That tolerances were left out, where the scene gives some."""
    if not check.tolerances:
        return ""
    given = _count(check.tolerances, "tolerance")
    return f"That is the box as drawn: the scene gives {given}, and `brimline tolerances` says how sure it is within them."


def state_rank(state: StateResult) -> tuple[int, float, float]:
    """What the worst of several states has most of."""
    return list(Word).index(state.word), state.blamed.worst.worst_case_stops, -state.blamed.margin.percent


def _fault_sentence(check: CheckResult) -> str:
    if not check.faults:
        return ""
    return f" But the box has {_count(len(check.faults), 'fault')}, named above, and cannot be used as it stands."


def _worst_sentence(state: StateResult) -> str:
    if state.word is Word.CLEAR:
        return " The box stays out of every frame."
    worst, words = state.blamed.worst, state_words(state)
    if worst.blame is None:
        return f" The tightest is {words}."
    return f" The worst is {words}: {the(worst.blame.part)} takes {loss_words(worst.loss_stops)} at {at_words(worst.where)}."


def _count(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


WIDTH = 100


SYMBOLS = {Word.CLEAR: "✓", Word.TIGHT: "≈", Word.SHADING: "◐", Word.IN_FRAME: "✗"}


PLAIN_SYMBOLS = {Word.CLEAR: "+", Word.TIGHT: "~", Word.SHADING: "!", Word.IN_FRAME: "X"}


STATE_WIDTH = 31  # longer names of states take a line of their own


GLASS_TOLD_STOPS = 0.1  # what filters take unevenly is told from here on: as much as counts as visible by default


MOST_ROOM_PERCENT = 49.95  # rooms are not looked for beyond 50 %


ROW = "{0:1} {1:31} {2:8}  {3:>10}  {4:19} {5:16} {6:>7}"


def table_lines(check: CheckResult, *, plain: bool = False) -> list[str]:
    """The table for people, `WIDTH` columns: a line per state and guide, and what to do under those that need it."""
    head = [ROW.format("", "state", "verdict", "worst loss", "where", "part", "margin")] if check.states else []
    lines = [*head, "-" * WIDTH]
    for state in check.states:
        lines += _state_lines(state, PLAIN_SYMBOLS if plain else SYMBOLS, check.limits)
        lines += _wrapped(proof_words(check.proofs, state.key), "    ")
    for failed in check.failed:
        lines += _wrapped(f"could not be computed: {failed.why}", f"? {failed.key}: ")
    return [line.rstrip() for line in [*lines, "-" * WIDTH]]


def _state_lines(state: StateResult, symbols: dict[Word, str], limits: Limits) -> list[str]:
    """A state with one guide takes one row; with more, a heading and a row for each. The worst guide says what to do."""
    untold = bool(why_untold(state.notes))
    if len(state.guides) == 1 and len(state_words(state)) <= STATE_WIDTH:
        rows = [_row(state.guides[0], state_words(state), symbols, untold=untold)]
    else:
        own = (_row(guide, f"  {guide.guide}", symbols, untold=untold) for guide in state.guides)
        rows = [f"  {_clip(state_words(state))}", *own]
    step, glass = state.blamed.next_step, glass_words(max(guide.glass_corner_minus_axis_stops for guide in state.guides))
    nearest = nearest_words(state.parts)
    fitted = next((guide.trays_empty for guide in state.guides if guide.trays_empty is not None), None)
    filled = "" if fitted is None else f", with the {fitted.filter_words} in"
    doubt = why_untold(state.notes) or walk_words(state.guides)
    told = [*_wrapped(nearest and f"nearest to the beam{filled}: {nearest}", "    "), *_wrapped(doubt, "    ")]
    told += _part_lines(state.parts)
    told += _wrapped(field_words("this focus", state.field_guess_percent), "    ")
    worse = "" if untold else doubt_words(state.blamed, limits)
    return [*rows, *_wrapped(worse, "    "), *_wrapped(step, "    -> "), *told, *_wrapped(glass, "    ")]


def doubt_words(guide: GuideVerdict, limits: Limits) -> str:
    """Why a verdict is worse than its loss alone would be: the errors of the way of computing count; '' where it is not."""
    worst = guide.worst
    if (
        guide.word in LOSING_NOTHING
        or word_for(nothing_lost=False, worst_case_stops=worst.loss_stops, margin_percent=0.0, limits=limits) is guide.word
    ):
        return ""
    return f"{guide.word}, for with the errors of this way of computing it may be {loss_words(worst.worst_case_stops)}"


def range_lines(check: CheckResult) -> list[str]:
    """A line for each lens: from which focus to which it is clear, the states between those of the table among them."""
    if not check.lenses:
        return []
    told = [line for one in check.lenses for line in _wrapped(f"{one.lens.name}: {one.words}{_rests_on(one)}", "  ")]
    return ["Each lens over its whole range of focus:", *told]


def _rests_on(lens: LensJudgement) -> str:
    """', as long as its pupil is no deeper than 61 mm (43 stated)' of a clear lens, then what of it was not looked at."""
    held = f", {lens.clear_while.words}" if lens.clear_while else ""
    return "; ".join([held, *filter(None, (lens.nearer_words, lens.wider_words))])


def numbers_lines(check: CheckResult) -> list[str]:
    """What every lens was judged by: of a dark one they are what a repair of the box goes by, and may be what is wrong."""
    judged = {state.lens_name for state in check.states}
    return told_lines([one for one in check.numbers if one.name in judged])


def caution_lines() -> list[str]:
    """What no program can check, for people."""
    return [line for caution in CAUTIONS for line in _wrapped(caution, "")]


def nearest_part(parts: Sequence[PartResult]) -> PartResult | None:
    """The part that comes nearest to the beam, or stands deepest in it; None where none does."""
    known = [part for part in parts if part.clearance_mm is not None and math.isfinite(part.clearance_mm)]
    return min(known, key=lambda part: part.clearance_mm or 0.0, default=None)


def nearest_words(parts: Sequence[PartResult]) -> str:
    """The part that comes nearest to the beam, or stands deepest in it, by how much and where; '' where none does."""
    part = nearest_part(parts)
    if part is None:
        return ""
    return f"{part.name}, {clearance_words(part.clearance_mm)}{part.where and f', {part.where}'}"


def walk_words(guides: Sequence[GuideVerdict]) -> str:
    """Which guides lose nothing visible, but have less room than a pupil taken as fixed may be wrong by; '' where none do."""
    lacking = [guide for guide in guides if guide.lacks_room]
    told = "; ".join(f"{guide.guide}: {guide.lack_words}" if len(guides) > 1 else guide.lack_words for guide in lacking)
    return f"not clear, for {told}" if told else ""


def without_front(where: str) -> str:
    """A place without what its distance is counted from, for tables, which have no room for it: 'top, 31.0 mm ahead'."""
    return where.removesuffix(f" {LENS_FRONT}").removesuffix(" of")


def clearance_words(clearance_mm: float | None) -> str:
    """A signed clearance as said on set: '6.7 mm clear', '2.3 mm in the beam'."""
    if clearance_mm is None:
        return "not known"
    if math.isinf(clearance_mm):
        return "never in its way"
    if clearance_mm >= FARTHEST_MM:
        return f"more than {FARTHEST_MM:.0f} mm clear"
    return f"{clearance_mm:.1f} mm clear" if clearance_mm >= 0.0 else f"{-clearance_mm:.1f} mm in the beam"


def room_label(room_mm: float | None) -> str:
    """The same for a picture: '10.4 mm', 'over 150 mm', '0.3 mm in the beam'."""
    return clearance_words(room_mm).removesuffix(" clear").replace("more than", "over")


def _part_lines(parts: Sequence[PartResult]) -> list[str]:
    """A line for each part whose room is known: its clearance, how much wider the frame could be before it shows, and where."""
    return [
        f"      {_clip(part.name, 22):22} {clearance_words(part.clearance_mm):>20}  {room_words(part.room_percent):13} "
        f"{without_front(part.where)}"
        for part in parts
        if part.room_percent is not None
    ]


def room_words(percent: float) -> str:
    """How much wider the frame could be: 'frame +6.7%', 'frame -12.0%', 'frame >50%'."""
    return "frame >50%" if percent >= MOST_ROOM_PERCENT else f"frame {percent:+.1f}%"


def glass_words(corner_minus_axis_stops: float) -> str:
    """What filters take more in the corners than on the axis, where that is worth telling; else ''."""
    if not corner_minus_axis_stops > GLASS_TOLD_STOPS:
        return ""
    return f"the filters take {loss_words(corner_minus_axis_stops)} more in the corners than on the axis"


def _row(guide: GuideVerdict, words: str, symbols: dict[Word, str], *, untold: bool = False) -> str:
    worst = guide.worst
    lost = worst.blame if worst.loss_stops >= TOLD_LOSS_STOPS and not untold else None
    margin = f">{guide.margin.percent:.0f}%" if guide.margin.capped else f"{guide.margin.percent:+.1f}%"
    return ROW.format(
        symbols[guide.word],
        _clip(words, STATE_WIDTH),
        str(guide.word),
        UNTOLD if untold else loss_words(worst.loss_stops),
        _clip(worst.where if lost else "-", 19),
        _clip(lost.part if lost else "-", 16),
        "-" if untold else margin,
    )


def _wrapped(text: str, lead: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * min(len(lead), 8))


def _clip(text: str, width: int = WIDTH) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def device_lines(check: CheckResult) -> list[str]:
    """Which states' maps a graphics processor made, and what it left to the processor and why; nothing where none was asked for."""
    there = sum("gpu" in state.made.device for state in check.states)
    left: dict[str, int] = {}
    for state in check.states:
        if state.made.device_note:
            left[state.made.device_note] = left.get(state.made.device_note, 0) + 1
    if not there and not left:
        return []
    lines = _wrapped(f"maps of {there} of {len(check.states)} states come from the graphics processor", "device: ")
    for note, count in left.items():
        lines += _wrapped(f"{count} {'states' if count > 1 else 'state'} {note}", "device: ")
    return lines


def notes_lines(check: CheckResult) -> list[str]:
    """Faults and cautions noticed before tracing, each said once with the lenses it concerns; facts stay in results.json."""
    noticed = [(note, state.lens_name) for state in check.states for note in state.notes if note.severity != Severity.FACT]
    lens_names = {state.lens_name for state in check.states}
    lines = []
    for one in sorted(largest_of_each(note for note, _ in noticed), key=lambda note: note.severity != Severity.FAULT):
        lenses = list(dict.fromkeys(lens for note, lens in noticed if note.alike == one.alike))
        with_ = "" if len(lenses) == len(lens_names) or lenses == [one.part] else f" (with {', '.join(lenses)})"
        lines += _wrapped(f"{one.part}: {one.text}{with_}", f"{one.severity}: ")
    return lines


def guide_words(state: StateResult) -> str:
    """Which guide a state's verdict is of: a picture shows the whole frame."""
    name, count = state.blamed.guide, len(state.guides)
    return f"{name}, worst of {count} frame guides" if count > 1 else f"Frame guide: {name}"


def state_sentence(state: StateResult) -> str:
    """What the verdict rests on, for the head of a picture; a box that cannot be built so is never just called clear."""
    fault = any(note.severity is Severity.FAULT for note in state.notes)
    light, told = _light_sentence(state), "the box has a fault, see the table"
    if not fault:
        return light
    return f"{light}; {told}" if state.word not in LOSING_NOTHING else f"{told}; {light}"


def blame_words(state: StateResult) -> str:
    """What the worst part does: 'the right flag blacks out the right edge', 'the hood takes 0.42 stop in the top left corner'."""
    worst = state.blamed.worst
    if worst.blame is None:
        return "nothing in the box takes light"
    if (loss := loss_words(worst.loss_stops)) == ALL_LIGHT:
        return f"{the(worst.blame.part)} blacks out {at_words(worst.where)}"
    return f"{the(worst.blame.part)} takes {loss} at {at_words(worst.where)}"


def _light_sentence(state: StateResult) -> str:
    guide, worst = state.blamed, state.blamed.worst
    if untold := why_untold(state.notes):
        return untold
    if worst.blame is not None and worst.loss_stops >= SHOWN_LOSS_STOPS:
        return blame_words(state)
    if guide.margin.percent < LEAST_ROOM_PERCENT:
        return "nothing visible is lost; the frame could be no wider"
    if guide.lacks_room:
        return f"nothing visible is lost; {guide.lack_words}"
    if guide.word is Word.TIGHT and guide.trays_empty is not None and not guide.trays_empty.enough:
        return f"nothing visible is lost, but {room_without_glass(guide.trays_empty)}"
    room = f"{'more than ' if guide.margin.capped else ''}{guide.margin.percent:.0f} % wider"
    return f"nothing visible is lost; the frame could be {room}"
