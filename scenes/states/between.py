"""How each lens fares between the states that were checked: from which focus to which it is clear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from scenes.runtime.progress import Tick, silent

if TYPE_CHECKING:
    from scenes.states.lens_judgement import LensJudgement
    from scenes.states.state import State


def between_states(plans: Sequence[State], *, tick: Tick = silent) -> tuple[LensJudgement, ...]:
    """Every lens over the range that its states span, with what a clear one rests on; left out where that cannot be worked out."""
    from scenes.states.full_range import settings_spanned
    from scenes.states.lens_judgement import judge_lens
    from scenes.states.unconfirmed import clear_while

    found = []
    for name in dict.fromkeys(plan.lens_name for plan in plans):
        try:
            for states in settings_spanned(plan for plan in plans if plan.lens_name == name):
                judged = judge_lens(states)
                found.append(replace(judged, clear_while=clear_while(states)) if judged.clear else judged)
        except Exception:  # noqa: BLE001 - the verdicts of the states must not be lost with it
            continue
    tick(1, "lenses between their states")
    return tuple(found)
