"""What `brimline widest` is asked for, from its options as they are said. Opens no file."""

from __future__ import annotations

import re

from scenes.questions.widest.lens_family import Measures, Rule
from scenes.questions.widest.report import Wanted
from scenes.scene_file.errors import Complaint, SceneError

BOUNDS = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*(?:(?:\.\.|to)\s*(-?\d+(?:\.\d+)?)\s*)?")


def wanted_of(
    *,
    like: str | None = None,
    pupil: str = Rule.WORSE,
    front: str = Rule.HELD,
    length: str = Rule.HELD,
    from_mm: float | None = None,
    to_mm: float | None = None,
    added_mm: float | None = None,
) -> Wanted:
    """The options as values; SceneError for one that says nothing."""
    if from_mm is not None and to_mm is not None and from_mm >= to_mm:
        raise _fault("--to", f"must be longer than --from {from_mm:g}, found {to_mm:g}")
    (p, pupil_mm), (f, front_mm), (n, length_mm) = (
        _rule("--pupil", pupil, Rule.WORSE),
        _rule("--front", front, Rule.HELD),
        _rule("--front-to-sensor", length, Rule.HELD),
    )
    measures = Measures(
        pupil=p,
        pupil_mm=pupil_mm,
        front=f,
        front_mm=front_mm[0] if front_mm else None,
        length=n,
        length_mm=length_mm[0] if length_mm else None,
    )
    return Wanted(like=like, measures=measures, from_mm=from_mm, to_mm=to_mm, added_mm=added_mm)


def _rule(option: str, said: str, default: Rule) -> tuple[Rule, tuple[float, float] | None]:
    if said in set(Rule):
        return Rule(said), None
    match = BOUNDS.fullmatch(said)
    ends = sorted(float(end) for end in match.groups() if end) if match else []
    if not ends or (len(ends) == 2 and option != "--pupil"):
        raise _fault(option, f'must be mm, or {", ".join(Rule)}, found "{said}"')
    return default, (ends[0], ends[-1])


def _fault(option: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=option)])
