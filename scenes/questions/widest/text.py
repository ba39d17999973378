"""The widest lens that clears a box, as tables for people and as plain data for other programs."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from geometry.frame import ahead_in_words
from raytrace.beam.clearance import Clearance
from scenes.questions.widest.lens_family import assumed
from scenes.questions.widest.report import Fate, Limit, SetupLimits, StateLimits, WidestReport
from scenes.questions.widest.scene_lenses import Fit, LensFits
from scenes.questions.widest.setups import AS_SET, Setup, setup_words
from scenes.states.clear_rule import MEANING, WALK_MM, Word
from scenes.states.lens_front import TOO_SMALL
from scenes.states.names import setting_words, state_words

WIDTH = 100
SCHEMA_VERSION = 1
LEAST_GAIN_MM = 0.05  # half a step of what is told
ROW = "  {0:28} {1:>6} {2:>6}  {3:18} {4}"
STATE_ROW = "    {0:26} {1:>6} {2:>6}  {3:18} {4}"
CAUTION = (
    "A lens of a family is a guess at one that nobody has measured: measure the pupil of the real lens, put it into the scene, "
    "run `brimline check`, and confirm at the test shoot. A stack that grows gets heavier: ask the rental house what lens and "
    "rods may carry."
)


def widest_lines(report: WidestReport, fits: Sequence[LensFits], title: str) -> list[str]:
    """The whole answer for people, the answer itself first."""
    lines = [clipped(f"Widest: {title}" if title else "Widest"), *wrapped(answer_words(report)), ""]
    lines += [*_assumed_lines(report), "", *_setup_lines(report), *_own_front_lines(report)]
    lines += ["", *_catalogue_lines(fits)] if fits else []
    return [line.rstrip() for line in [*lines, "", *wrapped(f"Next: {next_step(report)}"), *wrapped(CAUTION)]]


def answer_words(report: WidestReport) -> str:
    """The answer in one or two sentences: as set, and in the setup that lets the widest lens be used."""
    now = next(one for one in report.setups if one.setup == AS_SET)
    words = f"Widest that clears this box as set: {_by_focus_words(now)}."
    best = min(report.setups, key=lambda one: [limit.focal_mm for limit in _limits(one)])
    if any(better.focal_mm < limit.focal_mm for better, limit in zip(_limits(best), _limits(now), strict=True)):
        words += f" With {setup_words(best.setup)}: {_by_focus_words(best)}."
    return words


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
    where = "" if met is None else f", the {met_words(met)}"
    if limit.fate is Fate.NONE:
        return f"none at {setting}{where} is always in"
    if limit.fate is Fate.ALL:
        return f"all at {setting}, down to {limit.focal_mm:.1f} mm"
    return f"{limit.focal_mm:.1f} mm at {setting}{where} bites first"


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
    if side in {"", "centre"}:
        return side or "nowhere near"
    return f"{side} corner" if " " in side else f"{side} edge"


def _assumed_lines(report: WidestReport) -> Iterator[str]:
    name = report.family.lens.name
    yield from wrapped(
        f'Family of the "{name}", {report.from_mm:.1f} to {report.to_mm:.1f} mm, with the parts that are fitted with it. '
        "Focal lengths in mm, rounded up to the longer lens. Assumed of its lenses:"
    )
    for sentence in assumed(report.family):
        yield from wrapped(f"- {sentence}", "  ")


def _setup_lines(report: WidestReport) -> Iterator[str]:
    yield from wrapped(
        f"clears: takes nothing, with 2 % of the frame to spare, and {WALK_MM:g} mm where a pupil is taken as fixed, as `check` "
        "asks for; bites: below this it stands in the beam."
    )
    yield ROW.format("setup, focus and stop", "clears", "bites", "bites first", "where")
    yield "-" * WIDTH
    for one in report.setups:
        yield clipped(_row(ROW, _name(one.setup, report.added_mm), one.clear))
        yield from (clipped(_row(STATE_ROW, setting_words_of(state), state)) for state in one.states)
    yield "-" * WIDTH


def _name(setup: Setup, added_mm: float) -> str:
    return setup_words(setup).replace("one stage more", f"stage more ({added_mm:g} mm)")


def _row(form: str, words: str, state: StateLimits) -> str:
    met = first_met(state)
    part, where = (met.part, f"{place_words(met)}, {_ahead(met)}") if met else ("", "")
    return form.format(shortened(words, 28), _cell(state.clear), _cell(state.touch), shortened(part, 18), where)


def _ahead(met: Clearance) -> str:
    return "" if met.point_mm is None else ahead_in_words(met.point_mm[2], form=".0f")


def _cell(limit: Limit) -> str:
    if limit.fate is Fate.NONE:
        return "none"
    return f"< {limit.focal_mm:.1f}" if limit.fate is Fate.ALL else f"{limit.focal_mm:.1f}"


def _own_front_lines(report: WidestReport) -> Iterator[str]:
    """Where the family's own front comes into it: a seal round a front that is too small bites, whatever the box."""
    found = [(focus_mm, limit) for focus_mm, limit in report.own_front if limit.fate is Fate.FOUND]
    if found:
        each = ", ".join(f"{limit.focal_mm:.1f} mm at {_focus_words(focus_mm)}" for focus_mm, limit in found)
        yield from wrapped(
            f"The family's {TOO_SMALL} below {each}: wider lenses need a wider front (--front), and a seal to match."
        )


def _focus_words(focus_mm: float) -> str:
    return "infinity" if math.isinf(focus_mm) else f"{focus_mm:g} mm"


def _catalogue_lines(fits: Sequence[LensFits]) -> Iterator[str]:
    yield from wrapped("The scene's own lenses, as measured, at every zoom row and focus of [check] and the widest stop asked for:")
    setups = [fit.setup for fit in fits[0].fits]
    yield "  " + f"{'lens':16}" + "".join(f"{words:>13}" for words in (_column(setup)[0] for setup in setups))
    yield "  " + f"{'':16}" + "".join(f"{words:>13}" for words in (_column(setup)[1] for setup in setups))
    yield "-" * WIDTH
    for one in fits:
        yield clipped(f"  {shortened(one.lens.name, 16):16}" + "".join(f"{fit_words(fit):>13}" for fit in one.fits))
    yield "-" * WIDTH
    for one in fits:
        yield from _why(one)
    used = sorted({fit.word for one in fits for fit in one.fits}, key=list(Word).index)
    yield from wrapped("; ".join(f"{word}: {MEANING[word]}" for word in used) + ". Numbers: the worst loss in stops.")


def _column(setup: Setup) -> tuple[str, str]:
    what = "stage more" if setup.added else "as set" if setup.masked else "mask out"
    return (what, "") if setup.flagged else ("flags off", "" if what == "as set" else what)


def fit_words(fit: Fit) -> str:
    """'clear', 'tight', 'shading 0.3', 'in frame'."""
    if fit.word is not Word.SHADING:
        return fit.word.value
    return f"{fit.word.value} {fit.loss_stops:.1f}" if fit.loss_stops >= 0.05 else fit.word.value


def _why(one: LensFits) -> Iterator[str]:
    """What stands in a lens's way as the box is set."""
    fit = one.fits[0]
    if fit.word is Word.CLEAR or fit.met is None:
        return
    deep = fit.met.clearance_mm
    how = f"{-deep:.1f} mm in" if deep < 0 else f"{deep:.1f} mm to spare"
    yield clipped(f"  {one.lens.name}: the {met_words(fit.met)}, {how} ({state_words(fit.plan)})")


def next_step(report: WidestReport) -> str:
    """What to do for wider lenses, in one sentence."""
    now = next(one for one in report.setups if one.setup == AS_SET)
    gains = [(setup_words(one.setup), a, b) for one in report.setups if not one.setup.added for a, b in _pairs(one, now)]
    if all(state.clear.fate is Fate.ALL for state in now.states):
        return "the box is no limit here: put the real lens into the scene and check it."
    if not gains:
        met = first_met(now.clear)
        return f"neither flags nor mask stand in the way of a wider lens: the {met.part if met else 'box'} does."
    words, then, before = max(gains, key=lambda gain: (round(gain[2].clear.focal_mm - gain[1].clear.focal_mm, 1), -len(gain[0])))
    return f"{words} lets lenses down to {_cell(then.clear)} mm be used at {setting_words_of(then)}, not {_cell(before.clear)}."


def _pairs(one: SetupLimits, now: SetupLimits) -> list[tuple[StateLimits, StateLimits]]:
    """The states in which a setup lets wider lenses be used, each beside that of now."""
    both = zip(one.states, now.states, strict=True)
    return [(then, before) for then, before in both if then.clear.focal_mm < before.clear.focal_mm - LEAST_GAIN_MM]


def widest_dict(report: WidestReport, fits: Sequence[LensFits], title: str) -> dict[str, Any]:
    """The whole answer as plain data."""
    return {
        "brimline_widest": SCHEMA_VERSION,
        "title": title,
        "answer": answer_words(report),
        "family": {
            "of": report.family.lens.name,
            "from_mm": round(report.from_mm, 3),
            "to_mm": round(report.to_mm, 3),
            "assumed": list(assumed(report.family)),
            "own_front": [{"focus_mm": _finite(d) or "infinity"} | _limit_dict(limit) for d, limit in report.own_front],
        },
        "added_stage_mm": report.added_mm,
        "setups": [_setup_dict(one) for one in report.setups],
        "lenses": [{"lens": one.lens.name, "setups": [_fit_dict(fit) for fit in one.fits]} for one in fits],
        "next": next_step(report),
    }


def _setup_dict(one: SetupLimits) -> dict[str, Any]:
    return {
        "setup": setup_words(one.setup),
        "clears_from_mm": _finite(one.clear.clear.focal_mm),
        "bites_below_mm": _finite(one.touch.touch.focal_mm),
        "states": [
            {
                "focus_mm": _finite(state.focus_mm) or "infinity",
                "f_number": state.f_number,
                "clears": _limit_dict(state.clear),
                "bites": _limit_dict(state.touch),
            }
            for state in one.states
        ],
    }


def _limit_dict(limit: Limit) -> dict[str, Any]:
    return {"found": limit.fate.value, "focal_mm": _finite(limit.focal_mm), **_met_dict(limit.met)}


def _met_dict(met: Clearance | None) -> dict[str, Any]:
    if met is None:
        return {"part": None}
    point = None if met.point_mm is None else [round(value, 3) for value in met.point_mm]
    return {"part": met.part, "where": met.where, "point_mm": point, "guide": met.guide}


def _fit_dict(fit: Fit) -> dict[str, Any]:
    clearance = None if fit.met is None else _finite(round(fit.met.clearance_mm, 3))
    loss = None if math.isinf(fit.loss_stops) else round(fit.loss_stops, 4)
    data = {"setup": setup_words(fit.setup), "verdict": fit.word.value, "clearance_mm": clearance, "loss_stops": loss}
    return data | {"state": fit.plan.key} | _met_dict(fit.met)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def wrapped(text: str, indent: str = "") -> list[str]:
    """Lines of at most WIDTH columns."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + ("  " if text.startswith("- ") else ""))


def clipped(line: str) -> str:
    """A line cut to WIDTH columns."""
    return line if len(line) <= WIDTH else f"{line[: WIDTH - 3]}..."


def shortened(words: str, room: int) -> str:
    """Words cut to their column."""
    return words if len(words) <= room else f"{words[: room - 2]}.."
