"""Sentences that are the widest lens's own: the answer, what is assumed, what bites where, what to do next."""

from __future__ import annotations

from collections.abc import Sequence

from geometry.frame import ahead_in_words
from raytrace.beam.clearance import Clearance
from scenes.answers.numbers import focus_words
from scenes.cautions.focus_plane import BEYOND
from scenes.questions.widest.report import Fate, Limit, SetupLimits, StateLimits, WidestReport
from scenes.questions.widest.scene_lenses import Fit, LensFits
from scenes.questions.widest.setups import AS_SET, setup_words
from scenes.scene_file.tables.lens import focal_lengths
from scenes.states.clear_rule import MEANING, WALK_MM, Word
from scenes.states.lens_front import TOO_SMALL
from scenes.states.names import setting_words, state_words, the

LEAST_GAIN_MM = 0.05  # half a step of what is told
CAUTION = (
    "A lens of a family is a guess at one that nobody has measured: measure the pupil of the real lens, put it into the scene, "
    "run `brimline check`, and confirm at the test shoot. A stack that grows gets heavier: ask the rental house what lens and "
    "rods may carry."
)
LIMIT_WORDS = (
    f"clears: takes nothing, with 2 % of the frame to spare, and {WALK_MM:g} mm where a pupil is taken as fixed, as `check` "
    "asks for; bites: below this it stands in the beam."
)
CATALOGUE_WORDS = "The scene's own lenses, as measured, at every zoom row and focus of [check] and the widest stop asked for:"


def answer_words(report: WidestReport, fits: Sequence[LensFits] = ()) -> str:
    """The answer: as set, in the setup that lets the widest lens be used, and the measured lens where it differs."""
    now = next(one for one in report.setups if one.setup == AS_SET)
    words = f"{_least_words(now)}: {_by_focus_words(now)}."
    best = min(report.setups, key=lambda one: [limit.focal_mm for limit in _limits(one)])
    if any(better.focal_mm < limit.focal_mm for better, limit in zip(_limits(best), _limits(now), strict=True)):
        words += f" With {setup_words(best.setup)}: {_by_focus_words(best)}."
    return f"{words}{_measured_words(report, now, fits)}"


def _least_words(now: SetupLimits) -> str:
    """Which lenses the box clears at every focus asked for."""
    limit = now.clear.clear
    if limit.fate is Fate.NONE:
        return "This box as set clears no lens of the family at every focus"
    longer = "every lens looked at" if limit.fate is Fate.ALL else f"lenses of {limit.focal_mm:.1f} mm and longer"
    return f"This box as set clears {longer}"


def _measured_words(report: WidestReport, now: SetupLimits, fits: Sequence[LensFits]) -> str:
    """How the family's own lens fares as the scene has it, where the limits of its unmeasured relatives say otherwise."""
    own = next((one for one in fits if one.lens.name == report.family.lens.name), None)
    if own is None or len(focal_lengths(own.lens)) > 1:
        return ""
    said = all(limit.focal_mm <= own.lens.focal_mm for limit in _limits(now))
    fit = next(fit for fit in own.fits if fit.setup == AS_SET)
    if said == (fit.word is Word.CLEAR):
        return ""
    return (
        f" The {own.lens.name} itself, as the scene has it, is {fit.word} ({state_words(fit.plan)})."
        if said
        else (f" The {own.lens.name} itself, as measured, is clear.")
    )


def _by_focus(limits: SetupLimits) -> list[StateLimits]:
    """For each focus the stop that asks for the longest lens."""
    found: dict[float, StateLimits] = {}
    for state in limits.states:
        if state.focus_mm not in found or state.clear.focal_mm > found[state.focus_mm].clear.focal_mm:
            found[state.focus_mm] = state
    return list(found.values())


def _limits(limits: SetupLimits) -> list[Limit]:
    return [state.clear for state in _by_focus(limits)]


def _by_focus_words(limits: SetupLimits) -> str:
    return "; ".join(_limit_words(state) for state in _by_focus(limits))


def _limit_words(state: StateLimits) -> str:
    limit, setting, met = state.clear, setting_words_of(state), first_met(state)
    where = "" if met is None else met_words(met)
    if limit.fate is Fate.NONE:
        return f"none at {setting}{where and f' (always in: {where})'}"
    if limit.fate is Fate.ALL:
        return f"all at {setting}, down to {limit.focal_mm:.1f} mm"
    return f"{limit.focal_mm:.1f} mm at {setting}{where and f' (first in: {where})'}"


def first_met(state: StateLimits) -> Clearance | None:
    """What bites first in a state."""
    return state.touch.met or state.clear.met


def setting_words_of(state: StateLimits) -> str:
    """Focus and stop of a state."""
    return setting_words(state)  # type: ignore[arg-type]


def met_words(met: Clearance) -> str:
    """A part and where it bites: 'right flag, at the right'."""
    return f"{met.part}, {place_words(met)}" if met.where else met.part


def place_words(met: Clearance) -> str:
    """Where a part bites, as the operator sees it: 'top right corner', 'left edge'."""
    side = met.where.split(",")[0]
    if side == BEYOND:
        return side
    if side in {"", "centre"}:
        return side or "nowhere near"
    return f"{side} corner" if " " in side else f"{side} edge"


def family_words(report: WidestReport) -> str:
    """Which lenses are looked at."""
    return (
        f'Family of the "{report.family.lens.name}", {report.from_mm:.1f} to {report.to_mm:.1f} mm, with the parts that are fitted '
        "with it. Focal lengths in mm, rounded up to the longer lens. Assumed of its lenses:"
    )


def ahead_words(met: Clearance) -> str:
    """How far ahead a part bites; empty where it does nowhere."""
    return "" if met.point_mm is None else ahead_in_words(met.point_mm[2], form=".0f")


def limit_cell(limit: Limit) -> str:
    """A limit in a table: '30.2', '< 8.4' where all clear, 'none'."""
    if limit.fate is Fate.NONE:
        return "none"
    return f"< {limit.focal_mm:.1f}" if limit.fate is Fate.ALL else f"{limit.focal_mm:.1f}"


def own_front_words(report: WidestReport) -> str:
    """Where the family's own front comes into it: a seal round a front that is too small bites, whatever the box."""
    found = [(focus_mm, limit) for focus_mm, limit in report.own_front if limit.fate is Fate.FOUND]
    each = ", ".join(f"{limit.focal_mm:.1f} mm at {focus_words(focus_mm)}" for focus_mm, limit in found)
    return (
        f"The family's {TOO_SMALL} below {each}: wider lenses need a wider front (--front), and a seal to match." if found else ""
    )


def meaning_words(fits: Sequence[LensFits]) -> str:
    """What the words of the table of lenses mean."""
    used = sorted({fit.word for one in fits for fit in one.fits}, key=list(Word).index)
    return "; ".join(f"{word}: {MEANING[word]}" for word in used) + ". Numbers: the worst loss in stops."


def fit_words(fit: Fit) -> str:
    """'clear', 'tight', 'shading 0.3', 'in frame'."""
    if fit.word is not Word.SHADING:
        return fit.word.value
    return f"{fit.word.value} {fit.loss_stops:.1f}" if fit.loss_stops >= 0.05 else fit.word.value


def why_words(one: LensFits) -> str:
    """What stands in a lens's way as the box is set; empty where nothing does."""
    fit = one.fits[0]
    if fit.word is Word.CLEAR or fit.met is None:
        return ""
    deep = fit.met.clearance_mm
    if fit.met.where == BEYOND:
        return f"{one.lens.name}: {the(fit.met.part)} reaches {BEYOND}, where nothing is looked at ({state_words(fit.plan)})"
    how = f"{-deep:.1f} mm in" if deep < 0 else f"{deep:.1f} mm to spare"
    return f"{one.lens.name}: the {met_words(fit.met)}, {how} ({state_words(fit.plan)})"


def next_step(report: WidestReport) -> str:
    """What to do for wider lenses, in one sentence."""
    now = next(one for one in report.setups if one.setup == AS_SET)
    gains = [(setup_words(one.setup), a, b) for one in report.setups if not one.setup.added for a, b in _pairs(one, now)]
    if all(state.clear.fate is Fate.ALL for state in now.states):
        return "the box is no limit here: put the real lens into the scene and check it."
    if not gains:
        return _no_gain_words(report, now)
    words, then, before = max(gains, key=lambda gain: (round(gain[2].clear.focal_mm - gain[1].clear.focal_mm, 1), -len(gain[0])))
    every = " (no shorter one was looked at)" if then.clear.fate is Fate.ALL else ""
    now_from = "none is" if before.clear.fate is Fate.NONE else f"only those from {before.clear.focal_mm:.1f} mm up are"
    return (
        f"with {words}, lenses from {then.clear.focal_mm:.1f} mm up{every} are clear at {setting_words_of(then)}; now {now_from}."
    )


def _no_gain_words(report: WidestReport, now: SetupLimits) -> str:
    """What stands in the way where no set-up of this box lets a wider lens in: now, and behind that what is left to stand there."""
    bare = max((one for one in report.setups if not one.setup.added), key=_taken_off)
    here = next(one for one in bare.states if (one.focus_mm, one.f_number) == (now.clear.focus_mm, now.clear.f_number))
    first, behind = first_met(now.clear), first_met(here)
    if first is None:
        return "nothing that comes off this box lets a wider lens in."
    if behind is None or behind.part == first.part:
        return f"{the(first.part)} stands in the way of a wider lens, and nothing that comes off this box helps."
    also = f"with {setup_words(bare.setup)} {the(behind.part)} still does"
    return f"{the(first.part)} stands in the way of a wider lens, and {also}: both have to move."


def _taken_off(limits: SetupLimits) -> int:
    """How much of the box a set-up leaves off."""
    return (not limits.setup.masked) + (not limits.setup.flagged)


def _pairs(one: SetupLimits, now: SetupLimits) -> list[tuple[StateLimits, StateLimits]]:
    """The states in which a setup lets wider lenses be used, each beside that of now."""
    both = zip(one.states, now.states, strict=True)
    return [(then, before) for then, before in both if then.clear.focal_mm < before.clear.focal_mm - LEAST_GAIN_MM]
