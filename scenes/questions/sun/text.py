"""The sentences of a day of the sun: times, places, flags, what to do."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from scenes.questions.sun.report import BoolArray, FlagAngle, SunReport, clock_may_differ
from scenes.states.names import state_words

ALIKE_DEG = 1.0  # a flag this near to its limit is in as far as it goes
CAUTIONS = (
    (
        "The sun in a lens burns shutters, sensors, filters and eyes: never look at it through an optical finder, cover the lens "
        "between takes, and ask the camera's maker and the rental house how long it may stand in the picture."
    ),
    "Clouds, hills and buildings are not counted; times stand to about a minute on level ground. Confirm flags on the test shoot.",
)


def clock(moment: dt.datetime) -> str:
    """A time of day."""
    return moment.strftime("%H:%M")


def clock_words(report: SunReport) -> str:
    """A warning where the day's own clock may not be the one that the scene's time is given by; else empty."""
    day = report.path.moments[0].date()
    if not clock_may_differ(report.scene_time.date(), day):
        return ""
    which = "on this day" if day == report.scene_time.date() else f"between {report.scene_time:%d %B %Y} and this day"
    clock_now = f"All times are by {report.scene_time:UTC%z}, the clock of the scene's own time."
    return f"{clock_now} Clocks may be put {which}: then add or take off the hour."


def spans_words(report: SunReport, holds: BoolArray) -> str:
    """From when to when something holds, for people: '07:20-09:46, 14:29-19:39'."""
    found = [clock(first) if first == last else f"{clock(first)}-{clock(last)}" for first, last in report.spans(holds)]
    return ", ".join(found) or "never"


def flag_angles(flag: FlagAngle) -> str:
    """A flag's way, short: 'top flag in from 30 to 18.5 deg', 'right flag out from 30 to 47.2 deg'."""
    way = "out" if flag.least_deg > flag.now_deg else "in"
    return f"{flag.name} {way} from {flag.now_deg:g} to {flag.least_deg + 0.0:g} deg"


def joint_words(reports: Sequence[SunReport]) -> str:
    """One setting that suits every lens of the day, where lenses ask for different ones; '' where all ask for the same."""
    asked: dict[str, list[float]] = {}
    for flag in (flag for report in reports for flag in report.flags if math.isfinite(flag.limit.clear_deg)):
        asked.setdefault(flag.name, []).append(flag.least_deg)
    if all(len(set(angles)) < 2 for angles in asked.values()):
        return ""
    told = ", ".join(f"{name} {max(angles) + 0.0:g} deg" for name, angles in asked.items())
    return f"Those angles are each for one lens, and have to be set anew when it changes. One setting for all these lenses: {told}."


def flag_words(flag: FlagAngle) -> str:
    """A flag's way, and what holds it: 'top flag in from 30 to 18.5 deg (21, infinity, f/2)'."""
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
        words = " and ".join(f"the {flag.name} to {flag.least_deg:g} deg" for flag in in_frame)
        return f"first open {words}: as set, it leaves the picture too little room; then look again."
    if not now.any():
        return "nothing to do: the sun is never on the glass but when it is in the picture."
    if not best.any():
        return "bring the flags fully in: the sun is then on the glass only while in the picture; confirm with brimline check."
    saved = int(now.sum() - best.sum())
    rest = spans_words(report, best)
    if saved > 0:
        more = "add a larger flag or a seal (brimline leaks), or shade the box"
        return f"with the flags fully in, {saved} fewer minutes of sun on the glass; for {rest} {more}."
    return f"no flag that clears the picture helps; for {rest} close gaps (brimline leaks), or shade the box."
