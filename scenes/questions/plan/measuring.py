"""What to measure before a test shoot: in the order of the shoot, how, the value used so far, and the blanks to fill in."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from raytrace.optics.lens import LensState, field_slopes
from scenes.questions.plan.setups import setting_at
from scenes.questions.plan.tells import LensTells
from scenes.rig.stated_field import rows_of
from scenes.runtime.page import listed
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.lens import Lens, focal_lengths
from scenes.states.names import lens_words, middle_variant
from scenes.states.state import State
from scenes.verdicts.check import CheckResult
from scenes.verdicts.test_plan import FAR_FIELD, FIELD, NOTE, PUPIL, WALK, Measure, measures

PART = "part"
FIELD_FIRST = "first measure the field"
BARE_KEY = re.compile(r"(?<![\w(\[.])[a-z]+(?:_[a-z0-9]+)+(?![\w)\].])")
# How to find a pupil by parallax: common practice.
PUPIL_HOW = (
    (
        "Set two upright pins ahead of the lens, one near and one far, in line through the lens axis. Pan from side to side: "
        "where the near pin moves against the far one, slide the camera along the lens axis and pan again. Where they stay in "
        "line, the pan axis is under the entrance pupil: measure from there to the front rim."
    ),
    (
        "At the frame edge: pan until the pins stand at the left or right edge of the picture, and slide again until they stay in "
        "line there. Write down how far you panned, and how far the pan axis now lies behind the rim."
    ),
    "An anamorphic has two pupils: pan for the horizontal one, tilt for the vertical one.",
)
FIELD_HOW = (
    (
        "Box off. Put a card with a tape across it, square to the lens axis, at the focus distance, which counts from the image "
        "plane. Focus on it. Read the tape where the picture ends, from the lens axis to the left and from the lens axis to the "
        "right, and write down both."
    ),
    (
        "What is worked out from them: add left and right, and halve the sum. Divide that by the distance from the pupil to the "
        "card, which is that from the rim to the card plus that from the rim back to the pupil. The angle with this tangent is "
        "the half field."
    ),
)
EXAMPLE = (
    "Example, {who}: {left} mm left and {right} mm right: ({left} + {right}) / 2 = {half} mm. The card is {rim} mm from the rim, "
    "so {reach} mm from the pupil. {half} / {reach} = {tangent}, the tangent of {angle} deg."
)
HOW_PART = {
    "angle_deg": "by the angle gauge: 0 along the lens axis, 90 straight out from it",
    "turn_deg": "by the angle gauge, clockwise as seen from behind the camera",
    "tilt_deg": "by the angle gauge, positive with the top edge toward the scene",
}
ACROSS, UPRIGHT = ("found", "across: behind rim, mm"), ("found_upright", "upright: behind rim, mm")
TWO_PUPILS = {PUPIL: (ACROSS, UPRIGHT), WALK: (("angle", "pan, deg"), ACROSS, ("tilt", "tilt, deg"), UPRIGHT)}
BY_TAPE = "by tape or caliper"


def measures_in_order(
    check: CheckResult, states: Sequence[State], lenses: Sequence[str], tells: Sequence[LensTells]
) -> Iterator[Measure]:
    """Everything to measure: what a change waits for, the rest lens by lens in the order of the shoot, then box and notes."""
    first = _waited_for(check)
    return iter(sorted(_lens_by_lens(check, states, lenses, tells), key=lambda one: (one.kind, one.who) not in first))


def _waited_for(check: CheckResult) -> set[tuple[str, str]]:
    """Kind and lens of what is to be measured before it is known what to change."""
    asked = (state for state in check.states if any(guide.next_step.startswith(FIELD_FIRST) for guide in state.guides))
    return {(FIELD, lens_words(state)) for state in asked}


def _lens_by_lens(
    check: CheckResult, states: Sequence[State], lenses: Sequence[str], tells: Sequence[LensTells]
) -> Iterator[Measure]:
    found, untold = list(measures(check)), list(_untold(tells, states))
    of_lens = {name: [one for one in found if one.kind != NOTE and _lens_of(one, states) == name] for name in lenses}
    for name, asked in of_lens.items():
        more = [one for one in untold if one.who == name and all(other.kind != PUPIL for other in asked)]
        yield from (with_values(one, states) for one in (*more, *asked))
    yield from (with_values(one, states) for one in found if one.kind != NOTE and _lens_of(one, states) not in of_lens)
    yield from (one for one in untold if one.kind == PART)
    yield from (_with_lenses(one, check) for one in found if one.kind == NOTE)


def _lens_of(one: Measure, states: Sequence[State]) -> str:
    """The lens that something is measured of: a zoom is named with its focal length."""
    return next((state.lens_name for state in states if one.who in {state.lens_name, lens_words(state)}), one.who)


def _with_lenses(note: Measure, check: CheckResult) -> Measure:
    """What was noticed of a part, with the lenses it is so with, where that is not all."""
    names = dict.fromkeys(state.lens_name for state in check.states)
    own = [
        name
        for name in names
        if any(
            (told.part, told.text) == (note.who, note.what)
            for state in check.states
            if state.lens_name == name
            for told in state.notes
        )
    ]
    who = note.who if len(own) == len(names) or note.who in names else f"{note.who}, with the {listed(own)}"
    return replace(note, who=who, what=with_plain_keys(note.what))


def with_plain_keys(text: str) -> str:
    """A sentence with keys of the scene file said in plain words, the key in brackets: 'front diameter (front_diameter_mm)'."""
    return BARE_KEY.sub(lambda found: f"{found[0].removesuffix('_mm').removesuffix('_deg').replace('_', ' ')} ({found[0]})", text)


def _untold(tells: Sequence[LensTells], states: Sequence[State]) -> Iterator[Measure]:
    """Values that no still of any shot tells, where stills tell others: of the box and of lenses, to be measured by hand."""
    some = [one for one in tells if not one.silent]
    seen = {item.path for one in some for item, known in zip(one.unknowns, one.told, strict=True) if known}
    for one in some:
        for item, words in zip(one.unknowns, one.words, strict=True):
            if item.path in seen:
                continue
            seen.add(item.path)
            so_far = f"{plain(round(item.nominal, 2))} {item.unit}"
            if item.path.startswith("box"):
                yield Measure(kind=PART, who=words, what=HOW_PART.get(item.spot.key, BY_TAPE), so_far=so_far, enters=item.path)
            else:
                at = _row_words(item.path, next(state.lens for state in states if state.lens_name == one.lens))
                what, so_far = f"where its entrance pupil lies{at}, by parallax", f"{so_far} behind the front rim"
                yield Measure(kind=PUPIL, who=one.lens, what=what, so_far=so_far, enters=item.spot.key)


def _row_words(path: str, lens: Lens) -> str:
    """The setting that a row of a lens stands for: ' at 45 mm, infinity'; '' for a value of the lens itself."""
    row = re.search(r"\.state\[(\d+)\]", path)
    if row is None:
        return ""
    found = rows_of(lens)[int(row[1]) - 1]
    return f" at {setting_at(found.focal_mm if len(focal_lengths(lens)) > 1 else None, found.focus_mm)}"


def with_values(one: Measure, states: Sequence[State]) -> Measure:
    """What is to be measured, with the value used so far where the text list does not say it."""
    if one.kind == FIELD:
        told = predicted_field_words(next(state for state in states if state.key == one.key))
    elif one.kind == WALK:
        told = _pupil_at(next(state for state in states if state.key == one.key))
    else:
        told = ""
    if one.enters in {"pupil_behind_front_mm", "pupil_walk"}:
        one = replace(one, two_pupils=two_pupils(next(state for state in states if state.lens_name == one.who)))
    return replace(one, so_far=f"{told}; {one.so_far}" if told else one.so_far)


def predicted_field_words(state: State) -> str:
    """Half field as predicted, and what a tape in the plane in focus reads from the axis to each side of the recorded area."""
    lens = middle_variant(state)
    reach_mm, sides = reach_of(lens), _side_tangents(state)
    told = dict.fromkeys(f"{math.degrees(math.atan(tan)):.1f} deg, {tan * reach_mm:.0f} mm on the tape" for tan in sides)
    card = f"the card {lens.object_z_mm:.0f} mm from the rim, {reach_mm:.0f} mm from the pupil"
    return f"{' to the left, '.join(told)} to {'either side' if len(told) == 1 else 'the right'} ({card})"


def reach_of(lens: LensState) -> float:
    """From the pupil to the plane in focus [mm]."""
    return float(lens.object_z_mm) + depths_mm(lens)[0]


def _side_tangents(state: State) -> tuple[float, float]:
    """Tangents of the field at the left and the right of the recorded area."""
    grid = state.grid
    sides = [grid.offset_mm[0] - grid.width_mm / 2, grid.offset_mm[0] + grid.width_mm / 2]
    left, right = (abs(float(tan)) for tan in field_slopes(middle_variant(state), np.array(sides), 0.0).tan_right)
    return left, right


def field_how(asked: Sequence[Measure], states: Sequence[State]) -> tuple[str, ...]:
    """How to measure a field, with the first of those asked for as an example."""
    first = next((one for one in asked if one.kind == FIELD), None)
    if first is None:
        return FIELD_HOW
    state = next(state for state in states if state.key == first.key)
    lens, (left, right) = middle_variant(state), _side_tangents(state)
    reach_mm, half = reach_of(lens), (left + right) / 2
    example = EXAMPLE.format(
        who=first.who,
        left=f"{left * reach_mm:.0f}",
        right=f"{right * reach_mm:.0f}",
        half=f"{half * reach_mm:.0f}",
        reach=f"{reach_mm:.0f}",
        rim=f"{lens.object_z_mm:.0f}",
        tangent=f"{half:.3f}",
        angle=f"{math.degrees(math.atan(half)):.1f}",
    )
    return (*FIELD_HOW, example)


def _pupil_at(state: State) -> str:
    """Where the pupil is taken to lie, with the setting where the lens has several."""
    several = len(focal_lengths(state.lens)) > 1
    at = f" at {setting_at(state.focal_mm if several else None, state.focus_mm)}" if rows_of(state.lens) else ""
    return f"{pupil_words(state)}{at}"


def two_pupils(state: State) -> bool:
    """Whether the pupil lies at another depth for the horizontal field than for the vertical one, as an anamorphic's does."""
    across, upright = depths_mm(middle_variant(state))
    return across != upright


def pupil_words(state: State) -> str:
    """Where the pupil is taken to lie: '49 to 54 mm behind the front rim', of an anamorphic both ways."""
    ways = {depths_mm(lens) for lens in state.variants}
    across, upright = ((min(way[k] for way in ways), max(way[k] for way in ways)) for k in (0, 1))
    told = _range_words(*across) if across == upright else f"{_range_words(*across)} mm across and {_range_words(*upright)}"
    return f"{told}{' mm upright,' if across != upright else ' mm'} behind the front rim"


def _range_words(low: float, high: float) -> str:
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def depths_mm(lens: LensState) -> tuple[float, float]:
    """How far the pupil lies behind the front rim, for the horizontal field and for the vertical one."""
    depth = lens.pupil.behind_front_mm
    return (float(depth[0]), float(depth[1])) if isinstance(depth, tuple) else (float(depth), float(depth))


def blanks_of(one: Measure) -> tuple[tuple[str, str], ...]:
    """The blanks of something to measure: their names, and what goes into them."""
    if one.kind == FIELD:
        return ("left", "left, mm"), ("right", "right, mm")
    if one.two_pupils and one.kind in TWO_PUPILS:
        return TWO_PUPILS[one.kind]
    return {
        NOTE: (("found", "seen"),),
        WALK: (("angle", "pan, deg"), ("found", "behind rim, mm")),
        FAR_FIELD: (("left", "left, mm"), ("right", "right, mm"), ("card", "card to rim, mm")),
        PART: (("found", one.so_far.rpartition(" ")[2]),),
    }.get(one.kind, (("found", "behind rim, mm"),))
