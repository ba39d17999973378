"""How each lens fares between the states that were checked: from which focus to which it is clear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from scenes.runtime.progress import Tick, silent

if TYPE_CHECKING:
    from scenes.states.lens_judgement import LensJudgement
    from scenes.states.state import State


def between_states(
    plans: Sequence[State], told: Mapping[str, bool] | None = None, *, tick: Tick = silent
) -> tuple[LensJudgement, ...]:
    """Every lens over the range that its states span, with what a clear one rests on; left out where that cannot be worked out.

    told: by a state's key, whether it was called clear; those are called the same here.
    """
    from scenes.states.full_range import settings_spanned
    from scenes.states.lens_judgement import judge_lens

    found = []
    for name in dict.fromkeys(plan.lens_name for plan in plans):
        try:
            for states in settings_spanned(plan for plan in plans if plan.lens_name == name):
                judged = judge_lens(states, told)
                found.append(_resting(judged, states) if judged.clear else judged)
        except Exception:  # noqa: BLE001 - the verdicts of the states must not be lost with it
            continue
    tick(1, "lenses between their states")
    return tuple(found)


def _resting(judged: LensJudgement, states: Sequence[State]) -> LensJudgement:
    """A clear lens with what that rests on: on the pupil as stated where it cannot be worked out how far that may be out."""
    from scenes.states.unconfirmed import ClearWhile, Number, clear_while

    try:
        return replace(judged, clear_while=clear_while(states))
    except Exception:  # noqa: BLE001 - the range that was judged must not be lost with it
        return replace(judged, clear_while=ClearWhile(number=Number.PUPIL, off_by=0.0))
