"""Page one of a plan in words: the show in five lines, what is in frame and tight, what to bring, what to mind."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scenes.answers.numbers import focus_words
from scenes.questions.plan.expected import CURVE_WORDS
from scenes.questions.plan.report import PlannedShot, Station, TestPlan
from scenes.questions.plan.setups import Change, Piece, Setup
from scenes.questions.plan.tells import HOW_STILLS, tells_lines
from scenes.runtime.page import counted
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import CLAMP
from scenes.states.clear_rule import Word, worst_word
from scenes.states.names import lens_words, setting_words
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS, loss_words
from scenes.verdicts.overview import Attention, answer_line, attention
from scenes.verdicts.test_plan import otherwise
from scenes.verdicts.text import CAUTIONS, blame_words, clearance_words, nearest_part, without_front

CHART_KINDS = (("seal",), ("stage",), ("mask",), ("flag", "solid"))
VIGNETTES = (Word.SHADING, Word.IN_FRAME)
HOW = (
    "Light a plain wall or card evenly, larger than the frame, and put it at the focus named; for infinity set the lens there "
    "and put it anywhere past the flags, for it may be soft. With the box off, set the exposure so that the place to look at "
    "reads {bare} on the waveform{middle}. Put the box on, {touch}, and read the same place again: the difference is what the "
    "box takes. Then rack focus and zoom once through with the box on, and look for anything not on this list."
)
MIDDLE = ", and note what the middle of the picture reads"
WITH_GLASS = (
    "bring the middle back to that by light or shutter, never by the stop, as the filters take light from the whole picture; "
    "do so again where they come out"
)
MORE_AT_THE_EDGE = (
    " Toward the corners filters take up to {more} more than in the middle: clear glass as thick in their trays hardly does."
)
CHANGE_FIRST = (
    "The shots below are of the box as the scene has it: make these changes in the scene and plan again, or leave them all."
)
TOOLS = "card or wall, evenly lit; tape measure; two upright pins; waveform monitor"
RENTAL = (
    "Ask the rental house what lens fronts, rods and clamps may carry, and how the box is to be rigged: this plan knows no weights."
)
CLAMPED = "The box hangs on the lens front: the rental house says whether the lens may carry it."
SUN = "The scene has the sun as a light ({names}): cap the lens while you rig and turn, and keep glass out of the sun."


@dataclass(frozen=True, slots=True)
class Part:
    """Something to bring: what, and the lenses that need it."""

    piece: Piece
    lenses: tuple[str, ...]


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
    return tuple(
        dict.fromkeys([*faults, *(f"{group.lens}, {group.settings}: {group.step}" for group in in_frame(plan) if group.step)])
    )


def parts(plan: TestPlan) -> tuple[Part, ...]:
    """Everything to bring, each once, in the order in which it is first needed."""
    found: dict[Piece, list[str]] = {}
    for station in plan.stations:
        for piece in station.setup.pieces:
            found.setdefault(piece, []).append(station.setup.lens)
    return tuple(Part(piece, tuple(lenses)) for piece, lenses in found.items())


def bring_lines(plan: TestPlan) -> tuple[str, ...]:
    """Everything to bring, a line each."""
    count = len(plan.stations)
    told = [part.piece.told + ("" if len(part.lenses) == count else f" (with {', '.join(part.lenses)})") for part in parts(plan)]
    return (*(f"lens {station.setup.lens}" for station in plan.stations), *told, TOOLS)


def cautions(plan: TestPlan) -> tuple[str, ...]:
    """What no program can check."""
    suns = [light.name for light in plan.scene.light if light.sun is not None]
    more = [CLAMPED] if plan.scene.box.mount == CLAMP else []
    return (*CAUTIONS, RENTAL, *more, *([SUN.format(names=", ".join(suns))] if suns else []))


def headline(plan: TestPlan) -> str:
    """The answer, as check says it."""
    return answer_line([plan.check])


def how_words(plan: TestPlan) -> str:
    """How to read a shot."""
    bare = plan.shots[0].expected.bare if plan.shots else None
    light = "middle grey" if bare is None else f"{bare.words} (middle grey; code {bare.code})"
    has_glass = any(piece.kind == "filter" for station in plan.stations for piece in station.setup.pieces)
    told = HOW.format(bare=light, middle=MIDDLE if has_glass else "", touch=WITH_GLASS if has_glass else "touch nothing else")
    return told + _more_at_the_edge(plan)


def _more_at_the_edge(plan: TestPlan) -> str:
    """What filters take more in the corners than in the middle; '' where that is next to nothing."""
    more = max((shot.guide.glass_corner_minus_axis_stops for shot in (one.shot for one in plan.shots)), default=0.0)
    return "" if more < SHOWN_LOSS_STOPS else MORE_AT_THE_EDGE.format(more=loss_words(more))


def order_words(plan: TestPlan) -> str:
    """How good the order is."""
    least = "no other order takes less" if plan.exact else "a good order, found by trying: with so many set-ups not proved the best"
    return f"Set-ups in the order of least work: about {plan.minutes:.0f} minutes of changes, {least}."


def change_words(station: Station) -> tuple[str, ...]:
    """What to do to get to a set-up."""
    return tuple(_change_words(station.change, first=station.number == 1))


def _change_words(change: Change, *, first: bool) -> Iterator[str]:
    if change.off:
        yield f"Off: {', '.join(piece.name for piece in change.off)}"
    if change.lens:
        yield f"Lens: {change.lens}"
    if change.on:
        yield f"On: {'everything listed below' if first else ', '.join(piece.name for piece in change.on)}"
    if change.placement:
        yield f"Box: {change.placement}"


def all_tells_lines(plan: TestPlan) -> tuple[str, ...]:
    """What stills of the shots tell, lens by lens, and how to read it."""
    return (*tells_lines(plan.tells), *([HOW_STILLS] if plan.tells else []))


def expect_words(shot: PlannedShot) -> str:
    """What to expect in stops, as the text list says it."""
    return shot.shot.expected


def reading_words(shot: PlannedShot) -> str:
    """What to expect on the waveform."""
    now = shot.expected
    codes = f"code {now.dark.code}" if now.dark.code == now.light.code else f"codes {now.dark.code} to {now.light.code}"
    if not now.loses:
        return f"box off {now.bare.words} (code {now.bare.code}); box on the same"
    return f"box off {now.bare.words} (code {now.bare.code}); box on {now.words} ({codes})"


def todo_words(shot: PlannedShot) -> str:
    """What to do, as the text list says it."""
    return otherwise(shot.shot.guide).removeprefix("to do: ")


def near_words(shot: PlannedShot) -> str:
    """The part nearest to the beam: '2.0 mm clear: step ring, bottom left, ...'."""
    part = nearest_part(shot.result.parts)
    return "" if part is None else f"{part.name}, {clearance_words(part.clearance_mm)}{part.where and f', {part.where}'}"


PUPIL_HOW = (
    "Set two upright pins ahead of the lens, one near and one far, in line through the lens axis. Pan from side to side: "
    "where the near pin moves against the far one, slide the camera along the lens axis and pan again. Where they stay in "
    "line, the pan axis is under the entrance pupil: measure from there to the front rim. For pupil_walk pan until the pins"
    " stand at the edge of the picture, and slide again. An anamorphic has two: pan for the horizontal one, tilt for the "
    "vertical one. Common practice."
)
FIELD_HOW = (
    "Box off. Put a card with a tape across square to the lens axis at the focus distance, which counts from the image "
    "plane. Focus on it and read the tape where the frame ends, from the axis to the left and to the right. Half of the "
    "width over the distance from pupil to card is the tangent of half_field_deg; that distance is the focus distance less "
    "front_to_sensor_mm plus the pupil's depth."
)


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
    """A row for each lens of the plan: seal, trays with their filters, mask, flags and others, worst verdict."""
    return tuple(_chart_row(plan, station) for station in plan.stations)


def _chart_row(plan: TestPlan, station: Station) -> tuple[str, ...]:
    setup = station.setup
    worst = worst_word([state.word for state in plan.check.states if state.lens_name == setup.lens])
    return setup.lens, *(_of_kinds(setup, kinds) for kinds in CHART_KINDS), str(worst)


def _of_kinds(setup: Setup, kinds: tuple[str, ...]) -> str:
    return "; ".join(words for kind, words in _fitted(setup) if kind in kinds) or "none"
