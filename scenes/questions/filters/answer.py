"""Filters as an answer: sizes for each stage, what filters do to the picture, what changes of the stack cost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from geometry.frame import ahead_in_words
from scenes.answers.answer import CLEAR, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Note, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import finite
from scenes.answers.options import ROOM_MM
from scenes.answers.table import Table
from scenes.changes.stages import added_depth_mm
from scenes.questions.filters.costs import Cost, RodAnswer, mount_of
from scenes.questions.filters.effects import CloseUp, CornerLoss, GradedAnswer
from scenes.questions.filters.report import lens_filters
from scenes.questions.filters.sizes import StageAnswer, gathered
from scenes.questions.filters.tables import (
    CLOSE_UP_COLUMNS,
    CORNER_COLUMNS,
    COST_COLUMNS,
    GRADED_COLUMNS,
    INDENT,
    needs_table,
    sizes_table,
    table_of,
)
from scenes.questions.filters.text import (
    CAUTION,
    CORNER_WORDS,
    ROOM_WORDS,
    added_words,
    answer_words,
    close_up_words,
    decided_words,
    graded_words,
    holder_words,
    method_words,
    next_step,
    rod_words,
)
from scenes.scene_file.tables.box import BoxPart, Flag
from scenes.states.full_range import focus_note
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State


def answer(
    show: Loaded,
    *,
    margin_mm: float = ROOM_MM,
    added_mm: float | None = None,
    close_ups: Sequence[float] = (),
    lenses: Sequence[str] = (),
) -> FiltersAnswer:
    """Filters of the named lenses, all where none is named; `added_mm` deep is the stage more, `close_ups` are powers to try."""
    depth_mm = added_mm or added_depth_mm(show.scene)
    each = lens_filters(show, depth_mm, close_ups, lenses)
    ranged = [one.held for one in each]
    return FiltersAnswer(
        title=show.scene.title,
        margin_mm=margin_mm,
        stages=gathered(show.scene, ranged, [one.needs for one in each]),
        corners=tuple(corner for one in each for corner in one.corners),
        graded=tuple(answer for one in each for answer in one.graded),
        close_ups=tuple(found for one in each for found in one.close_ups),
        close_up_costs=tuple(cost for one in each for cost in one.close_up_costs),
        close_ups_tried=bool(close_ups),
        added_mm=depth_mm,
        added=tuple(cost for one in each for cost in one.added),
        rods=mount_of(show.scene, tuple(cost for one in each for cost in one.on_axis)),
        notes=tuple(note for one in ranged if (note := focus_note(one.lens))),
        states=tuple(plan for one in ranged for plan in one.plans),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FiltersAnswer(Answer):
    """Sizes for each stage and lens, and what filters, close-up lenses, a stage more and the mount do; `states` are looked at."""

    name: ClassVar[str] = "filters"
    exit_status: ClassVar[int] = CLEAR
    cautions: ClassVar[Sequence[str]] = (CAUTION,)

    title: str
    margin_mm: float
    stages: tuple[StageAnswer, ...]
    corners: tuple[CornerLoss, ...]
    graded: tuple[GradedAnswer, ...]
    close_ups: tuple[CloseUp, ...]
    close_up_costs: tuple[Cost, ...]
    close_ups_tried: bool
    added_mm: float
    added: tuple[Cost, ...]
    rods: RodAnswer
    notes: tuple[str, ...]
    states: tuple[State, ...]

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens and of the box but for its flags, which are left out: costs ask every other part."""
        return numbers_by_lens(self.states, _is_no_flag)

    @property
    def next_step(self) -> str:
        """What to do, worst first."""
        return next_step(self.stages, self.margin_mm)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Stage by stage, then what filters do to the corners and what changes cost."""
        yield Heading(f"Filters: {self.title}" if self.title else "Filters")
        yield Paragraph(answer_words(self.stages, self.margin_mm))
        yield Gap()
        yield Paragraph(method_words(self.margin_mm))
        yield Gap()
        for stage in self.stages:
            yield from _stage_blocks(stage, self.margin_mm)
        if not self.stages:
            yield from (Paragraph("The box has no stage."), Gap())
        yield from _told(CORNER_WORDS, table_of(CORNER_COLUMNS, self.corners))
        if self.graded:
            yield from _told(graded_words(self.graded[0]), table_of(GRADED_COLUMNS, self.graded))
        yield from self._close_up_blocks()
        yield from _told(added_words(self.added_mm), table_of(COST_COLUMNS, self.added))
        on_axis = table_of(COST_COLUMNS, self.rods.costs, "now, and with the box on axis (flags left out):")
        yield from _told(f"Mount: {rod_words(self.rods)}", *([on_axis] if self.rods.costs else []))
        yield from map(Note, self.notes)
        yield NextStep(self.next_step)
        yield from judged_by_blocks(self)
        yield from map(Paragraph, self.cautions)

    def _close_up_blocks(self) -> Iterator[Block]:
        found, costs = self.close_ups, self.close_up_costs
        if found:
            then = "with them in the stage nearest the lens" if self.close_ups_tried else "with them taken out"
            more = [table_of(COST_COLUMNS, costs, f"now, and {then} (flags left out):")] if costs else []
            yield from _told(close_up_words(found[0]), table_of(CLOSE_UP_COLUMNS, found), *more)

    def data(self) -> dict[str, Any]:
        """Lengths in mm, losses in stops; null for what lies outside the picture or is nowhere near."""
        return {
            "margin_mm": self.margin_mm,
            "stages": [_stage_data(stage, self.margin_mm) for stage in self.stages],
            "corner_loss": table_of(CORNER_COLUMNS, self.corners).data(),
            "graduated": table_of(GRADED_COLUMNS, self.graded).data(),
            "close_ups": table_of(CLOSE_UP_COLUMNS, self.close_ups).data(),
            "close_ups_are_tried": self.close_ups_tried,
            "close_up_costs": table_of(COST_COLUMNS, self.close_up_costs).data(),
            "added_stage": {"depth_mm": self.added_mm, "costs": table_of(COST_COLUMNS, self.added).data()},
            "mount": _rod_data(self.rods),
            "notes": list(self.notes),
        }

    def sheets(self) -> Sheets:
        """The beams in each stage, and the graduated edges in the picture."""
        from scenes.questions.filters.figure import graded_figure, stages_figure

        if self.stages:
            yield "filter-sizes", lambda: stages_figure(self.stages, self.title)
        if self.graded:
            yield "graduated", lambda: graded_figure(self.graded, self.title)


def _is_no_flag(part: BoxPart) -> bool:
    return not isinstance(part, Flag)


def _told(words: str, *tables: Table[Any]) -> Iterator[Block]:
    yield Paragraph(words)
    yield from tables
    yield Gap()


def _stage_blocks(stage: StageAnswer, margin_mm: float) -> Iterator[Block]:
    yield Heading(f"{stage.name}, {ahead_in_words(stage.stage.at_mm, 'the back plate', 'g')}: glass that the beam needs")
    yield needs_table(stage, margin_mm)
    yield from (Paragraph(decided_words(stage, need, margin_mm), INDENT) for need in stage.needs)
    yield Paragraph(ROOM_WORDS, INDENT)
    yield Gap()
    yield Paragraph(holder_words(stage), INDENT)
    yield sizes_table(stage, margin_mm)
    yield Gap()


def _stage_data(stage: StageAnswer, margin_mm: float) -> dict[str, Any]:
    return {
        "stage": stage.name,
        "at_mm": stage.stage.at_mm,
        "holder_height_mm": stage.holder_mm,
        "lenses": needs_table(stage, margin_mm).data(),
        "sizes": sizes_table(stage, margin_mm).data(),
    }


def _rod_data(rods: RodAnswer) -> dict[str, Any]:
    return {
        "mount": rods.mount,
        "drop_mm": rods.drop_mm,
        "usual_drop_mm": rods.usual_drop_mm,
        "offset_mm": list(rods.stated_mm),
        "expected_up_mm": finite(rods.expected_up_mm),
        "words": rod_words(rods),
        "on_axis": table_of(COST_COLUMNS, rods.costs).data(),
    }
