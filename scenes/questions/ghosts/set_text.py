"""The one tilt for a whole set in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from raytrace.ghosts.seen import ANYWHERE, MIDDLE
from scenes.changes.tilts import lean_words
from scenes.questions.ghosts.set_tilt import Left, SetTilt

NAMED = 3  # states named one by one before the rest is counted
CONFIRM = "then run brimline check: this looked at the frame's edge only"


def set_words(answer: SetTilt) -> str:
    """What to set for all states at once, or that no one tilt does, and what comes nearest."""
    left_out = _listed(" Left out, as the box takes light there as it is (mend that first): ", answer.dark)
    return f"{_said(answer)}{left_out}{_listed(' Not counted, with no light of the scene in the picture: ', answer.not_counted)}"


def _said(answer: SetTilt) -> str:
    if answer.is_present:
        return f"{_head(answer)}: leave the tilts as they are; no ghost of {answer.lights} is in any frame."
    if answer.clears:
        short = f"; nothing that fits does it for {ANYWHERE}" if answer.lights == MIDDLE else ""
        every = f"sends the ghosts of {answer.lights} out of every frame"
        return f"{_head(answer)}: set {_setting(answer)}, which {every}{short}; {CONFIRM}."
    why = f": {answer.why}" if answer.why else " within 30 deg"
    none = f"No one tilt{_but(answer)} sends the ghosts of {answer.lights} out of every frame{why}."
    if answer.tilt_deg is None:
        rest = "tilt for each lens by itself, coat the filters, or go without them"
        return f"{none} None that fits does better than the present one{_on_light(answer)}: {rest}."
    left = f"it leaves a ghost in {len(answer.left)} of {answer.count} states, {_named(answer.left)}; now {len(answer.left_now)}"
    return f"{none} The best that fits is {_setting(answer)}: {left}; {CONFIRM}."


def _on_light(answer: SetTilt) -> str:
    own = "which leaves each ghost on its own light until the camera pans"
    return f", {own}" if answer.left_now and all(one.on_light for one in answer.left_now) else ""


def _head(answer: SetTilt) -> str:
    whom = _whom(answer)
    return f"For {whom}" if answer.count == 1 and not answer.dark and whom else f"One tilt for {whom or 'all of them'}"


def _but(answer: SetTilt) -> str:
    return f" for {_whom(answer)}" if _whom(answer) else ""


def _whom(answer: SetTilt) -> str:
    """Which states are spoken of; '' for all."""
    if answer.dark:
        return f"the other {answer.count}"
    states = "the one state" if answer.count == 1 else f"the {answer.count} states"
    return f"{states} with a light in the picture" if answer.not_counted else ""


def _setting(answer: SetTilt) -> str:
    assert answer.tilt_deg is not None
    return f"{' and '.join(answer.keys)} = {answer.tilt_deg:g} ({lean_words(toward_scene=answer.tilt_deg >= 0)})"


def _named(left: Sequence[Left]) -> str:
    worst = sorted(left, key=lambda one: one.stops)
    named = ", ".join(f"{one.words} ({one.stops:.1f} stops down)" for one in worst[:NAMED])
    return f"{named}{f' and {len(worst) - NAMED} more' if len(worst) > NAMED else ''}"


def _listed(head: str, words: Sequence[str]) -> str:
    if not words:
        return ""
    return f"{head}{'; '.join(words[:NAMED])}{f' and {len(words) - NAMED} more' if len(words) > NAMED else ''}."
