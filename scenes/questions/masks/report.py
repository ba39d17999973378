"""The tightest mask for each lens over its whole range, and the set of k masks that serves them all. Draws nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from geometry.body import Part
from geometry.cutouts import Shape, joined, reach_beyond_mm, tightest
from geometry.errors import GeometryError
from geometry.frame import Pose, ahead_in_words, frame_to_right_up
from geometry.mask_sets import Split, best_splits
from geometry.outline import Freeform, Outline
from geometry.parts import mask as mask_part
from geometry.parts import opening, part_pose
from raytrace.beam.beam import union
from raytrace.beam.clearance_plane import loop_clearance
from raytrace.beam.outline import Section, widened
from raytrace.beam.planes import fillings, sections_in, with_glasses
from raytrace.box import Box
from raytrace.optics.lens import pencils_for
from scenes.questions.masks.wanted import MARGIN_MM, Wanted
from scenes.rig.box import stage_name
from scenes.runtime.first_run import prepare_judge
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.tables.box import BoxPart, Mask, Stage
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import box_for
from scenes.states.clear_rule import WALK_MM, has_room, room_needed_mm
from scenes.states.full_range import focus_note, ranged
from scenes.states.load import Loaded, chosen_lenses
from scenes.states.names import state_words, the
from scenes.states.rooms import ROOMY, ClearRooms
from scenes.states.state import State

LENS_S = 0.7  # what a lens takes, about
MM2_PER_CM2 = 100.0
THICKNESS_MM = 1.0  # of a mask that the scene does not have yet, as in the scene file's own default
MOST_MASKS_SHOWN = 6
SAME_MM = 0.05  # less is nothing
MOST_GROWN, MOST_LACK_MM = 4, 20.0  # steps in which a margin is grown to what check asks for; more is no matter of margin
TRACED_MM = 0.015  # one beam traced twice may differ by 0.02: cut so much larger, less what a check rounds, masks keep their margin


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a mask stands: as at_mm, thickness, turn and tilt of the scene file, and the mask that stands there now."""

    at_mm: float
    thickness_mm: float
    turn_deg: float = 0.0
    tilt_deg: float = 0.0
    now: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LensMask:
    """The tightest cut-out of one lens, in the mask's plane (x to the operator's left, y up) [mm].

    need is the beam itself over its whole range and both faces; cutout has margin and corners. widest names the state whose beam is
    largest, axis_mm (right, up) is where the lens axis meets the mask. now_mm is how far the mask that the scene has stays out of
    the beam. empty_mm is how much farther the beam reaches anywhere when trays are emptied; held_empty says that need counts that
    in. needed_mm is the room that `check` asks for with this lens, in space; lean is how many times as much that is in the mask's
    plane, at most. margin_mm is that of the cut-out, in the mask's plane. states are those whose beams it holds.
    """

    lens: Lens
    place: Place
    need: Section
    cutout: Shape
    widest: str
    now_mm: float | None
    empty_mm: float
    axis_mm: tuple[float, float]
    needed_mm: float = 0.0
    states: tuple[State, ...] = ()
    lean: float = 1.0
    margin_mm: float = MARGIN_MM
    held_empty: bool = False

    @property
    def short_empty_mm(self) -> float:
        """How much farther than it holds the beam reaches with trays emptied [mm]."""
        return 0.0 if self.held_empty else self.empty_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class CutMask:
    """One mask to cut: the lenses it serves, its opening, and whether it holds only while filters stand in the trays.

    in_doubt: a fault leaves the light in doubt that it was made by, so that nobody is to cut it.
    """

    name: str
    members: tuple[LensMask, ...]
    cutout: Shape
    filters_in: bool = False
    in_doubt: bool = False

    @property
    def lens_names(self) -> tuple[str, ...]:
        """The lenses it serves."""
        return tuple(member.lens.name for member in self.members)

    def excess_mm2(self, member: LensMask) -> float:
        """How much more opening a lens gets than its own mask would give it."""
        return max(float(self.cutout.area - member.cutout.area), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskReport:
    """Every lens's own cut-out, what each number of masks costs, and the masks of the number chosen."""

    wanted: Wanted
    lenses: tuple[LensMask, ...]
    splits: tuple[Split, ...]
    chosen: Split
    masks: tuple[CutMask, ...]
    notes: tuple[str, ...]


def mask_report(loaded: Loaded, wanted: Wanted, names: Sequence[str] = ()) -> MaskReport:
    """Masks for the named lenses of a scene, all where none is named."""
    prepare_judge()
    asked = [(loaded, lens) for lens in chosen_lenses(loaded.scene, names)]
    lenses = tuple(shared_out(partial(_lens_mask, wanted), asked, each_s=LENS_S))
    count = _how_many(lenses, wanted)
    families = [int(wanted.split_anamorphic and mask.lens.squeeze != 1.0) for mask in lenses]
    splits = best_splits([mask.cutout for mask in lenses], max(count, MOST_MASKS_SHOWN), families=families)
    chosen = splits[min(count - len(set(families)), len(splits) - 1)]
    notes = [note for note in (focus_note(mask.lens) for mask in lenses) if note] + _room_notes(lenses)
    return MaskReport(wanted=wanted, lenses=lenses, splits=splits, chosen=chosen, masks=_cut(lenses, chosen), notes=tuple(notes))


def _room_notes(lenses: Sequence[LensMask]) -> list[str]:
    """Which lenses a check will not call clear behind these masks: their pupils are taken as fixed, or trays are emptied."""
    return [*_short_of_room(lenses), *_tight_when_empty(lenses)]


def _short_of_room(lenses: Sequence[LensMask]) -> Iterator[str]:
    found = [mask for mask in lenses if not has_room(mask.margin_mm / mask.lean, mask.needed_mm)]
    if not found:
        return
    lean, margin_mm = max(mask.lean for mask in found), found[0].margin_mm
    least = f"{margin_mm:g} mm of margin leaves as little as {margin_mm / lean:.1f} mm square to the beam's side"
    why = f"{least}, less than the {WALK_MM:g} mm a fixed pupil can be out by"
    way_out = "give pupil_walk, or leave --margin out"
    yield f"{why}: `brimline check` may call {_names(found)} tight behind a mask cut so; {way_out}"


def _tight_when_empty(lenses: Sequence[LensMask]) -> Iterator[str]:
    """Lenses whose margin holds the beam with the trays empty, but not with the room that a clear frame needs."""
    found = [mask for mask in lenses if SAME_MM < mask.short_empty_mm <= mask.margin_mm and not _clear_when_empty(mask)]
    if found:
        reach_mm = max(mask.short_empty_mm for mask in found)
        yield (
            f"with the trays empty the beam reaches up to {reach_mm:.1f} mm farther: {_names(found)} will then be tight behind a "
            "mask cut so; leave --as-fitted out where filters come and go"
        )


def _clear_when_empty(mask: LensMask) -> bool:
    return has_room((mask.margin_mm - mask.short_empty_mm) / mask.lean, mask.needed_mm)


def _names(masks: Sequence[LensMask]) -> str:
    return ", ".join(mask.lens.name for mask in masks)


def _how_many(lenses: Sequence[LensMask], wanted: Wanted) -> int:
    """The number asked for; else as many as the scene has now, one at least; a family each where they do not share."""
    least = len({mask.lens.squeeze != 1.0 for mask in lenses}) if wanted.split_anamorphic else 1
    if wanted.masks is not None and wanted.masks < least:
        problem = f"must be at least {least} with --split-anamorphic: one for each kind of lens, got {wanted.masks}"
        raise SceneError([Complaint(where="", problem=problem, source="--masks")])
    now = len({mask.place.now for mask in lenses})
    return min(wanted.masks or max(now, least), len(lenses))


def _cut(lenses: Sequence[LensMask], chosen: Split) -> tuple[CutMask, ...]:
    found = []
    for number, group in enumerate(sorted(chosen.groups), 1):
        members = tuple(lenses[k] for k in group)
        cutout = joined([member.cutout for member in members])
        filters_in = any(member.short_empty_mm > member.margin_mm for member in members)
        found.append(CutMask(name=f"mask {number}", members=members, cutout=cutout, filters_in=filters_in))
    return tuple(found)


def _lens_mask(wanted: Wanted, asked: tuple[Loaded, Lens]) -> LensMask:
    loaded, lens = asked
    place, fitted = place_of(loaded, lens, wanted.at_mm)
    held = ranged(loaded, lens)
    plans = held.plans
    planes = [mask_planes(plan, place) for plan in plans]
    try:
        own = [_section(plan, plan.box, faces) for plan, faces in zip(plans, planes, strict=True)]
        other = [
            _section(plan, with_glasses(plan.box, glasses), faces)
            for plan, faces in zip(plans, planes, strict=True)
            for glasses in fillings(plan.box.glasses)[1:]
        ]
    except GeometryError as error:
        raise SceneError([Complaint(where=f'lens "{lens.name}"', problem=str(error))]) from None
    need = widened(union(own), held.left_out_mm)
    if need.is_empty:
        where = ahead_in_words(place.at_mm, "the back plate", "g")
        problem = f"has no beam {where}, the plane of focus lies nearer: use another --at"
        raise SceneError([Complaint(where=f'lens "{lens.name}"', problem=problem)])
    empty_mm = max((reach_beyond_mm(need, section) for section in other if not section.is_empty), default=0.0)
    needed_mm = max(room_needed_mm(plan.variants) for plan in plans)
    lean = max(_lean(plan, faces[0]) for plan, faces in zip(plans, planes, strict=True))
    need = union([need, *(widened(section, held.left_out_mm) for section in other)]) if wanted.also_empty else need
    margin_mm = wanted.margin_mm
    if margin_mm is None:
        margin_mm = _judged_margin_mm(plans, place, need, wanted, _clear_margin_mm(need, needed_mm, lean), lean)
    return LensMask(
        lens=lens,
        place=place,
        need=need,
        cutout=tightest(need, margin_mm + TRACED_MM, wanted.corner_mm),
        widest=state_words(max(zip(own, plans, strict=True), key=lambda pair: pair[0].area)[1]),
        now_mm=None if fitted is None else _room_mm(_opening(loaded, fitted), need),
        empty_mm=empty_mm,
        axis_mm=_axis_mm(planes[0][0]),
        needed_mm=needed_mm,
        states=plans,
        lean=lean,
        margin_mm=margin_mm,
        held_empty=wanted.also_empty,
    )


def _clear_margin_mm(need: Section, needed_mm: float, lean: float) -> float:
    """The margin in a mask's plane behind which `check` calls a lens clear, to a tenth [mm].

    The room needed lies square to the beam's side, which leans; and a frame that may grow by 2 % moves the beam's edge by no more
    than 2 % of its way from the beam's middle.
    """
    left, low, right, high = need.bounds
    grown_mm = (ROOMY - 1.0) * math.hypot(right - left, high - low) / 2
    return math.ceil(10.0 * max(MARGIN_MM, needed_mm * lean, grown_mm)) / 10.0


def _judged_margin_mm(plans: Sequence[State], place: Place, need: Section, wanted: Wanted, margin_mm: float, lean: float) -> float:
    """The margin grown until the judgement that `check` asks calls the mask clear in every state: it widens beams behind rings.

    As it is where the mask stands beyond the plane in focus, which no margin cures.
    """
    tight = _masks_of(plans, place, tightest(need, MARGIN_MM, 0.0))  # so that beams are followed past it
    boxes = [replace(plan.box, parts=(*plan.box.parts, part)) for plan, part in zip(plans, tight, strict=True)]
    rooms = [ClearRooms(plan.variants, plan.guides, box) for plan, box in zip(plans, boxes, strict=True)]
    for _ in range(MOST_GROWN):
        parts = _masks_of(plans, place, tightest(need, margin_mm + TRACED_MM, wanted.corner_mm))
        lack_mm = max(_lack_mm(one, part, also_empty=wanted.also_empty) for one, part in zip(rooms, parts, strict=True))
        if lack_mm <= 0.0 or lack_mm > MOST_LACK_MM:
            break
        margin_mm = math.ceil(10.0 * (margin_mm + lack_mm * lean)) / 10.0
    return margin_mm


def _masks_of(plans: Sequence[State], place: Place, cutout: Shape) -> list[Part]:
    """The mask in every state of a lens, the same one where the box stands in the same place: what is kept of it is made once."""
    made: dict[float, Part] = {}
    for plan in plans:
        if plan.travel_mm not in made:
            made[plan.travel_mm] = _mask_of(plan, place, cutout)
    return [made[plan.travel_mm] for plan in plans]


def _mask_of(plan: State, place: Place, cutout: Shape) -> Part:
    return mask_part(
        plan.place,
        at_mm=place.at_mm,
        thickness_mm=place.thickness_mm,
        opening=Freeform(cutout),
        turn_deg=place.turn_deg,
        tilt_deg=place.tilt_deg,
    )


def _lack_mm(rooms: ClearRooms, part: Part, *, also_empty: bool) -> float:
    """By how much a mask misses what a clear frame needs, at least; with the trays empty only where that is asked for."""
    asked = rooms.asked if also_empty or not rooms.has_glass else rooms.asked[:-1]
    return max(one.lacks_mm(part, needed_mm) for one, needed_mm in asked)


def _lean(plan: State, plane: Pose) -> float:
    """How many times as long a way in a plane is as the distance from the beam's side, where the side leans most [-]."""
    tilt_rad = math.acos(min(abs(float(plane.rotation[2, 2])), 1.0))
    slopes = [pencils_for(lens, guide.corners_mm()).slope for lens in plan.variants for guide in plan.guides]
    steepest_rad = math.atan(max(float(np.hypot(*slope.T).max()) for slope in slopes))
    return 1.0 / max(math.cos(steepest_rad + tilt_rad), 0.05)


def _axis_mm(plane: Pose) -> tuple[float, float]:
    """(right, up) of the lens axis in a plane [mm]."""
    ahead_mm = float(plane.rotation[:, 2] @ plane.origin_mm / plane.rotation[2, 2])
    right, up = frame_to_right_up(plane.points_to_part(np.array([0.0, 0.0, ahead_mm]))[:2])
    return float(right), float(up)


def _section(plan: State, box: Box, planes: Sequence[Pose]) -> Section:
    return sections_in(plan.variants, plan.guides, box, planes)


def place_of(loaded: Loaded, lens: Lens, at_mm: float | None) -> tuple[Place, Mask | None]:
    """Where this lens's mask stands, and the mask that the scene has there: `at_mm` where given, else the lens's one mask."""
    fitted = box_for(loaded.scene, lens).mask
    if at_mm is not None:
        fitted = tuple(mask for mask in fitted if mask.at_mm == at_mm)
        if not fitted:
            _refuse_inside_a_part(loaded, lens, at_mm)
            return Place(at_mm=at_mm, thickness_mm=THICKNESS_MM), None
    if len(fitted) != 1:
        found = f"is fitted with {len(fitted)} masks" if fitted else "has no mask in this scene"
        problem = f"{found}; say with --at where the mask to cut stands, in mm ahead of the back plate's rear face"
        raise SceneError([Complaint(where=f'lens "{lens.name}"', problem=problem)])
    (mask,) = fitted
    number = loaded.scene.box.mask.index(mask) + 1
    place = Place(
        at_mm=mask.at_mm,
        thickness_mm=mask.thickness_mm,
        turn_deg=mask.turn_deg,
        tilt_deg=mask.tilt_deg,
        now=mask.name or f"mask {number} of the scene",
    )
    return place, mask


def has_a_say(place: Place, part: BoxPart) -> bool:
    """Whether a cut-out at a place depends on a part of the box: on the mask there now, and filters nearer the lens."""
    if isinstance(part, Mask):
        return part.at_mm == place.at_mm
    return isinstance(part, Stage) and part.filter is not None and part.at_mm < place.at_mm


def _refuse_inside_a_part(loaded: Loaded, lens: Lens, at_mm: float) -> None:
    """SceneError where a new mask would stand in a tray or in another mask."""
    box = box_for(loaded.scene, lens)
    trays = [(stage_name(stage, k), stage.at_mm, stage.depth_mm) for k, stage in enumerate(box.stage, 1)]
    masks = [(mask.name or f"mask {k}", mask.at_mm, mask.thickness_mm) for k, mask in enumerate(box.mask, 1)]
    for name, from_mm, depth_mm in (*trays, *masks):
        if from_mm - THICKNESS_MM < at_mm < from_mm + depth_mm:
            problem = (
                f"would stand inside {the(name)}, which reaches from {from_mm:g} to {from_mm + depth_mm:g} mm "
                f"ahead of the back plate; use --at {from_mm + depth_mm:g} or more, or {max(from_mm - THICKNESS_MM, 0.0):g} or less"
            )
            raise SceneError([Complaint(where=f'a mask for lens "{lens.name}"', problem=problem, source="--at")])


def mask_planes(plan: State, place: Place) -> tuple[Pose, Pose]:
    """The planes of a mask's rear and front face, as the box stands in a state."""
    middle = part_pose(plan.place, at_mm=place.at_mm, depth_mm=place.thickness_mm, turn_deg=place.turn_deg, tilt_deg=place.tilt_deg)
    rear, front = (
        Pose(middle.rotation, middle.points_to_frame(np.array([0.0, 0.0, side * place.thickness_mm / 2]))) for side in (-1, 1)
    )
    return rear, front


def _opening(loaded: Loaded, mask: Mask) -> Outline:
    if mask.outline is not None:
        return loaded.resources.outlines[mask.outline]
    return opening(size_mm=mask.opening_mm, diameter_mm=mask.opening_diameter_mm, corner_mm=mask.corner_mm)


def _room_mm(outline: Outline, need: Section) -> float:
    """How far an opening stays out of a section; negative: how deep it is in."""
    return loop_clearance(outline, Pose(np.eye(3), np.zeros(3)), need).distance_mm


def size_mm(shape: Shape) -> tuple[float, float]:
    """Width and height of the upright rectangle about a shape."""
    left, low, right, high = shape.bounds
    return right - left, high - low


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """The rule of thumb in one direction against what is computed: the lens front, the bare beam, the cut-out [mm]."""

    front_mm: float
    beam_mm: float
    cutout_mm: float

    @property
    def word(self) -> str:
        """'too lax' where an opening as large as the front would stand in the beam, 'too strict' where a smaller one is clear."""
        if self.beam_mm > self.front_mm + SAME_MM:
            return "too lax"
        return "too strict" if self.cutout_mm < self.front_mm - SAME_MM else "right"


def rules_of(mask: LensMask) -> tuple[Rule, Rule]:
    """Across and upright: an opening no smaller than the lens front diameter (common practice)."""
    front = mask.lens.front_diameter_mm
    (across, upright), (width, height) = size_mm(mask.need), size_mm(mask.cutout)
    return Rule(front_mm=front, beam_mm=across, cutout_mm=width), Rule(front_mm=front, beam_mm=upright, cutout_mm=height)
