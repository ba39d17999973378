"""What a check says of its proofs: to programs and to people."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenes.proof.verify import ALONE, PROVED, Finding

Findings = Mapping[str, tuple[Finding, ...]]  # of each state's clear guides, by its key


def proof_data(findings: Findings | None, key: str) -> dict[str, Any]:
    """What results.json says of a state's proofs; nothing where none were asked for."""
    if findings is None:
        return {}
    told = [
        {
            "guide": one.guide,
            "proved": one.word == PROVED,
            "room_mm": one.room_mm if one.word == PROVED else None,
            "why": one.why,
        }
        for one in findings[key]
    ]
    return {"proofs": told}


def proof_words(findings: Findings | None, key: str) -> str:
    """What people are told of a state's proofs; '' where none were asked for, or nothing is called clear."""
    told = findings[key] if findings else ()
    return "; ".join(f"{one.guide}: {_words(one)}" if len(told) > 1 else _words(one) for one in told)


def _words(finding: Finding) -> str:
    if finding.word == PROVED:
        return f"proved, no part nearer than {finding.room_mm:.2f} mm"
    return f"{ALONE}: {finding.why}"
