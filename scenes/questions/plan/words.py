"""Page one of a plan in words: the show in five lines, what is in frame and tight, what to bring, what to mind."""

from __future__ import annotations

from collections.abc import Iterator

from scenes.answers.numbers import focus_words
from scenes.questions.plan.expected import CURVE_WORDS
from scenes.questions.plan.measuring import with_plain_keys
from scenes.questions.plan.report import PlannedShot, Station, TestPlan
from scenes.questions.plan.setups import Change, Setup
from scenes.questions.plan.tells import HOW_STILLS, tells_lines
from scenes.runtime.page import counted, listed
from scenes.scene_file.messages import ALL_STOPS, plain
from scenes.scene_file.tables.box import CLAMP
from scenes.states.clear_rule import Word, worst_word
from scenes.states.names import lens_words, setting_words
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS, loss_words
from scenes.verdicts.overview import Attention, answer_line, attention
from scenes.verdicts.test_plan import otherwise
from scenes.verdicts.text import CAUTIONS, blame_words, clearance_words, nearest_part, without_front

BACK_PLATE = "rear face of the back plate "
CHART_KINDS = (("seal",), ("stage",), ("mask",), ("flag", "solid"))
VIGNETTES = (Word.SHADING, Word.IN_FRAME)
# How to read a shot: common practice.
LIGHT = (
    "Light the card or wall evenly, larger than the frame. Put it at the focus distance named, which counts from the image "
    "plane. For infinity set the lens there and put the card just past the flags; it may be soft."
)
BOX_OFF = (
    "Box off: set the exposure so that the place to look at (the ring) reads {bare} on the waveform, and write it down{middle}."
)
MIDDLE = "; write down what the middle of the picture reads as well"
BOX_ON = "Box on: {touch}, then read the same place again and write it down."
WITH_GLASS = (
    "bring the middle of the picture back to what it read, by light or shutter, never by the stop (the filters take light from the "
    "whole picture)"
)
OUT = "Where a shot says filters out: take them out, bring the middle back once more, and read the same place again."
READ = "Read right at the edge or in the corner, inside the ring, and take the average of a small patch."
THEN = "Rack focus and zoom once through with the box on, and look for anything not on this list."
CHANGE_FIRST = (
    "The shots below are of the box as the scene has it: make these changes in the scene and plan again, or leave them all."
)
RENTAL = (
    "Ask the rental house what lens fronts, rods and clamps may carry, and how the box is to be rigged: this plan knows no weights."
)
CLAMPED = "The box hangs on the lens front: the rental house says whether the lens may carry it."
SUN = "The scene has the sun as a light ({names}): cap the lens while you rig and turn, and keep glass out of the sun."


def show_lines(plan: TestPlan) -> tuple[str, ...]:
    """The show in five lines."""
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
    """What is tight."""
    return tuple(group for group in attention(plan.check) if group.word is Word.TIGHT)


def loss_lines(group: Attention) -> str:
    """What darkens the frame in these states: 'the right flag blacks out the right edge'."""
    return "; ".join(dict.fromkeys(blame_words(state) for state in group.states))


def room_lines(group: Attention) -> str:
    """What comes nearest in these states, and whether that needs the filters in."""
    near = [part for state in group.states if (part := nearest_part(state.parts)) is not None]
    places = [without_front(part.where) for part in near]
    told = dict.fromkeys(
        f"{part.name}, {clearance_words(part.clearance_mm)}{at and f', {at}'}" for part, at in zip(near, places, strict=True)
    )
    empty = [state.blamed.trays_empty for state in group.states]
    needed = [one.filter_words for one in empty if one is not None and not one.enough]
    keep = f"; keep the {'filters' if 'filters' in needed else 'filter'} in" if needed else ""
    return "; ".join(told) + keep


def clear_words(plan: TestPlan) -> str:
    """Which states are clear, lens by lens; '' for none."""
    by_lens: dict[str, list[str]] = {}
    for state in plan.check.states:
        if state.word is Word.CLEAR:
            by_lens.setdefault(lens_words(state), []).append(setting_words(state))
    return "; ".join(f"{lens}: {' | '.join(settings)}" for lens, settings in by_lens.items())


def to_change(plan: TestPlan) -> tuple[str, ...]:
    """What to change before the shoot: faults first, then what darkens a frame."""
    faults = [fault.text for fault in plan.faults]
    steps = [f"{group.lens}, {group.settings}: {group.step}" for group in in_frame(plan) if group.step]
    return tuple(dict.fromkeys(with_plain_keys(one) for one in [*faults, *steps]))


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
        BOX_OFF.format(bare=light, middle=MIDDLE if has_glass else ""),
        BOX_ON.format(touch=WITH_GLASS if has_glass else "touch nothing else"),
        *([OUT] if again else []),
        READ,
        THEN,
    )


def order_words(plan: TestPlan) -> str:
    """How good the order is."""
    least = "no other order takes less" if plan.exact else "a good order, found by trying: with so many set-ups not proved the best"
    return f"Set-ups in the order of least work: about {plan.minutes:.0f} minutes of changes, {least}."


def change_words(station: Station) -> tuple[str, ...]:
    """What to do to get to a set-up, the box's place last."""
    return (*_change_words(station.change, first=station.number == 1), box_line(station))


def _change_words(change: Change, *, first: bool) -> Iterator[str]:
    if change.off:
        yield f"Off: {', '.join(piece.name for piece in change.off)}"
    if change.lens:
        yield f"Lens: {change.lens}"
    if change.on:
        yield f"On: {'all that shot 1 names under fitted' if first else ', '.join(piece.name for piece in change.on)}"


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
    return f"take {loss_words(abs(more))} {'more' if more > 0.0 else 'less'} there than in the middle; the readings count that in"


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
    return with_plain_keys(told.replace("on the test shoot", "by this shot"))


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
    """A row for each lens of the plan: its box's place, seal, trays with their filters, mask, flags and others, worst verdict."""
    return tuple(_chart_row(plan, station) for station in plan.stations)


def _chart_row(plan: TestPlan, station: Station) -> tuple[str, ...]:
    setup = station.setup
    worst = worst_word([state.word for state in plan.check.states if state.lens_name == setup.lens])
    box = f"{setup.placement.removeprefix(BACK_PLATE)}; {setup.set_at.removeprefix('measured ')}"
    return setup.lens, box, *(_of_kinds(setup, kinds) for kinds in CHART_KINDS), str(worst)


def _of_kinds(setup: Setup, kinds: tuple[str, ...]) -> str:
    return "; ".join(words for kind, words in _fitted(setup) if kind in kinds) or "none"
