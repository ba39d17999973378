"""Proofs of the guides that a check calls clear: planes found, handed to the verifier, and told as it finds them."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from scenes.answers.answer import head
from scenes.answers.numbers import INFINITY
from scenes.proof.verify import ALONE, NAME, PROVED, REFUSED, Finding, shown
from scenes.states.clear_rule import Word, room_needed_mm
from scenes.states.judgement import empty_judgement_of, judgement_of
from scenes.states.names import in_a_sentence
from scenes.verdicts.proof_words import Findings

if TYPE_CHECKING:
    from raytrace.judge.proof import PartPlanes, Proof
    from raytrace.optics.camera import Guide
    from scenes.questions.check.results_json import Provenance
    from scenes.states.state import State
    from scenes.verdicts.check import CheckResult

NORMAL_DIGITS, LEVEL_DIGITS = 8, 5  # of openings without end a normal is felt 4 m out
ENOUGH_SHARE = 0.8  # of the nearest part's room: more would take many more planes; but the room that a clear frame needs is shown
CLOSEST_MM = 0.06  # what verifying loses at least
ROOM_STEPS = 1000.0  # to a mm; rounded down


def proofs_of(plans: Sequence[State], tables: Mapping[str, Any], check: CheckResult) -> tuple[Findings, list[dict[str, Any]]]:
    """What the verifier says of every guide called clear, and the entries of proof.json; `tables` are the scene file's."""
    found: dict[str, tuple[Finding, ...]] = {}
    entries: list[dict[str, Any]] = []
    by_key = {plan.key: plan for plan in plans}
    for state in check.states:
        plan, clear = by_key[state.key], [guide.guide for guide in state.guides if guide.word is Word.CLEAR]
        both = [proved(plan, guide, tables) for guide in plan.guides if guide.name in clear]
        found[state.key] = tuple(finding for finding, _ in both)
        entries += [entry for _, entry in both]
    return found, entries


def proved(plan: State, guide: Guide, tables: Mapping[str, Any]) -> tuple[Finding, dict[str, Any]]:
    """What the verifier says of a guide that is clear, and its entry of proof.json."""
    entry = {
        "state": plan.key,
        "guide": guide.name,
        "lens": plan.lens_name,
        "focal_mm": plan.focal_mm,
        "focus_mm": plan.focus_mm if math.isfinite(plan.focus_mm) else INFINITY,
        "f_number": plan.f_number,
        "why": "",
        "proof": None,
    }
    try:
        entry["proof"] = _planes(plan, guide)
    except Exception as error:  # noqa: BLE001 - the verdict does not rest on it
        entry["why"] = f"no planes could be looked for: {in_a_sentence(error)}"
    finding = shown(tables, entry)
    if finding.word == REFUSED:
        finding = replace(finding, word=ALONE, why=f"the planes found do not show it, for {finding.why}")
    if finding.word != PROVED:
        entry |= {"why": finding.why, "proof": None}
    return finding, entry


def _planes(plan: State, guide: Guide) -> dict[str, Any] | None:
    from raytrace.judge.proof import proof_of  # compiled code that a check without proofs must not cost

    judged = [found for found in (judgement_of(plan, guide), empty_judgement_of(plan, guide)) if found is not None]
    room_mm = min(one.room_mm for one in judged)
    enough_mm = max(ENOUGH_SHARE * room_mm, min(room_needed_mm(plan.variants), room_mm - CLOSEST_MM))
    proof = proof_of(plan.variants, guide, plan.box, enough_mm)
    return None if proof is None else _data(proof)


def _data(proof: Proof) -> dict[str, Any]:
    return {
        "room_mm": math.floor(proof.room_mm * ROOM_STEPS - 0.5) / ROOM_STEPS,
        "start_mm": proof.start_mm,
        "end_mm": proof.end_mm,
        "cuts_mm": list(proof.cuts_mm),
        "parts": [{"part": part.part, "rows": _rows(part)} for part in proof.parts],
    }


def _rows(part: PartPlanes) -> list[list[float]]:
    digits = [NORMAL_DIGITS] * 9 + [LEVEL_DIGITS]
    return [[_short(round(value, count)) for value, count in zip(row, digits, strict=True)] for row in part.rows.tolist()]


def _short(value: float) -> float:
    return int(value) if value == int(value) else value


def proof_text(entries: Sequence[dict[str, Any]], made_by: Provenance) -> str:
    """proof.json: a line for each plane."""
    first = head("proof", title=made_by.scene_title, file=made_by.scene_file, sha256=made_by.scene_sha256)
    text = json.dumps({**first, "guides": entries}, indent=1, ensure_ascii=False, allow_nan=False)
    return re.sub(r"\[[-\d.,e\s]*\]", lambda row: "".join(row.group().split()), text) + "\n"


__all__ = ["NAME", "proof_text", "proofs_of", "proved"]
