"""Sentences that are the filters' own: what a size holds, what each table shows, the mount, what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scenes.questions.filters.costs import RodAnswer
from scenes.questions.filters.effects import CloseUp, GradedAnswer
from scenes.questions.filters.sizes import StageAnswer, StageNeed, smallest, smallest_for_all, takes_round
from scenes.rig.rod_height import follows_from_rods
from scenes.states.names import state_words, the

CAUTION = (
    "A prediction is no substitute for the test shoot, and glass is cut to a few tenths: where a margin is thin, measure it. "
    "A stack that grows gets heavier: ask the rental house what lens and rods may carry."
)
ROOM_WORDS = (
    "tray: room in the tray's opening, rear edge to front edge, its glass in or out; glass: room in the glass fitted; "
    "both as turned, below 0 the beam reaches past."
)
CORNER_WORDS = (
    "Density's own corner loss: what an even filter takes more at the farthest corner than on the axis, since light crosses it "
    "aslant [stops]; first by density, then the filters fitted."
)
ALIKE_PERCENT = 0.05  # half a step of what is told


def method_words(margin_mm: float) -> str:
    """What a size holds."""
    return (
        "Each size holds the beam of all guides at both faces of the glass, at every zoom row, from infinity to the nearest "
        "focus, at the widest stop, with the trays nearer the lens filled or empty. Glass sits in the middle of its tray. "
        f"Room is from the beam to the edge of the glass; a size fits if {margin_mm:g} mm is left. Lengths in mm."
    )


def answer_words(stages: Sequence[StageAnswer], margin_mm: float) -> str:
    """Which size serves every lens in each stage, in a sentence."""
    if not stages:
        return "The box has no stage to hold a filter."
    told = "; ".join(f"{stage.name} {_stage_words(stage, margin_mm)}" for stage in stages)
    return f"Smallest filter for all of the lenses: {told}."


def _stage_words(stage: StageAnswer, margin_mm: float) -> str:
    fixed, turned = (smallest_for_all(stage, margin_mm, turned=turned) for turned in (False, True))
    small = [need.lens.name for need in stage.needs if need.tray_mm < 0]
    but = f", but the tray itself cuts in with the {', '.join(small)}" if small else ""
    if fixed is None:
        widest = max(stage.needs, key=lambda need: need.upright_mm[0] * need.upright_mm[1])
        across, high = widest.upright_mm
        return f"none of the catalogue: the {widest.lens.name} needs {across:.0f} x {high:.0f} mm{but}"
    any_turn = (
        "" if turned is not None and turned.name == fixed.name else f" ({'none' if turned is None else turned.name} to turn freely)"
    )
    return f"{fixed.name}{any_turn}{but}"


def decided_words(stage: StageAnswer, need: StageNeed, margin_mm: float) -> str:
    """Which state decides a lens's size, and whether its field is a guess there: '40: 4x5.65 by 40, focus 450 mm, f/2'."""
    found = smallest(need.sizes, margin_mm, turned=False, round_glass=takes_round(stage.stage))
    room = found or max(need.sizes, key=lambda room: room.fitted_mm)
    words = f"{need.lens.name}: {'no size' if found is None else found.size.name}, decided by {state_words(room.state)}"
    if found is not None and need.tray_mm < 0:
        words += "; the glass fits, the tray's opening does not"
    guess = room.state.field_guess_percent
    if guess is None:
        return f"{words}."
    ways = (
        f"{guess[0]:+.1f} %"
        if abs(guess[0] - guess[1]) < ALIKE_PERCENT
        else f"{guess[0]:+.1f} % across and {guess[1]:+.1f} % upright"
    )
    return f"{words}; its field there is a guess, {ways} against infinity."


def holder_words(stage: StageAnswer) -> str:
    """What the table of sizes shows, and what the holder takes."""
    holder = "not known" if stage.holder_mm is None else f"{stage.holder_mm:g} mm"
    return (
        f"Widest lens each size serves in the {stage.name}, and with it all that see less. Holder height {holder}: it takes "
        "glass of its own height, narrower too (common practice)."
    )


def graded_words(first: GradedAnswer) -> str:
    """What the table of graduated edges shows; `first` says whether the scene has them."""
    what = "of the scene's graduated filters"
    if first.tried:
        what = f"if a hard-edged graduated filter of {first.density:g} stood upright in the middle of {the(first.stage_name)}"
    return (
        f"Graduated edge {what}, at infinity focus: where half of its stops are reached, in mm and % of the half picture from "
        "the middle toward the dark side, and how far it runs from a tenth to nine tenths of them."
    )


def close_up_words(first: CloseUp) -> str:
    """Which close-up lenses stand there, and what their table shows."""
    powers = " and ".join(f"{power:+g}" for power in first.powers_dioptre)
    return (
        f"Close-up lenses {powers}: together {first.power_dioptre:+g}. Sharp distance from the outermost close-up lens and from "
        "the image plane, and the width of the picture there, with and without. Main lens taken as thin at its pupil."
    )


def added_words(added_mm: float) -> str:
    """What one stage more moves, and what its table shows."""
    return (
        f"An extra stage, {added_mm:g} mm deep and empty: mask and hood move forward by as much. Least clearance of any "
        "part [mm] and worst loss at the edge of a guide [stops], now and then; flags left out, they can be opened."
    )


def rod_words(rods: RodAnswer) -> str:
    """Whether the mount puts the box on axis, in a sentence or two."""
    right, up = rods.stated_mm
    sides = [_side(value, *words) for value, words in ((right, ("right", "left")), (up, ("above", "below"))) if value]
    stated = f"off axis, {' and '.join(sides)}" if sides else "on axis"
    if rods.expected_up_mm is None:
        return f"{rods.mount}; the lens carries the box, no rods set its height. The scene has it {stated}."
    made = f"{rods.mount}, made for rods {rods.usual_drop_mm:g} mm below the lens axis (common practice)"
    if follows_from_rods(rods.expected_up_mm, 0.0):
        here = "the scene has them there, so the box can stand on axis"
    else:
        here = f"here they are {rods.drop_mm:g} below, which puts the box {_side(rods.expected_up_mm, 'above', 'below')} it"
    odd = "" if follows_from_rods(rods.expected_up_mm, up) else " That does not follow from the rods: measure it."
    return f"{made}; {here}. The scene has it {stated}.{odd}"


def _side(value: float, positive: str, negative: str) -> str:
    return f"{abs(value):g} mm {positive if value > 0 else negative}"


def next_step(stages: Sequence[StageAnswer], margin_mm: float) -> str:
    """What to do, worst first."""
    pairs = [(need, stage.name) for stage in stages for need in stage.needs]
    for need, name in pairs:
        if need.tray_mm < 0 or (need.now_mm is not None and need.now_mm < 0):
            what = "the tray's opening" if need.tray_mm < 0 else "the glass"
            wide = "{:.0f} x {:.0f} mm".format(*need.upright_mm)
            return (
                f"the {need.lens.name} sees past {what} of {the(name)}: its beam there is {wide}. Take that stage off with "
                "this lens, bring the box closer, or hold its focus and stop to what brimline check shows clear."
            )
    for need, name in pairs:
        if (need.now_mm or math.inf) < margin_mm:
            return f"measure the glass in {the(name)} for the {need.lens.name}: only {need.now_mm:.1f} mm are left round its beam."
    return "the glass fitted is large enough for every lens; run brimline check for the rest of the box."
