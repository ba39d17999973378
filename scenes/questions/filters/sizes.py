"""Which filter glass each stage needs with each lens, and which catalogue sizes do. Opens no file, draws nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.body import Slab
from geometry.errors import GeometryError
from geometry.frame import Pose
from geometry.glass_room import plate_room, room_mm, turned_size_mm, upright_size_mm
from geometry.outline import Outline, RoundedRectangle
from geometry.parts import opening, part_pose
from raytrace.beam.beam import union
from raytrace.beam.outline import Section
from raytrace.beam.planes import Crossed, fillings, sections_by_filling
from raytrace.beam.rays import ENDLESS_MM
from raytrace.box import Glass
from raytrace.optics.lens import pencils_for
from scenes.rig.box import filter_outline, opening_outline, stage_name
from scenes.scene_file.catalogue import FilterSize, filter_sizes
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.tables.box import Filter, Stage, is_fitted
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene
from scenes.states.full_range import Ranged
from scenes.states.state import State

USUAL_THICKNESS_MM, USUAL_INDEX = 4.0, 1.5168  # of glass that a tray does not hold yet; common practice, and a usual crown
SAME_MM = 0.5  # heights that differ by less are one holder's: glass is cut to a few tenths


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRoom:
    """The room that a catalogue size leaves round a beam, as its tray is turned and at the worst turn [mm]; negative: passed.

    `state` is the one that leaves least as the tray is turned.
    """

    size: FilterSize
    fitted_mm: float
    turned_mm: float
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class StageNeed:
    """What one lens needs of the glass in one stage, over its whole range.

    section is the beam at both faces of the glass, about the tray's centre (x to the operator's left, y up). now_mm is the room
    that the glass in the scene leaves as it is turned; None for an empty tray. tray_mm is the room in the tray's own opening, from
    its rear edge to its front edge, with its glass in it or not.
    """

    lens: Lens
    section: Section
    upright_mm: tuple[float, float]
    turned_mm: float
    sizes: tuple[SizeRoom, ...]
    now_mm: float | None
    tray_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StageAnswer:
    """One stage of the scene with every lens that it is fitted with; holder_mm is the height that its holder takes, where known."""

    name: str
    stage: Stage
    holder_mm: float | None
    needs: tuple[StageNeed, ...]


def stage_needs(scene: Scene, one: Ranged) -> dict[int, StageNeed]:
    """What a lens needs in each stage that it is fitted with, by the stage's number."""
    return {number: _stage_need(one, stage) for number, stage in enumerate(scene.box.stage, 1) if is_fitted(stage, one.lens.name)}


def gathered(scene: Scene, ranged: Sequence[Ranged], needs: Sequence[Mapping[int, StageNeed]]) -> tuple[StageAnswer, ...]:
    """What lenses need, stage by stage, widest lens first."""
    ordered = sorted(zip(ranged, needs, strict=True), key=lambda pair: -field_deg(pair[0].plans))
    found = []
    for number, stage in enumerate(scene.box.stage, 1):
        mine = tuple(each[number] for _, each in ordered if number in each)
        if mine:
            found.append(StageAnswer(name=stage_name(stage, number), stage=stage, holder_mm=_holder_mm(stage), needs=mine))
    return tuple(found)


def field_deg(plans: Sequence[State]) -> float:
    """The largest angle from the lens axis at which any guide's corner is seen, over all states [deg]."""
    largest = 0.0
    for plan in plans:
        corners = np.concatenate([guide.corners_mm() for guide in plan.guides])
        for variant in plan.variants:
            pencils = pencils_for(variant, corners)
            slope = pencils.slope[pencils.valid]
            largest = max(largest, float(np.degrees(np.arctan(np.hypot(slope[:, 0], slope[:, 1]).max(initial=0.0)))))
    return largest


def _stage_need(held: Ranged, stage: Stage) -> StageNeed:
    try:
        each, trays = zip(*(_at_glass_and_tray(stage, plan, held.left_out_mm) for plan in held.plans), strict=True)
        section = union(each)
        in_tray = union([section, *trays])
    except GeometryError as error:
        raise SceneError([Complaint(where=f'lens "{held.lens.name}"', problem=str(error))]) from None
    opening_now, glass_now = opening_outline(stage), None if stage.filter is None else filter_outline(stage.filter)
    return StageNeed(
        lens=held.lens,
        section=section,
        upright_mm=upright_size_mm(section),
        turned_mm=turned_size_mm(section),
        now_mm=None if glass_now is None else room_mm(glass_now, section, stage.turn_deg),
        tray_mm=room_mm(opening_now, in_tray, stage.turn_deg),
        sizes=tuple(_size_rooms(each, held.plans, stage.turn_deg)),
    )


def _size_rooms(sections: Sequence[Section], plans: Sequence[State], turn_deg: float) -> Iterator[SizeRoom]:
    for size in filter_sizes().values():
        found = plate_room(size_outline(size), sections, turn_deg)
        yield SizeRoom(size=size, fitted_mm=found.fitted_mm, turned_mm=found.turned_mm, state=plans[found.which])


def size_outline(size: FilterSize) -> Outline:
    """The outline of a catalogue size."""
    if size.diameter_mm is not None:
        return opening(diameter_mm=size.diameter_mm)
    return opening(size_mm=(size.width_mm or 0.0, size.height_mm or 0.0))


def stage_pose(stage: Stage, plan: State) -> Pose:
    """The middle of a stage's tray in a state, upright whatever its turn."""
    return part_pose(plan.place, at_mm=stage.at_mm, depth_mm=stage.depth_mm, tilt_deg=stage.tilt_deg)


def _at_glass_and_tray(stage: Stage, plan: State, wider_mm: float) -> tuple[Section, Section]:
    """The beam at both faces of the glass of a stage, and at both edges of its tray.

    The trays nearer the lens are filled or empty, for its edges its own tray too.
    """
    middle = stage_pose(stage, plan)
    own, nearer = plate_in(middle, stage.filter), _nearer(plan, middle)
    faces, edges = _faces(middle, own.slab.thickness_mm), _faces(middle, stage.depth_mm)
    loose = nearer if stage.filter is None else (*nearer, own)
    at_glass = Crossed(faces, tuple((*held, own) for held in fillings(nearer)))
    at_tray = Crossed(edges, fillings(loose))
    glass, tray = sections_by_filling(plan.variants, plan.guides, (at_glass, at_tray), wider_mm=wider_mm)
    return glass, tray


def _faces(middle: Pose, thickness_mm: float) -> tuple[Pose, Pose]:
    """The planes of the rear and front face of a plate about that middle."""
    rear, front = (Pose(middle.rotation, middle.points_to_frame(np.array([0.0, 0.0, side * thickness_mm / 2]))) for side in (-1, 1))
    return rear, front


def _nearer(plan: State, middle: Pose) -> tuple[Glass, ...]:
    return tuple(glass for glass in plan.box.glasses if glass.slab.pose.origin_mm[2] < middle.origin_mm[2] - 1e-6)


def plate_in(middle: Pose, glass: Filter | None, **changes: object) -> Glass:
    """A plate without edges in the middle of a tray, as thick and as dense as the filter there, else as usual."""
    thickness = USUAL_THICKNESS_MM if glass is None else glass.thickness_mm
    slab = Slab(name="glass", pose=middle, outline=RoundedRectangle(ENDLESS_MM, ENDLESS_MM), thickness_mm=thickness)
    plain = Glass(slab=slab, index=USUAL_INDEX if glass is None else glass.index)
    return replace(plain, **changes)  # type: ignore[arg-type]


def _holder_mm(stage: Stage) -> float | None:
    """The height of the glass that a holder is made for, by the one in it; round and missing glass says nothing."""
    if stage.filter is None or stage.filter.rectangle_mm is None:
        return None
    return stage.filter.rectangle_mm[1]


def fits_holder(size: FilterSize, holder_mm: float | None, widest_mm: float | None = None) -> bool | None:
    """Whether a holder of a height takes a size: any of its own height, narrower ones too (common practice); None if not known."""
    if holder_mm is None or size.height_mm is None or size.width_mm is None:
        return None
    return abs(size.height_mm - holder_mm) <= SAME_MM and (widest_mm is None or size.width_mm <= widest_mm + SAME_MM)


def widest_served(answer: StageAnswer, size: FilterSize, margin_mm: float, *, turned: bool) -> tuple[str | None, tuple[str, ...]]:
    """The widest lens that a size clears by the margin in a stage, and the narrower lenses that it does not."""
    served = []
    for need in answer.needs:  # widest lens first
        room = next(room for room in need.sizes if room.size.name == size.name)
        served.append((room.turned_mm if turned else room.fitted_mm) >= margin_mm)
    if not any(served):
        return None, ()
    first = served.index(True)
    return answer.needs[first].lens.name, tuple(
        need.lens.name for need, ok in zip(answer.needs[first:], served[first:], strict=True) if not ok
    )


def smallest(rooms: Sequence[SizeRoom], margin_mm: float, *, turned: bool, round_glass: bool = False) -> SizeRoom | None:
    """The smallest catalogue size of a form, by area, that leaves the margin; None where none does."""
    same_form = [room for room in rooms if (room.size.diameter_mm is not None) == round_glass]
    enough = [room for room in same_form if (room.turned_mm if turned else room.fitted_mm) >= margin_mm]
    return min(enough, key=_area_mm2, default=None)


def smallest_for_all(answer: StageAnswer, margin_mm: float, *, turned: bool) -> FilterSize | None:
    """The smallest catalogue size of the stage's form that leaves every lens the margin; None where none does."""
    of_all = zip(*(need.sizes for need in answer.needs), strict=True)  # every lens is asked about the same sizes
    worst = [_least_room(rooms) for rooms in of_all]
    least = smallest(worst, margin_mm, turned=turned, round_glass=takes_round(answer.stage))
    return None if least is None else least.size


def _least_room(rooms: Sequence[SizeRoom]) -> SizeRoom:
    """One size's room, upright and turned, with the lens that has least of each."""
    first = min(rooms, key=lambda room: room.fitted_mm)
    return replace(first, turned_mm=min(room.turned_mm for room in rooms))


def takes_round(stage: Stage) -> bool:
    """Whether a stage is for round glass: by the glass in it, else by its opening."""
    return stage.opening_diameter_mm is not None if stage.filter is None else stage.filter.round_mm is not None


def _area_mm2(room: SizeRoom) -> float:
    size = room.size
    return math.pi / 4 * size.diameter_mm**2 if size.diameter_mm else (size.width_mm or 0.0) * (size.height_mm or 0.0)
