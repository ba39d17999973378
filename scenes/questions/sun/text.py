"""The sun's day as a table for people, as a next step in one sentence, and as plain data for other programs."""

from __future__ import annotations

import datetime as dt
import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from scenes.questions.sun.report import BoolArray, FlagAngle, SunReport, clock_may_differ
from scenes.states.names import state_words

WIDTH = 100
SCHEMA_VERSION = 1
ALIKE_DEG = 1.0  # a flag this near to its limit is in as far as it goes
SUN_CAUTION = (
    "The sun in a lens burns shutters, sensors, filters and eyes: never look at it through an optical finder, cover the lens "
    "between takes, and ask the camera's maker and the rental house how long it may stand in the picture."
)
CAUTIONS = (
    SUN_CAUTION,
    "Clouds, hills and buildings are not counted; times stand to about a minute on level ground. Confirm flags on the test shoot.",
)


def clock(moment: dt.datetime) -> str:
    """A time of day."""
    return moment.strftime("%H:%M")


def spans_words(report: SunReport, holds: BoolArray) -> str:
    """From when to when something holds, for people: '07:20-09:46, 14:29-19:39'."""
    found = [clock(first) if first == last else f"{clock(first)}-{clock(last)}" for first, last in report.spans(holds)]
    return ", ".join(found) or "never"


def minutes(holds: BoolArray) -> int:
    """How many minutes of the day something holds."""
    return int(holds.sum())


def head_lines(reports: Sequence[SunReport], title: str) -> Iterator[str]:
    """What day, where, and when the sun is up."""
    report = reports[0]
    path, site = report.path, report.site
    noon = int(path.sky.height_deg.argmax())
    yield f"{report.light}: {title}" if title else report.light
    yield f"{path.moments[0]:%A %d %B %Y}, clock {path.moments[0]:UTC%z}, {place_words(site.latitude_deg, site.longitude_deg)}"
    looks = f"looks {site.camera_heading_deg % 360:g} deg from north, clockwise"
    yield f"camera {looks}{tilt_words(site.camera_tilt_deg)}"
    yield from clock_words(report)
    up = spans_words(report, path.up)
    highest = f"; highest {path.sky.height_deg[noon]:.1f} deg at {clock(path.moments[noon])}"
    yield f"sun up {up}{highest if path.up.any() else ''}"


def clock_words(report: SunReport) -> Iterator[str]:
    """A warning where the day's own clock may not be the one that the scene's time is given by."""
    day = report.path.moments[0].date()
    if clock_may_differ(report.scene_time.date(), day):
        which = "on this day" if day == report.scene_time.date() else f"between {report.scene_time:%d %B %Y} and this day"
        clock_now = f"All times are by {report.scene_time:UTC%z}, the clock of the scene's own time."
        text = f"{clock_now} Clocks may be put {which}: then add or take off the hour."
        yield from textwrap.wrap(text, WIDTH)


def place_words(latitude_deg: float, longitude_deg: float) -> str:
    """A place on the earth."""
    north, east = "N" if latitude_deg >= 0 else "S", "E" if longitude_deg >= 0 else "W"
    return f"{abs(latitude_deg):.3f} {north} {abs(longitude_deg):.3f} {east}"


def tilt_words(tilt_deg: float) -> str:
    """How the camera is tilted."""
    return f", {abs(tilt_deg):g} deg {'up' if tilt_deg > 0 else 'down'}" if tilt_deg else ", level"


def report_lines(report: SunReport) -> list[str]:
    """One lens's day."""
    path = report.path
    lines = [state_words(report.plan), "-" * WIDTH]
    lines += wrapped(f"in the picture       {spans_words(report, path.in_frame)}")
    lines += wrapped(f"on the glass         {spans_words(report, report.on_glass)}{_most_words(report)}")
    if report.flags:
        lines += wrapped(f"with flags far in    {spans_words(report, report.on_glass_at_best)}")
        lines += wrapped(f"                     {'; '.join(flag_words(flag) for flag in report.flags)}")
    return [*lines, *wrapped(f"Next: {next_step(report)}"), ""]


def _most_words(report: SunReport) -> str:
    if not report.on_glass.any():
        return ""
    most = int(report.path.reach.argmax())
    return f"  (most: {100 * report.path.reach[most]:.0f} % of {report.target} at {clock(report.path.moments[most])})"


def flag_angles(flag: FlagAngle) -> str:
    """A flag's way in, short: 'top flag 30 to 18.5 deg'."""
    return f"{flag.name} {flag.now_deg:g} to {flag.least_deg + 0.0:g} deg"


def flag_words(flag: FlagAngle) -> str:
    """A flag's way in, and what holds it: 'top flag 30 to 18.5 deg (21, infinity, f/2)'."""
    if math.isinf(flag.limit.clear_deg):
        return f"{flag.name} left at {flag.now_deg:g} deg (no angle of it clears the frame: brimline flags)"
    held = state_words(flag.limit.decided_by) if flag.limit.decided_by else "as far as flags fold in"
    held = f"there it meets the {flag.meets}" if flag.meets else held
    return f"{flag_angles(flag)} ({held})"


def unwanted(report: SunReport) -> BoolArray:
    """When the sun is on the glass but not in the picture (M,)."""
    return report.on_glass & ~report.path.in_frame


def next_step(report: SunReport) -> str:
    """What to do, in one sentence."""
    now, best = unwanted(report), report.on_glass_at_best & ~report.path.in_frame
    in_frame = [flag for flag in report.flags if flag.least_deg > flag.now_deg + ALIKE_DEG]
    if in_frame:
        words = " and ".join(f"{flag.name} out to {flag.least_deg:g} deg" for flag in in_frame)
        return f"first open {words}: as set, it leaves the picture too little room; then look again."
    if not now.any():
        return "nothing to do: the sun is never on the glass but when it is in the picture."
    if not best.any():
        return "bring the flags that far in: the sun is then on the glass only while in the picture; confirm by brimline check."
    saved = minutes(now) - minutes(best)
    rest = spans_words(report, best)
    if saved > 0:
        more = "add a larger flag or a seal (brimline leaks), or shade the box"
        return f"flags that far in save {saved} minutes; for {rest} {more}."
    return f"no flag that clears the picture helps; for {rest} close gaps (brimline leaks), or shade the box."


def sun_lines(reports: Sequence[SunReport], title: str) -> list[str]:
    """The whole answer for people."""
    lines = [*head_lines(reports, title), "", *(line for report in reports for line in report_lines(report))]
    return [line.rstrip() for line in [*lines, *(line for caution in CAUTIONS for line in textwrap.wrap(caution, WIDTH))]]


def wrapped(text: str) -> list[str]:
    """A line with its continuation under it."""
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent=" " * 23, drop_whitespace=True)


def sun_dict(reports: Sequence[SunReport], title: str) -> dict[str, Any]:
    """The whole answer of `brimline sun --json`."""
    report = reports[0]
    site = report.site
    return {
        "brimline_sun": SCHEMA_VERSION,
        "scene": title,
        "light": report.light,
        "date": f"{report.path.moments[0]:%Y-%m-%d}",
        "latitude_deg": site.latitude_deg,
        "longitude_deg": site.longitude_deg,
        "camera_heading_deg": site.camera_heading_deg,
        "camera_tilt_deg": site.camera_tilt_deg,
        "up": _span_list(report, report.path.up),
        "cautions": [*(" ".join(clock_words(report)),), *CAUTIONS] if any(clock_words(report)) else list(CAUTIONS),
        "lenses": [_report_dict(report) for report in reports],
    }


def _span_list(report: SunReport, holds: BoolArray) -> list[list[str]]:
    return [[first.isoformat(), last.isoformat()] for first, last in report.spans(holds)]


def _report_dict(report: SunReport) -> dict[str, Any]:
    return {
        "key": report.key,
        "lens": report.lens_name,
        "target": report.target,
        "in_picture": _span_list(report, report.path.in_frame),
        "on_glass": _span_list(report, report.on_glass),
        "on_glass_with_flags_in": _span_list(report, report.on_glass_at_best),
        "flags": [_flag_dict(flag) for flag in report.flags],
        "most_share": round(float(np.max(report.path.reach)), 4),
        "next_step": next_step(report),
    }


def _flag_dict(flag: FlagAngle) -> dict[str, Any]:
    limit = flag.limit
    return {
        "name": flag.name,
        "now_deg": flag.now_deg,
        "least_deg": flag.least_deg,
        "meets": flag.meets or None,
        "held_by": limit.decided_by.key if limit.decided_by else None,
        "states_that_no_angle_clears": [plan.key for plan in limit.shut],
    }
