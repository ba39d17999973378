"""Results as plain data for other programs (docs/results.md) and as a table for people. Opens nothing, prints nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from raytrace.shares import Made, VignetteMap
from scenes.answers import numbers
from scenes.answers.answer import head
from scenes.states.clear_rule import LOSING_NOTHING, RANK, WALK_MM, Limits, Word, has_room
from scenes.states.names import state_words
from scenes.states.numbers_told import told_data
from scenes.states.unconfirmed import ClearWhile, Number
from scenes.verdicts.check import CheckResult, FailedState, StateResult
from scenes.verdicts.proof_words import proof_data
from scenes.verdicts.rooms import PartResult
from scenes.verdicts.text import CAUTIONS, summary
from scenes.verdicts.verdict import GuideVerdict, PartLoss, TraysEmpty

if TYPE_CHECKING:
    from geometry.notes import Note
    from scenes.states.lens_judgement import LensJudgement

NOT_COMPUTED = "not computed"
FAULTY = "faulty"


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Which program made a result from which scene."""

    engine: str
    scene_title: str
    scene_file: str
    scene_sha256: str


def stops(value: float) -> float | None:
    """Stops to a thousandth; None where nothing gets through, which has no number."""
    return round(value, 3) + 0.0 if math.isfinite(value) else None


def mm(value: float) -> float | str:
    """A length to a hundredth of a millimetre, or the word for infinity."""
    return round(value, 2) + 0.0 if math.isfinite(value) else numbers.INFINITY


def results_dict(check: CheckResult, made_by: Provenance, files: tuple[str, ...] = ()) -> dict[str, Any]:
    """The whole of results.json, keys in their documented order."""
    return {
        **head("check", title=made_by.scene_title, file=made_by.scene_file, sha256=made_by.scene_sha256),
        "exit_status": check.exit_status,
        "engine": made_by.engine,
        "limits": _limits(check.limits),
        "verdict": _run_verdict(check),
        "summary": summary(check),
        "counts": _counts(check),
        "next_step": _next_step(check),
        "cautions": [*_slip_lines(check), *CAUTIONS],
        "states": [{**_state(state), **proof_data(check.proofs, state.key)} for state in check.states],
        "lenses": [_lens(one) for one in check.lenses],
        "judged_by": told_data(check.numbers),
        "failed": [_failed(state) for state in check.failed],
        "files": sorted(files),
    }


def _next_step(check: CheckResult) -> str:
    """What to do about the worst state; empty where all is clear."""
    need = [state for state in check.states if state.blamed.next_step]
    worst = max(need, key=lambda state: (RANK[state.word], state.blamed.worst.worst_case_stops), default=None)
    return f"{state_words(worst)}: {worst.blamed.next_step}" if worst else ""


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


def _lens(one: LensJudgement) -> dict[str, Any]:
    """A lens between its states; a span of one focus has the same distance twice."""
    return {
        "lens": one.lens.name,
        "clear": one.clear,
        "says": one.words,
        "clear_while": _clear_while(one.clear_while) if one.clear_while else None,
        "not_looked_at": [words for words in (one.nearer_words, one.wider_words) if words],
        "spans": [
            {
                "focal_mm": mm(span.focal_mm),
                "far_mm": mm(span.far_mm),
                "near_mm": mm(span.near_mm),
                "shown": str(span.shown),
            }
            for span in one.spans
        ],
    }


def _clear_while(one: ClearWhile) -> dict[str, Any]:
    """What a clear lens rests on: how far the number may be out [mm, or % of the field's tangent]."""
    return {
        "number": str(one.number),
        "off_by_mm": None if one.number is Number.FIELD else mm(one.off_by),
        "off_by_percent": one.off_by if one.number is Number.FIELD else None,
        "stated_mm": mm(one.stated_mm) if one.stated_mm is not None else None,
        "says": one.words,
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
        "room": {"mm": _clearance(guide.room_mm), "needed_mm": guide.room_needed_mm, "enough": _is_enough(guide)},
        "trays_empty": _trays_empty(guide.trays_empty),
        "next_step": guide.next_step,
    }


def _is_enough(guide: GuideVerdict) -> bool:
    """Whether a guide has the room that a clear frame needs; never where a part stands in its beam, or nothing is known."""
    return guide.room_mm is not None and guide.room_mm > 0.0 and has_room(guide.room_mm, guide.room_needed_mm)


def _trays_empty(empty: TraysEmpty | None) -> dict[str, Any] | None:
    if empty is None:
        return None
    loss = None if empty.loss_stops is None else stops(empty.loss_stops)
    return {"mm": _clearance(empty.room_mm), "part": empty.part, "where": empty.where, "enough": empty.enough, "loss_stops": loss}


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
        "through": part.through,
        **room,
    }


def _clearance(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 2) + 0.0


def _part_loss(loss: PartLoss) -> dict[str, Any]:
    return {"part": loss.part, "kind": str(loss.kind), "alone_stops": stops(loss.alone_stops)}


def _slip_lines(check: CheckResult) -> tuple[str, ...]:
    """Numbers that look like a slip, once each, as every question's JSON tells them."""
    return tuple(f"caution: {note.part}: {note.text}" for note in check.slips)


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
