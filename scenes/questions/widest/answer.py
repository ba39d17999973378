"""The widest lens as an answer: limits setup by setup, and the scene's own lenses in the same setups."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from scenes.answers.answer import CLEAR, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, Lines, NextStep, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import distance, finite
from scenes.answers.table import Column, Table
from scenes.questions.widest.lens_family import Rule, assumed
from scenes.questions.widest.reference import as_used
from scenes.questions.widest.report import Limit, SetupLimits, StateLimits, WidestReport, widest_report
from scenes.questions.widest.scene_lenses import Fit, LensFits, catalogue
from scenes.questions.widest.setups import AS_SET, Setup, setup_words
from scenes.questions.widest.text import (
    CATALOGUE_WORDS,
    CAUTION,
    LIMIT_WORDS,
    ahead_words,
    answer_words,
    family_words,
    first_met,
    fit_words,
    limit_cell,
    meaning_words,
    next_step,
    own_front_words,
    place_words,
    setting_words_of,
    why_words,
)
from scenes.questions.widest.wanted import wanted_of
from scenes.runtime.page import clipped
from scenes.runtime.progress import progress
from scenes.states.load import plans_of
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens
from scenes.states.select import widest_stops

if TYPE_CHECKING:
    from raytrace.beam.clearance import Clearance
    from scenes.states.load import Loaded
    from scenes.states.state import State


def answer(
    show: Loaded,
    *,
    no_lenses: bool = False,
    like: str | None = None,
    pupil: str = Rule.WORSE,
    front: str = Rule.HELD,
    length: str = Rule.HELD,
    from_mm: float | None = None,
    to_mm: float | None = None,
    added_mm: float | None = None,
) -> WidestAnswer:
    """The limits of a family (options as of `wanted_of`), and the scene's own lenses in the same setups."""
    wanted = wanted_of(like=like, pupil=pupil, front=front, length=length, from_mm=from_mm, to_mm=to_mm, added_mm=added_mm)
    every = widest_stops(plans_of(show))
    states = () if no_lenses else every
    with progress(len(states) + 6, "widest") as tick:
        report = widest_report(show, wanted, tick)
        fits = () if no_lenses else catalogue(show, states, report.added_mm, tick)
    return WidestAnswer(report=report, fits=fits, states=states, asked_of=every, title=show.scene.title)


@dataclass(frozen=True, slots=True, kw_only=True)
class WidestAnswer(Answer):
    """Every limit of a family in front of a box, and how the scene's own lenses fare; `states` are theirs."""

    name: ClassVar[str] = "widest"
    exit_status: ClassVar[int] = CLEAR
    cautions: ClassVar[Sequence[str]] = (CAUTION,)

    report: WidestReport
    fits: tuple[LensFits, ...] = ()
    states: tuple[State, ...] = ()
    asked_of: tuple[State, ...] = ()  # those whose faults stand in the way of any lens here
    title: str = ""

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of every lens that the box was held against, the family's own alone where the scene's were left out."""
        return numbers_by_lens(self.states or as_used(self.report.family, self.asked_of))

    @property
    def next_step(self) -> str:
        """What to do for wider lenses."""
        return next_step(self.report)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """The answer itself first, then what it rests on, setup by setup, lens by lens."""
        yield Heading(f"Widest: {self.title}" if self.title else "Widest")
        yield Paragraph(answer_words(self.report, self.fits))
        yield Gap()
        yield Paragraph(family_words(self.report))
        for sentence in assumed(self.report.family):
            yield Paragraph(f"- {sentence}", "  ")
        yield Gap()
        yield Paragraph(LIMIT_WORDS)
        yield self.setups_table()
        yield from map(Paragraph, self._alike_words())
        if own_front := own_front_words(self.report):
            yield Paragraph(own_front)
        yield Gap()
        if self.fits:
            yield Paragraph(CATALOGUE_WORDS)
            yield self.lenses_table()
            yield Lines(tuple(clipped(f"  {words}") for words in map(why_words, self.fits) if words))
            yield Paragraph(meaning_words(self.fits))
            yield Gap()
        yield NextStep(self.next_step)
        yield from judged_by_blocks(self)
        yield from map(Paragraph, self.cautions)

    def setups_table(self) -> Table[Line]:
        """Each setup at its worst, its states below it; of setups that read alike the first."""
        rows: list[Line] = []
        for one, *_ in self._alike():
            rows += [Line(self._named(one), one.clear), *(Line(f"  {setting_words_of(state)}", state) for state in one.states)]
        return Table(columns=LIMIT_COLUMNS, rows=rows)

    def _alike(self) -> Iterable[list[SetupLimits]]:
        """The setups, those together that read alike in every state."""
        groups: dict[tuple[str, ...], list[SetupLimits]] = {}
        for one in self.report.setups:
            told = tuple(words for state in one.states for words in limit_words(state))
            groups.setdefault(told, []).append(one)
        return groups.values()

    def _alike_words(self) -> Iterator[str]:
        """Which setups are left out of the table: 'No different from the box as set: mask out; flags off.'."""
        for first, *others in self._alike():
            if others:
                like = "the box as set" if first.setup == AS_SET else self._named(first)
                yield f"No different from {like}: {'; '.join(map(self._named, others))}."

    def _named(self, one: SetupLimits) -> str:
        return setup_words(one.setup).replace("one stage more", f"stage more ({self.report.added_mm:g} mm)")

    def lenses_table(self) -> Table[LensFits]:
        """A row for each lens, a column for each setup."""
        setups = [_fit_column(place, fit.setup) for place, fit in enumerate(self.fits[0].fits)] if self.fits else []
        return Table(columns=(*LENS_COLUMNS, *setups), rows=self.fits)

    def data(self) -> dict[str, Any]:
        """The answer in words, the family, limits by setup and state, the scene's lenses; places in mm of the frame."""
        report = self.report
        return {
            "answer": answer_words(report, self.fits),
            "family": {
                "of": report.family.lens.name,
                "from_mm": finite(report.from_mm),
                "to_mm": finite(report.to_mm),
                "assumed": list(assumed(report.family)),
                "own_front": [{"focus_mm": distance(focus), **_limit_data(limit)} for focus, limit in report.own_front],
            },
            "added_stage_mm": report.added_mm,
            "setups": [
                {
                    "setup": setup_words(one.setup),
                    "clears_from_mm": finite(one.clear.clear.focal_mm),
                    "bites_below_mm": finite(one.touch.touch.focal_mm),
                    "states": Table(columns=LIMIT_COLUMNS, rows=[Line("", state) for state in one.states]).data(),
                }
                for one in report.setups
            ],
            "lenses": self.lenses_table().data(),
        }

    def sheets(self) -> Sheets:
        """The limits as bars, the scene's lenses below."""
        from scenes.questions.widest.figure import widest_figure

        yield "widest", lambda: widest_figure(self.report, self.fits, self.title)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the table of setups: a setup at its worst, or one of its states."""

    words: str
    state: StateLimits


def _limit_data(limit: Limit) -> dict[str, Any]:
    return {"found": limit.fate.value, "focal_mm": finite(limit.focal_mm), **_met_data(limit.met)}


def _met_data(met: Clearance | None) -> dict[str, Any]:
    if met is None:
        return {"part": None}
    point = None if met.point_mm is None else [finite(value) for value in met.point_mm]
    return {"part": met.part, "where": met.where, "point_mm": point, "guide": met.guide}


def _fit_data(fit: Fit) -> dict[str, Any]:
    return {
        "setup": setup_words(fit.setup),
        "verdict": fit.word.value,
        "clearance_mm": None if fit.met is None else finite(fit.met.clearance_mm),
        "loss_stops": finite(fit.loss_stops, 4),
        "state": fit.plan.key,
        **_met_data(fit.met),
    }


def _fit_column(place: int, setup: Setup) -> Column[LensFits]:
    what = "stage more" if setup.added else "as set" if setup.masked else "mask out"
    head = what if setup.flagged else "flags off" if what == "as set" else f"flags off\n{what}"
    return Column(head=head, of=lambda one: one.fits[place], words=fit_words, width=11)


def limit_words(state: StateLimits) -> tuple[str, ...]:
    """What a line of the table says of a state."""
    met = first_met(state)
    return limit_cell(state.clear), limit_cell(state.touch), met.part if met else "", _where(met)


def _where(met: Clearance | None) -> str:
    return "" if met is None else f"{place_words(met)}, {ahead_words(met)}"


LIMIT_COLUMNS: tuple[Column[Line], ...] = (
    Column(head="setup, focus and stop", of=lambda line: line.words, left=True, width=28, most=28),
    Column(key="focus_mm", of=lambda line: line.state.focus_mm, data=distance),
    Column(key="f_number", of=lambda line: line.state.f_number),
    Column(head="clears", key="clears", of=lambda line: line.state.clear, words=limit_cell, data=_limit_data),
    Column(head="bites", key="bites", of=lambda line: line.state.touch, words=limit_cell, data=_limit_data, width=6),
    Column(
        head="bites first", of=lambda line: first_met(line.state), words=lambda met: met.part if met else "",
        left=True, width=18, most=18,
    ),
    Column(head="where", of=lambda line: first_met(line.state), words=_where, left=True),
)  # fmt: skip
LENS_COLUMNS: tuple[Column[LensFits], ...] = (
    Column(head="lens", key="lens", of=lambda one: one.lens.name, left=True, width=16, most=16),
    Column(key="setups", of=lambda one: [_fit_data(fit) for fit in one.fits]),
)
