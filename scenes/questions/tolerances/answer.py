"""How sure a clear frame is, as an answer: lenses, what the answer hangs on, the worst build of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from raytrace.tolerance import Effect, Spread
from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table
from scenes.io.file_names import file_names
from scenes.questions.tolerances.clearances import Build
from scenes.questions.tolerances.inputs import Input
from scenes.questions.tolerances.report import BUILDS, TOLD_MM, LensSurety, Surety, surety
from scenes.questions.tolerances.text import (
    CAUTION,
    METHOD,
    MOST_TOLD,
    SET,
    fixed_words,
    glass_words,
    input_words,
    next_step,
    range_of_share_words,
    range_words,
    room_words,
    share_words,
    summary,
    unbuilt_words,
    worst_words,
)
from scenes.runtime.page import listed
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.messages import plain
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

Row = LensSurety | Surety


def answer(
    show: Loaded, *, wanted: Wanted | None = None, count: int = BUILDS, seed: int = 0, tick: Tick = silent
) -> TolerancesAnswer:
    """How sure the wanted states are, over `count` builds drawn from a seed; `tick` counts to 100 for each lens."""
    states = (wanted or Wanted()).of(show)
    return TolerancesAnswer(found=surety(show, states, count, seed, tick), title=show.scene.title, states=states)


@dataclass(frozen=True, slots=True, kw_only=True)
class TolerancesAnswer(Answer):
    """Every lens and all together over the tolerances of a scene."""

    name: ClassVar[str] = "tolerances"
    cautions: ClassVar[Sequence[str]] = (CAUTION,)

    found: Surety
    title: str
    states: Sequence[State]
    stem: str = "tolerances"  # what the names of its files begin with: another where an earlier name of the command was typed

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The nominal numbers of each lens and of the whole box, which tolerances are counted from."""
        return numbers_by_lens(self.states)

    @property
    def exit_status(self) -> int:
        """1 where a build was found that reaches into a frame, or that cannot be built."""
        return CLEAR if self.found.worst.worst.clearance_mm > 0 and self.found.unbuilt is None else IN_FRAME

    @property
    def next_step(self) -> str:
        """What to do about the worst build."""
        return next_step(self.found)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Lens by lens, then what may differ from the drawing, then the worst builds."""
        found = self.found
        yield Heading(f"Tolerances: {self.title}" if self.title else "Tolerances")
        yield Paragraph(summary(found))
        if found.unbuilt is not None:
            yield Paragraph(unbuilt_words(found))
        yield Gap()
        yield Paragraph(METHOD)
        yield Gap()
        yield self.lens_table()
        yield Paragraph(
            f"stays out: share of {found.count} builds that stay out of frame (all, none: settled by the worst and by what the "
            "dimensions can do at most). "
            "between: 95 % confidence range of the share. nominal, worst: room between beam and nearest part; below 0 it "
            "stands in the beam."
        )
        yield Gap()
        yield from self._input_blocks()
        yield Gap()
        for lens in sorted(found.lenses, key=lambda lens: lens.worst.clearance_mm):
            yield Paragraph(f"Worst build of the {lens.lens_name}: {worst_words(lens)}")
        yield Gap()
        yield from (Paragraph(words) for words in (fixed_words(found), glass_words(found)) if words)
        yield NextStep(self.next_step)
        yield from judged_by_blocks(self)
        yield Paragraph(CAUTION)

    def lens_table(self) -> Table[Row]:
        """A row for each lens, and one for all of them."""
        rows: list[Row] = [*self.found.lenses, *([self.found] if len(self.found.lenses) > 1 else [])]
        return Table(columns=_lens_columns(self.found), rows=rows)

    def input_table(self) -> Table[Effect]:
        """What the answer hangs on, the largest effect first."""
        told = [effect for effect in self.found.effects if effect.swing >= TOLD_MM][:MOST_TOLD]
        return Table(columns=_input_columns({item.path: item for item in self.found.inputs}), rows=told)

    def _input_blocks(self) -> Iterator[Block]:
        found, table = self.found, self.input_table()
        if not table.rows:
            yield Paragraph("None of the tolerances moves the nearest part: the room stays as it is.")
            return
        yield table
        rest = len(found.effects) - len(table.rows)
        more = f" {rest} more do less or nothing." if rest else ""
        left_out = [lens.lens_name for lens in found.lenses if lens not in found.counted]
        any_lens = f"any lens but the {listed(left_out)}" if left_out else "any lens"
        whose = f"the nearest part of {any_lens}" if len(found.lenses) > 1 else "the nearest part"
        yield Paragraph(f"at low, at high: room of {whose} with this alone at the end of its limits, in mm.{more}")

    def data(self) -> dict[str, Any]:
        """Lengths in mm, angles in degrees, shares from 0 to 1."""
        found = self.found
        return {
            "builds": found.count,
            "seed": found.seed,
            "summary": " ".join(filter(None, (summary(found), unbuilt_words(found), fixed_words(found), glass_words(found)))),
            "set": _set_data(found),
            "inputs": [_input_data(item) for item in found.inputs],
            "lenses": [_lens_data(lens) for lens in found.lenses],
        }

    def sheets(self) -> Sheets:
        """A chart of the whole set, and one of each lens."""
        from scenes.questions.tolerances.figure import lens_figure, set_figure

        yield self.stem, partial(set_figure, self.found, self.title)
        names = file_names([lens.lens_name for lens in self.found.lenses], "lens")
        for lens in self.found.lenses:
            yield f"{self.stem}-{names[lens.lens_name]}", partial(lens_figure, self.found, lens, self.title)


def _spread_of(row: Row) -> Spread | None:
    return None if isinstance(row, Surety) and any(lens.never for lens in row.lenses) else row.spread


def _least_room_mm(row: Row) -> float:
    return row.nominal.clearance_mm if isinstance(row, LensSurety) else row.nominal_mm


def _worst_room_mm(row: Row) -> float:
    return row.worst.clearance_mm if isinstance(row, LensSurety) else row.worst.worst.clearance_mm


def _lens_columns(found: Surety) -> tuple[Column[Row], ...]:
    return (
        Column(head="lens", of=lambda row: row.lens_name if isinstance(row, LensSurety) else SET, left=True, width=18, most=18),
        Column(head="stays out", of=share_words, width=9),
        Column(head="between", of=lambda row: range_of_share_words(_spread_of(row)), width=11),
        Column(head="nominal", of=_least_room_mm, words=room_words),
        Column(head="worst", of=_worst_room_mm, words=room_words, width=10),
        Column(head="least sure", of=lambda row: input_words(found, row.least_sure), left=True),
    )


def _input_columns(items: Mapping[str, Input]) -> tuple[Column[Effect], ...]:
    def nominal(effect: Effect) -> str:
        item = items[effect.name]
        return f"{plain(round(item.nominal, 2))} {item.unit}"

    return (
        Column(head="what may differ from the drawing", of=lambda effect: items[effect.name].words, left=True, width=46, most=50),
        Column(head="nominal", of=nominal, width=12),
        Column(head="between", of=lambda effect: range_words(items[effect.name]), width=16),
        Column(head="at low", of=lambda effect: effect.at_low, words="{:+.2f}".format, width=7),
        Column(head="at high", of=lambda effect: effect.at_high, words="{:+.2f}".format, width=7),
    )


def _set_data(found: Surety) -> dict[str, Any]:
    return {
        "clear_share": found.clear_share,
        "share_range": _range(found),
        "settled": found.always or any(lens.never for lens in found.lenses),
        "as_written_mm": round(found.nominal_mm, 3),
        "worst_mm": round(found.worst.worst.clearance_mm, 3),
        "worst_lens": found.worst.lens_name,
        "least_sure": found.least_sure or None,
        "effects": [_effect_data(effect) for effect in found.effects],
    }


def _range(row: Row) -> list[float]:
    spread = _spread_of(row)
    return [row.clear_share] * 2 if spread is None else [round(share, 4) for share in spread.share_range]


def _input_data(item: Input) -> dict[str, Any]:
    low, high = item.tolerance.ends
    return {
        "of": item.path,
        "words": item.words,
        "unit": item.unit,
        "as_written": round(item.nominal, 4),
        "least": round(low, 4),
        "most": round(high, 4),
        "from_bounds": item.bounds,
    }


def _effect_data(effect: Effect) -> dict[str, Any]:
    return {"of": effect.name, "at_least_mm": round(effect.at_low, 3), "at_most_mm": round(effect.at_high, 3)}


def _lens_data(lens: LensSurety) -> dict[str, Any]:
    effects = lens.spread.main_effects.round(4).tolist() if lens.spread is not None else None
    shares = None if effects is None else [{"of": i.path, "share": e} for i, e in zip(lens.inputs, effects, strict=True)]
    return {
        "lens": lens.lens_name,
        "room_needed_mm": lens.needed_mm,
        "clear_share": lens.clear_share,
        "share_range": _range(lens),
        "settled": lens.spread is None,
        "least_sure": lens.least_sure or None,
        "as_written": _build_data(lens.nominal),
        "worst": _build_data(lens.worst),
        "unbuilt_builds": lens.unbuilt.count if lens.unbuilt is not None else 0,
        "unbuilt_why": lens.unbuilt.why if lens.unbuilt is not None else "",
        "effects": [_effect_data(effect) for effect in lens.effects],
        "share_of_variance": shares,
        "only_with_glass": None if lens.only_with_glass is None else _build_data(lens.only_with_glass),
    }


def _build_data(build: Build) -> dict[str, Any]:
    nearest = build.nearest
    return {
        "room_mm": round(build.clearance_mm, 3),
        "part": nearest.part,
        "where": nearest.where,
        "guide": nearest.guide,
        "state": build.state.key,
        "values": [{"of": path, "value": round(value, 4)} for path, value in build.values.items()],
    }
