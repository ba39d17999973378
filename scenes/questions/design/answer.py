"""The designs as an answer: page, JSON, scene files to go on with, two sheets each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Files, Sheets
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Note, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import finite
from scenes.answers.table import Column, Table
from scenes.questions.design.bench import Held
from scenes.questions.design.bends import most_bent
from scenes.questions.design.contradictions import Contradiction, WayOut
from scenes.questions.design.picks import choices_words
from scenes.questions.design.reasons import Price, Reason
from scenes.questions.design.report import Report, Shown, design_report
from scenes.questions.design.text import (
    CAUTIONS,
    answer_words,
    contradiction_words,
    guess_words,
    next_words,
    price_words,
    reason_words,
    ruled_out_words,
    value_words,
    way_words,
)
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.tables.box import BoxPart, Mask
from scenes.states.names import state_words
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State


def answer(show: Loaded, *, tick: Tick = silent) -> DesignAnswer:
    """The smallest boxes for the scene's [design]; `tick` tells what is being tried."""
    return DesignAnswer(report=design_report(show, tick))


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignAnswer(Answer):
    """Designs, what holds them, what wishes cost; or why none fits."""

    name: ClassVar[str] = "design"
    cautions: ClassVar[Sequence[str]] = CAUTIONS

    report: Report

    @property
    def exit_status(self) -> int:
        """0 a box was found that is clear, 1 none fits."""
        return CLEAR if self.report.shown else IN_FRAME

    @property
    def states(self) -> Sequence[State]:
        """The states of the first design."""
        return self.report.shown[0].states if self.report.shown else ()

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens, which the box was found for; those of its parts are the answer."""
        return numbers_by_lens(self.states, _no_part)

    @property
    def next_step(self) -> str:
        """What to do now."""
        return next_words(self.report)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """The answer first, then what holds each measure, prices, other designs."""
        report = self.report
        yield Paragraph(answer_words(report))
        yield Gap()
        if report.shown:
            yield Heading("What holds each measure")
            yield self.measures()
            yield from self._price_blocks()
            if len(report.shown) > 1:
                yield Gap()
                yield Heading("The designs, the best first")
                yield self.designs()
        if report.contradiction is not None:
            yield from _contradiction_blocks(report.contradiction)
        if report.refused or report.ruled_out:
            yield Gap()
        for words in ruled_out_words(report):
            yield Note(f"ruled out: {words}")
        for words in report.refused:
            yield Note(f"not shown, for it is not clear: {words}")
        yield Gap()
        for words in guess_words(report):
            yield Note(words)
        yield NextStep(self.next_step)
        yield from judged_by_blocks(self)
        for words in CAUTIONS:
            yield Note(words)

    def _price_blocks(self) -> Iterator[Block]:
        if self.report.prices:
            yield Gap()
            yield Heading("What each wish costs, worked out again without it")
            yield Table(columns=PRICE_COLUMNS, rows=self.report.prices, ruled=False, heads=False)

    def measures(self) -> Table[Reason]:
        """The measures of the first design and what holds each."""
        rows = self.report.shown[0].reasons
        return Table(key="measures", columns=REASON_COLUMNS, rows=rows, ruled=False, heads=False)

    def designs(self) -> Table[Shown]:
        """A row for each design."""
        return Table(key="designs", columns=design_columns(self.report.shown), rows=self.report.shown)

    def data(self) -> dict[str, Any]:
        """Designs with all of their values; what holds them; prices; contradictions."""
        report, found = self.report, self.report.contradiction
        return {
            "answer": answer_words(report),
            "stopped": report.stopped,
            "needed_mm": finite(report.needed_mm),
            "designs": [design_data(number, shown, stopped=report.stopped) for number, shown in enumerate(report.shown, 1)],
            "prices": [_price_data(price) for price in report.prices],
            "ruled_out": [f"{choices}: {why}" for choices, why in report.ruled_out.items()],
            "guessed": list(guess_words(report)),
            "not_shown": list(report.refused),
            "contradiction": [] if found is None else [wish.words for wish in found.wishes],
            "lenses_alike": [] if found is None else list(found.alike),
            "ways_out": [] if found is None else [_way_data(way) for way in found.ways],
            "also_contradict": [] if found is None else [[wish.words for wish in some] for some in found.more],
            "blocked": [] if found is None else [_held_data(held) for held in found.blocked],
            "stuck": found.stuck if found is not None else "",
        }

    def files(self, folder: str) -> Files:  # noqa: ARG002 - every answer is told
        """A scene file for each design, and what the scenes name."""
        from scenes.questions.design.scene_files import scene_files

        yield from scene_files(self.report)
        yield "designs.json", designs_json(self.report)

    def sheets(self) -> Sheets:
        """All designs side by side, and by what is to be small; two sheets each: the level cut, and the upright one."""
        from scenes.questions.design.figure import level_cut, upright_cut
        from scenes.questions.design.side_by_side import cuts_sheet, front_picture

        if len(self.report.shown) > 1:
            yield "designs", partial(cuts_sheet, self.report.shown)
            yield "designs-front", partial(front_picture, self.report)
        for number, shown in enumerate(self.report.shown, 1):
            yield f"design-{number}", partial(level_cut, number, shown)
            yield f"design-{number}-side", partial(upright_cut, number, shown)


def _no_part(_part: BoxPart) -> bool:
    return False


def _contradiction_blocks(found: Contradiction) -> Iterator[Block]:
    for words in contradiction_words(found):
        yield Paragraph(words)
    if found.blocked:
        yield Gap()
        title = "In the way with everything free as wide as you allow"
        yield Table(title=title, columns=HELD_COLUMNS, rows=found.blocked, ruled=False, heads=False)


def _held_data(held: Held) -> dict[str, Any]:
    return {"lens": held.state.lens_name, "state": held.state.key, "part": held.part, "where": held.where, "guide": held.guide}


def designs_json(report: Report) -> bytes:
    """The designs alone, for programs."""
    from scenes.io.writing import as_json

    rows = [design_data(number, shown, stopped=report.stopped) for number, shown in enumerate(report.shown, 1)]
    return as_json({"brimline": "designs", "version": 1, "designs": rows}, for_file=True).encode()


def design_data(number: int, shown: Shown, *, stopped: bool) -> dict[str, Any]:
    """One design for programs; of a search that was stopped nothing is proven."""
    outside, design = shown.design.outside, shown.design
    return {
        "file": f"design-{number}.toml",
        "width_mm": finite(outside.width_mm),
        "height_mm": finite(outside.height_mm),
        "depth_mm": finite(outside.depth_mm),
        "weight_kg": finite(outside.weight_kg),
        "open_sky_share": finite(outside.sky_share),
        "proven_smallest": design.found.is_proven and not stopped,
        "room_mm": finite(shown.room_mm),
        "margin_percent": finite(shown.margin_percent),
        "nearest_state": shown.nearest.key,
        "drop_mm": finite(most_bent(shown.bends)[1]) if shown.bends else None,
        "clear_bent": not shown.why_bent if shown.bends else None,
        "clear_builds_share": finite(shown.clear_builds),
        "choices": [{"of": path, "value": words} for path, words in choices_words(design.pick).items()],
        "masks": [_mask_data(mask) for mask in design.scene.box.mask],
        "mask_area_mm2": finite(outside.mask_area_mm2),
        "measures": [_reason_data(reason) for reason in shown.reasons],
    }


def _mask_data(mask: Mask) -> dict[str, Any]:
    """A mask for programs: no lenses named, for all; no opening, by its drawing."""
    opening = mask.opening_mm or (mask.opening_diameter_mm and (mask.opening_diameter_mm,))
    return {"name": mask.name, "lenses": list(mask.lenses or ()), "opening_mm": [finite(side) for side in opening or ()]}


def _reason_data(reason: Reason) -> dict[str, Any]:
    held = reason.held
    return {
        "of": reason.path,
        "words": reason.words,
        "value": finite(reason.value),
        "unit": reason.unit,
        "because": reason_words(reason),
        "lens": held.state.lens_name if held else None,
        "state": held.state.key if held else None,
        "part": held.part if held else None,
        "where": held.where if held else None,
        "guide": held.guide if held else None,
    }


def _price_data(price: Price) -> dict[str, Any]:
    return {
        "wish": price.wish.words,
        "kind": price.wish.kind,
        "words": price_words(price),
        "width_mm": finite(price.width_mm),
        "height_mm": finite(price.height_mm),
        "depth_mm": finite(price.depth_mm),
        "weight_kg": finite(price.weight_kg),
        "measures": [{"of": knob.path, "value": finite(value), "unit": knob.spot.unit} for knob, _, value in price.saves],
    }


def _way_data(way: WayOut) -> dict[str, Any]:
    return {"give_up": [wish.words for wish in way.wishes], "share": finite(way.share), "words": way_words(way)}


REASON_COLUMNS: tuple[Column[Reason], ...] = (
    Column(head="measure", of=lambda row: row.words, left=True, most=42),
    Column(head="value", of=value_words),
    Column(head="held by", of=reason_words, left=True, folds=True),
)
HELD_COLUMNS: tuple[Column[Held], ...] = (
    Column(head="state", of=lambda row: state_words(row.state), left=True, most=48),
    Column(head="part", of=lambda row: row.part, left=True, most=30),
    Column(head="where", of=lambda row: row.where, left=True, folds=True),
)
PRICE_COLUMNS: tuple[Column[Price], ...] = (
    Column(head="wish", of=lambda row: row.wish.words, left=True, most=48),
    Column(head="costs", of=price_words, left=True, folds=True),
)


def design_columns(rows: Sequence[Shown]) -> tuple[Column[Shown], ...]:
    """Columns of the designs side by side: their numbers count the rows."""
    numbers = {id(row): f"design-{number}.toml" for number, row in enumerate(rows, 1)}
    return (
        Column(head="file", of=lambda row: numbers[id(row)], left=True),
        Column(head="width", of=lambda row: row.design.outside.width_mm, words="{:.1f}".format),
        Column(head="height", of=lambda row: row.design.outside.height_mm, words="{:.1f}".format),
        Column(head="depth", of=lambda row: row.design.outside.depth_mm, words="{:.1f}".format),
        Column(head="kg", of=lambda row: row.design.outside.weight_kg, words="{:.2f}".format),
        Column(head="sky %", of=lambda row: 100 * row.design.outside.sky_share, words="{:.0f}".format),
        Column(head="room", of=lambda row: row.room_mm, words="{:.1f}".format),
        Column(head="choices", of=_choices, left=True, folds=True),
    )


def _choices(row: Shown) -> str:
    return ", ".join(choices_words(row.design.pick).values()) or "-"
