"""Lights against flags, in words and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from raytrace.stray.flag_window import LEAST_DEG, MOST_DEG
from scenes.questions.flags.changes import Mended, Mending
from scenes.questions.flags.lights import LightAnswer, LightFate, PairWindow, Window
from scenes.questions.flags.text import WIDTH, angle_value, angle_words, clipped, wrapped
from scenes.states.names import lens_words, state_words

ROW = "  {0:24} {1:>10} {2:>9}   {3:>10} {4:>9}   {5}"
ALWAYS = "always"


def lights_lines(lights: Sequence[LightAnswer], mending: Sequence[Mending] | None = None) -> list[str]:
    """Every light with its windows, for people."""
    if not lights:
        return []
    head = "Lights: a flag may be opened from `clear from`, and keeps the light off the target up to `off to`, rounded down [deg]."
    rest = " Other flags are left out, but where two are named together. All states count, those that cannot be cleared too."
    return ["", *wrapped(head + rest), *(line.rstrip() for light in lights for line in light_lines(light, mending))]


def light_lines(answer: LightAnswer, mending: Sequence[Mending] | None = None) -> Iterator[str]:
    """One light: where it is, a row for each flag on its side, pairs, and what to do."""
    yield ""
    yield clipped(f"{answer.light.name}, {direction_words(answer)}{f', on {answer.target}' if answer.reaches else ''}")
    if answer.in_picture:
        yield from wrapped(f"in the picture of {fates_words(answer.in_picture)}: no flag may cut it there", "  ")
    if not answer.reaches:
        if len(answer.in_picture) < len(answer.fates):
            yield f"  kept off by the box without any flag{' in the rest' if answer.in_picture else ''}"
        return
    if answer.windows:
        yield ROW.format("flag", "clear from", "off to", "bare: from", "off to", "")
        yield "-" * WIDTH
    for window in answer.windows:
        yield clipped(_window_row(window))
    for pair in answer.pairs:
        yield from wrapped(pair_words(pair), "  ")
    yield from wrapped(next_step(answer), "  -> ")
    if answer.is_open:
        yield from _change_lines(answer, mending)


def _change_lines(answer: LightAnswer, mending: Sequence[Mending] | None) -> Iterator[str]:
    if mending is None:
        yield "     ask with --changes for the least changes of the box that would"
        return
    mine = _mending_of(answer, mending)
    if not mine.found:
        tried = "; ".join(mine.tried)
        yield from wrapped(f"no change tried does it: {tried}" if tried else "no change tried: no flag or hood to change", "     ")
    for place, one in enumerate(mine.found):
        yield from wrapped(f"{'cheapest: ' if place == 0 else 'or '}{mended_words(one)}", "     ")


def _mending_of(answer: LightAnswer, mending: Sequence[Mending]) -> Mending:
    nothing = Mending(light=answer.light.name, found=(), tried=())
    return next((one for one in mending if one.light == answer.light.name), nothing)


def mended_words(mended: Mended) -> str:
    """A change and the setting that then works, in one sentence."""
    if mended.window_deg == (LEAST_DEG, MOST_DEG):
        return f"{mended.change}; then {mended.flags[0]} may stand at any angle"
    if mended.window_deg is not None:
        return f"{mended.change}; then set {mended.flags[0]} between {mended.window_deg[0]:.1f} and {mended.window_deg[1]:.1f}"
    assert mended.angles_deg is not None
    pairs = zip(mended.flags, mended.angles_deg, strict=True)
    return f"{mended.change}; then set {' and '.join(f'{flag} to {angle:.1f}' for flag, angle in pairs)}"


def direction_words(answer: LightAnswer) -> str:
    """Where a light stands, for people: '48 deg right, 22 deg up'."""
    across = f"{abs(answer.azimuth_deg):.0f} deg {'right' if answer.azimuth_deg >= 0 else 'left'}"
    return f"{across}, {abs(answer.elevation_deg):.0f} deg {'up' if answer.elevation_deg >= 0 else 'down'}"


def fates_words(fates: Sequence[LightFate]) -> str:
    """States by lens and focus, each once."""
    focus = [f"{plan.focus_mm:g} mm" if math.isfinite(plan.focus_mm) else "infinity" for plan in (fate.plan for fate in fates)]
    return "; ".join(dict.fromkeys(f"{lens_words(fate.plan)}, {at}" for fate, at in zip(fates, focus, strict=True)))


def cut_words(angle_deg: float) -> str:
    """The widest angle that keeps a light off, for people."""
    return ALWAYS if angle_deg == math.inf else angle_words(angle_deg) if math.isfinite(angle_deg) else "no angle"


def _window_row(window: Window) -> str:
    bare = ("", "")
    if window.flag.bars.extension_mm > 0.0:
        bare = angle_words(window.bare_clear_deg), cut_words(window.bare_cut_deg)
    return ROW.format(window.flag.name[:24], angle_words(window.clear_deg), cut_words(window.cut_deg), *bare, window_words(window))


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


def _between(window: Window) -> str:
    if window.upto_deg == math.inf:
        return "to any angle" if window.clear_deg == -math.inf else f"anywhere from {angle_words(window.clear_deg)} on"
    return f"between {angle_words(max(window.clear_deg, LEAST_DEG))} and {cut_words(window.upto_deg)}"


def _hardest(answer: LightAnswer) -> str:
    window = min(answer.windows, key=lambda w: w.missing_deg)
    return f"; the state that asks most is {state_words(window.decided_by)}"


def light_dict(answer: LightAnswer, mending: Sequence[Mending] | None = None) -> dict[str, Any]:
    """One light as plain data."""
    return {
        "light": answer.light.name,
        "azimuth_deg": round(answer.azimuth_deg, 2) + 0.0,
        "elevation_deg": round(answer.elevation_deg, 2) + 0.0,
        "target": answer.target,
        "reaches_without_flags": answer.reaches,
        "in_the_picture_of": [fate.plan.key for fate in answer.in_picture],
        "flags": [_window_dict(window) for window in answer.windows],
        "pairs": [_pair_dict(pair) for pair in answer.pairs],
        "next_step": next_step(answer) if answer.reaches else None,
        "changes": None if mending is None else [_mended_dict(one) for one in _mending_of(answer, mending).found],
        "changes_tried": None if mending is None else list(_mending_of(answer, mending).tried),
        "states": [_fate_dict(fate) for fate in answer.fates],
    }


def _mended_dict(mended: Mended) -> dict[str, Any]:
    return {
        "change": mended.change,
        "flags": list(mended.flags),
        "window_deg": None if mended.window_deg is None else [angle_value(angle) for angle in mended.window_deg],
        "angles_deg": None if mended.angles_deg is None else list(mended.angles_deg),
        "room_deg": None if mended.angles_deg is None else mended.room_deg,
    }


def _window_dict(window: Window) -> dict[str, Any]:
    return {
        "flag": window.flag.name,
        "clear_deg": angle_value(window.clear_deg),
        "cut_deg": _cut_value(window.cut_deg),
        "most_deg": round(window.flag.most_deg, 1),
        "without_extension": {"clear_deg": angle_value(window.bare_clear_deg), "cut_deg": _cut_value(window.bare_cut_deg)}
        if window.flag.bars.extension_mm > 0.0
        else None,
        "opens": window.opens,
        "missing_deg": None if window.opens or math.isinf(window.missing_deg) else round(window.missing_deg, 1),
        "decided_by": window.decided_by.key,
    }


def _pair_dict(pair: PairWindow) -> dict[str, Any]:
    known = pair.room_deg is not None
    return {
        "flags": [pair.first.name, pair.second.name],
        "angles_deg": [pair.first_deg, pair.second_deg] if known else None,
        "opens": pair.opens,
        "meets": pair.met or None,
        "room_deg": pair.room_deg,
    }


def _fate_dict(fate: LightFate) -> dict[str, Any]:
    return {
        "state": fate.plan.key,
        "in_picture": fate.in_picture,
        "reaches_without_flags": fate.reaches,
        "cut_deg": {name: _cut_value(angle) for name, angle in fate.cut_deg.items()},
        "cut_deg_without_extension": {name: _cut_value(angle) for name, angle in fate.bare_cut_deg.items()},
    }


def _cut_value(angle_deg: float) -> float | str:
    """A cut as data, rounded down: a number, "always" or "no angle"."""
    return math.floor(angle_deg * 10 + 1e-6) / 10 if math.isfinite(angle_deg) else cut_words(angle_deg)
