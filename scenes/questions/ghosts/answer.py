"""Ghosts as an answer: lights, ghosts and tilts state by state, one tilt for all states, JSON, a chart for each state."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from raytrace.ghosts.paths import Route
from raytrace.ghosts.seen import SeenGhost, SeenLight
from raytrace.optics.camera import OUTSIDE
from raytrace.optics.fresnel import loss_stops
from scenes.answers.answer import CLEAR, Answer, Sheets, state_data
from scenes.answers.blocks import Block, Gap, Heading, Lines, NextStep, Note, Paragraph
from scenes.answers.numbers import finite
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table, as_named
from scenes.questions.ghosts.places import between_words
from scenes.questions.ghosts.report import GhostReport, ghost_report
from scenes.questions.ghosts.set_text import set_words
from scenes.questions.ghosts.set_tilt import Left, SetTilt, set_tilt
from scenes.questions.ghosts.text import (
    NOT_BACK,
    is_opposite,
    lands_words,
    next_step,
    outcome_words,
    place_words,
    rest_words,
    short_words,
    side_words,
    size_words,
    span_words,
    stops_words,
    tilt_words,
)
from scenes.questions.ghosts.tilts import TiltAnswer
from scenes.runtime.first_run import prepare_judge
from scenes.runtime.page import SHOOT_CAUTION, WIDTH
from scenes.runtime.shared_out import shared_out
from scenes.states.names import state_words
from scenes.states.select import widest_stops

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

STATE_S = 0.8  # what a state takes, about
RULE = Lines(("-" * WIDTH,))
SUN_CAUTION = (
    "The sun in the picture burns shutters, sensors and filters, and eyes at an optical finder: never look, keep it there only "
    "as long as the camera's maker and the rental house allow, cover the lens between takes."
)
STRENGTH_CAUTION = (
    "Strengths are upper limits against the light's own image: what the lens takes on the way out and back is not counted."
)


def answer(show: Loaded, *, grid: bool = False, wanted: Wanted | None = None) -> GhostsAnswer:
    """Ghosts in every wanted state at its widest stop; with `grid` of nine places in the picture, not of the scene's lights."""
    plans = widest_stops((wanted or Wanted()).of(show))
    if any(plan.box.glasses for plan in plans):
        prepare_judge()
    reports = tuple(shared_out(partial(ghost_report, with_grid=grid), plans, each_s=STATE_S))
    reflectance = show.scene.camera.sensor_reflectance
    return GhostsAnswer(title=show.scene.title, sensor_reflectance=reflectance, reports=reports, for_all=set_tilt(reports))


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostsAnswer(Answer):
    """A report for each state, and one tilt for all of them; None where there are not two states with filters."""

    name: ClassVar[str] = "ghosts"
    exit_status: ClassVar[int] = CLEAR
    cautions: ClassVar[Sequence[str]] = (SUN_CAUTION, STRENGTH_CAUTION, SHOOT_CAUTION)

    title: str
    sensor_reflectance: float
    reports: tuple[GhostReport, ...]
    for_all: SetTilt | None

    @property
    def states(self) -> Sequence[State]:
        """One for each lens, zoom and focus."""
        return [report.plan for report in self.reports]

    @property
    def next_step(self) -> str:
        """The one tilt for all states; of a single one its own."""
        if self.for_all:
            return set_words(self.for_all)
        return next((next_step(report) for report in self.reports if report.filters), "")

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Every state, all of them in short, then what is to be said once."""
        yield Heading(f"Ghosts: {self.title}" if self.title else "Ghosts")
        if self.for_all:
            yield NextStep(self.next_step)
            yield Gap()
        yield Paragraph("Places: mm from the lens axis, as the operator sees them. Strengths: stops below the light itself.")
        yield Gap()
        for report in self.reports:
            yield from report_blocks(report)
        yield from self._in_short()
        yield from (Paragraph(caution, hanging="  ") for caution in self.cautions)

    def _in_short(self) -> Iterator[Block]:
        """Every state with filters again, so that the set can be packed by one look; then one tilt for all."""
        told = [report for report in self.reports if report.filters]
        if len(told) < 2:
            return
        yield Heading("All of them in short")
        yield RULE
        yield Table(columns=SHORT_COLUMNS, rows=told, heads=False, indent="  ", gap=" ")
        if self.for_all:
            yield Gap()
            yield Paragraph(set_words(self.for_all), "  ", "    ")
        yield Gap()

    def data(self) -> dict[str, Any]:
        """Places in mm right and up on the image plane, strengths in stops below the light."""
        return {
            "sensor_reflectance": self.sensor_reflectance,
            "states": [report_data(report) for report in self.reports],
            "all_states": self.for_all and _set_data(self.for_all),
        }

    def sheets(self) -> Sheets:
        """A chart for each state that has filters."""
        from scenes.questions.ghosts.figure import ghost_figure

        for report in self.reports:
            if report.filters:
                yield f"ghosts-{report.plan.key}", partial(ghost_figure, report)


def report_blocks(report: GhostReport) -> Iterator[Block]:
    """One state: its ghosts, the tilts that send them out, what to do."""
    yield Heading(state_words(report.plan))
    yield RULE
    if not report.filters:
        yield Heading("  no filter in the box: nothing mirrors light back to the lens")
        yield Gap()
        return
    for light in report.lights.missed:
        yield Heading(f"  {light.name}: {OUTSIDE} of this lens, no ghost off the sensor")
    yield from _grid_blocks(report) if report.lights.is_grid else _own_blocks(report)
    hidden = [ghost for ghost in report.lights.ghosts if ghost.hides]
    if hidden:
        yield Heading(f"  between filters: on the light itself, {span_words(hidden)} (they stand parallel)")
    yield Gap()
    yield from _tilt_blocks(report)
    yield NextStep(next_step(report), "  ")
    yield from (Note(note, "  ") for note in report.notes)
    yield Gap()


def _own_blocks(report: GhostReport) -> Iterator[Block]:
    """Each light of the scene with its ghosts."""
    heads = True
    for light in report.lights.seen:
        ghosts = [ghost for ghost in report.lights.ghosts if ghost.ghost.light == light.name and not ghost.hides]
        if light.in_picture or any(ghost.in_frame for ghost in ghosts):
            yield Heading(f"  {light.name} at {place_words(light.picture_mm).strip()} mm ({light.where})")
            yield Table(columns=GHOST_COLUMNS, rows=ghosts, heads=heads and bool(ghosts), ruled=False, indent="    ", gap=" ")
            heads = heads and not ghosts
            if light.in_picture and not any(ghost.ghost.route is Route.SENSOR for ghost in ghosts):
                yield Heading(f"    sensor and filter: {NOT_BACK}")


def _grid_blocks(report: GhostReport) -> Iterator[Block]:
    """Nine places, by what mirrors; in one line where every ghost lies straight opposite its light."""
    kinds: dict[str, list[SeenGhost]] = {}
    for ghost in report.lights.ghosts:
        if not ghost.hides:
            kinds.setdefault(between_words(ghost), []).append(ghost)
    if len(kinds) == 1 and all(is_opposite(ghost) for ghosts in kinds.values() for ghost in ghosts):
        ((what, ghosts),) = kinds.items()
        opposite = "the ghost lies opposite its light, as far from the lens axis"
        yield Paragraph(f"{what}: {opposite}, {span_words(ghosts)}{rest_words(report, ghosts)}", "  ", "    ")
        return
    for place, (what, ghosts) in enumerate(kinds.items()):
        yield Heading(f"  {what}, for a point light far away at:")
        yield Table(columns=PLACE_COLUMNS, rows=ghosts, heads=place == 0, ruled=False, indent="    ", gap=" ")
        if ghosts[0].ghost.route is Route.SENSOR and len(ghosts) < len(report.lights.lights):
            yield Heading(f"    from the other places {NOT_BACK}")
    if not kinds:
        yield Heading(f"  sensor and filter: {NOT_BACK}")


def _tilt_blocks(report: GhostReport) -> Iterator[Block]:
    for lights in dict.fromkeys(answer.lights for answer in report.tilts):
        yield Paragraph(f"To send the ghosts of {lights} out of the frame:", "  ", "    ")
        mine = [answer for answer in report.tilts if answer.lights == lights]
        yield Table(columns=TILT_COLUMNS, rows=mine, heads=False, indent="    ", gap=" ")
    if report.tilts:
        yield Heading(f"    rule of thumb for a light in the middle: half the half-height's angle, {report.rule_deg:.1f} deg")


def report_data(report: GhostReport) -> dict[str, Any]:
    """One state for programs."""
    lights = report.lights
    return {
        **state_data(report.plan),
        "filters": list(report.filters),
        "lights_are_a_grid": lights.is_grid,
        "lights": [_light_data(light) for light in (*lights.seen, *(lights.missed if lights.is_grid else ()))],
        "ghosts": Table(columns=GHOST_COLUMNS, rows=lights.ghosts).data(),
        "tilts": Table(columns=TILT_COLUMNS, rows=report.tilts).data(),
        "rule_of_thumb_deg": finite(report.rule_deg),
        "next_step": next_step(report),
        "notes": list(report.notes),
    }


def _light_data(light: SeenLight) -> dict[str, Any]:
    return {
        "name": light.name,
        "right_mm": finite(light.picture_mm[0]),
        "up_mm": finite(light.picture_mm[1]),
        "in_picture": light.in_picture,
        "where": light.where,
        "width_mm": finite(2 * light.radius_mm),
    }


def _set_data(answer: SetTilt) -> dict[str, Any]:
    return {
        "lights": answer.lights,
        "states": answer.count,
        "clears": answer.clears,
        "as_it_is": answer.is_present,
        "what": answer.what or None,
        "keys": list(answer.keys),
        "tilt_deg": answer.tilt_deg,
        "leaves": _left_data(answer.left),
        "leaves_now": _left_data(answer.left_now),
        "against_clearing_all": answer.why or None,
        "not_counted": list(answer.not_counted),
        "left_out_as_dark": list(answer.dark),
        "says": set_words(answer),
    }


def _left_data(left: Sequence[Left]) -> list[dict[str, Any]]:
    return [{"state": one.key, "strongest_stops": round(one.stops, 2)} for one in left]


def _stops(share: float) -> float | None:
    return finite(float(loss_stops(share)))


def _beam(name: str) -> Any:
    """What a tilt does to the beam; None where the box cannot be built so."""
    return lambda answer: None if answer.beam is None else getattr(answer.beam, name)


PLACE_TO_WIDTH: tuple[Column[SeenGhost], ...] = (
    Column(key="light", of=lambda seen: seen.ghost.light),
    Column(key="between", of=lambda seen: str(seen.ghost.route)),
    Column(key="filters", of=lambda seen: list(seen.names)),
    Column(head="ghost at", of=lambda seen: place_words(seen.ghost.picture_mm), left=True, width=22),
    Column(key="right_mm", of=lambda seen: finite(seen.ghost.picture_mm[0])),
    Column(key="up_mm", of=lambda seen: finite(seen.ghost.picture_mm[1])),
    Column(head="lands", of=lands_words, left=True, width=19, most=19),
    *as_named("where", "in_frame"),
    Column(key="outside_frame_mm", of=lambda seen: seen.outside_mm, data=finite),
    *as_named("on_light"),
    Column(head="stops", key="strength_stops", of=lambda seen: seen.share, words=stops_words, data=_stops),
    Column(key="brightest_stops", of=lambda seen: seen.peak_share, data=_stops),
    Column(key="one_pair_of_faces_stops", of=lambda seen: seen.ghost.nearest_share, data=_stops),
    Column(key="incidence_deg", of=lambda seen: seen.ghost.incidence_deg, data=finite),
    Column(head="width", of=size_words, left=True),
    Column(key="width_mm", of=lambda seen: finite(2 * seen.radius_mm)),
    Column(key="blur_mm", of=lambda seen: seen.ghost.blur_mm, data=finite),
)
GHOST_COLUMNS = (Column(head=" ", of=between_words, left=True, width=30, most=30), *PLACE_TO_WIDTH)
PLACE_COLUMNS = (Column(head=" ", of=lambda seen: str(seen.ghost.light), left=True, width=30, most=30), *PLACE_TO_WIDTH)
TILT_COLUMNS: tuple[Column[TiltAnswer], ...] = (
    *as_named("lights"),
    Column(head="what", key="what", of=lambda answer: answer.what, left=True, width=15),
    Column(key="keys", of=lambda answer: list(answer.keys)),
    *as_named("present_deg"),
    Column(head="side", key="side", of=side_words, left=True, width=21),
    Column(head="tilt", of=tilt_words, width=9),
    *as_named("tilt_deg"),
    Column(key="exact_deg", of=lambda answer: finite(answer.exact_deg, 4)),
    *as_named("works"),
    Column(head="outcome", key="outcome", of=outcome_words, left=True, folds=True),
    Column(key="leaves", of=lambda answer: list(answer.left)),
    *(Column(key=f"{key}_stops", of=_beam(name), data=finite) for key, name in (
        ("loss_now", "now_stops"), ("loss_then", "then_stops"), ("added_loss", "added_stops"))),
    Column(key="part", of=_beam("part")),
    Column(key="parts_that_meet", of=lambda answer: [list(pair) for pair in answer.beam.meets] if answer.beam else []),
)  # fmt: skip
SHORT_COLUMNS: tuple[Column[GhostReport], ...] = (
    Column(head="state", of=lambda report: state_words(report.plan), left=True, width=37),
    Column(head="tilt", of=short_words, left=True, folds=True),
)
