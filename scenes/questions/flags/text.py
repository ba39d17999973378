"""The sentences about a flag: what swings, where it meets the beam, how it is set, what its hinge stands too near to."""

from __future__ import annotations

import math
from collections.abc import Sequence

from geometry.flags import MOST_DEG
from scenes.changes.flag_places import FlagPlace
from scenes.changes.flag_summaries import FlagState, FlagSummary, HingeRoom
from scenes.runtime.page import clipped
from scenes.states.names import setting_words

NAMED = 3  # states named one by one before the rest is counted
MOST_HINGE_MM = 60.0  # a hinge so much farther out is another box


def size_words(flag: FlagSummary | FlagPlace) -> str:
    """What swings: '110 x 310 mm, extension 70 mm at +10'."""
    bars = flag.bars
    more = f", extension {bars.extension_mm:g} mm at {bars.extension_deg:+g}" if bars.extension_mm > 0.0 else ""
    return f"{flag.side} side, {bars.length_mm:g} x {bars.width_mm:g} mm{more}"


def state_cell(words: str, width: int) -> str:
    """A state's words; where they are too long without the word 'focus', so that its stop is not cut off."""
    return words if len(words) <= width else clipped(words.replace(", focus ", ", "), width)


def met_words(state: FlagState) -> str:
    """Where a flag meets the beam first, and with what; how far it may be opened where that is not right back."""
    limits = state.limits
    if limits.clear_deg == math.inf:
        return "hinge in beam" if limits.hinge is None or limits.hinge.clear_mm < 0.0 else "hinge too near"
    upto = "" if limits.folds_back else f", to {limits.most_deg:.1f}"
    return f"{touch_words(state)}{upto}".removeprefix(", ")


def touch_words(state: FlagState) -> str:
    """Where a flag meets the beam first, and with what: 'top, ext.'."""
    touch = state.limits.touch
    return f"{touch.where}{', ext.' if touch.blade else ''}".removeprefix(", ")


def angle_words(angle_deg: float | None) -> str:
    """An opening angle for people: '41.3', 'any' where all clear, 'none' where none does."""
    if angle_deg is None:
        return ""
    if angle_deg == -math.inf:
        return "any"
    return "none" if angle_deg == math.inf else f"{angle_deg + 0.0:.1f}"


def answer_words(flags: Sequence[FlagSummary]) -> str:
    """How far in each flag may come, in a sentence."""
    if not flags:
        return "The box has no flag."
    left_out = {_named(flag.hopeless) if flag.hopeless else "" for flag in flags}
    is_none = any(len(flag.hopeless) == len(flag.states) for flag in flags)
    alike = left_out.pop() if len(left_out) == 1 and not is_none else None  # told once of all flags
    told = ", ".join(f"{flag.name} {_farthest_words(flag, told_already=alike is not None)}" for flag in flags)
    where = "" if alike is None else f" in every state but {alike}" if alike else " in every state"
    return f"Farthest in, with the frame clear of the flag{where}: {told}."


def _farthest_words(flag: FlagSummary, *, told_already: bool) -> str:
    if len(flag.hopeless) == len(flag.states):
        return "at no angle"
    but = f", all but {_named(flag.hopeless)}" if flag.hopeless and not told_already else ""
    if flag.clear_deg > flag.most_deg:
        return f"at no one angle{but}"
    least = "at any angle" if flag.clear_deg == -math.inf else f"{flag.clear_deg + 0.0:.1f} deg"
    upto = "" if flag.most_deg >= MOST_DEG else f" up to {flag.most_deg:.1f} deg"
    turn = _turn_words(flag)
    if least == "at any angle" and not turn:
        return f"{least}{upto}{but}"
    return f"{least}{upto} (set to {flag.set_deg:g}{turn}{but})"


def set_words(flag: FlagSummary) -> str:
    """How a flag is set against its limits, and what its hinge stands too near to, in one sentence."""
    return "; ".join(set_lines(flag))


def set_lines(flag: FlagSummary) -> list[str]:
    """The same in short sentences, the one that matters first."""
    kept = flag.kept().states
    shading = [state for state in kept if not state.limits.visible_deg <= flag.set_deg <= state.limits.touch_most_deg]
    narrow = [state for state in kept if not state.limits.clear_deg <= flag.set_deg <= state.limits.most_deg]
    tight = [state for state in narrow if all(state is not other for other in shading)]
    rest = [words for words in (_hopeless_words(flag), _folding_words(flag), _focus_words(flag)) if words]
    if narrow:
        parts = [f"darkens {_named(shading)}"] if shading else []
        parts += [f"has next to no room with {_named(tight)}"] if tight else []
        return [f"set to {flag.set_deg:g} it {' and '.join(parts)}{_turn_words(flag)}", *rest]
    spare = min(flag.set_deg - flag.clear_deg, math.inf if flag.most_deg >= MOST_DEG else flag.most_deg - flag.set_deg)
    room = f", {spare:.1f} deg to spare" if math.isfinite(spare) else ""
    others = " other" if flag.hopeless else ""
    return [f"set to {flag.set_deg:g} it keeps every{others} state clear{room}", *rest] if kept else rest


def _turn_words(flag: FlagSummary) -> str:
    """Which way to turn a flag that takes from the frame."""
    if flag.clear_deg > flag.most_deg:
        return "; no one angle clears them all"
    if flag.set_deg < flag.clear_deg:
        return f"; open it to {flag.clear_deg:.1f}"
    return f"; bring it in to {flag.most_deg:.1f}" if flag.set_deg > flag.most_deg else ""


def _hopeless_words(flag: FlagSummary) -> str:
    """States that no angle clears, and how near to the beam the hinge stands there."""
    if not flag.hopeless:
        return ""
    worst = min(flag.hopeless, key=lambda state: state.limits.hinge.clear_mm if state.limits.hinge else -math.inf)
    return f"no angle clears {_named(flag.hopeless)}{_hinge_words(worst.limits.hinge)}"


def _hinge_words(room: HingeRoom | None) -> str:
    if room is None:
        return ", where its hinge stands in the beam"
    if room.farther_mm is None:
        return ": its hinge, or the blade at any angle, stands beyond the plane in focus"
    far = room.farther_mm > MOST_HINGE_MM
    out = ": no single change of the flag helps" if far else f": hinge it {room.farther_mm:.1f} mm farther out"
    if room.clear_mm < 0.0:
        return f", where its hinge stands in the beam, by up to {-room.clear_mm:.1f} mm{out}"
    return f", where its hinge is {room.clear_mm:.1f} mm clear of the beam itself, too near for a clear frame{out}"


def _folding_words(flag: FlagSummary) -> str:
    """Why a flag may not be folded right back, and what would let it."""
    short = [state for state in flag.kept().states if not state.limits.folds_back]
    if not short:
        return ""
    rooms = [state.limits.hinge for state in short if state.limits.hinge]
    clear, farther = min(room.clear_mm for room in rooms), max(room.farther_mm or 0.0 for room in rooms)
    near = f"its hinge is {max(clear, 0.0):.1f} mm clear of the beam, and the blade {flag.bars.thickness_mm:g} mm thick"
    way_out = f"a thinner blade, or a hinge {farther:.1f} mm farther out, lets it fold right back"
    return f"past {flag.most_deg:.1f} it would dip back into the beam of {_named(short)}: {near}; {way_out}"


def _focus_words(flag: FlagSummary) -> str:
    """States in which the flag can reach beyond the plane in focus."""
    near = [state for state in flag.states if state.focus_in_reach]
    if not near:
        return ""
    return f"far in it reaches beyond the plane in focus with {_named(near)}, where nothing is called clear"


def _named(states: Sequence[FlagState]) -> str:
    """States by lens: '24 (450 mm, f/2.8; 450 mm, f/5.6)', the many counted."""
    if len(states) > NAMED:
        lenses = list(dict.fromkeys(state.plan.lens_name for state in states))
        return f"{len(states)} states ({', '.join(lenses)})"
    by_lens: dict[str, list[str]] = {}
    for state in states:
        by_lens.setdefault(state.plan.lens_name, []).append(setting_words(state.plan))
    return ", ".join(f"{lens} ({'; '.join(settings)})" for lens, settings in by_lens.items())


def angle_value(angle_deg: float | None) -> float | str | None:
    """An angle as data: a number, "any" or "none"."""
    if angle_deg is None:
        return None
    return round(angle_deg, 2) + 0.0 if math.isfinite(angle_deg) else angle_words(angle_deg)
