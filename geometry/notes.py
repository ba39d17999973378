"""What is odd but may be meant, as values: which part, what, how serious. Nothing here prints or stops anything."""

from __future__ import annotations

from collections.abc import Iterable
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
    that a number looks like a slip that would take light off a part: whatever rests on it has to tell it too. said_again names
    what is told at each setting with other numbers, such as 'overlaps mask': of those of a part only the one of the largest size
    is worth telling.
    """

    part: str
    text: str
    severity: Severity
    doubts_light: bool = False
    in_glass: bool = False
    may_be_slip: bool = False
    said_again: str = ""
    size: float = 0.0

    @property
    def alike(self) -> tuple[str, str, str]:
        """What notes have in common that tell the same of one part."""
        return self.part, self.severity, self.said_again or self.text


def largest_of_each(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Notes, each once, in their order; of those that say the same of one part again only the largest."""
    found: dict[tuple[str, str, str], Note] = {}
    for note in notes:
        if note.alike not in found or note.size > found[note.alike].size:
            found[note.alike] = note
    return tuple(found.values())
