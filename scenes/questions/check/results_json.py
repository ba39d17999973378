"""Results as plain data for other programs (docs/results.md) and as a table for people. Opens nothing, prints nothing."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from raytrace.beam.clearance import LENS_FRONT
from raytrace.shares import Made, VignetteMap
from scenes.questions.check.check import CheckResult, FailedState, PartResult, StateResult
from scenes.questions.check.verdict import GuideVerdict, PartLoss, at_words
from scenes.scene_file.messages import ALL_LIGHT, ALL_STOPS
from scenes.states.clear_rule import LOSING_NOTHING, WALK_MM, Limits, Word, word_for
from scenes.states.names import state_words
from scenes.states.notes import field_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geometry.notes import Note

SCHEMA_VERSION = 1
INFINITY = "infinity"
NOT_COMPUTED = "not computed"
FAULTY = "faulty"
CAUTIONS = (
    "A prediction is no substitute for the test shoot: confirm it with the real lens, box and filters.",
    "Support the weight of the box on rods, not on the lens front; never point a lens at the sun unprotected; rig by local codes.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Which program made a result from which scene."""

    version: str
    engine: str
    scene_title: str
    scene_file: str
    scene_sha256: str


def stops(value: float) -> float | None:
    """Stops to a thousandth; None where nothing gets through, which has no number."""
    return round(value, 3) + 0.0 if math.isfinite(value) else None


def mm(value: float) -> float | str:
    """A length to a hundredth of a millimetre, or the word for infinity."""
    return round(value, 2) + 0.0 if math.isfinite(value) else INFINITY


def results_dict(check: CheckResult, made_by: Provenance, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The whole of results.json, keys in their documented order."""
    return {
        "brimline_results": SCHEMA_VERSION,
        "program": {"name": "brimline", "version": made_by.version},
        "scene": {"title": made_by.scene_title, "file": made_by.scene_file, "sha256": made_by.scene_sha256},
        "engine": made_by.engine,
        "limits": _limits(check.limits),
        "verdict": _run_verdict(check),
        "exit_status": check.exit_status,
        "summary": summary(check),
        "counts": _counts(check),
        "cautions": list(CAUTIONS),
        "states": [_state(state) for state in check.states],
        "failed": [_failed(state) for state in check.failed],
        "files": sorted(files),
    }


def _counts(check: CheckResult) -> dict[str, int]:
    words = {str(word): sum(state.word is word for state in check.states) for word in Word}
    return {**words, "failed": len(check.failed), "faults": len(check.faults)}


def _run_verdict(check: CheckResult) -> str:
    """The worst word of the run; neither a state that could not be computed nor a box with a fault ever counts as clear."""
    if check.word not in LOSING_NOTHING:
        return str(check.word)
    if check.failed or not check.states:
        return NOT_COMPUTED
    return FAULTY if check.faults else str(check.word)


def _limits(limits: Limits) -> dict[str, float]:
    return {
        "visible_loss_stops": limits.visible_loss_stops,
        "nothing_share": limits.nothing_share,
        "room_percent": limits.room_percent,
        "fixed_pupil_mm": WALK_MM,
    }


def _failed(state: FailedState) -> dict[str, Any]:
    return {"key": state.key, "lens": state.lens_name, "why": state.why}


def _state(state: StateResult) -> dict[str, Any]:
    worst = state.blamed
    return {
        "key": state.key,
        "lens": state.lens_name,
        "focal_mm": mm(state.focal_mm),
        "focus_mm": mm(state.focus_mm),
        "f_number": round(state.f_number, 3),
        "verdict": str(state.word),
        "worst": _worst(worst),
        "margin_percent": round(worst.margin.percent, 1) + 0.0,
        "on_axis_loss_stops": stops(max(guide.on_axis_stops for guide in state.guides)),
        "next_step": worst.next_step,
        "guides": [_guide(guide, state) for guide in state.guides],
        "pupils": list(state.pupils),
        **_field_guess(state.field_guess_percent),
        "parts": [_part(part) for part in state.parts],
        "notes": [_note(note) for note in state.notes],
        "unlit_share": round(state.unlit_share, 4),
        "map": {"columns": state.columns, "rows": state.rows, "made": _made(state.made)},
        "files": list(state.files),
    }


def _guide(guide: GuideVerdict, state: StateResult) -> dict[str, Any]:
    names = ("top_left", "top_right", "bottom_right", "bottom_left")
    margin = guide.margin
    return {
        "guide": guide.guide,
        "verdict": str(guide.word),
        "worst": _worst(guide),
        "corners_loss_stops": dict(zip(names, map(stops, guide.corners_stops), strict=True)),
        "on_axis_loss_stops": stops(guide.on_axis_stops),
        "glass": {
            "on_axis_stops": stops(guide.glass_axis_stops),
            "corner_minus_axis_stops": stops(guide.glass_corner_minus_axis_stops),
        },
        "margin": {
            "percent": round(margin.percent, 1) + 0.0,
            "at_least": margin.capped,
            "part": None if margin.part is None else state.parts[margin.part].name,
            "where": margin.where,
        },
        "room": {"mm": _clearance(guide.room_mm), "needed_mm": guide.room_needed_mm, "enough": not guide.lacks_room},
        "next_step": guide.next_step,
    }


def _field_guess(percent: tuple[float, float] | None) -> dict[str, Any]:
    """The wider of both ways, and each."""
    ways = [None, None] if percent is None else [round(way, 1) + 0.0 for way in percent]
    return {
        "field_guess_percent": None if percent is None else round(max(percent), 1) + 0.0,
        "field_guess_across_percent": ways[0],
        "field_guess_upright_percent": ways[1],
    }


def _worst(guide: GuideVerdict) -> dict[str, Any]:
    worst = guide.worst
    low, high = worst.range_stops
    return {
        "loss_stops": stops(worst.loss_stops),
        "worst_case_stops": stops(worst.worst_case_stops),
        "range_stops": [stops(low), stops(high)],
        "where": worst.where,
        "x_mm": mm(worst.x_mm) if worst.where else None,
        "y_mm": mm(worst.y_mm) if worst.where else None,
        "part": None if worst.blame is None else worst.blame.part,
        "part_kind": None if worst.blame is None else str(worst.blame.kind),
        "part_alone_stops": None if worst.blame is None else stops(worst.blame.alone_stops),
        "others": [_part_loss(other) for other in worst.others],
    }


def _part(part: PartResult) -> dict[str, Any]:
    low, high = part.range_mm or (None, None)
    room = {} if part.room_percent is None else {"room_percent": round(part.room_percent, 1) + 0.0}
    return {
        "name": part.name,
        "kind": str(part.kind),
        "clearance_mm": _clearance(part.clearance_mm),
        "range_mm": [_clearance(low), _clearance(high)],
        "where": part.where,
        **room,
    }


def _clearance(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 2) + 0.0


def _part_loss(loss: PartLoss) -> dict[str, Any]:
    return {"part": loss.part, "kind": str(loss.kind), "alone_stops": stops(loss.alone_stops)}


def _note(note: Note) -> dict[str, str]:
    return {"part": note.part, "severity": str(note.severity), "text": note.text}


def _made(made: Made) -> dict[str, Any]:
    return {
        "engine": made.engine,
        "rays_per_point": made.rays_per_point,
        "seed": made.seed,
        "device": made.device,
        "device_note": made.device_note,
        "bounds": [{"what": bound.what, "size": bound.size, "unit": bound.unit} for bound in made.bounds],
    }


LAYER_STEP = 2.0**-16  # of smooth layers in map.npz: far below any engine's error, and a file of a tenth of the size


def map_arrays(map_: VignetteMap) -> dict[str, NDArray[Any]]:
    """The arrays of map.npz by name, as docs/results.md lists them."""
    glass, lens = _stepped(map_.glass), _stepped(map_.lens)
    return {
        "clear_share": map_.clear_share,
        "glass": glass,
        "transmission": map_.clear_share * glass,
        "lens": lens,
        "loss_stops": map_.loss_stops,
        "blocked_by": map_.blocked_by,
        "x_mm": map_.x_mm.astype(np.float32),
        "y_mm": map_.y_mm.astype(np.float32),
        "stderr": map_.stderr,
        "parts": np.array(map_.part_names, dtype=np.str_),
    }


def _stepped(layer: NDArray[np.float32]) -> NDArray[np.float32]:
    """The layer in steps of a power of two, so that neighbouring pixels share values and compress."""
    return np.asarray(np.round(layer / LAYER_STEP) * LAYER_STEP, dtype=np.float32)


def summary(check: CheckResult) -> str:
    """The whole run in a sentence or two."""
    if not check.states:
        return f"None of {_count(len(check.failed), 'state')} could be computed."
    total = len(check.states)
    counts = [(sum(state.word is word for state in check.states), word) for word in Word]
    listed = ", ".join(f"{count} {word}" for count, word in counts if count)
    bad = max(check.states, key=lambda s: (list(Word).index(s.word), s.blamed.worst.worst_case_stops, -s.blamed.margin.percent))
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
    if not check.tolerances:
        return ""
    given = _count(check.tolerances, "tolerance")
    return f" That is the box as written: the scene gives {given}, and `brimline builds` says how sure it is within them."


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
    return f" The worst is {words}: the {worst.blame.part} takes {loss_words(worst.loss_stops)} at {at_words(worst.where)}."


def _count(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def loss_words(value: float) -> str:
    """A loss for people: 'none', '0.34 stop', 'all light'."""
    if value >= ALL_STOPS:
        return ALL_LIGHT
    if value < SHOWN_LOSS_STOPS:
        return "none"
    return f"{value:.2f} stop" if value < 1.005 else f"{value:.2f} stops"


WIDTH = 100
SHOWN_LOSS_STOPS = 0.005  # less than this is written as nothing: two decimals show no more
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
    for failed in check.failed:
        lines += _wrapped(f"could not be computed: {failed.why}", f"? {failed.key}: ")
    return [line.rstrip() for line in [*lines, "-" * WIDTH]]


def _state_lines(state: StateResult, symbols: dict[Word, str], limits: Limits) -> list[str]:
    """A state with one guide takes one row; with more, a heading and a row for each. The worst guide says what to do."""
    if len(state.guides) == 1 and len(state_words(state)) <= STATE_WIDTH:
        rows = [_row(state.guides[0], state_words(state), symbols)]
    else:
        rows = [f"  {_clip(state_words(state))}", *(_row(guide, f"  {guide.guide}", symbols) for guide in state.guides)]
    step, glass = state.blamed.next_step, glass_words(max(guide.glass_corner_minus_axis_stops for guide in state.guides))
    nearest = nearest_words(state.parts)
    told = [*_wrapped(nearest and f"nearest to the beam: {nearest}", "    "), *_wrapped(walk_words(state.guides), "    ")]
    told += _part_lines(state.parts)
    doubt = _wrapped(doubt_words(state.blamed, limits), "    ")
    told += _wrapped(field_words("this focus", state.field_guess_percent), "    ")
    return [*rows, *doubt, *_wrapped(step, "    -> "), *told, *_wrapped(glass, "    ")]


def doubt_words(guide: GuideVerdict, limits: Limits) -> str:
    """Why a verdict is worse than its loss alone would be: the errors of the way of computing count; '' where it is not."""
    worst = guide.worst
    if (
        guide.word in LOSING_NOTHING
        or word_for(nothing_lost=False, worst_case_stops=worst.loss_stops, margin_percent=0.0, limits=limits) is guide.word
    ):
        return ""
    return f"{guide.word}, for with the errors of this way of computing it may be {loss_words(worst.worst_case_stops)}"


def summary_lines(check: CheckResult) -> list[str]:
    """The summary, for people."""
    return _wrapped(summary(check), "")


def caution_lines() -> list[str]:
    """What no program can check, for people."""
    return [line for caution in CAUTIONS for line in _wrapped(caution, "")]


def nearest_words(parts: Sequence[PartResult]) -> str:
    """The part that comes nearest to the beam, or stands deepest in it, by how much and where; '' where none does."""
    known = [part for part in parts if part.clearance_mm is not None and math.isfinite(part.clearance_mm)]
    if not known:
        return ""
    part = min(known, key=lambda part: part.clearance_mm or 0.0)
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
    return f"{clearance_mm:.1f} mm clear" if clearance_mm >= 0.0 else f"{-clearance_mm:.1f} mm in the beam"


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


def _row(guide: GuideVerdict, words: str, symbols: dict[Word, str]) -> str:
    worst = guide.worst
    lost = worst.blame if worst.loss_stops >= SHOWN_LOSS_STOPS else None
    margin = f">{guide.margin.percent:.0f}%" if guide.margin.capped else f"{guide.margin.percent:+.1f}%"
    return ROW.format(
        symbols[guide.word],
        _clip(words, STATE_WIDTH),
        str(guide.word),
        loss_words(worst.loss_stops),
        _clip(worst.where if lost else "-", 19),
        _clip(lost.part if lost else "-", 16),
        margin,
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
    found: dict[tuple[str, str, str], list[str]] = {}
    for state in check.states:
        for note in state.notes:
            if note.severity == "fact":
                continue
            lenses = found.setdefault((str(note.severity), note.part, note.text), [])
            if state.lens_name not in lenses:
                lenses.append(state.lens_name)
    lens_names = {state.lens_name for state in check.states}
    lines = []
    for (severity, part, text), lenses in found.items():
        with_ = "" if len(lenses) == len(lens_names) or lenses == [part] else f" (with {', '.join(lenses)})"
        lines += _wrapped(f"{part}: {text}{with_}", f"{severity}: ")
    return lines
