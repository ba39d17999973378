"""Advice for several lenses at once, on all cores: flags that stand too far in, what closes openings, what keeps lights off."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from scenes.questions.leaks.advice import Advice
from scenes.questions.leaks.advice_limits import AdviceLimits
from scenes.questions.leaks.light_adviser import LightAdviser, flags_to_open
from scenes.questions.leaks.opening_adviser import OpeningAdviser
from scenes.questions.leaks.report import LeakReport
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out

ADVICE_S = 2.0  # what the openings of a lens, or a light, take, about
OPENINGS = -1  # stands for all openings where a light has its place


def advise_all(reports: Sequence[LeakReport], *, target: str, keeping: AdviceLimits, tick: Tick = silent) -> list[Advice]:
    """Changes for every gap and every light that reaches the target, each recomputed, none at the cost of a state of `keeping`.

    For several lenses, on all cores; `tick` counts openings of a lens, and each of its lights.
    """
    keeping.look()
    states = keeping.kept.states
    asked = [(report, light, states) for report in reports for light in (OPENINGS, *range(len(report.lights)))]
    each = iter(shared_out(partial(_advised, target, keeping), asked, each_s=ADVICE_S, tick=tick, elsewhere=True))
    found = []
    for report in reports:
        openings, *lights = (next(each) for _ in range(1 + len(report.lights)))
        too_far_in = tuple(flags_to_open(report.plan.fitted, keeping.limits))
        found.append(Advice(openings=openings, lights=tuple(one for some in lights for one in some), too_far_in=too_far_in))
    return found


def _advised(target: str, keeping: AdviceLimits, asked: tuple[LeakReport, int, object]) -> tuple[Any, ...]:
    """What is advised for all openings of a report, or for one of its lights, by its place: none or one."""
    report, light, _ = asked
    if light == OPENINGS:
        return tuple(OpeningAdviser(report, target, keeping).advice())
    return tuple(LightAdviser(report, target, keeping).advice(report.lights[light]))
