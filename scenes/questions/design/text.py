"""The sentences of a design: how large it is, what holds each measure, what each wish costs, why nothing fits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scenes.questions.design.bends import most_bent
from scenes.questions.design.contradictions import Contradiction, WayOut
from scenes.questions.design.designer import Design
from scenes.questions.design.masks import group_words
from scenes.questions.design.reasons import Price, Reason
from scenes.questions.design.report import Report, Shown
from scenes.runtime.page import SHOOT_CAUTION, counted
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.design import MASKS
from scenes.states.names import state_words
from scenes.states.state import State
from scenes.verdicts.check import GUESS_PERCENT

MOST_CHOICES_TOLD = 2  # sets of choices that are ruled out for one reason
MOST_WORDS = 3  # measures named in one sentence
TOLD_MM, TOLD_KG = 0.05, 0.005
CAUTIONS = (
    "Sizes are the outside without flags, rods and brackets; weights leave out screws, hinges, brackets and rods.",
    SHOOT_CAUTION,
)


def size_words(design: Design) -> str:
    """'253.0 x 203.2 mm in front, 60.0 mm deep, about 0.21 kg'."""
    outside = design.outside
    front = f"{outside.width_mm:.1f} x {outside.height_mm:.1f} mm in front"
    return f"{front}, {outside.depth_mm:.1f} mm deep, about {outside.weight_kg:.2f} kg"


def answer_words(report: Report) -> str:
    """The answer in a sentence or two."""
    if not report.shown and report.contradiction is not None:
        until = " Stopped on the way: which wishes contradict each other is not worked out." if report.stopped else ""
        return f"No box does all that is asked.{until}"
    if not report.shown:
        return "No box found could be shown to be clear."
    best = report.shown[0]
    until = " Stopped on the way: this is the best so far, and there may be a smaller one." if report.stopped else ""
    proof = "" if best.design.found.is_proven else " Smaller ones may exist: the search by trial is no proof."
    masks = f" It has {group_words(best.design.pick[MASKS])}." if MASKS in best.design.pick else ""
    return f"The {_superlative(report)} box is {size_words(best.design)}.{masks} {clear_words(report, best)}{proof}{until}"


def _superlative(report: Report) -> str:
    return "smallest" if report.shown[0].design.found.is_proven and not report.stopped else "smallest found"


def clear_words(report: Report, shown: Shown) -> str:
    """With what it is clear, as `check` judges it."""
    lenses = report.wishes.lenses
    who = f"the {lenses[0]}" if len(lenses) == 1 else f"all {len(lenses)} lenses"
    room = f"nearest part {shown.room_mm:.1f} mm from the beam ({state_words(shown.nearest)})"
    builds = "" if shown.clear_builds is None else f" {plain(round(100 * shown.clear_builds, 1))} % of its builds are clear."
    lights = f" {_light_words(report.wishes.lights, shown)}" if report.wishes.lights else ""
    return f"Clear with {who}, at every focus and zoom checked and between: {room}.{lights}{builds}{_bend_words(report, shown)}"


def _light_words(lights: Sequence[str], shown: Shown) -> str:
    """Which lights are kept off, and what that takes for granted."""
    box = shown.loaded.scene.box
    *some, last = lights
    who, verb = (f"{', '.join(some)} and {last}", "stay") if some else (last, "stays")
    closed = ", with trays and masks closed all round" if any(one.outer_mm is None for one in (*box.stage, *box.mask)) else ""
    return f"{who} {verb} off the glass{closed}."


def _bend_words(report: Report, shown: Shown) -> str:
    """Whether it stays clear as it hangs, or what bent rods and a bent hood take; '' where it is clamped and made as drawn."""
    if not shown.bends:
        return ""
    lens, drop_mm = most_bent(shown.bends)
    hanging = f"as its rods bend up to {drop_mm:.2f} mm (with the {lens})"
    as_made = hanging if drop_mm else "with the corners of its hood as round as bent"
    if not shown.why_bent:
        return f" It stays clear {as_made}."
    larger = "" if report.stopped else ", and no larger box that you allow is"
    return f" But {as_made} it is no longer clear, {shown.why_bent}{larger}."


def reason_words(reason: Reason) -> str:
    """What holds a measure: '18, focus 450 mm, f/2: hood top right, 80.0 mm ahead of the lens front'."""
    if reason.held is None:
        return reason.because
    held = reason.held
    bent = ", as it is made and hangs" if held.bent else ""
    return f"{state_words(held.state)}: {held.part}, {held.where} ({held.guide}){bent}"


def value_words(reason: Reason) -> str:
    """'232.8 mm'."""
    return f"{reason.value:.1f} {reason.unit}"


def price_words(price: Price) -> str:
    """What a wish costs: '46.0 mm of front opening width of the hood; 46.0 mm of width outside'."""
    if price.is_free:
        return "nothing: the same box without it"
    saves = [_saved(value, f"{knob.spot.unit} of the {words}") for knob, words, value in price.saves if abs(value) >= TOLD_MM]
    outside = [
        _saved(price.width_mm, "mm of outside width"),
        _saved(price.height_mm, "mm of outside height"),
        _saved(price.depth_mm, "mm of depth"),
    ]
    kilos = [f"{price.weight_kg:.2f} kg"] if price.weight_kg >= TOLD_KG else []
    found = [one for one in (*outside, *saves[:MOST_WORDS]) if one]
    return ", ".join([*found, *kilos]) or "less than 0.1 mm"


def _saved(value: float, words: str) -> str:
    """A measure that would be less, or more, without a wish; '' where it stays."""
    if abs(value) < TOLD_MM:
        return ""
    return f"{value:.1f} {words}" if value > 0 else f"but {-value:.1f} {words} more without it"


def contradiction_words(found: Contradiction) -> Iterator[str]:
    """Which wishes contradict each other, the cheapest way out, and what stands in the way."""
    if found.stuck:
        yield f"Whatever is given up, nothing fits: {found.stuck}."
    more = [some for some in found.more if len(some) > 1 or some[0].words not in found.alike]  # those are told with the first
    for some in (found.wishes, *more) if found.wishes else ():
        words = ", ".join(wish.words for wish in some)
        whom = "" if any(wish.is_lens for wish in some) else " with any lens"
        yield f"Cannot hold together{whom}: {words}." if len(some) > 1 else f"Cannot be had{whom}: {words}."
        if some == found.wishes and found.alike and len(some) == 1:
            yield f"Nor can {' or '.join(found.alike)}."
        elif some == found.wishes and found.alike:
            (named,) = (wish.words for wish in some if wish.is_lens)
            yield f"Nor can they with {' or '.join(found.alike)} in place of {named}, which asks for the largest box."
    if found.more and found.ways:
        yield "Giving up one wish is not enough."
    elif found.wishes and not found.ways:
        yield "Giving up a few of them is not enough."
    for place, way in enumerate(found.ways):
        yield f"{'Cheapest way out' if place == 0 else 'Or'}: {way_words(way)}."


def way_words(way: WayOut) -> str:
    """Wishes given up, and the box that comes out then."""
    names = " and ".join(wish.words for wish in way.wishes)
    what = f"give up {names}" if way.words == "left out" else f"{names}: {way.words}"
    return what if way.design is None else f"{what}; the box is then {size_words(way.design)}"


def _changes(found: Contradiction) -> str:
    """What to change where nothing fits."""
    if not (found.fixed or found.wishes or found.stuck):
        where = "give the parts in the way, above, more freedom in [design] or leave out the lens that is told with them"
        which = where if found.blocked else "take a wish out of [design] (a light, a limit, room_mm)"
        return f"{which}, and ask again; or let it look to the end for which wishes contradict each other."
    if not found.fixed:
        return "change the scene's [design] as above, and ask again."
    one = len(found.fixed) == 1
    parts, verb = " and ".join(found.fixed), "stands" if one else "stand"
    it, of, free = ("it", "its", "is not free") if one else ("them", "their", "are not free")
    nearer = ", bring the box nearer to the lens (a smaller ahead_mm)" if {"seal", "back plate"} & set(found.fixed) else ""
    above = "or give something up as above, " if found.ways else ""
    mend = f"make {it} larger{nearer}, free one of {of} measures in [design]"
    return f"{parts} {verb} in the way and {free}: {mend}, {above}and ask again."


def ruled_out_words(report: Report) -> Iterator[str]:
    """Choices that cannot be, with their reason; those of one reason together."""
    by_reason: dict[str, list[str]] = {}
    for choices, why in report.ruled_out.items():
        by_reason.setdefault(why, []).append(choices)
    for why, some in by_reason.items():
        most = len(some) > MOST_CHOICES_TOLD
        yield f"{counted(len(some), 'set')} of choices, {some[0]} among them: {why}" if most else f"{'; '.join(some)}: {why}"


def guess_words(report: Report) -> Iterator[str]:
    """Lenses whose field at a near focus is a guess that the answer rests on."""
    for lens, (state, percent) in _assumed(report).items():
        yield (
            f"{lens}: its field at {plain(state.focus_mm)} mm is assumed {percent:.0f} % wider than at "
            "infinity, and the answer rests on that: measure it (half_field_deg in a [[lens.state]]), or give pupil_magnification"
        )


def _assumed(report: Report) -> dict[str, tuple[State, float]]:
    """By lens, a state whose field is guessed to be wider than at infinity, by how many percent, and holds the answer."""
    held = [reason.held for shown in report.shown[:1] for reason in shown.reasons if reason.held is not None]
    held += report.contradiction.blocked if report.contradiction is not None else ()
    guesses = {one.state.lens_name: (one.state, max(one.state.field_guess_percent or (0.0,))) for one in held}
    return {lens: found for lens, found in guesses.items() if found[1] >= GUESS_PERCENT}


def next_words(report: Report) -> str:
    """What to do now."""
    if report.contradiction is not None:
        assumed = ", ".join(_assumed(report))
        guess = f"measure the field of the {assumed} close up (half_field_deg): it is a guess that may ask for too much; or "
        first = guess if assumed else ""
        return f"{first}{_changes(report.contradiction)}"
    if not report.shown:
        return "see what kept each box from being clear, and give the design more freedom."
    walk = next((price for price in report.prices if price.wish.key == "walk:"), None)
    if walk is not None and not walk.is_free:
        fixed = dict.fromkeys(r.held.state.lens_name for r in report.shown[0].reasons if r.held is not None)
        names = ", ".join(fixed)
        what = f"measure how the pupil of the {names} walks toward the edge of the frame (pupil_walk)"
        return f"{what}: it may save {price_words(walk)}."
    others = f" or another of the {counted(len(report.shown), 'design')}" if len(report.shown) > 1 else ""
    return f"look at design-1.png, then run brimline check on design-1.toml{others}."
