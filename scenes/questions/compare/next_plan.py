"""The next plan: what is known after these stills, what is not, and which stills to shoot to know more; in words and as notes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from scenes.answers.numbers import distance, error_words, finite
from scenes.questions.compare.draft import focus_value
from scenes.questions.compare.next_shot import NextShot
from scenes.questions.compare.text import value_words
from scenes.questions.compare.verdict import Comparison, Verdict
from scenes.runtime.page import listed
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.scene import focal_lengths
from scenes.states.names import setting_words
from scenes.unknowns.telling import TOLD_SIGMA

FULL_PLAN = "Set-ups, labels and what each shot should read: brimline plan {scene} --out plan."


def next_lines(found: Comparison) -> Iterator[str]:
    """The next plan, a sentence or two to a line; nothing where the stills are of another lens, or no value was left free."""
    if found.verdict is Verdict.OTHER_LENS or not found.notes.unknowns:
        return
    rows = list(zip(found.notes.unknowns, found.values, found.sigmas, found.told, strict=True))
    known = [f"{item.path} {value_words(value, sigma, item.unit)}" for item, value, sigma, told in rows if told]
    if known:
        yield f"Known now: {'; '.join(known)}."
    if left := [item.path for item, _, _, told in rows if not told]:
        yield f"Not known: {listed(left)}."
    for number, shot in enumerate(found.next_shots, 1):
        yield f"Shoot {number}, box on and box off: {setting_words(shot.state)}. After it: {_errors(found, shot)}."
    if never := _never(found):
        yield f"No setting that the scene checks would tell {listed(never)}: measure, or bring the part further into the frame."
    if not found.next_shots and not left:
        yield "No more stills are needed for these values."
    yield FULL_PLAN.format(scene="fitted.toml" if writes_fitted(found) else "SCENE")


def writes_fitted(found: Comparison) -> bool:
    """Whether there is a scene with fitted values to go on with."""
    return found.verdict is Verdict.FIT and any(found.told)


def _errors(found: Comparison, shot: NextShot) -> str:
    rows = zip(found.notes.unknowns, shot.sigmas, strict=True)
    return "; ".join(f"{item.path} ± {error_words(sigma, item.unit)}" for item, sigma in rows if sigma <= TOLD_SIGMA)


def _never(found: Comparison) -> list[str]:
    """Values that are not told, and would not be with the next stills."""
    if found.rivals:
        return []
    after = found.next_shots[-1].sigmas if found.next_shots else found.sigmas
    rows = zip(found.notes.unknowns, found.told, after, strict=True)
    return [item.path for item, told, sigma in rows if not told and sigma > TOLD_SIGMA]


def next_notes(found: Comparison) -> str:
    """Rows for the notes of the shoot, a [[picture]] for each still to come; '' where there is none."""
    if not found.next_shots:
        return ""
    file_name = found.notes.file_name
    lines = ["# The next stills. Shoot them, put them beside those there are, and add these rows to"]
    lines += [f'# {file_name}; answer every "?". All stills are then fitted at once.']
    for line in next_lines(found):
        lines.append(f"# {line}")
    for number, shot in enumerate(found.next_shots, 1):
        lines += _rows(found, shot, number)
    return "\n".join(lines) + "\n"


def _rows(found: Comparison, shot: NextShot, number: int) -> Iterator[str]:
    picture, state = found.notes.shots[0].picture, shot.state
    yield from ("", "[[picture]]", f'with_box = "next-{number}-with.tif"', f'without_box = "next-{number}-without.tif"')
    yield f"focus_mm = {focus_value(state.focus_mm)}"
    yield f"f_number = {plain(state.f_number)}"
    if len(focal_lengths(found.notes.lens)) > 1:
        yield f"focal_mm = {plain(state.focal_mm)}"
    yield 'curve = "?"'
    yield f'code_range = "{picture.code_range}"'
    yield f"covers = {json.dumps(picture.covers, ensure_ascii=False)}"


def next_data(found: Comparison) -> list[dict[str, Any]]:
    """A row for each still to come, with the error of every value after it; null where that is not told."""
    return [
        {
            "focal_mm": distance(shot.state.focal_mm),
            "focus_mm": distance(shot.state.focus_mm),
            "f_number": shot.state.f_number,
            "errors": [
                {"of": item.path, "unit": item.unit, "standard_error": finite(sigma, 4) if sigma <= TOLD_SIGMA else None}
                for item, sigma in zip(found.notes.unknowns, shot.sigmas.tolist(), strict=True)
            ],
        }
        for shot in found.next_shots
    ]
