"""How sure a show is, as a table for people and as plain data for other programs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from raytrace.tolerance import Effect, Spread
from scenes.questions.builds.clearances import Build
from scenes.questions.builds.inputs import Input
from scenes.questions.builds.report import TOLD_MM, LensSurety, Surety
from scenes.scene_file.messages import plain
from scenes.states.clear_rule import lack_words
from scenes.states.names import state_words

WIDTH = 100
SCHEMA_VERSION = 1
CAUTION = (
    "A prediction is no substitute for the test shoot: measure what the answer hangs on, and confirm the frame with the real lens, "
    "box and filters before metal is cut or a truck is loaded."
)
METHOD = (
    "A build is clear when no part reaches into the beam of any guide, as written in [check], at the widest stop. Every measure "
    "is as likely anywhere between its limits (the cautious reading of +/-), each on its own; a pupil known by bounds joins in. "
    "No further room is asked for: the tolerances are the room. What a pupil taken as fixed can be out by is told apart."
)
ROW = "{0:18} {1:>7} {2:>11} {3:>10} {4:>10}   {5}"
INPUT_ROW = "{0:50} {1:>12} {2:>16} {3:>8} {4:>8}"
SET = "all lenses"
MOST_TOLD = 12


def builds_lines(found: Surety, title: str) -> list[str]:
    """The whole answer for people, 100 columns."""
    lines = [_clip(f"Builds: {title}" if title else "Builds"), *wrapped(METHOD), "", *_lens_lines(found), ""]
    lines += [*_input_lines(found), "", *_worst_lines(found), ""]
    lines += [*wrapped(summary(found)), *wrapped(fixed_words(found)), *wrapped(f"Next: {next_step(found)}"), *wrapped(CAUTION)]
    return [line.rstrip() for line in lines]


def _lens_lines(found: Surety) -> Iterator[str]:
    head = ROW.format("lens", "clear", "between", "as written", "worst", "least sure")
    yield from (head, "-" * WIDTH)
    for lens in found.lenses:
        sure = _words(found, lens.least_sure)
        yield _clip(ROW.format(_clip(lens.lens_name, 18), *_shares(lens), *_room(lens), sure))
    if len(found.lenses) > 1:
        worst = _mm(found.worst.worst.clearance_mm)
        sure = _words(found, found.least_sure)
        yield _clip(ROW.format(SET, share_words(found), _between(_shown(found)), _mm(found.nominal_mm), worst, sure))
    yield from wrapped(
        f"clear: share of {found.count} builds (all, none: settled by the worst build and by what the measures can do at most). "
        "between: where the share of ever so many builds lies, 95 times of 100. as written, worst: room between the beam and the "
        "nearest part, below 0 it stands in the beam."
    )


def _shown(found: Surety) -> Spread | None:
    return None if any(lens.never for lens in found.lenses) else found.spread


def _shares(lens: LensSurety) -> tuple[str, str]:
    return share_words(lens), _between(lens.spread)


def _room(lens: LensSurety) -> tuple[str, str]:
    return _mm(lens.nominal.clearance_mm), _mm(lens.worst.clearance_mm)


def share_words(found: LensSurety | Surety) -> str:
    """A share of builds in a table: 'all' and 'none' only where it is settled, else in percent."""
    if found.always:
        return "all"
    if isinstance(found, LensSurety) and found.never:
        return "none"
    if isinstance(found, Surety) and any(lens.never for lens in found.lenses):
        return "none"
    return f"{percent(found.clear_share)} %"


def percent(share: float) -> str:
    """A share in percent, to a tenth, never rounded to 0 or 100 where it is neither."""
    shown = f"{100 * share:.1f}"
    if shown == "100.0" and share < 1:
        return "99.9"
    return "0.1" if shown == "0.0" and share > 0 else shown.removesuffix(".0")


def _between(spread: Spread | None) -> str:
    return "" if spread is None else f"{percent(spread.share_range[0])}-{percent(spread.share_range[1])}"


def _mm(value: float) -> str:
    return f"{value:+.1f} mm" if abs(value) >= 0.95 else f"{value:+.2f} mm"


def _words(found: Surety, path: str) -> str:
    return next((item.words for item in found.inputs if item.path == path), "-")


def _input_lines(found: Surety) -> Iterator[str]:
    yield INPUT_ROW.format("what may come out otherwise", "as written", "between", "at low", "at high")
    yield "-" * WIDTH
    items = {item.path: item for item in found.inputs}
    told = [effect for effect in found.effects if effect.swing >= TOLD_MM][:MOST_TOLD]
    for effect in told:
        item = items[effect.name]
        ends = (f"{effect.at_low:+.2f}", f"{effect.at_high:+.2f}")
        yield INPUT_ROW.format(_clip(item.words, 50), _value(item, item.nominal), range_words(item), *ends)
    rest = len(found.effects) - len(told)
    more = f" {rest} more do less or nothing." if rest else ""
    left_out = [lens.lens_name for lens in found.lenses if lens not in found.counted]
    any_lens = f"any lens but the {_listed(left_out)}" if left_out else "any lens"
    whose = f"the nearest part of {any_lens}" if len(found.lenses) > 1 else "the nearest part"
    yield from wrapped(f"at low, at high: room of {whose} with this alone at the end of its limits, in mm.{more}")


def _value(item: Input, value: float) -> str:
    return f"{plain(round(value, 2))} {item.unit}"


def range_words(item: Input) -> str:
    """Limits of an input: '38 to 44 mm'."""
    low, high = item.tolerance.ends
    return f"{plain(round(low, 2))} to {plain(round(high, 2))} {item.unit}"


def _worst_lines(found: Surety) -> Iterator[str]:
    for lens in sorted(found.lenses, key=lambda lens: lens.worst.clearance_mm):
        yield from wrapped(f"Worst build of the {lens.lens_name}: {worst_words(lens)}", hang=2)


def worst_words(lens: LensSurety) -> str:
    """The worst build in a sentence: what stands where, in which state, and what came out how."""
    worst = lens.worst
    off = [_off_words(item, worst) for item in lens.inputs if abs(worst.values[item.path] - item.nominal) > 1e-9]
    how = f", with {_listed(off)}" if off else ", as written"
    return f"{nearest_words(worst)} ({state_words(worst.state)}){how}."


def nearest_words(build: Build) -> str:
    """What stands nearest to the beam, or deepest in it."""
    nearest = build.nearest
    place = f" at {nearest.where}" if nearest.where else ""
    if build.clearance_mm <= 0:
        return f"the {nearest.part} stands {-build.clearance_mm:.2f} mm in the beam{place}"
    return f"the {nearest.part} stays {build.clearance_mm:.2f} mm outside the beam{place}"


def _off_words(item: Input, build: Build) -> str:
    value = build.values[item.path]
    return f"{item.words} {plain(round(value, 2))} {item.unit} ({value - item.nominal:+.3g})"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def summary(found: Surety) -> str:
    """The answer in a sentence or two."""
    never = [lens.lens_name for lens in found.lenses if lens.never]
    who = "all lenses" if len(found.lenses) > 1 else f"the {found.lenses[0].lens_name}"
    if never:
        others = f" {_others(found)}" if len(never) < len(found.lenses) else ""
        return f"No build is clear with the {_listed(never)}.{others}"
    if found.always:
        room = _mm(found.worst.worst.clearance_mm)
        return f"Every build within the tolerances is clear with {who}; the worst leaves {room} of room."
    assert found.spread is not None
    low, high = (percent(share) for share in found.spread.share_range)
    sure = f"least sure: {_words(found, found.least_sure)}"
    if found.clear_share == 1.0:
        found_bad = found.worst.worst.clearance_mm <= 0
        but = "but not the worst one" if found_bad else f"and the worst found leaves {_mm(found.worst.worst.clearance_mm)} of room"
        return f"Clear with {who} in all {found.count} builds tried (more than {low} % of all), {but}; {sure}."
    return f"Clear with {who} in {percent(found.clear_share)} % of builds (between {low} and {high}); {sure}."


def fixed_words(found: Surety) -> str:
    """Which lenses are clear at their worst only if their pupils, taken as fixed, stand still; '' where none are."""
    lacking = [lens for lens in found.lenses if lens.lacks_room]
    if not lacking:
        return ""
    least = min(lacking, key=lambda lens: lens.worst.clearance_mm)
    why = lack_words(least.worst.clearance_mm, least.needed_mm)
    return f"Not sure by that alone: {_listed([lens.lens_name for lens in lacking])}, at the worst with {why}."


def _others(found: Surety) -> str:
    rest = [lens for lens in found.lenses if not lens.never]
    least = min(rest, key=lambda lens: (lens.clear_share, lens.worst.clearance_mm))
    if least.always:
        return "The other lenses are clear in every build."
    return f"Of the others the {least.lens_name} is least sure: clear in {percent(least.clear_share)} % of builds."


def next_step(found: Surety) -> str:
    """What to do about the worst."""
    worst = found.worst
    if found.always and fixed_words(found):
        return "confirm on the test shoot the lenses that are not sure, or give them pupil_walk."
    if found.always:
        return "nothing needs doing within these tolerances."
    part = worst.worst.nearest.part
    room = max(-worst.worst.clearance_mm, 0.0)
    if worst.never and worst.nominal.clearance_mm <= 0:
        return f"see what brimline check says of the {worst.lens_name}: the {part} stands in its beam as written."
    item = next((item for item in found.inputs if item.path == worst.least_sure), None)
    more = f"give the {part} {room:.1f} mm more room" if room > 0 else f"keep the room at the {part}"
    return f"{more}, or know the {item.words} better than {range_words(item)}; then run this again." if item else f"{more}."


def wrapped(text: str, hang: int = 0) -> list[str]:
    """A sentence on lines of `WIDTH`."""
    return textwrap.wrap(text, WIDTH, subsequent_indent=" " * hang)


def _clip(text: str, width: int = WIDTH) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def builds_dict(found: Surety, title: str) -> dict[str, Any]:
    """The whole answer of `brimline builds --json`; lengths in mm, angles in degrees, shares from 0 to 1."""
    return {
        "brimline_builds": SCHEMA_VERSION,
        "scene": title,
        "builds": found.count,
        "seed": found.seed,
        "summary": " ".join(filter(None, (summary(found), fixed_words(found)))),
        "next_step": next_step(found),
        "set": {
            "clear_share": found.clear_share,
            "share_range": _range(found, _shown(found)),
            "settled": found.always or any(lens.never for lens in found.lenses),
            "as_written_mm": round(found.nominal_mm, 3),
            "worst_mm": round(found.worst.worst.clearance_mm, 3),
            "worst_lens": found.worst.lens_name,
            "least_sure": found.least_sure or None,
            "effects": [_effect_dict(effect) for effect in found.effects],
        },
        "inputs": [_input_dict(item) for item in found.inputs],
        "lenses": [_lens_dict(lens) for lens in found.lenses],
        "cautions": [CAUTION],
    }


def _range(found: LensSurety | Surety, spread: Spread | None) -> list[float]:
    return [found.clear_share] * 2 if spread is None else [round(share, 4) for share in spread.share_range]


def _input_dict(item: Input) -> dict[str, Any]:
    low, high = item.tolerance.ends
    return {
        "of": item.path,
        "words": item.words,
        "unit": item.unit,
        "as_written": round(item.nominal, 4),
        "least": round(low, 4),
        "most": round(high, 4),
        "from_bounds": item.bounds,
    }


def _effect_dict(effect: Effect) -> dict[str, Any]:
    return {"of": effect.name, "at_least_mm": round(effect.at_low, 3), "at_most_mm": round(effect.at_high, 3)}


def _lens_dict(lens: LensSurety) -> dict[str, Any]:
    effects = lens.spread.main_effects.round(4).tolist() if lens.spread is not None else None
    return {
        "lens": lens.lens_name,
        "room_needed_mm": lens.needed_mm,
        "clear_share": lens.clear_share,
        "share_range": _range(lens, lens.spread),
        "settled": lens.spread is None,
        "least_sure": lens.least_sure or None,
        "as_written": _build_dict(lens.nominal),
        "worst": _build_dict(lens.worst),
        "effects": [_effect_dict(effect) for effect in lens.effects],
        "share_of_variance": None if effects is None else dict(zip((item.path for item in lens.inputs), effects, strict=True)),
    }


def _build_dict(build: Build) -> dict[str, Any]:
    nearest = build.nearest
    return {
        "room_mm": round(build.clearance_mm, 3),
        "part": nearest.part,
        "where": nearest.where,
        "guide": nearest.guide,
        "state": build.state.key,
        "values": {path: round(value, 4) for path, value in build.values.items()},
    }
