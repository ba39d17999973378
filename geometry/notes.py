"""What is odd but may be meant, as values: which part, what, how serious. Nothing here prints or stops anything."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How serious a note is: `fault` cannot be built or used as it stands, `caution` needs a look, `fact` is worth knowing."""

    FAULT = "fault"
    CAUTION = "caution"
    FACT = "fact"


@dataclass(frozen=True, slots=True)
class Note:
    """A fact about a part, worth telling before any ray is traced; `text` is one sentence with the way out.

    doubts_light says that light cannot be told while it stands, for one as parts will not stand where they are told to: such a
    state is never clear. in_glass says that a part stands in a filter: no figure of light or room holds there. may_be_slip says
    that a number looks like a slip that would take light off a part: whatever rests on it has to tell it too.
    """

    part: str
    text: str
    severity: Severity
    doubts_light: bool = False
    in_glass: bool = False
    may_be_slip: bool = False
