"""The test shoot as an answer: a summary to read, JSON, and the papers: a page, a PDF to fill in, sticker sheets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from scenes.answers.answer import Answer, Files, Sheets, state_data
from scenes.answers.blocks import Block, Gap, Heading, Lines, NextStep, Note, Paragraph
from scenes.answers.numbers import finite
from scenes.answers.options import Wanted
from scenes.questions.plan.bring import parts
from scenes.questions.plan.dark_places import DarkPlace
from scenes.questions.plan.labels import LabelSheet, label_sheet
from scenes.questions.plan.looked_at import look_at
from scenes.questions.plan.report import Covered, PlannedShot, Station, TestPlan, plan_of
from scenes.questions.plan.setups import Piece
from scenes.questions.plan.tells import tells_data
from scenes.questions.plan.words import (
    all_tells_lines,
    cautions,
    change_words,
    dark_words,
    expect_words,
    filter_words,
    headline,
    how_lines,
    look_words,
    not_checked,
    order_words,
    other_guides_words,
    reading_words,
    show_lines,
    to_change,
    todo_words,
)
from scenes.states.names import state_words
from scenes.verdicts.test_plan import plan_lines

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State


def answer(
    show: Loaded,
    *,
    wanted: Wanted | None = None,
    paper: str = "a4",
    labels: str | None = None,
    as_text: bool = False,
    threads: int = 1,
) -> PlanAnswer:
    """The plan of every wanted state; SceneError where a sticker's size cannot be."""
    sheet = label_sheet(paper, labels)
    states = (wanted or Wanted()).of(show)
    plan = plan_of(show, states, look_at(states, show.scene.title or show.file_name, threads=threads))
    return PlanAnswer(plan=plan, looked_at=states, paper=paper, sheet=sheet, as_text=as_text)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAnswer(Answer):
    """A test shoot."""

    name: ClassVar[str] = "plan"

    plan: TestPlan
    looked_at: tuple[State, ...]
    paper: str
    sheet: LabelSheet
    as_text: bool

    @property
    def exit_status(self) -> int:
        """As check's: 0 all clear or tight, 1 a part darkens a frame or the box has a fault, 2 a state could not be computed."""
        return self.plan.check.exit_status

    @property
    def states(self) -> Sequence[State]:
        """The states looked at."""
        return self.looked_at

    @property
    def next_step(self) -> str:
        """The first thing to change, else the first thing to measure, else the first set-up."""
        if change := to_change(self.plan):
            return change[0]
        if self.plan.measures:
            return self.plan.measures[0].text
        return f"fit the {self.plan.stations[0].setup.lens} and start" if self.plan.stations else ""

    @property
    def cautions(self) -> Sequence[str]:
        """What no program can check."""
        return cautions(self.plan)

    def blocks(self, *, written: bool) -> Iterator[Block]:
        """The answer, the set-ups in their order with their shots, what need not be shot; or the whole list as text."""
        if self.as_text:
            yield Lines(tuple(plan_lines(self.plan.check, self.plan.title)))
            return
        yield Paragraph(headline(self.plan))
        yield Gap()
        yield Heading(f"Test shoot: {self.plan.title}" if self.plan.title else "Test shoot")
        for line in show_lines(self.plan):
            yield Note(line)
        yield Gap()
        yield Paragraph(order_words(self.plan))
        for station in self.plan.stations:
            yield from _station_blocks(station)
        if self.plan.tells:
            yield Gap()
            yield Heading("What stills of these shots tell")
            for line in all_tells_lines(self.plan):
                yield Note(line)
        if self.plan.covered:
            yield Gap()
            yield Heading("Need not be shot")
            for one in self.plan.covered:
                yield Note(f"{state_words(one)}: {one.why}")
        yield Gap()
        if self.next_step:
            yield NextStep(self.next_step)
        for caution in self.cautions:
            yield Paragraph(caution)
        if not written:
            yield Paragraph("The papers, to print and to fill in: brimline plan SCENE --out DIR. The list as text: --text.")

    def data(self) -> dict[str, Any]:
        """Set-ups, shots, what need not be shot, what to measure and to change, what to bring."""
        plan, reckoned = self.plan, self.plan.scene.plan
        return {
            "plan_id": plan.plan_id,
            "curve": reckoned.curve,
            "bits": reckoned.bits,
            "minutes": plan.minutes,
            "order_is_exact": plan.exact,
            "how": list(how_lines(plan)),
            "not_checked": not_checked(plan),
            "setups": [_station_data(station) for station in plan.stations],
            "shots": [_shot_data(shot, station.number) for station in plan.stations for shot in station.shots],
            "covered": [_covered_data(one) for one in plan.covered],
            "stills_tell": [tells_data(one) for one in plan.tells],
            "measure": [
                {"kind": one.kind, "of": one.who, "what": one.what, "so_far": one.so_far, "key": one.enters}
                for one in plan.measures
            ],
            "change": list(to_change(plan)),
            "parts": [{**_piece_data(part.piece), "lenses": list(part.lenses)} for part in parts(plan)],
            "not_computed": [{"key": one.key, "lens": one.lens_name, "why": one.why} for one in plan.check.failed],
        }

    def sheets(self) -> Sheets:
        """None: heatmaps are in the papers."""
        return ()

    def files(self, folder: str) -> Files:  # noqa: ARG002 - every paper is told
        """The page, the PDF, sticker sheets and the list as text."""
        from scenes.questions.plan.labels import labels_pdf
        from scenes.questions.plan.page import page_html
        from scenes.questions.plan.paper import plan_pdf

        yield "plan.html", page_html(self.plan, self.sheet).encode()
        yield "plan.pdf", plan_pdf(self.plan, self.paper)
        yield "labels.pdf", labels_pdf(self.plan, self.sheet)
        yield "plan.txt", "\n".join([*plan_lines(self.plan.check, self.plan.title), ""]).encode()


def _station_blocks(station: Station) -> Iterator[Block]:
    yield Gap()
    yield Paragraph(f"Set-up {station.number}: {'; '.join(change_words(station))} ({station.minutes:g} min)", hanging="  ")
    for shot in station.shots:
        yield Paragraph(f"{shot.number}. {state_words(shot)}: {shot.shot.guide.word}", "  ", hanging="     ")
        yield Paragraph(f"look at {look_words(shot)}; expect {expect_words(shot)}", "     ", hanging="     ")
        if shot.map.dark:
            yield Paragraph(f"dark: {dark_words(shot)}", "     ", hanging="     ")
        if told := filter_words(shot):
            yield Paragraph(f"filters {told}", "     ", hanging="     ")
        yield Paragraph(reading_words(shot), "     ", hanging="     ")


def _piece_data(piece: Piece) -> dict[str, Any]:
    return {"kind": piece.kind, "name": piece.name, "what": piece.words, "where": piece.place}


def _station_data(station: Station) -> dict[str, Any]:
    change = station.change
    return {
        "number": station.number,
        "lens": station.setup.lens,
        "box": station.setup.placement,
        "box_set_at": station.setup.set_at,
        "fitted": [_piece_data(piece) for piece in station.setup.pieces],
        "off": [piece.name for piece in change.off],
        "do": list(change_words(station)),
        "on": [piece.name for piece in change.on],
        "minutes": change.minutes,
    }


def _shot_data(shot: PlannedShot, setup: int) -> dict[str, Any]:
    now = shot.expected
    return {
        **state_data(shot),
        "number": shot.number,
        "setup": setup,
        "verdict": str(shot.shot.guide.word),
        "guide": shot.shot.guide.guide,
        "look_at": look_words(shot),
        "expect": expect_words(shot),
        "dark": [_dark_data(place) for place in shot.map.dark],
        "filters_take_more_there_stops": finite(now.glass_stops, 4),
        "least_loss_stops": finite(now.low_stops),
        "most_loss_stops": finite(now.high_stops),
        "box_off": _reading_data(now.bare),
        "box_on_least_loss": _reading_data(now.light),
        "box_on_most_loss": _reading_data(now.dark),
        "as_predicted_from": _reading_data(now.least),
        "as_predicted_to": _reading_data(now.most),
        "tells": shot.tells,
        "again": shot.again,
        "to_do": todo_words(shot),
        "other_guides": other_guides_words(shot),
        "minutes": shot.minutes,
    }


def _reading_data(reading: Any) -> dict[str, Any]:
    return {"percent": finite(reading.percent, 4), "code": reading.code}


def _dark_data(place: DarkPlace) -> dict[str, Any]:
    return {
        "where": place.where,
        "part": place.part,
        "most_loss_stops": finite(place.most_stops),
        "in_percent": [round(one, 1) for one in place.in_percent],
        "what": place.words,
    }


def _covered_data(one: Covered) -> dict[str, Any]:
    return {**state_data(one), "verdict": str(one.word), "by_shot": one.by, "why": one.why}
