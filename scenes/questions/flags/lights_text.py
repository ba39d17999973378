"""Lights against flags: their part of the page, their sentences and their part of the JSON."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from geometry.flags import LEAST_DEG, MOST_DEG
from scenes.answers.blocks import Block, Gap, Heading, Paragraph
from scenes.answers.numbers import finite
from scenes.answers.table import Column, Table, as_named
from scenes.changes.flag_cuts import LightInState
from scenes.questions.flags.changes import ChangesTried, WorkingChange
from scenes.questions.flags.lights import LightAnswer, PairWindow, Window
from scenes.questions.flags.text import angle_value, angle_words
from scenes.states.names import lens_words, state_words

ALWAYS = "always"


def light_blocks(lights: Sequence[LightAnswer], searched: Sequence[ChangesTried] | None = None) -> Iterator[Block]:
    """Every light with its windows; `searched` is None where no changes were asked for."""
    if lights:
        yield Gap()
        yield Paragraph(
            "Lights [deg]: opened to `clear from` or wider, a flag is out of the frame; at `off to` or less it keeps the light off "
            "the glass. Each flag is taken alone unless two are named together. Every state counts, also one that no angle clears."
        )
    for light in lights:
        yield from _one_light(light, searched)
    if words := joint_words(lights):
        yield Gap()
        yield Paragraph(words)


def _one_light(answer: LightAnswer, searched: Sequence[ChangesTried] | None) -> Iterator[Block]:
    """One light: where it is, a row for each flag on its side, pairs, and what to do."""
    yield Gap()
    yield Heading(f"{answer.light.name}, {direction_words(answer)}{f', on {answer.target}' if answer.reaches else ''}")
    if answer.in_picture:
        yield Paragraph(f"in the picture of {named_states(answer.in_picture)}: no flag may cut it there", "  ")
    if not answer.reaches:
        if len(answer.in_picture) < len(answer.by_state):
            yield Heading(f"  kept off by the box without any flag{' in the rest' if answer.in_picture else ''}")
        return
    if answer.windows:
        yield windows_table(answer)
    yield from (Paragraph(pair_words(pair), "  ") for pair in answer.pairs)
    yield Paragraph(next_step(answer), "  -> ", "     ")
    if answer.is_open:
        yield from (Paragraph(words, "     ") for words in _change_words(answer, searched))


def windows_table(answer: LightAnswer) -> Table[Window]:
    """Each flag on the light's side."""
    return Table(columns=WINDOW_COLUMNS, rows=answer.windows, indent="  ")


def _change_words(answer: LightAnswer, searched: Sequence[ChangesTried] | None) -> Iterator[str]:
    if searched is None:
        yield "ask with --changes for the least changes of the box that would"
        return
    mine = _tried_for(answer, searched)
    if not mine.found:
        tried = "; ".join(mine.tried)
        yield f"no change tried does it: {tried}" if tried else "no change tried: no flag or hood to change"
    for place, one in enumerate(mine.found):
        yield f"{'cheapest: ' if place == 0 else 'or '}{working_words(one)}"


def _tried_for(answer: LightAnswer, searched: Sequence[ChangesTried]) -> ChangesTried:
    nothing = ChangesTried(light=answer.light.name, found=(), tried=())
    return next((one for one in searched if one.light == answer.light.name), nothing)


def working_words(working: WorkingChange) -> str:
    """A change and the setting that then works, in one sentence."""
    if working.window_deg == (LEAST_DEG, MOST_DEG):
        return f"{working.change}; then {working.flags[0]} may stand at any angle"
    if working.window_deg is not None:
        return f"{working.change}; then set {working.flags[0]} between {working.window_deg[0]:.1f} and {working.window_deg[1]:.1f}"
    assert working.angles_deg is not None
    pairs = zip(working.flags, working.angles_deg, strict=True)
    return f"{working.change}; then set {' and '.join(f'{flag} to {angle:.1f}' for flag, angle in pairs)}"


def direction_words(answer: LightAnswer) -> str:
    """Where a light stands, for people: '48 deg right, 22 deg up'."""
    across = f"{abs(answer.azimuth_deg):.0f} deg {'right' if answer.azimuth_deg >= 0 else 'left'}"
    return f"{across}, {abs(answer.elevation_deg):.0f} deg {'up' if answer.elevation_deg >= 0 else 'down'}"


def named_states(by_state: Sequence[LightInState]) -> str:
    """States by lens and focus, each once."""
    focus = [f"{plan.focus_mm:g} mm" if math.isfinite(plan.focus_mm) else "infinity" for plan in (seen.plan for seen in by_state)]
    return "; ".join(dict.fromkeys(f"{lens_words(seen.plan)}, {at}" for seen, at in zip(by_state, focus, strict=True)))


def cut_words(angle_deg: float) -> str:
    """The widest angle that keeps a light off, for people."""
    return ALWAYS if angle_deg == math.inf else angle_words(angle_deg) if math.isfinite(angle_deg) else "no angle"


def window_words(window: Window) -> str:
    """A window in a few words."""
    if window.opens:
        return "any angle that clears" if window.upto_deg >= window.flag.most_deg else "there is a window"
    if math.isinf(window.missing_deg):
        return "not by itself"
    return f"{window.missing_deg:.1f} deg missing"


def pair_words(pair: PairWindow) -> str:
    """What two flags do together, in one sentence."""
    names = f"{pair.first.name} and {pair.second.name} together"
    if pair.room_deg is None:
        return f"{names}: at no angle"
    if pair.room_deg < 0:
        return f"{names}: {-pair.room_deg:.1f} deg missing on each"
    met = f", but so {pair.met}" if pair.met else ""
    return (
        f"{names}: {pair.first.name} at {pair.first_deg:.1f} or less with {pair.second.name} at {pair.second_deg:.1f} or less, "
        f"{pair.room_deg:.1f} deg of room on each{met}"
    )


def best_window(answer: LightAnswer) -> Window | None:
    """The widest window of one flag."""
    return max((w for w in answer.windows if w.opens), key=lambda w: w.upto_deg - max(w.clear_deg, -90.0), default=None)


def best_pair(answer: LightAnswer) -> PairWindow | None:
    """The pair with the most room."""
    open_ones = [pair for pair in answer.pairs if pair.opens]
    return max(open_ones, key=lambda pair: pair.room_deg or 0.0, default=None)


def next_step(answer: LightAnswer) -> str:
    """What to do about a light, in one sentence."""
    window, pair = best_window(answer), best_pair(answer)
    if window is not None:
        return f"set {window.flag.name} {_between(window)}"
    if pair is not None:
        return f"set {pair.first.name} to {pair.first_deg:.1f} and {pair.second.name} to {pair.second_deg:.1f}"
    if not answer.windows:
        return "no flag stands on its side"
    return f"no setting of these flags does it{_hardest(answer)}"


def joint_words(lights: Sequence[LightAnswer]) -> str:
    """One setting for each flag that several lights ask for; '' where no flag is asked for twice."""
    orders = [order for light in lights if light.reaches for order in _orders(light)]
    names = [name for name, _, _ in orders]
    told = []
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        lows, highs = zip(*((low, high) for flag, low, high in orders if flag == name), strict=True)
        told.append(f"the {name} {_span_words(max(lows), min(highs))}")
    return f"For all of these lights at once set {' and '.join(told)}." if told else ""


def _orders(answer: LightAnswer) -> list[tuple[str, float, float]]:
    """(flag, from, to) of what a light's next step asks for [deg]."""
    window, pair = best_window(answer), best_pair(answer)
    if window is not None:
        return [(window.flag.name, window.clear_deg, window.upto_deg)]
    if pair is None:
        return []
    return [(flag.name, flag.clear_deg, deg) for flag, deg in ((pair.first, pair.first_deg), (pair.second, pair.second_deg))]


def _span_words(low_deg: float, high_deg: float) -> str:
    if high_deg == math.inf:
        return "to any angle" if low_deg == -math.inf else f"anywhere from {angle_words(low_deg)} on"
    return f"between {angle_words(max(low_deg, LEAST_DEG))} and {cut_words(high_deg)}"


def _between(window: Window) -> str:
    return _span_words(window.clear_deg, window.upto_deg)


def _hardest(answer: LightAnswer) -> str:
    window = min(answer.windows, key=lambda w: w.missing_deg)
    return f"; the state that asks most is {state_words(window.decided_by)}"


def light_data(answer: LightAnswer, searched: Sequence[ChangesTried] | None = None) -> dict[str, Any]:
    """One light for programs."""
    mine = None if searched is None else _tried_for(answer, searched)
    return {
        "light": answer.light.name,
        "azimuth_deg": round(answer.azimuth_deg, 2) + 0.0,
        "elevation_deg": round(answer.elevation_deg, 2) + 0.0,
        "target": answer.target,
        "reaches_without_flags": answer.reaches,
        "in_the_picture_of": [seen.plan.key for seen in answer.in_picture],
        "flags": windows_table(answer).data(),
        "pairs": [_pair_data(pair) for pair in answer.pairs],
        "next_step": next_step(answer) if answer.reaches else None,
        "changes": mine and [_working_data(one) for one in mine.found],
        "changes_tried": mine and list(mine.tried),
        "states": [_state_data(seen) for seen in answer.by_state],
    }


def _working_data(working: WorkingChange) -> dict[str, Any]:
    return {
        "change": working.change,
        "flags": list(working.flags),
        "window_deg": working.window_deg and [angle_value(angle) for angle in working.window_deg],
        "angles_deg": working.angles_deg and list(working.angles_deg),
        "room_deg": None if working.angles_deg is None else working.room_deg,
    }


def _pair_data(pair: PairWindow) -> dict[str, Any]:
    return {
        "flags": [pair.first.name, pair.second.name],
        "angles_deg": None if pair.room_deg is None else [pair.first_deg, pair.second_deg],
        "opens": pair.opens,
        "meets": pair.met or None,
        "room_deg": pair.room_deg,
    }


def _state_data(seen: LightInState) -> dict[str, Any]:
    flags = [
        {"flag": name, "cut_deg": cut_value(angle), "cut_deg_without_extension": cut_value(seen.bare_cut_deg[name])}
        for name, angle in seen.cut_deg.items()
    ]
    return {
        "state": seen.plan.key,
        "in_picture": seen.in_picture,
        "reaches_without_flags": seen.reaches,
        "flags": flags,
    }


def cut_value(angle_deg: float) -> float | str:
    """A cut as data, rounded down: a number, "always" or "no angle"."""
    return math.floor(angle_deg * 10 + 1e-6) / 10 if math.isfinite(angle_deg) else cut_words(angle_deg)


def _bare(name: str) -> Callable[[Window], float | None]:
    """A limit without the extension; None for a flag that has none."""
    return lambda window: getattr(window, name) if window.flag.bars.extension_mm > 0.0 else None


def _bare_data(window: Window) -> dict[str, Any] | None:
    if window.flag.bars.extension_mm <= 0.0:
        return None
    return {"clear_deg": angle_value(window.bare_clear_deg), "cut_deg": cut_value(window.bare_cut_deg)}


def _missing(window: Window) -> float | None:
    return None if window.opens else finite(window.missing_deg, 1)


WINDOW_COLUMNS: tuple[Column[Window], ...] = (
    Column(head="flag", key="flag", of=lambda window: window.flag.name, left=True, width=24, most=24),
    Column(head="clear from", key="clear_deg", of=lambda window: window.clear_deg, words=angle_words, data=angle_value),
    Column(head="off to", key="cut_deg", of=lambda window: window.cut_deg, words=cut_words, data=cut_value, width=9),
    Column(key="most_deg", of=lambda window: round(window.flag.most_deg, 1)),
    Column(head="bare: from", of=_bare("bare_clear_deg"), words=angle_words),
    Column(head="off to", of=_bare("bare_cut_deg"), words=lambda angle: "" if angle is None else cut_words(angle), width=9),
    Column(head="by itself", of=window_words, left=True),
    Column(key="without_extension", of=_bare_data),
    *as_named("opens"),
    Column(key="missing_deg", of=_missing),
    Column(key="decided_by", of=lambda window: window.decided_by.key),
)
