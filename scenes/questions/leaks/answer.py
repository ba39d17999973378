"""Leaks as an answer: openings, mirrored ways and lights of one state of each lens, advice, JSON, pictures, arrays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from geometry.openings import OpeningKind
from scenes.answers.answer import CLEAR, Answer, Files, Sheets, answer_text, state_data
from scenes.answers.blocks import Block, Gap, Heading, Lines, NextStep, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import finite
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table, as_named
from scenes.io.writing import npz_bytes
from scenes.questions.leaks.advice import Advice, LightAdvice, OpeningAdvice
from scenes.questions.leaks.advice_limits import AdviceLimits
from scenes.questions.leaks.adviser import advise_all
from scenes.questions.leaks.report import GLARE, PICTURE_COLUMNS, LeakReport, LightRow, OpeningRow, reports_of
from scenes.questions.leaks.text import (
    answer_words,
    change_words,
    direction_words,
    flag_to_open_words,
    joint_words,
    light_advice_words,
    light_words,
    mirror_words,
    percent,
    place_words,
    share_less_than,
    share_words,
    way_in,
)
from scenes.runtime.page import WIDTH, wrapped
from scenes.runtime.progress import progress
from scenes.states.names import state_words
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens, with_lights
from scenes.states.select import first_of_each_lens
from scenes.states.stray import angles_deg, stray_lights

if TYPE_CHECKING:
    from raytrace.stray.picture import LeakPath
    from scenes.io.folders.result_folder import Staging
    from scenes.states.load import Loaded
    from scenes.states.state import State

WAYS_SHOWN = 8
EXACT = 12  # digits after the point
CAUTIONS = (
    "Strengths hold where it is as bright outside as in the picture; they grow with the real light.",
    "A prediction: confirm it with a light held at each gap. Never point a lens at the sun unprotected.",
)
GLARE_NOTE = f"What falls on the glass counts with {GLARE:g}, the usual share that a lens spreads over its picture."


def answer(
    show: Loaded, *, target: str = "glass", columns: int = PICTURE_COLUMNS, solid: bool = True, wanted: Wanted | None = None
) -> LeaksAnswer:
    """Stray light in the first wanted state of each lens, on the outermost "glass" or the "lens" front.

    What is advised keeps clear every focus and stop of the lenses asked for. `solid`: with 3D pictures.
    """
    wanted = wanted or Wanted()
    every = wanted.of(show)
    plans = first_of_each_lens(every)
    keeping = AdviceLimits(Wanted(lenses=wanted.lenses).of(show))
    with progress((2 + len(stray_lights(show.scene))) * len(plans), "leaks") as tick:
        reports = reports_of(plans, target=target, columns=columns, tick=tick)
        advice = advise_all(reports, target=target, keeping=keeping, tick=tick)
    return LeaksAnswer(title=show.scene.title, cases=tuple(zip(reports, advice, strict=True)), wanted=len(every), solid=solid)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaksAnswer(Answer):
    """A report and advice for one state of each lens, out of so many states wanted."""

    name: ClassVar[str] = "leaks"
    exit_status: ClassVar[int] = CLEAR
    cautions: ClassVar[Sequence[str]] = CAUTIONS

    title: str
    cases: tuple[tuple[LeakReport, Advice], ...]
    wanted: int
    solid: bool

    @property
    def states(self) -> Sequence[State]:
        """The states measured."""
        return [report.plan for report, _ in self.cases]

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens, of the whole box and of the lights."""
        return with_lights(numbers_by_lens(self.states), self.states[0].scene.light) if self.states else ()

    @property
    def next_step(self) -> str:
        """The first flag to open, else the first change that helps."""
        flags = (flag_to_open_words(flag).removeprefix("first ") for _, advice in self.cases for flag in advice.too_far_in)
        openings = (f"{item.opening}: {item.change}" for _, advice in self.cases for item in advice.openings if item.helps)
        lights = (_light_lines(light)[0] for _, advice in self.cases for light in advice.lights)
        return next(flags, next(openings, next(lights, "")))

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Each state, then what is to be said once."""
        yield Paragraph(answer_words([report for report, _ in self.cases]))
        if self.next_step:
            yield NextStep(self.next_step)
        yield Gap()
        for report, advice in self.cases:
            yield from report_blocks(report)
            yield from advice_blocks(report, advice)
            yield Gap()
        yield from judged_by_blocks(self)
        yield from map(Paragraph, (*self.cautions, GLARE_NOTE))
        if self.left_out:
            yield Paragraph(self.left_out)

    @property
    def left_out(self) -> str:
        """What was not looked at, so that nobody takes silence for darkness."""
        if self.wanted == len(self.cases):
            return ""
        looked = f"Looked at {len(self.cases)} of {self.wanted} states, the first of each lens."
        return f"{looked} Another focus or stop can let in what these keep out: choose others by --focus and --f-number."

    def data(self) -> dict[str, Any]:
        """Strengths against the picture's own brightness."""
        return {"states": [report_data(report, advice) for report, advice in self.cases]}

    def sheets(self) -> Sheets:
        """For each state the sky that the glass sees; where anything is mirrored in, the leak picture and the strongest paths."""
        from scenes.questions.leaks.figure import leak_figure, sky_figure, ways_figure

        for report, _ in self.cases:
            key, words = report.plan.key, state_words(report.plan)
            mean = 100 * float(report.picture.relative.mean())
            mirrored = f"Mean {mean:.2g} % of the picture's brightness" if mean else "Nothing is mirrored in"
            leak = f"{self.title}. {mirrored}"
            sky = f"{self.title}. {report.open_sr:.2f} sr open outside the picture, {report.off_sr:.2f} sr with no box"
            if report.picture.paths:
                yield f"{key}/leak", partial(leak_figure, report, f"{words}: what the filters mirror in from behind", leak)
            yield f"{key}/sky", partial(sky_figure, report, f"{words}: the sky that reaches {report.setup.target.name}", sky)
            if report.picture.paths:
                yield f"{key}/ways", partial(ways_figure, report, f"{words}: the strongest mirrored paths", self.title)

    def files(self, folder: str) -> Files:  # noqa: ARG002 - every answer is told
        """The page, and each leak picture as arrays."""
        yield "leaks.txt", answer_text(self, written=True).encode()
        for report, _ in self.cases:
            yield f"{report.plan.key}/leak.npz", npz_bytes(arrays(report))

    def draw(self, folder: Staging) -> str:
        """The strongest ways of each state in 3D; a sentence comes back where they could not be drawn."""
        from scenes.questions.leaks.view3d import leak_scene3d
        from scenes.view3d.render import render_batch
        from scenes.view3d.state_view import VIEW_SIZE

        jobs = []
        for report, _ in self.cases if self.solid else ():
            if report.picture.paths:
                head = f"{state_words(report.plan)}: the strongest mirrored paths"
                path = folder.path_for(f"{report.plan.key}/ways-3d.png")
                jobs.append((leak_scene3d(report, (head, self.title)), path, VIEW_SIZE))
        drawn = render_batch(jobs)
        return drawn.problem or "; ".join(f"{path.name} was left out: {why}" for path, why in drawn.failed)


def arrays(report: LeakReport) -> dict[str, Any]:
    """The leak picture as arrays: by opening (O, H, W), front and standard error (H, W), axes in mm, names."""
    picture = report.picture
    return {
        "leak": picture.absolute.astype(np.float32),
        "front": picture.front.astype(np.float32),
        "stderr": picture.stderr.astype(np.float32),
        "x_mm": picture.grid.x_mm,
        "y_mm": picture.grid.y_mm,
        "openings": np.array(picture.opening_names),
    }


def report_blocks(report: LeakReport) -> Iterator[Block]:
    """What was measured in one state."""
    title = f"{state_words(report.plan)}: stray light on {report.setup.target.name}"
    yield Heading(title)
    yield Lines(("=" * min(WIDTH, len(title)),))
    share = report.open_sr / report.off_sr if report.off_sr else 0.0
    bare = f"{100 * share:.0f} % of the bare lens's {report.off_sr:.2f} sr"
    yield Paragraph(f"Sky open to the glass outside the picture: {report.open_sr:.2f} sr, {bare}.")
    yield from map(Paragraph, mirror_words(report))
    yield Gap()
    yield Heading("Openings, the worst first")
    yield Table(columns=OPENING_COLUMNS, rows=report.openings, ruled=False, indent="  ")
    yield Gap()
    if report.picture.paths:
        yield from _way_blocks(report)
    if report.lights:
        yield Heading("Lights")
        yield lights_table(report)
        yield Gap()
    if report.worth_sr:
        yield Heading("What each part keeps off (open sky that taking it away would add)")
        yield Table(columns=WORTH_COLUMNS, rows=report.worth_sr, heads=False, ruled=False, indent="  ")
        yield Gap()


def _way_blocks(report: LeakReport) -> Iterator[Block]:
    shown = report.picture.paths[:WAYS_SHOWN]
    yield Heading("Paths of mirrored light")
    yield Table(columns=way_columns(report), rows=shown, ruled=False, indent="  ")
    left = len(report.picture.paths) - len(shown)
    if left:
        yield Heading(f"  and {left} weaker; what lies below these adds at most {percent(report.picture.left_out)}")
    yield Gap()


def advice_blocks(report: LeakReport, advice: Advice) -> Iterator[Block]:
    """What closes the gaps and keeps the lights off."""
    yield Heading("Advice, every change put into the box and measured again")
    yield from (Paragraph(flag_to_open_words(flag), "  ", "    ") for flag in advice.too_far_in)
    if not any(row.veil > 0 for row in report.openings if row.kind is not OpeningKind.MOUTH):
        yield Heading("  no gap lets anything in: nothing to close")
    shown = ""
    for item in advice.openings:
        if item.opening != shown:
            yield Heading(f"  {item.opening}: adds {percent(item.before)} to the picture")
        shown = item.opening
        yield Paragraph(change_words(item), "    ", "      ")
    for light in advice.lights:
        first, *more = _light_lines(light)
        yield Paragraph(first, "  ", "    ")
        yield from (Paragraph(words, "    ", "      ") for words in more)
    if words := joint_words(advice.lights):
        yield Paragraph(words, "  ", "    ")
    mouth = next((row for row in report.openings if row.kind is OpeningKind.MOUTH), None)
    if mouth is not None:
        sky = f"mouth: {mouth.open_sr:.2f} sr of sky outside the picture"
        yield Paragraph(f"{sky}; flags and a deeper hood close it, see above", "  ", "    ")


def _light_lines(light: LightAdvice | str) -> list[str]:
    return [light] if isinstance(light, str) else light_advice_words(light)


def lights_table(report: LeakReport) -> Table[LightRow]:
    """Each light, with what becomes of it in lines of its own."""

    def notes(row: LightRow) -> list[str]:
        return [line for words in light_words(row, report) for line in wrapped(words, "    ", hanging="      ")]

    columns = light_columns(report)
    return Table(columns=columns, rows=report.lights, ruled=False, indent="  ", gap=" ", notes_of=notes)


def report_data(report: LeakReport, advice: Advice) -> dict[str, Any]:
    """One state for programs."""
    picture = report.picture
    return {
        **state_data(report.plan),
        "target": report.setup.target.name,
        "open_sky_sr": report.open_sr,
        "open_sky_without_box_sr": report.off_sr,
        "mirrored": {
            "mean": exact(picture.relative.mean()),
            "peak": exact(picture.relative.max()),
            "stderr_of_mean": exact(picture.total_stderr),
            "range_over_pupils": list(report.mirrored_range),
            "left_out_at_most": exact(picture.left_out),
        },
        "openings": Table(columns=OPENING_COLUMNS, rows=report.openings).data(),
        "paths": Table(columns=way_columns(report), rows=picture.paths).data(),
        "lights": lights_table(report).data(),
        "worth_sr": Table(columns=WORTH_COLUMNS, rows=report.worth_sr).data(),
        "advice": {
            "openings": Table(columns=CHANGE_COLUMNS, rows=advice.openings).data(),
            "lights": [light if isinstance(light, str) else _light_advice_data(light) for light in advice.lights],
            "flags_too_far_in": [
                {"flag": flag.flag, "angle_deg": flag.angle_deg, "clear_deg": finite(flag.limit.clear_deg, EXACT)}
                for flag in advice.too_far_in
            ],
        },
    }


def _light_advice_data(light: LightAdvice) -> dict[str, Any]:
    same = ("light", "flag", "angle_deg", "to_angle_deg", "share", "to_share")
    return {
        **{key: getattr(light, key) for key in same},
        "loss_stops": finite(light.loss_stops, EXACT),
        "meets": light.meets or None,
        "off_to_deg": finite(light.off.angle_deg, EXACT),
        "off_decided_by": light.off.decided_by.key if light.off.decided_by else None,
        "clear_deg": finite(light.limit.clear_deg, EXACT),
        "clear_decided_by": light.limit.decided_by.key if light.limit.decided_by else None,
        "states_that_no_angle_clears": [plan.key for plan in light.limit.shut],
        "states_not_clear_then": [plan.key for plan in light.not_clear],
    }


def exact(value: float) -> float | None:
    """A number with all digits that mean anything."""
    return finite(float(value), EXACT)


def _strength(head: str, key: str, name: str, data: Any = exact, **more: Any) -> Column[Any]:
    return Column(head=head, key=key, of=lambda row: getattr(row, name), words=percent, data=data, **more)


def _named(keys: tuple[str, str], names: Sequence[str], values: Sequence[float]) -> list[dict[str, Any]]:
    """Values that are not zero, each with the name of what it belongs to."""
    return [dict(zip(keys, (name, exact(value)), strict=True)) for name, value in zip(names, values, strict=True) if value]


def way_columns(report: LeakReport) -> tuple[Column[LeakPath], ...]:
    """A mirrored way: by which opening and mirrors, how strong, where it shows, from where it comes."""
    names, grid = report.picture.opening_names, report.picture.grid
    return (
        Column(head="opening and mirror", of=lambda way: f"{names[way.opening]}, {way.name}", left=True, width=52, most=52),
        Column(key="opening", of=lambda way: names[way.opening]),
        Column(key="mirrors", of=lambda way: way.name),
        Column(key="mean", of=lambda way: way.strength),
        _strength("brightest", "peak", "peak", width=10),
        Column(head="shows", of=lambda way: place_words(grid, way.place_mm), left=True, width=12),
        Column(key="place_mm", of=lambda way: list(way.place_mm)),
        Column(head="from [deg]", of=lambda way: direction_words(way.direction), left=True),
        Column(key="from_azimuth_elevation_deg", of=lambda way: list(angles_deg(way.direction))),
    )


def light_columns(report: LeakReport) -> tuple[Column[LightRow], ...]:
    """A light: where it stands, how much of the target it lights and by which way, what the linings bounce."""
    world = report.setup.world
    return (
        Column(head="light", key="name", of=lambda row: row.light.name, left=True, width=17, most=17),
        Column(head="stands [deg]", of=lambda row: direction_words(row.light.direction), left=True, width=20),
        *as_named("azimuth_deg", "elevation_deg"),
        Column(key="in_picture", of=lambda row: row.in_frame),
        Column(head="on the glass", of=share_words),
        Column(key="share", of=lambda row: row.seen.share),
        Column(key="share_less_than", of=share_less_than),
        Column(key="share_without_box", of=lambda row: row.off_share),
        Column(head="by way of", of=lambda row: way_in(row, report), width=20, most=20),
        Column(key="by_opening", of=lambda row: _named(("opening", "share"), world.opening_names, row.seen.by_opening)),
        Column(key="stopped_by", of=lambda row: row.seen.stopped_by or None),
        Column(key="cut_by", of=lambda row: row.seen.cut_by or None),
        Column(key="cut_at_deg", of=lambda row: row.seen.cut_at_deg),
        Column(head="bounced veil", of=lambda row: f"{percent(row.veil.total)} +- {percent(row.veil.total_stderr)}", width=20),
        Column(key="veil", of=lambda row: row.veil.total, data=exact),
        Column(key="veil_stderr", of=lambda row: row.veil.total_stderr, data=exact),
        Column(key="veil_by_part", of=lambda row: _named(("part", "veil"), world.wall_names, row.veil.by_part.sum(axis=1))),
    )


OPENING_COLUMNS: tuple[Column[OpeningRow], ...] = (
    Column(head="opening", key="name", of=lambda row: row.name, left=True, width=38, most=38),
    Column(key="kind", of=lambda row: str(row.kind)),
    *as_named("part"),
    Column(head="area\nmm2", key="area_mm2", of=lambda row: row.area_mm2, words=lambda mm2: f"{mm2:.0f}", width=6),
    Column(head="open sky\nsr", key="open_sky_sr", of=lambda row: row.open_sr, words=lambda sr: f"{sr:.4f}"),
    Column(key="open_sky_stderr_sr", of=lambda row: row.open_stderr_sr),
    _strength("on the glass\nof picture's", "on_the_glass", "glass_share"),
    _strength("mirrored\nmean", "mirrored_mean", "mirrored", width=9),
    _strength("brightest\nplace", "mirrored_peak", "peak"),
    *as_named("veil"),
)
WORTH_COLUMNS: tuple[Column[tuple[str, float]], ...] = (
    Column(head="part", key="part", of=lambda item: item[0], left=True, width=40, most=40),
    Column(head="sky", of=lambda item: f"{round(item[1], 3) + 0.0:.3f} sr", width=11),
    Column(key="sr", of=lambda item: item[1]),
)
CHANGE_COLUMNS: tuple[Column[OpeningAdvice], ...] = (
    *as_named("opening", "change", "before", "after"),
    Column(key="all_gaps_after", of=lambda item: item.all_after),
    *as_named("helps"),
    Column(key="against", of=lambda item: item.against or None),
    Column(key="no_longer_clear", of=lambda item: item.but or None),
)
