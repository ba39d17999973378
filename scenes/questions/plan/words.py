"""Page one of a plan in words: the show in a few lines, what is in frame and tight, what to bring, what to mind."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from scenes.answers.numbers import focus_words
from scenes.questions.plan.expected import CURVE_WORDS
from scenes.questions.plan.measuring import with_plain_keys
from scenes.questions.plan.report import PlannedShot, Station, TestPlan
from scenes.questions.plan.setups import Setup
from scenes.questions.plan.tells import HOW_STILLS, tells_lines
from scenes.runtime.page import counted, listed
from scenes.scene_file.messages import ALL_STOPS, plain
from scenes.scene_file.tables.box import CLAMP
from scenes.states.clear_rule import Word, worst_word
from scenes.states.names import lens_words, setting_words
from scenes.verdicts.check import StateResult
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS, loss_words
from scenes.verdicts.overview import Attention, answer_line, attention
from scenes.verdicts.test_plan import BY_PUPIL, least_words, open_gaps, otherwise
from scenes.verdicts.text import CAUTIONS, blame_words, clearance_words, nearest_part, without_front

BACK_PLATE = "rear face of the back plate "
VIGNETTES = (Word.SHADING, Word.IN_FRAME)
# How to read a shot: common practice.
LIGHT = (
    "Light the card or wall evenly, larger than the frame. Put it at the focus distance named, which counts from the image "
    "plane. For infinity set the lens there and put the card just past the flags; it may be soft."
)
OUTPUT = "Set the camera's output to {curve}, {bits}-bit, with no look on it."
BOX_OFF = (
    "Box off, for every shot of the set-up first. Box off means that everything ahead of the lens is off, the seal included; the "
    "lens stays on. Set the exposure so that the place to look at (the ring) reads {bare} on the waveform, and write it "
    "down{middle}. Record a still, and write light and shutter into the note."
)
MIDDLE = "; write down what the middle of the picture reads as well"
BOX_ON = (
    "Then fit the box, measure its place once, and do every shot of the set-up again. Box on: {touch}. Read the same place again, "
    "write it down, and record a still."
)
WITH_GLASS = (
    "bring the middle of the picture back to what it read in that shot, by light or shutter, never by the stop (the filters take "
    "light from the whole picture)"
)
NO_GLASS = "set light and shutter as they were in that shot with the box off, and touch nothing else"
CARD = (
    "With the box on the card itself must still be as even as before: with the spot meter beside the lens read it where the ring "
    "lies and in the middle. Where the box shades the card, move the lamps ahead of the box."
)
OUT = (
    "Where a shot says filters out: take them out, bring the middle back once more, and read the same place again, or the place "
    "that it names."
)
NEAREST = (
    "A place on a part, so many mm ahead of the lens front, is where the beam comes nearest, from the front as it stands at that "
    "focus: on a mask its front face or its rear face."
)
READ = "Read right at the edge or in the corner, inside the ring, and take the average of a small patch."
THEN = "Rack focus and zoom once through with the box on, and look for anything not on this list."
KEYS = re.compile(r" \([a-z]+(?:_[a-z0-9]+)+\)")
CHANGE_FIRST = (
    "Don't change the box on the day: every page below is for the box as it is. Made a change? Put it in the scene file and print "
    "a new plan."
)
RENTAL = (
    "Ask the rental house what lens fronts, rods and clamps may carry, and how the box is to be rigged: this plan knows no weights."
)
CLAMPED = "The box hangs on the lens front: the rental house says whether the lens may carry it."
SUN = "The scene has the sun as a light ({names}): cap the lens while you rig and turn, and keep glass out of the sun."


def not_checked(plan: TestPlan) -> str:
    """Which lenses open wider than they are checked: '35 wider than f/2.8 (opens to f/2)'; '' for none."""
    told = []
    for lens in plan.scene.lens:
        stops = [state.f_number for state in plan.check.states if state.lens_name == lens.name]
        if stops and lens.f_number < min(stops):
            told.append(f"{lens.name} wider than f/{min(stops):g} (opens to f/{lens.f_number:g})")
    return "; ".join(told)


def show_lines(plan: TestPlan) -> tuple[str, ...]:
    """The show in a few lines."""
    scene = plan.scene
    guides = ", ".join(guide.name for guide in plan.shots[0].plan.guides) if plan.shots else "whole frame"
    grid = plan.shots[0].plan.grid if plan.shots else None
    size = "" if grid is None else f", {plain(round(grid.width_mm, 2))} x {plain(round(grid.height_mm, 2))} mm"
    stops = sorted({state.f_number for state in plan.check.states})
    focus = sorted({state.focus_mm for state in plan.check.states}, reverse=True)
    work = f"{counted(len(plan.shots), 'shot')} on {counted(len(plan.stations), 'set-up')}, about {plan.minutes:.0f} min of changes"
    return (
        f"Camera: {scene.camera.format or 'own format'}{size}; frame guides: {guides}.",
        f"Lenses: {', '.join(lens.name for lens in scene.lens)}.",
        f"Checked: focus {', '.join(map(focus_words, focus))}; stops {', '.join(f'f/{stop:g}' for stop in stops)}.",
        *([f"Not checked: {open_wider}."] if (open_wider := not_checked(plan)) else []),
        f"Box {'clamped to the lens' if scene.box.mount == CLAMP else f'on {scene.box.mount}'}: {box_words(plan)}.",
        f"Shoot: {work}; waveform in {CURVE_WORDS[scene.plan.curve]}, {scene.plan.bits}-bit codes.",
    )


def box_words(plan: TestPlan) -> str:
    """What the box is made of, in the order of its kinds."""
    box = plan.scene.box
    counts = (
        ("seal", len(box.seal)),
        ("stage", len(box.stage)),
        ("mask", len(box.mask)),
        ("hood", len(box.hood)),
        ("flag", len(box.flag)),
    )
    return ", ".join(counted(count, word) for word, count in counts if count) or "no parts"


def in_frame(plan: TestPlan) -> tuple[Attention, ...]:
    """What darkens a frame, the worst first."""
    return tuple(group for group in attention(plan.check) if group.word in VIGNETTES)


def tight(plan: TestPlan) -> tuple[Attention, ...]:
    """What is tight, that with the least room first, be it with the filters in or out."""
    return tuple(sorted((group for group in attention(plan.check) if group.word is Word.TIGHT), key=_least_room_mm))


def _least_room_mm(group: Attention) -> float:
    """The least room that any state of a group has, with the filters in or out; none known comes first."""
    guides = [guide for state in group.states for guide in state.guides]
    rooms = [-math.inf if guide.room_mm is None else guide.room_mm for guide in guides]
    return min([*rooms, *(guide.trays_empty.room_mm for guide in guides if guide.trays_empty is not None)])


def loss_lines(group: Attention) -> str:
    """What darkens the frame in these states: 'the right flag blacks out the right edge'."""
    return "; ".join(dict.fromkeys(_loss_words(state) for state in group.states))


def _loss_words(state: StateResult) -> str:
    """The same of one state, with the least loss too where that depends on the pupil."""
    told, (low, high) = blame_words(state), state.blamed.worst.range_stops
    if loss_words(low) == loss_words(high) or high >= ALL_STOPS:
        return told
    return f"{told.replace(' takes ', f' takes {least_words(low)} to ', 1)}, {BY_PUPIL}"


def room_lines(group: Attention) -> str:
    """What comes nearest in these states, and whether that needs the filters in."""
    near = [part for state in group.states if (part := nearest_part(state.parts)) is not None]
    places = [without_front(part.where) for part in near]
    told = dict.fromkeys(
        f"{part.name}, {clearance_words(part.clearance_mm)}{at and f', {at}'}" for part, at in zip(near, places, strict=True)
    )
    needed = [lost for state in group.states if (lost := state.blamed.lost_by_empty_trays) is not None]
    if not needed:
        return "; ".join(told)
    least = min(needed, key=lambda one: one.room_mm)
    room = f"only {least.room_mm:.1f} mm of room" if least.room_mm > 0.0 else clearance_words(least.room_mm)
    keep = f"keep the {least.filter_words} in: {room} with the trays empty"
    return "; ".join([*told, keep])


def clear_words(plan: TestPlan) -> str:
    """Which states are clear, lens by lens; '' for none."""
    by_lens: dict[str, list[str]] = {}
    for state in plan.check.states:
        if state.word is Word.CLEAR:
            by_lens.setdefault(lens_words(state), []).append(setting_words(state))
    return "; ".join(f"{lens}: {' | '.join(settings)}" for lens, settings in by_lens.items())


def to_change(plan: TestPlan) -> tuple[str, ...]:
    """What to change before the shoot: faults first, then what darkens a frame, then gaps to close."""
    faults = [fault.text for fault in plan.faults]
    gaps = [f"{station.setup.lens}: {gap}" for station in plan.stations for gap in gap_words(station)]
    steps = [f"{group.lens}, {group.settings}: {group.step}" for group in in_frame(plan) if group.step]
    return tuple(dict.fromkeys(with_plain_keys(one) for one in [*faults, *steps, *gaps]))


def cautions(plan: TestPlan) -> tuple[str, ...]:
    """What no program can check."""
    suns = [light.name for light in plan.scene.light if light.sun is not None]
    more = [CLAMPED] if plan.scene.box.mount == CLAMP else []
    return (*CAUTIONS, RENTAL, *more, *([SUN.format(names=", ".join(suns))] if suns else []))


def headline(plan: TestPlan) -> str:
    """The answer, as check says it."""
    return answer_line([plan.check])


def how_lines(plan: TestPlan) -> tuple[str, ...]:
    """How to read a shot, step by step."""
    bare = plan.shots[0].expected.bare if plan.shots else None
    light = "middle grey" if bare is None else f"{bare.words} (middle grey; code {bare.code})"
    has_glass = any(piece.kind == "filter" for station in plan.stations for piece in station.setup.pieces)
    again = any(shot.again for shot in plan.shots)
    return (
        LIGHT,
        OUTPUT.format(curve=CURVE_WORDS[plan.scene.plan.curve], bits=plan.scene.plan.bits),
        BOX_OFF.format(bare=light, middle=MIDDLE if has_glass else ""),
        BOX_ON.format(touch=WITH_GLASS if has_glass else NO_GLASS),
        CARD,
        *([OUT] if again else []),
        READ,
        NEAREST,
        THEN,
    )


def order_words(plan: TestPlan) -> str:
    """How good the order is."""
    least = "no other order takes less" if plan.exact else "a good order, found by trying: with so many set-ups not proved the best"
    minutes = f"about {plan.minutes:.0f} minutes of changes"
    return f"Set-ups in the order of least work: {minutes}, {least}. Box off and on again for the readings is not counted."


def change_words(station: Station) -> tuple[str, ...]:
    """What to do at a set-up in the order in which it is done: every shot with the box off first, then with the box on."""
    return (
        *_change_words(station),
        box_line(station),
        *(_capital(gap) for gap in gap_words(station)),
        f"Read {_shots_words(station)} with the box on",
    )


def _change_words(station: Station) -> Iterator[str]:
    change, numbers = station.change, _shots_words(station)
    lens = f"; lens on: {change.lens}" if change.lens else ""
    yield f"Box off (everything ahead of the lens, seal included){lens}"
    yield f"Read {numbers} with the box off"
    swaps = [f"{piece.name} {way}" for way, pieces in (("out", change.off), ("in", change.on)) for piece in pieces]
    told = "all that shot 1 names under fitted" if station.number == 1 else ", ".join(swaps)
    yield f"Fit the box{told and f': {told}'}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _shots_words(station: Station) -> str:
    numbers = [str(shot.number) for shot in station.shots]
    return f"shot{'s' if len(numbers) > 1 else ''} {listed(numbers)}"


def box_line(station: Station) -> str:
    """Where the box stands on a set-up: told each time, for it is measured from another lens front."""
    return f"Box: {station.setup.placement}; {station.setup.set_at}"


def all_tells_lines(plan: TestPlan) -> tuple[str, ...]:
    """What stills of the shots tell, lens by lens, and how to read it."""
    return (*tells_lines(plan.tells), *([HOW_STILLS] if plan.tells else []))


def look_words(shot: PlannedShot) -> str:
    """Where to look, of which frame guide: as it is marked in the picture."""
    spots = shot.map.spots
    if not spots:
        return "every corner and edge"
    return f"{listed([spot.words for spot in spots])} ({shot.shot.guide.guide})"


def expect_words(shot: PlannedShot) -> str:
    """What to expect of the box in stops."""
    return shot.shot.expected


def filter_words(shot: PlannedShot) -> str:
    """What the filters take at the place to look at more than in the middle; '' for nothing that shows."""
    more = shot.expected.glass_stops
    if abs(more) < SHOWN_LOSS_STOPS or shot.expected.low_stops >= ALL_STOPS:
        return ""
    return f"take {loss_words(abs(more))} {'more' if more > 0.0 else 'less'} there than in the middle; the numbers below include it"


def dark_words(shot: PlannedShot) -> str:
    """Every place of the recorded area that is dark, and by which part."""
    if not shot.map.dark:
        return f"nothing: no place of the recorded area loses {shot.plan.visible_loss_stops:g} stop or more"
    return "; ".join(place.words for place in shot.map.dark)


def reading_words(shot: PlannedShot) -> str:
    """What to expect on the waveform."""
    now = shot.expected
    codes = f"code {now.dark.code}" if now.dark.code == now.light.code else f"codes {now.dark.code} to {now.light.code}"
    if not now.loses and abs(now.glass_stops) < SHOWN_LOSS_STOPS:
        return f"box off {now.bare.words} (code {now.bare.code}); box on the same"
    return f"box off {now.bare.words} (code {now.bare.code}); box on {now.words} ({codes})"


def todo_words(shot: PlannedShot) -> str:
    """What to do, as the text list says it, but that this is the test shoot."""
    told = otherwise(shot.shot.guide).removeprefix("to do: ")
    told = KEYS.sub("", told.replace("on the test shoot", "by this shot"))
    empty = shot.shot.guide.trays_empty
    keep = f"; keep the {empty.filter_words} in" if shot.again and empty is not None and "keep the filter" not in told else ""
    return with_plain_keys(told) + keep


def other_guides_words(shot: PlannedShot) -> str:
    """How the other frame guides fare at the same state: '2.2:1 extraction: clear'."""
    return "; ".join(f"{guide.guide}: {guide.word}" for guide in shot.result.guides if guide.guide != shot.shot.guide.guide)


def near_words(shot: PlannedShot) -> str:
    """The part nearest to the beam: '2.0 mm clear: step ring, bottom left, ...'."""
    part = nearest_part(shot.result.parts)
    return "" if part is None else f"{part.name}, {clearance_words(part.clearance_mm)}{part.where and f', {part.where}'}"


def chain(setup: Setup) -> str:
    """What is fitted, from the lens outward, each tray with its glass: 'wide donut > rear tray: clear glass > mask'."""
    return " > ".join([f"lens {setup.lens}", *(words for _, words in _fitted(setup))])


def _fitted(setup: Setup) -> list[tuple[str, str]]:
    """Kind and words of each piece, a filter with its tray."""
    told: list[tuple[str, str]] = []
    for piece in setup.pieces:
        if piece.kind == "filter":
            told[-1] = told[-1][0], f"{told[-1][1]}: {piece.name}"
        else:
            told.append((piece.kind, f"{piece.name} at {piece.words}" if piece.kind == "flag" else piece.name))
    return told


def chart_rows(plan: TestPlan) -> tuple[tuple[str, ...], ...]:
    """A row for each lens of the plan: its box's place, seal, mask, all that is fitted from the lens outward, worst verdict."""
    return tuple(_chart_row(plan, station) for station in plan.stations)


def _chart_row(plan: TestPlan, station: Station) -> tuple[str, ...]:
    setup = station.setup
    worst = worst_word([state.word for state in plan.check.states if state.lens_name == setup.lens])
    box = f"{setup.placement.removeprefix(BACK_PLATE)}; {setup.set_at.removeprefix('measured ')}"
    seal, mask = (_of_kind(setup, kind) for kind in ("seal", "mask"))
    seal = "; ".join(gap_words(station)) or seal
    return setup.lens, box, seal, mask, " > ".join(words for _, words in _fitted(setup)), str(worst)


def _of_kind(setup: Setup, kind: str) -> str:
    return "; ".join(words for own, words in _fitted(setup) if own == kind) or "none"


def gap_words(station: Station) -> tuple[str, ...]:
    """What to close round a lens that has no seal: none where it has one, or fits."""
    return open_gaps([shot.result for shot in station.shots])
