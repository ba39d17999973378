"""Flag windows as a table for people and as plain data for other programs."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from raytrace.stray.flag_window import MOST_DEG
from scenes.changes.flag_angles import FlagPlace, FlagState, FlagSummary, HingeRoom, Limits
from scenes.states.names import setting_words, state_words
from scenes.states.state import StatePlan

WIDTH = 100
SCHEMA_VERSION = 1
ROW = "  {0:32} {1:>5} {2:>7} {3:>8}  {4:>5} {5:>7} {6:>8} {7}"
STATE_WIDTH = 32
NAMED = 3  # states named one by one before the rest is counted
CAUTIONS = (
    "These angles are for flags and lenses as drawn: measure the hinge and the pupil, and confirm at the test shoot.",
    "Flags catch the wind and hang weight far out: carry the box on rods, not on the lens front; secure what could fall.",
)


def flags_lines(flags: Sequence[FlagSummary], title: str, visible_stops: float) -> list[str]:
    """The whole answer for people, `WIDTH` columns."""
    lines = [clipped(f"Flags: {title}" if title else "Flags")]
    lines += wrapped(
        "Smallest opening angles [deg]: 0 lies along the lens axis, 90 stands straight out; rounded up. clear: takes "
        f"nothing, and 2 % of the frame to spare; touches: the beam's own edge; {visible_stops:g} stop: costs at most that."
    )
    for flag in flags:
        lines += ["", *flag_lines(flag, visible_stops)]
    if not flags:
        lines += ["", "The box has no flag."]
    return [line.rstrip() for line in lines]


def joint_lines(joint: tuple[float, StatePlan] | None, visible_stops: float) -> list[str]:
    """What all flags cost together, where each is set to the angle at which it alone costs the visible loss."""
    if joint is None:
        return []
    loss, plan = joint
    most = f"up to {loss:.2f} stop" if math.isfinite(loss) else "all light"
    rest = " Set all but one of them to `clear`." if loss > visible_stops else ""
    head = f"All flags at their `{visible_stops:g} stop` angles at once cost {most} at the worst place ({state_words(plan)})."
    return ["", *wrapped(head + rest)]


def together_lines(met: str) -> list[str]:
    """That flags at their `clear` angles would stand in each other's way; nothing where they do not."""
    if not met:
        return []
    return ["", *wrapped(f"All flags at their `clear` angles at once do not pass each other: {met}. Leave one of them open.")]


def caution_lines() -> list[str]:
    """What is to be said once, at the end."""
    return [line for caution in CAUTIONS for line in wrapped(caution)]


def flag_lines(flag: FlagSummary, visible_stops: float) -> list[str]:
    """One flag: a row for each state, one for all of them, and how it is set."""
    loss = f"{visible_stops:g} stop"
    double = flag.bars.extension_mm > 0.0
    head = ROW.format("state", "clear", "touches", loss, *(("clear", "touches", loss) if double else ("", "", "")), "touches first")
    over = [ROW.format("", "", "with", "ext.", "", "without", "ext.", "")] if double else []
    lines = [clipped(f"{flag.name}, set to {flag.set_deg:g}: {size_words(flag)}"), *over, head, "-" * WIDTH]
    lines += [_row(state_words(state.plan), state.limits, state.bare, met_words(state)) for state in flag.states]
    lines += ["-" * WIDTH, *_all_rows(flag)]
    return [*lines, *wrapped(set_words(flag), "  -> ")]


def size_words(flag: FlagSummary | FlagPlace) -> str:
    """What swings: '110 x 310 mm, extension 70 mm at +10'."""
    bars = flag.bars
    more = f", extension {bars.extension_mm:g} mm at {bars.extension_deg:+g}" if bars.extension_mm > 0.0 else ""
    return f"{flag.side} side, {bars.length_mm:g} x {bars.width_mm:g} mm{more}"


def _row(words: str, limits: Limits, bare: Limits | None, met: str) -> str:
    with_it = [angle_words(value) for value in (limits.clear_deg, limits.touch_deg, limits.visible_deg)]
    without = [angle_words(value) for value in (bare.clear_deg, bare.touch_deg, bare.visible_deg)] if bare else ["", "", ""]
    return clipped(ROW.format(_state_cell(words), *with_it, *without, met))


def _state_cell(words: str) -> str:
    """A state's words; where they are too long without the word 'focus', so that its stop is not cut off."""
    return words if len(words) <= STATE_WIDTH else shortened(words.replace(", focus ", ", "), STATE_WIDTH)


def _all_rows(flag: FlagSummary) -> Iterator[str]:
    kept = flag.kept()
    if not kept.states:
        yield "  no angle clears in any state: the hinge stands in the beam, or too near to it"
        return
    found = []
    for bare in (False, True) if flag.bars.extension_mm > 0.0 else (False,):
        found += [angle_words(kept.limit(key, bare=bare)[0]) for key in ("clear_deg", "touch_deg", "visible_deg")]
    decides = state_words(kept.limit("clear_deg")[1].plan)
    words = "all states" if not flag.hopeless else "all that can be cleared"
    yield clipped(ROW.format(words, *found, *([""] * (6 - len(found))), "").rstrip())
    yield clipped(f"  decided by {decides}")


def met_words(state: FlagState) -> str:
    """Where a flag meets the beam first, and with what; how far it may be opened where that is not right back."""
    limits = state.limits
    if limits.clear_deg == math.inf:
        return "hinge in beam" if limits.hinge is None or limits.hinge.clear_mm < 0.0 else "hinge too near"
    touch = limits.touch if limits.touch.where else limits.clear
    upto = "" if limits.folds_back else f", to {limits.most_deg:.1f}"
    return f"{touch.where}{', ext.' if touch.blade else ''}{upto}".removeprefix(", ")


def angle_words(angle_deg: float) -> str:
    """An opening angle for people: '41.3', 'any' where all clear, 'none' where none does."""
    if angle_deg == -math.inf:
        return "any"
    return "none" if angle_deg == math.inf else f"{angle_deg + 0.0:.1f}"


def set_words(flag: FlagSummary) -> str:
    """How a flag is set against its limits, and what its hinge stands too near to, in one sentence."""
    kept = flag.kept().states
    shading = [state for state in kept if not state.limits.visible_deg <= flag.set_deg <= state.limits.touch_most_deg]
    narrow = [state for state in kept if not state.limits.clear_deg <= flag.set_deg <= state.limits.most_deg]
    tight = [state for state in narrow if all(state is not other for other in shading)]
    rest = "".join(f"; {words}" for words in (_hopeless_words(flag), _folding_words(flag), _focus_words(flag)) if words)
    if narrow:
        parts = [f"darkens {_named(shading)}"] if shading else []
        parts += [f"has next to no room with {_named(tight)}"] if tight else []
        return f"set to {flag.set_deg:g} it {' and '.join(parts)}{_mend_words(flag)}{rest}"
    spare = min(flag.set_deg - flag.clear_deg, math.inf if flag.most_deg >= MOST_DEG else flag.most_deg - flag.set_deg)
    room = f", {spare:.1f} deg to spare" if math.isfinite(spare) else ""
    others = " other" if flag.hopeless else ""
    return f"set to {flag.set_deg:g} it keeps every{others} state clear{room}{rest}" if kept else rest.removeprefix("; ")


def _mend_words(flag: FlagSummary) -> str:
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
    return f"no angle clears {_named(flag.hopeless)}, {_hinge_words(worst.limits.hinge)}"


def _hinge_words(room: HingeRoom | None) -> str:
    if room is None:
        return "where its hinge stands in the beam"
    out = f": hinge it {room.farther_mm:.1f} mm farther out"
    if room.clear_mm < 0.0:
        return f"where its hinge stands in the beam, by up to {-room.clear_mm:.1f} mm{out}"
    return f"where its hinge is {room.clear_mm:.1f} mm clear of the beam itself, too near for a clear frame{out}"


def _folding_words(flag: FlagSummary) -> str:
    """Why a flag may not be folded right back, and what would let it."""
    short = [state for state in flag.kept().states if not state.limits.folds_back]
    if not short:
        return ""
    rooms = [state.limits.hinge for state in short if state.limits.hinge]
    clear, farther = min(room.clear_mm for room in rooms), max(room.farther_mm for room in rooms)
    near = f"its hinge is {max(clear, 0.0):.1f} mm clear of the beam, and the blade {flag.bars.thickness_mm:g} mm thick"
    way_out = f"a thinner blade, or a hinge {farther:.1f} mm farther out, lets it fold right back"
    return f"open it no farther than {flag.most_deg:.1f} with {_named(short)}: {near}; {way_out}"


def _focus_words(flag: FlagSummary) -> str:
    """States in which the flag can reach beyond the plane in focus."""
    near = [state for state in flag.states if state.focus_in_reach]
    if not near:
        return ""
    reach = f"far in it reaches beyond the plane in focus with {_named(near)}"
    return f"{reach}: it is held off the beam there as well, but check calls no frame clear with a flag that far"


def _named(states: Sequence[FlagState]) -> str:
    """States by lens: '24 (450 mm, f/2.8; 450 mm, f/5.6)', the many counted."""
    if len(states) > NAMED:
        lenses = list(dict.fromkeys(state.plan.lens_name for state in states))
        return f"{len(states)} states ({', '.join(lenses)})"
    by_lens: dict[str, list[str]] = {}
    for state in states:
        by_lens.setdefault(state.plan.lens_name, []).append(setting_words(state.plan))
    return ", ".join(f"{lens} ({'; '.join(settings)})" for lens, settings in by_lens.items())


def wrapped(text: str, indent: str = "") -> list[str]:
    """A sentence on lines of `WIDTH`."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent))


def shortened(text: str, width: int) -> str:
    """The text, cut with an ellipsis where it is longer than the width."""
    return text if len(text) <= width else f"{text[: width - 1]}…"


def clipped(text: str) -> str:
    """A line of at most `WIDTH`."""
    return shortened(text, WIDTH)


def flags_dict(
    flags: Sequence[FlagSummary],
    title: str,
    visible_stops: float,
    joint: tuple[float, StatePlan] | None = None,
    met: str = "",
) -> dict[str, Any]:
    """The whole answer as plain data."""
    return {
        "brimline_flags": SCHEMA_VERSION,
        "scene": title,
        "visible_loss_stops": visible_stops,
        "cautions": list(CAUTIONS),
        "flags": [flag_dict(flag) for flag in flags],
        "meet_at_clear_deg": met or None,
        "all_at_visible_deg": None
        if joint is None
        else {"loss_stops": round(joint[0], 3) if math.isfinite(joint[0]) else None, "state": joint[1].key},
    }


def flag_dict(flag: FlagSummary) -> dict[str, Any]:
    """One flag as plain data; angles in degrees, "any" where every angle will do and "none" where none does."""
    kept, bars = flag.kept(), flag.bars
    return {
        "flag": flag.name,
        "side": flag.side.value,
        "set_deg": flag.set_deg,
        "length_mm": bars.length_mm,
        "width_mm": bars.width_mm,
        "extension": {"length_mm": bars.extension_mm, "angle_deg": bars.extension_deg} if bars.extension_mm > 0.0 else None,
        "all_states": _set_dict(kept) if kept.states else None,
        "states_that_no_angle_clears": [state.plan.key for state in flag.hopeless],
        "states_with_the_plane_in_focus_in_reach": [state.plan.key for state in flag.states if state.focus_in_reach],
        "says": set_words(flag),
        "states": [_state_dict(state) for state in flag.states],
    }


def _set_dict(flag: FlagSummary) -> dict[str, Any]:
    keys = ("clear_deg", "touch_deg", "visible_deg")
    found: dict[str, Any] = {key: angle_value(flag.limit(key)[0]) for key in keys}
    found["most_deg"] = round(flag.most_deg, 2)
    found["decided_by"] = flag.limit("clear_deg")[1].plan.key
    if flag.bars.extension_mm > 0.0:
        found["without_extension"] = {key: angle_value(flag.limit(key, bare=True)[0]) for key in keys}
    return found


def _state_dict(state: FlagState) -> dict[str, Any]:
    plan = state.plan
    return {
        "state": plan.key,
        "lens": plan.lens_name,
        "focal_mm": plan.focal_mm,
        "focus_mm": "infinity" if math.isinf(plan.focus_mm) else plan.focus_mm,
        "f_number": plan.f_number,
        **_limits_dict(state.limits),
        "without_extension": _limits_dict(state.bare) if state.bare else None,
    }


def _limits_dict(limits: Limits) -> dict[str, Any]:
    touch = limits.touch if limits.touch.at_mm else limits.clear
    at = touch.at_mm
    return {
        "clear_deg": angle_value(limits.clear_deg),
        "touch_deg": angle_value(limits.touch_deg),
        "visible_deg": angle_value(limits.visible_deg),
        "most_deg": round(limits.most_deg, 2),
        "hinge_clear_mm": limits.hinge.clear_mm if limits.hinge else None,
        "hinge_farther_out_mm": limits.hinge.farther_mm if limits.hinge else None,
        "touches": None
        if at is None
        else {
            "where": touch.where,
            "with": "extension" if touch.blade else "flag",
            "ahead_of_hinge_mm": round(at[0], 2),
            "out_from_hinge_mm": round(at[1], 2),
        },
    }


def angle_value(angle_deg: float) -> float | str:
    """An angle as data: a number, "any" or "none"."""
    return round(angle_deg, 2) + 0.0 if math.isfinite(angle_deg) else angle_words(angle_deg)
