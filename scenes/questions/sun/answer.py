"""The sun's day as an answer: times lens by lens, what to do, JSON, a chart for each lens."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from scenes.answers.answer import CLEAR, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, Lines, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.options import Wanted
from scenes.questions.sun.report import BoolArray, FlagAngle, SunReport, chosen_sun, limits_of, sun_report
from scenes.questions.sun.text import CAUTIONS, clock, clock_words, flag_words, joint_words, next_step, spans_words, unwanted
from scenes.runtime.page import WIDTH
from scenes.states.load import plans_of
from scenes.states.names import lens_words, state_words
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens, with_lights
from scenes.states.select import first_focus

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

UNDER_WORDS = " " * 23  # where the times stand


def answer(
    show: Loaded, *, light: str | None = None, day: dt.date | None = None, target: str = "glass", wanted: Wanted | None = None
) -> SunAnswer:
    """The day of one sun of the scene for every wanted lens and zoom; `day` in place of the scene's own date."""
    name, sun = chosen_sun(show.scene, light)
    limits = limits_of(plans_of(show))
    plans = first_focus((wanted or Wanted()).of(show))
    reports = (sun_report(plan, name, sun, day, limits=limits[plan.lens_name], target=target) for plan in plans)
    return SunAnswer(reports=tuple(reports), title=show.scene.title)


@dataclass(frozen=True, slots=True, kw_only=True)
class SunAnswer(Answer):
    """The same day for each lens."""

    name: ClassVar[str] = "sun"
    exit_status: ClassVar[int] = CLEAR

    reports: tuple[SunReport, ...]
    title: str

    @property
    def cautions(self) -> Sequence[str]:
        """Which clock the times go by where that may mislead, then what could hurt."""
        return [words for words in (clock_words(self.reports[0]), *CAUTIONS) if words]

    @property
    def states(self) -> Sequence[State]:
        """One state for each lens and zoom."""
        return [report.plan for report in self.reports]

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens, of the whole box and of this sun."""
        suns = [light for light in self.states[0].scene.light if light.name == self.reports[0].light] if self.states else []
        return with_lights(numbers_by_lens(self.states), suns) if self.states else ()

    @property
    def next_step(self) -> str:
        """What to do for the lens that has the sun on its glass longest."""
        longest = max(self.reports, key=lambda report: int(unwanted(report).sum()))
        return f"{lens_words(longest.plan)}: {next_step(longest)}" if len(self.reports) > 1 else next_step(longest)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """What day and where, then each lens."""
        yield from self._head()
        for report in self.reports:
            yield from _lens_blocks(report)
        if words := joint_words(self.reports):
            yield Paragraph(words)
            yield Gap()
        yield from judged_by_blocks(self)
        yield from map(Paragraph, CAUTIONS)

    def _head(self) -> Iterator[Block]:
        report = self.reports[0]
        path, site = report.path, report.site
        noon, first = int(path.sky.height_deg.argmax()), path.moments[0]
        yield Heading(f"{report.light}: {self.title}" if self.title else report.light)
        yield Heading(f"{first:%A %d %B %Y}, clock {first:UTC%z}, {_place_words(site.latitude_deg, site.longitude_deg)}")
        heading = f"camera looks {site.camera_heading_deg % 360:g} deg from north, clockwise"
        yield Heading(f"{heading}{_tilt_words(site.camera_tilt_deg)}")
        if clock_words(report):
            yield Paragraph(clock_words(report))
        highest = f"; highest {path.sky.height_deg[noon]:.1f} deg at {clock(path.moments[noon])}" if path.up.any() else ""
        yield Heading(f"sun up {spans_words(report, path.up)}{highest}")
        yield Gap()

    def data(self) -> dict[str, Any]:
        """Times as ISO 8601, from and to."""
        report = self.reports[0]
        site = report.site
        return {
            "light": report.light,
            "date": f"{report.path.moments[0]:%Y-%m-%d}",
            **{key: getattr(site, key) for key in ("latitude_deg", "longitude_deg", "camera_heading_deg", "camera_tilt_deg")},
            "up": _spans(report, report.path.up),
            "lenses": [_lens_data(report) for report in self.reports],
        }

    def sheets(self) -> Sheets:
        """A chart for each lens."""
        from scenes.questions.sun.figure import sun_figure

        for report in self.reports:
            yield f"sun-{report.key}", partial(sun_figure, report)


def _lens_blocks(report: SunReport) -> Iterator[Block]:
    """One lens's day."""
    yield Heading(state_words(report.plan))
    yield Lines(("-" * WIDTH,))
    yield _row("in the picture", spans_words(report, report.path.in_frame))
    yield _row("on the glass", f"{spans_words(report, report.on_glass)}{_most_words(report)}")
    if report.flags:
        yield _row("with flags so set", spans_words(report, report.on_glass_at_best))
        yield _row("", "; ".join(flag_words(flag) for flag in report.flags))
    yield Paragraph(f"Next: {next_step(report)}", "  ", UNDER_WORDS)
    yield Gap()


def _row(what: str, words: str) -> Paragraph:
    return Paragraph(words, f"  {what:21}", UNDER_WORDS)


def _place_words(latitude_deg: float, longitude_deg: float) -> str:
    north, east = "N" if latitude_deg >= 0 else "S", "E" if longitude_deg >= 0 else "W"
    return f"{abs(latitude_deg):.3f} {north} {abs(longitude_deg):.3f} {east}"


def _tilt_words(tilt_deg: float) -> str:
    return f", {abs(tilt_deg):g} deg {'up' if tilt_deg > 0 else 'down'}" if tilt_deg else ", level"


def _most_words(report: SunReport) -> str:
    if not report.on_glass.any():
        return ""
    most = int(report.path.reach.argmax())
    return f"  (most: {100 * report.path.reach[most]:.0f} % of {report.target} at {clock(report.path.moments[most])})"


def _spans(report: SunReport, holds: BoolArray) -> list[list[str]]:
    return [[first.isoformat(), last.isoformat()] for first, last in report.spans(holds)]


def _lens_data(report: SunReport) -> dict[str, Any]:
    return {
        "key": report.key,
        "lens": report.lens_name,
        "target": report.target,
        "in_picture": _spans(report, report.path.in_frame),
        "on_glass": _spans(report, report.on_glass),
        "on_glass_with_flags_in": _spans(report, report.on_glass_at_best),
        "flags": [_flag_data(flag) for flag in report.flags],
        "most_share": round(float(report.path.reach.max()), 4),
        "next_step": next_step(report),
    }


def _flag_data(flag: FlagAngle) -> dict[str, Any]:
    return {
        "name": flag.name,
        "now_deg": flag.now_deg,
        "least_deg": flag.least_deg,
        "meets": flag.meets or None,
        "held_by": flag.limit.decided_by.key if flag.limit.decided_by else None,
        "states_that_no_angle_clears": [plan.key for plan in flag.limit.shut],
    }
