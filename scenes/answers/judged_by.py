"""The numbers that an answer rests on, told for people and programs to read back: a slip that nothing else speaks against."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from scenes.answers.blocks import Block, Gap, Lines
from scenes.states.numbers_told import told_data, told_lines

if TYPE_CHECKING:
    from scenes.states.numbers_used import NumbersUsed


@runtime_checkable
class TellsNumbers(Protocol):
    """An answer that metal is cut or glass is bought by, so that it says which numbers it was judged by."""

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens that was asked about, with the parts that had a say."""


def judged_by_blocks(answer: TellsNumbers) -> Iterator[Block]:
    """The numbers, apart from what stands before and after them; nothing where there are none."""
    yield Gap()
    if lines := told_lines(answer.judged_by):
        yield Lines(tuple(lines))
        yield Gap()


def judged_by_data(answer: object) -> dict[str, Any]:
    """Their key of the JSON, the same as a check's; no key for an answer that does not tell them."""
    return {"judged_by": told_data(answer.judged_by)} if isinstance(answer, TellsNumbers) else {}
