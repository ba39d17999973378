"""Everything that has to change for a state to be clear, with how much; applied to a copy of the box and judged again."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from geometry.body import Block, Kind, Loop, Part, Tube
from geometry.checks import covers
from geometry.flags import leaning_deg, swung_with
from geometry.outline import Circle, Freeform, Outline, RoundedRectangle
from geometry.overlap import holds
from raytrace.beam.beam import outer_guides
from raytrace.beam.frame_margin import scaled
from raytrace.box import Box
from scenes.runtime.page import listed
from scenes.states.clear_rule import ROOM_PERCENT, TOLD_MM, room_needed_mm
from scenes.states.judgement import without_glass
from scenes.states.names import the
from scenes.states.rooms import PLENTY_MM
from scenes.verdicts.closer import brought_closer, closest, closest_by_place

if TYPE_CHECKING:
    from raytrace.judge.rooms import GuideBeam
    from scenes.states.state import State

BLADES = {Kind.FLAG, Kind.EXTENSION}
WIDEST_DEG = 120  # a flag opened further than this lies behind its hinge: another place, not another angle, is then the cure
STRAIGHT_STEPS = (
    4  # guesses along a straight line, which a blade's clearance nearly follows; then by halving, which always ends soon
)
FOLDED_DEG = 170.0  # nor folded further back than this: beyond it the blade comes in again behind its hinge
SPAN_DEG = 15  # steps at which the swing of a blade is looked at for how far it reaches along the axis
MOST_WIDER_MM = 200  # of an opening, each way: beyond this it is another box
HALVES = 2  # openings are told to whole mm, so that each side moves by a half
TOUCHING_MM = 1e-4  # no room at all
MANY_PARTS = 3  # where more than this many parts have to change, the box itself is the wrong one
FIXED = {
    Kind.FLAG: "open {part}",
    Kind.EXTENSION: "swing {part} back out",
    Kind.ROD: "shorten {part}, or raise the lens above the rods",
    Kind.SOLID: "move {part} out of the view",
    Kind.BARREL: "check the lens's own dimensions: {part} stands in its light",
    Kind.FRONT_RING: "check the lens's own dimensions: {part} stands in its light",
}
WIDER = {
    Kind.MASK: "give {part} a cut-out of {size}",
    Kind.HOOD: "make {part} wider by {by} mm on each side",
    Kind.TRAY: "replace {part} by a stage of {size} inside",
    Kind.BACK: "use a bore of {size} in {part}",
    Kind.SEAL: "replace {part} by one of {size} inside",
}
SMALLER_NEARER = {Kind.TRAY, Kind.BACK}  # the beam they pass is smaller nearer to the lens
SHORTEST_HOOD_MM = 10  # what is left of a hood that is cut shorter: less shades nothing


@dataclass(frozen=True, slots=True)
class Change:
    """What is done to some parts, in words, and these parts as they are then or gone; none where it cannot be tried.

    No words: nothing that was tried clears the part.
    """

    words: str
    parts: tuple[Part, ...] = ()
    gone: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Light:
    """The beams of a state that a change is tried in, each with the room that a clear frame needs from it [mm].

    In pairs, as the guide is and grown; where the box holds glass a pair with it, then one with the trays empty.
    """

    beams: tuple[tuple[GuideBeam, float], ...]
    glazed: bool = False

    def spare_mm(self, part: Part, enough_mm: float = math.inf) -> float:
        """How much farther in a part could stand for the state to be clear [mm]; 0 or less where it stands too near.

        What is enough is not looked at closer.
        """
        spare = enough_mm + TOUCHING_MM
        for beam, needed_mm in self._asked():
            spare = min(spare, self._room_mm(beam, part, spare + needed_mm + PLENTY_MM) - needed_mm)
        return spare - TOUCHING_MM

    def fails(self, part: Part) -> bool:
        """Whether a part stands too near: the sign of its spare room, by the first beam that shows it."""
        asked = ((self._room_mm(beam, part, needed_mm + PLENTY_MM), needed_mm) for beam, needed_mm in self._asked())
        return any(room_mm - needed_mm - TOUCHING_MM < 0.0 for room_mm, needed_mm in asked)

    def _asked(self) -> Iterator[tuple[GuideBeam, float]]:
        """The beams that a clear frame hangs on: those of guides as they are only where room is needed, for the grown hold them."""
        return (one for number, one in enumerate(self.beams) if number % 2 or one[1] > 0.0)

    def room_mm(self, part: Part) -> float:
        """The room of a part from the guides as they are [mm]."""
        return min(self.rooms_mm(part))

    def rooms_mm(self, part: Part) -> tuple[float, ...]:
        """The same with the filters in and with the trays empty; one number where the box holds no glass."""
        own = [self._room_mm(beam, part) for beam, _ in self.beams[::2]]
        return (min(own[::2]), min(own[1::2])) if self.glazed else (min(own),)

    def _room_mm(self, beam: GuideBeam, part: Part, enough_mm: float = math.inf) -> float:
        from raytrace.judge.pieces import pieces_of
        from raytrace.judge.rooms import room

        return float(room(beam, pieces_of(part), enough_mm=enough_mm)[0][0])


def light_of(plan: State, tried: Sequence[Part]) -> Light:
    """The beams of a state's outer guides, glass in and out, as they are and grown by the margin of a clear frame."""
    from raytrace.judge.field import cell_of
    from raytrace.judge.rooms import GuideBeam

    box = Box(parts=(*plan.box.parts, *tried), glasses=plan.box.glasses)
    boxes = (box, without_glass(box)) if box.glasses else (box,)
    needed_mm = max(room_needed_mm(plan.variants) - TOLD_MM, 0.0)
    return Light(
        tuple(
            (GuideBeam(plan.variants, one, cell_of(scaled(guide, scale))), needed)
            for guide in outer_guides(plan.guides)
            for one in boxes
            for scale, needed in ((1.0, needed_mm), (1.0 + ROOM_PERCENT / 100.0, 0.0))
        ),
        glazed=len(boxes) > 1,
    )


def remedy_words(plan: State) -> str:
    """What has to change for the state to be clear, and how it is then; '' where no part stands too near."""
    from raytrace.judge.rooms import RIGHT_THROUGH_MM

    light = light_of(plan, tuple(_swings(plan.box.parts)))
    spare = {part.name: light.spare_mm(part, 0.0) for part in plan.box.parts}
    to_blame = [part for part in plan.box.parts if spare[part.name] < 0.0]
    if not to_blame or min(spare.values()) <= -RIGHT_THROUGH_MM:  # no part, or light that could not be followed
        return ""
    if len(to_blame) > MANY_PARTS:
        by_depth = [the(part.name) for part in sorted(to_blame, key=lambda part: spare[part.name])]
        rest = len(by_depth) - MANY_PARTS  # one more is named as well: "1 more part" would take as much room
        names = listed([*by_depth[:MANY_PARTS], f"{rest} more parts"] if rest > 1 else by_depth)
        return _nearer(plan, spare, f"no single change helps: {names} stand too far in")
    changes = tuple(_changes(plan, to_blame, light))
    left = _left(plan, changes, light)
    if not all(change.words for change in changes) or (left and all(change.parts or change.gone for change in changes)):
        deepest = min(to_blame, key=lambda part: spare[part.name])
        none = f"no change tried clears it: {_deepest_words(deepest, light.room_mm(deepest))}"
        return _nearer(plan, spare, none)
    told = listed([change.words for change in changes])
    outcome = _outcome(plan, changes, light)
    if len(to_blame) > 1:
        return f"{told}: {outcome}"
    if to_blame[0].kind is Kind.MASK and not changes[0].gone:
        told += ", or leave it out"
    instead = _nearer(plan, spare) if to_blame[0].kind in SMALLER_NEARER else _cut_shorter(plan, to_blame[0], light)
    return f"{told}: {outcome}{instead and f', or {instead}'}"


def _cut_shorter(plan: State, part: Part, light: Light) -> str:
    """How deep a straight hood may be, in whole mm, and how the state is then; '' where none will do, or flags may hang on it."""
    loops = part.body.inner if isinstance(part.body, Tube) else ()
    if part.kind is not Kind.HOOD or len(loops) != 2 or any(map(_is_blade, plan.box.parts)):
        return ""
    whole = math.ceil(loops[1].z_mm - loops[0].z_mm)
    most = whole - SHORTEST_HOOD_MM
    by_mm = least_clear(lambda by: light.spare_mm(shortened(part, whole - by)), light.spare_mm(part), most) if most > 0 else None
    if by_mm is None:
        return ""
    new = shortened(part, whole - by_mm)
    assert isinstance(new.body, Tube)
    mouth = new.body.inner[-1].outline
    assert isinstance(mouth, RoundedRectangle)
    size = f"{mouth.width_mm:.1f} x {mouth.height_mm:.1f} mm"
    rooms = [light.rooms_mm(new if one is part else one) for one in plan.box.parts]
    return f"cut it to {whole - by_mm} mm deep, {size} at its front: then clear{_room_words(rooms)}"


def shortened(part: Part, depth_mm: float) -> Part:
    """A tube of two sections, cut off so far ahead of its rear edge [mm]: its walls stay where they are."""
    assert isinstance(part.body, Tube)
    inner, outer = (
        loops if len(loops) < 2 else (loops[0], _between(loops[0], loops[-1], depth_mm))
        for loops in (part.body.inner, part.body.outer)
    )
    return replace(part, body=replace(part.body, inner=inner, outer=outer))


def _between(rear: Loop, front: Loop, ahead_mm: float) -> Loop:
    """The section of straight walls between two loops of one pose, so far ahead of the rear one [mm]."""
    share = ahead_mm / (front.z_mm - rear.z_mm)
    assert isinstance(rear.outline, RoundedRectangle)
    assert isinstance(front.outline, RoundedRectangle)
    sizes = zip(astuple(rear.outline), astuple(front.outline), strict=True)
    return replace(rear, z_mm=rear.z_mm + ahead_mm, outline=RoundedRectangle(*((1 - share) * a + share * b for a, b in sizes)))


def _nearer(plan: State, spare_mm: Mapping[str, float], otherwise: str = "") -> str:
    """By how few whole mm the box has to come closer to the lens for the state to be clear, and how it is then; else `otherwise`.

    spare_mm is that of each part where the box stands now. What meets the lens before it is clear is told with `otherwise`.
    """

    @cache
    def tried(by_mm: int) -> tuple[tuple[Part, ...], Light]:
        there = brought_closer(plan, by_mm)
        return there.box.parts, light_of(there, ())

    def spare(by_mm: int) -> float:
        parts, light = tried(by_mm)
        return min(light.spare_mm(part) for part in parts)

    def fails(by_mm: int) -> bool:
        parts, light = tried(by_mm)
        return any(light.fails(part) for part in sorted(parts, key=lambda part: spare_mm.get(part.name, 0.0)))

    end = closest_by_place(plan)
    if not end or fails(end):  # what no place clears needs no look at what meets the lens on the way
        return f"{otherwise}, and bringing the box closer does not clear it; use a wider box" if otherwise else ""
    most = closest(plan)
    by_mm = least_clear(spare, min(spare_mm.values()), most.by_mm) if most is not None and most.by_mm else None
    if by_mm:
        parts, light = tried(by_mm)
        return f"bring the box {by_mm} mm closer to the lens: then clear{_room_words([light.rooms_mm(part) for part in parts])}"
    met = f": {the(most.part)} would meet the lens" if most is not None and most.part else ""
    return f"{otherwise}, and the box cannot come close enough{met}; use a wider box" if otherwise else ""


def _swings(parts: Sequence[Part]) -> Iterator[Part]:
    """Blades as they swing outward, for how far along the axis the beams have to be followed."""
    for part in parts:
        if _is_blade(part):
            for mate in _mates(part, parts):
                yield from (swung_with(part, mate, deg) for deg in range(SPAN_DEG, widest_deg(part) + SPAN_DEG, SPAN_DEG))


def _is_blade(part: Part) -> bool:
    return part.kind in BLADES and isinstance(part.body, Block)


def _mates(flag: Part, parts: Sequence[Part]) -> tuple[Part, ...]:
    """What swings with a flag: itself and its extension."""
    if flag.kind is not Kind.FLAG or not flag.group:
        return (flag,)
    return tuple(part for part in parts if _is_blade(part) and _hangs_on(part, flag))


def _hangs_on(blade: Part, flag: Part) -> bool:
    return bool(flag.group) and blade.group in {flag.group, f"{flag.group}.extension"}


def _changes(plan: State, to_blame: Sequence[Part], light: Light) -> Iterator[Change]:
    names = {part.name for part in to_blame}
    for part in to_blame:
        if _is_blade(part):
            flag = next((one for one in plan.box.parts if one.kind is Kind.FLAG and _hangs_on(part, one)), part)
            if flag is part or flag.name not in names:
                yield _opened(plan, part, light)
        elif isinstance(part.body, Tube) and part.kind in WIDER:
            on_barrel = part.kind is Kind.SEAL and _is_on_barrel(plan, part)
            wider = _with_its_glass(plan, part, _widened(part, light))
            yield _pushed_back(part) if on_barrel else _beside_barrel(plan, wider) if part.kind is Kind.SEAL else wider
        else:
            yield Change(FIXED.get(part.kind, "move {part} out of the view").format(part=the(part.name)))


def _is_on_barrel(plan: State, part: Part) -> bool:
    """Whether a soft seal grips the barrel, so that a wider one would not close; a rigid ring cannot be pushed back over it."""
    outline = _first(part).outline
    if any(seal.kind == "ring" and (seal.name or "seal") == part.name for seal in plan.fitted.seal):
        return False
    return isinstance(outline, Circle) and 2 * outline.radius_mm <= plan.lens.front_diameter_mm + TOLD_MM


def _beside_barrel(plan: State, change: Change) -> Change:
    """A wider seal, with a word where none that closes on the barrel lets the beam through."""
    outlines = [_first(part).outline for part in change.parts]
    across_mm = max((2 * outline.radius_mm for outline in outlines if isinstance(outline, Circle)), default=0.0)
    front_mm = plan.lens.front_diameter_mm
    if across_mm <= front_mm + TOLD_MM:
        return change
    plates = plan.fitted.back
    if plates and across_mm >= plates[0].bore_mm:  # such a seal cannot be made: nothing is left of it in the bore
        off = f"leave {the(change.parts[0].name)} out (one that lets the beam by would fill the bore"
        return Change(f"{off}; cover the gap that is left, or stray light gets in)", gone=(change.parts[0].name,))
    gap_mm = (across_mm - front_mm) / 2
    gap = (
        f", which leaves a gap of {gap_mm:.1f} mm all round: cover it, or stray light gets in" if _leaves_gap(plan, change) else ""
    )
    return replace(change, words=f"{change.words} (the beam is wider there than the {front_mm:g} mm barrel{gap})")


def _leaves_gap(plan: State, change: Change) -> bool:
    """Whether the box with a wider seal, as it is told of, is cautioned of a gap round the barrel."""
    across_mm = {part.name: 2 * _first(part).outline.radius_mm for part in change.parts}  # type: ignore[union-attr]
    wider = tuple(
        seal.model_copy(update={"inner_mm": across_mm.get(seal.name or "seal", seal.inner_mm)}) for seal in plan.fitted.seal
    )
    notes = plan.with_box(plan.fitted.model_copy(update={"seal": wider})).notes
    return any(note.part in across_mm and "lets light in" in note.text for note in notes)


def _pushed_back(part: Part) -> Change:
    return Change(f"push {the(part.name)} back over the barrel, behind the lens front", gone=(part.name,))


def _opened(plan: State, blade: Part, light: Light) -> Change:
    """A flag opened with what hangs on it, or an extension swung back out, to the least whole degrees; else taken off."""
    mates = _mates(blade, plan.box.parts)
    set_deg = _set_deg(plan, blade)
    to_whole = 0.0 if set_deg is None else math.ceil(set_deg) - set_deg  # so that the angle to set is a whole one

    def opened(steps: int) -> float:
        return steps + to_whole if steps else 0.0

    @cache
    def spare_mm(steps: int) -> float:
        return min(light.spare_mm(swung_with(blade, mate, opened(steps))) for mate in mates)

    widest = widest_deg(blade)
    steps = least_clear(spare_mm, spare_mm(0), widest)
    if steps is None or (set_deg is not None and set_deg + opened(steps) > WIDEST_DEG):
        return Change(f"take {the(blade.name)} off", gone=tuple(mate.name for mate in mates))
    by_deg = opened(steps)
    return Change(_opened_words(blade, by_deg, set_deg), tuple(swung_with(blade, mate, by_deg) for mate in mates))


def _opened_words(blade: Part, by_deg: float, set_deg: float | None) -> str:
    if blade.kind is Kind.EXTENSION:
        return f"swing {the(blade.name)} back out by {_degrees(by_deg)}"
    if set_deg is None:
        return f"open {the(blade.name)} by {_degrees(by_deg)}"
    return f"open {the(blade.name)} to {set_deg + by_deg:.0f} degrees (by {by_deg:.3g})"


def _degrees(angle_deg: float) -> str:
    return f"{angle_deg:.3g} degree{'s' if angle_deg > 1 else ''}"


def _set_deg(plan: State, blade: Part) -> float | None:
    """The angle that the scene sets a flag to; None for a blade made by hand."""
    numbered = re.fullmatch(r"box\.flag\[(\d+)\]", blade.group)  # an extension's angle is another one
    return plan.fitted.flag[int(numbered[1]) - 1].angle_deg if numbered and len(plan.fitted.flag) >= int(numbered[1]) else None


def widest_deg(blade: Part) -> int:
    """How far a blade may be opened, in whole degrees."""
    return max(min(WIDEST_DEG, int(FOLDED_DEG - leaning_deg(blade))), 1)


def _widened(part: Part, light: Light) -> Change:
    """An opening made wider by the least whole mm: both ways together, then each way as little as will do."""

    def spare_mm(across: int, upright: int) -> float:
        return light.spare_mm(widened(part, across / HALVES, upright / HALVES))

    both = least_clear(lambda wider: spare_mm(wider, wider), spare_mm(0, 0), MOST_WIDER_MM)
    if both is None:
        return Change(f"leave {the(part.name)} out", gone=(part.name,)) if part.kind is Kind.MASK else Change("")
    across = upright = both
    if isinstance(_first(part).outline, RoundedRectangle):
        across = _least(lambda wider: spare_mm(wider, both), both)
        upright = _least(lambda wider: spare_mm(across, wider), both)
    new = widened(part, across / HALVES, upright / HALVES)
    by = f"{max(across, upright) / HALVES:g}"
    return Change(WIDER[part.kind].format(part=the(part.name), size=_size_words(_first(new).outline, by), by=by), (new,))


def _with_its_glass(plan: State, part: Part, change: Change) -> Change:
    """A tray made wider needs glass that covers it: which glass of the state no longer does is told."""
    held = [slab for slab in plan.assembly.slabs if part.kind is Kind.TRAY and holds(part, slab) and covers(slab, part)]
    short = [slab.name for new in change.parts for slab in held if not covers(slab, new)]
    return replace(change, words=f"{change.words}, with glass to cover it in place of the {listed(short)}") if short else change


def _least(spare_mm: Callable[[int], float], most: int) -> int:
    """The least whole number from 0 to `most`, which is enough, that is enough as well."""
    at_zero = spare_mm(0)
    return 0 if at_zero > 0.0 else least_clear(spare_mm, at_zero, most) or most


def _first(part: Part) -> Loop:
    assert isinstance(part.body, Tube)
    return part.body.inner[0]


def _size_words(outline: Outline, by: str) -> str:
    match outline:
        case RoundedRectangle():
            return f"at least {math.ceil(outline.width_mm)} x {math.ceil(outline.height_mm)} mm"
        case Circle():
            return f"at least {math.ceil(2 * outline.radius_mm)} mm across"
        case Freeform():
            return f"its shape, {by} mm wider all round"


def widened(part: Part, across_mm: float, upright_mm: float) -> Part:
    """A part whose openings, and outsides, reach farther by so much on each side [mm]."""
    assert isinstance(part.body, Tube)
    inner, outer = (
        tuple(replace(loop, outline=_wider(loop.outline, across_mm, upright_mm)) for loop in loops)
        for loops in (part.body.inner, part.body.outer)
    )
    return replace(part, body=replace(part.body, inner=inner, outer=outer))


def _wider(outline: Outline, across_mm: float, upright_mm: float) -> Outline:
    match outline:
        case RoundedRectangle():
            width, height = outline.width_mm + 2 * across_mm, outline.height_mm + 2 * upright_mm
            return RoundedRectangle(float(math.ceil(width - 1e-6)), float(math.ceil(height - 1e-6)), outline.corner_mm)
        case Circle():
            return Circle(math.ceil(2 * (outline.radius_mm + max(across_mm, upright_mm)) - 1e-6) / 2)
        case Freeform():
            return Freeform(outline.shape.buffer(max(across_mm, upright_mm), join_style="mitre"))


def _outcome(plan: State, changes: Sequence[Change], light: Light) -> str:
    """How the state is with all changes made: 'then clear, 3.0 mm', or what is still too near."""
    left = _left(plan, changes, light)
    if not left:
        return f"then clear{_room_words([light.rooms_mm(part) for part in _changed(plan, changes)])}"
    return f"check again then, for now {listed([_left_words(part, light.room_mm(part)) for part in left])}"


def _left(plan: State, changes: Sequence[Change], light: Light) -> list[Part]:
    """What still stands too near with all changes made."""
    return [part for part in _changed(plan, changes) if light.fails(part)]


def _changed(plan: State, changes: Sequence[Change]) -> list[Part]:
    """The parts of a box with all changes made."""
    changed = {part.name: part for change in changes for part in change.parts}
    gone = {name for change in changes for name in change.gone}
    return [changed.get(part.name, part) for part in plan.box.parts if part.name not in gone]


def _room_words(rooms_mm: Sequence[tuple[float, ...]]) -> str:
    """The least room of any part, and whether with the filters in or the trays empty."""
    told = [f"{min(way):.1f} mm" for way in zip(*rooms_mm, strict=True)]
    if len(told) < 2:
        return "".join(f", {one} of room" for one in told)
    return (
        f", {told[0]} of room, filters in or out"
        if told[0] == told[1]
        else (f", {told[0]} of room with the filters in and {told[1]} with the trays empty")
    )


def _left_words(part: Part, room_mm: float) -> str:
    return f"{the(part.name)} {f'is {-room_mm:.1f} mm in the beam' if room_mm <= 0.0 else f'has {room_mm:.1f} mm of room'}"


def _deepest_words(part: Part, room_mm: float) -> str:
    return f"{the(part.name)} stands {-room_mm:.1f} mm in the beam" if room_mm <= 0.0 else _left_words(part, room_mm)


def least_clear(clearance_mm: Callable[[int], float], at_zero_mm: float, widest: int) -> int | None:
    """The least whole number at which a rising clearance is not negative; None where it is negative up to `widest`."""
    if at_zero_mm >= 0.0:
        return 0
    bad, good, low, high = 0, widest, at_zero_mm, clearance_mm(widest)
    if high < 0.0:
        return None
    for step in range(widest):
        if good - bad <= 1:
            break
        straight = step < STRAIGHT_STEPS and math.isfinite(high)
        guess = bad + (good - bad) * -low / (high - low) if straight else (bad + good) / 2
        middle = min(max(math.ceil(guess), bad + 1), good - 1)
        found = clearance_mm(middle)
        bad, good, low, high = (bad, middle, low, found) if found >= 0.0 else (middle, good, found, high)
    return good
