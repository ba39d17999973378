"""The numbers of a scene that a lens was judged by, in words: to be held against camera, lens, tape and drawing.

A scene with a wrong number in it may well be one that somebody could mean: nothing in it speaks against the slip, and only who has
the gear in hand sees it. Of files it says what was read of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.frame import frame_to_right_up, pose
from geometry.mesh_import import MM_PER_UNIT
from geometry.outline import size_mm
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, field_slopes
from scenes.rig.box import flag_hinge_mm, flag_name, stage_name
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.box import Back, Box, BoxPart, Filter, Flag, Hood, Mask, Seal, Solid, Stage
from scenes.scene_file.tables.lens import Lens, WalkRow
from scenes.scene_file.tables.light import Light
from scenes.scene_file.tables.scene import Check
from scenes.states.lens_judgement import SAME_FOCUS_SHARE, SAME_STOP_SHARE
from scenes.states.state import State

USUAL_LOSS_STOPS = Check.model_fields["visible_loss_stops"].default


@dataclass(frozen=True, slots=True, kw_only=True)
class NumbersUsed:
    """What a lens was judged by, lengths in mm: the picture, the lens, and the box as it is on this lens."""

    name: str
    camera: str
    lens: str
    box: tuple[tuple[str, str], ...]  # part, its numbers; lights after the parts, where they have a say


Counts = Callable[[BoxPart], bool]  # whether a part of the box has a say in what was asked


def every_part(part: BoxPart) -> bool:  # noqa: ARG001 - a Counts
    """A Counts of a question that each part of the box has a say in."""
    return True


def numbers_used(states: Sequence[State], counts: Counts = every_part) -> NumbersUsed:
    """The numbers that states of one lens were judged by, with the parts that count."""
    one = states[0]
    box = _box_rows(one.fitted, one.lens, one.resources, counts)
    return NumbersUsed(name=one.lens_name, camera=_camera_words(one), lens=_lens_words(states), box=box)


def numbers_by_lens(states: Sequence[State], counts: Counts = every_part) -> tuple[NumbersUsed, ...]:
    """The same for each lens of some states, in their order."""
    names = dict.fromkeys(state.lens_name for state in states)
    return tuple(numbers_used([state for state in states if state.lens_name == name], counts) for name in names)


def with_lights(used: Sequence[NumbersUsed], lights: Sequence[Light]) -> tuple[NumbersUsed, ...]:
    """The same with lights of the scene after the box, of questions that lights have a say in."""
    rows = tuple((light.name, _light_words(light)) for light in lights)
    return tuple(replace(one, box=(*one.box, *rows)) for one in used)


def _light_words(light: Light) -> str:
    """'light at azimuth 30 deg, elevation 20 deg, 2 deg wide'; 'light 1500 right and 2000 up, 3000 ahead of the lens front'."""
    if light.sun is not None:
        sun = light.sun
        where = f"latitude {plain(sun.latitude_deg)}, longitude {plain(sun.longitude_deg)}, {sun.time.isoformat()}"
        tilt = f", tilted {plain(sun.camera_tilt_deg)} deg" if sun.camera_tilt_deg else ""
        return f"sun at {where}, camera heads {plain(sun.camera_heading_deg)} deg{tilt}"
    if light.position_mm is not None:
        right, up, ahead = light.position_mm
        sides = _moved((right, up))
        place = f"{plain(abs(ahead))} {'ahead of' if ahead >= 0.0 else 'behind'} the lens front"
        return f"light {f'{sides}, ' if sides else ''}{place}, {plain(light.size_mm or 0.0)} wide"
    angles = f"azimuth {plain(light.azimuth_deg or 0.0)} deg, elevation {plain(light.elevation_deg or 0.0)} deg"
    return f"light at {angles}, {plain(light.width_deg)} deg wide"


def _camera_words(state: State) -> str:
    """'36 x 24 recorded, of it scope 36 x 15.1'."""
    grid = state.grid
    kept = [
        f"{guide.name} {_size((2 * guide.half_width_mm, 2 * guide.half_height_mm))}{_off_middle(guide, grid)}"
        for guide in state.guides
        if 2 * guide.half_width_mm < grid.width_mm or 2 * guide.half_height_mm < grid.height_mm
    ]
    recorded = f"{_size((grid.width_mm, grid.height_mm))} recorded{_off_axis(grid.offset_mm)}"
    least = state.scene.check.visible_loss_stops
    from_there = "" if least == USUAL_LOSS_STOPS else f", a loss counts from {plain(least)} stop on"
    return recorded + (f", of it {', '.join(kept)}" if kept else "") + from_there


def _off_middle(guide: Guide, grid: PixelGrid) -> str:
    """' 3 up' of a guide that does not lie in the middle of the recorded area."""
    right, up = (round(at - middle, 2) for at, middle in zip(guide.centre_mm, grid.offset_mm, strict=True))
    moved = _moved((right, up))
    return f" {moved}" if moved else ""


def _lens_words(states: Sequence[State]) -> str:
    """'f/2.8, front 95 across, pupil 40 and sensor 140 behind the front, sees 54.4 x 37.8 deg'."""
    lens = states[0].lens
    table = [] if lens.prescription is None else [f"traced by {lens.prescription}"]
    glass = "" if lens.front_glass_mm is None else f" (glass {plain(lens.front_glass_mm)})"
    squeeze = [] if lens.squeeze == 1.0 else [f"squeeze {plain(lens.squeeze)}"]
    if "pupil_width_factor" in lens.model_fields_set:
        squeeze.append(f"pupil width {plain(lens.pupil_width_factor)} of its height")
    bent: list[str] = [] if lens.prescription else [lens.projection]
    bent += [f"distortion {lens.distortion[0]:g}, {lens.distortion[1]:g}"] if any(lens.distortion) and not lens.prescription else []
    stop = _stop_words(states)
    known = [f"taken as confirmed: {', '.join(lens.confirmed)}"] if lens.confirmed else []
    front = f"front {plain(lens.front_diameter_mm)} across{glass}"
    behind = [_behind_words(states), *_travel_words(lens), *_magnification_words(lens)]
    return ", ".join([stop, *table, *squeeze, *bent, front, *behind, f"sees {_field_words(states)}", _nearest(states), *known])


def _travel_words(lens: Lens) -> list[str]:
    """'front out by up to 12', of rows that say how far the front comes out."""
    travels_mm = [row.front_travel_mm for row in lens.state if row.front_travel_mm is not None]
    least, most = min(travels_mm, default=0.0), max(travels_mm, default=0.0)
    told = [f"front out by up to {plain(most)}"] if most > 0.0 else []
    return [*told, f"front back by up to {plain(-least)}"] if least < 0.0 else told


def _magnification_words(lens: Lens) -> list[str]:
    """'pupil magnification 2.4', where lens or rows state it."""
    stated = [row.pupil_magnification for row in lens.state if row.pupil_magnification is not None]
    stated += [lens.pupil_magnification] if lens.pupil_magnification is not None else []
    return [f"pupil magnification {_span(stated, 2)}"] if stated else []


def _stop_words(states: Sequence[State]) -> str:
    """'f/2.8', or 'f/8 (opens to f/1)' where the widest stop was not asked for."""
    asked, widest = min(state.f_number for state in states), states[0].lens.f_number
    return f"f/{_number(asked)}{f' (opens to f/{_number(widest)})' if asked > SAME_STOP_SHARE * widest else ''}"


def _nearest(states: Sequence[State]) -> str:
    """'focus to 700 (goes to 450)' where the nearest focus was not asked for."""
    asked_mm, nearest_mm = min(state.focus_mm for state in states), states[0].lens.close_focus_mm
    goes = f" (goes to {plain(nearest_mm)})" if nearest_mm is not None and nearest_mm < SAME_FOCUS_SHARE * asked_mm else ""
    return f"focus to {plain(asked_mm)}{goes}"


def _behind_words(states: Sequence[State]) -> str:
    """'pupil 40 and sensor 140 behind the front'; of a walking pupil its rows."""
    lens = states[0].lens
    sensor = "" if lens.front_to_sensor_mm is None else f"sensor {plain(lens.front_to_sensor_mm)}"
    if lens.pupil_walk is not None:
        return f"pupil {_walk_words(lens.pupil_walk)}{f', {sensor} behind the front' if sensor else ''}"
    return f"pupil {_pupil_words(states)}{f' and {sensor}' if sensor else ''} behind the front"


def _walk_words(rows: Sequence[WalkRow]) -> str:
    """'walks 33, 32.2, 29.6, 25.4 behind the front by 45 deg, sizes 1 to 1.1 x 1 to 1.02'."""
    depths = ", ".join(_number(row[1]) for row in rows)
    sizes = " x ".join(_span([row[column] for row in rows], 2) for column in (2, 3))
    return f"walks {depths} behind the front by {plain(rows[-1][0])} deg, sizes {sizes}"


def _pupil_words(states: Sequence[State]) -> str:
    """'40', or '43.2 to 51' over all that was looked at; '60 to 62 across, 105 to 108 upright' of an anamorphic lens."""
    pupils = [_depths_mm(lens) for state in states for lens in state.variants]
    across, upright = (_span([depth[way] for depth in pupils], 1) for way in (0, -1))
    return across if across == upright else f"{across} across, {upright} upright"


def _span(values: Sequence[float], digits: int) -> str:
    least, most = (plain(round(value, digits)) for value in (min(values), max(values)))
    return least if least == most else f"{least} to {most}"


def _depths_mm(lens: LensState) -> tuple[float, ...]:
    pupil = lens.pupil
    return pupil.behind_front_mm if isinstance(pupil, FixedPupil) else (pupil.behind_front_mm,)


def _field_words(states: Sequence[State]) -> str:
    """'54.4 x 37.8 deg' at the farthest focus; of a zoom at its shortest and longest focal length looked at.

    Where rows state half fields '54.4 x 37.8 deg (52.1 x 36 at 450)', the nearest focus too.
    """
    focals = [state.focal_mm for state in states]
    ends = tuple(dict.fromkeys((min(focals), max(focals))))
    told = []
    for focal in ends:
        some = sorted((one for one in states if one.focal_mm == focal), key=lambda one: one.focus_mm)
        at = f" at {_number(focal)} mm" if len(ends) > 1 else ""
        told.append(f"{_seen(some[-1])} deg{at}{_near_words(some[0], some[-1])}")
    return " and ".join(told)


def _near_words(near: State, far: State) -> str:
    """' (52.1 x 36 at 450)', as a row states it there; '' where no row states a half field, or all is looked at at one focus."""
    rows = [row for row in near.lens.state if row.half_field_deg is not None]
    if not rows or near.focus_mm >= far.focus_mm:
        return ""
    own = (row for row in rows if row.focus_mm == near.focus_mm and row.focal_mm in {None, near.focal_mm})
    half = next((row.half_field_deg for row in own), None)
    both = None if half is None or half.vertical is None else f"{2.0 * half.horizontal:.1f} x {2.0 * half.vertical:.1f}"
    return f" ({both or _seen(near)} at {plain(near.focus_mm)})"


def _seen(state: State) -> str:
    """From edge to edge of the recorded area through its middle; the most of the pupil positions that are possible."""
    across, upright = np.max([_angles_deg(state, lens) for lens in state.variants], axis=0)
    return f"{across:.1f} x {upright:.1f}"


def _angles_deg(state: State, lens: LensState) -> FloatArray:
    """Angles across and upright between the middles of opposite edges (2,) [deg]."""
    grid = state.grid
    (x, y), across, upright = grid.offset_mm, grid.width_mm / 2, grid.height_mm / 2
    seen = field_slopes(lens, np.array([x - across, x + across, x, x]), np.array([y, y, y - upright, y + upright]))
    right, up = np.degrees(np.arctan(seen.tan_right[:2])), np.degrees(np.arctan(seen.tan_up[2:]))
    return np.abs(np.array([right[1] - right[0], up[1] - up[0]]))


def _box_rows(box: Box, lens: Lens, resources: Resources, counts: Counts) -> tuple[tuple[str, str], ...]:
    """Each part that counts with its numbers, from the lens on; the box's own place first."""
    place = f"{plain(box.ahead_mm)} ahead of the front{_off_axis(box.offset_mm)}{_turns(tilt=box.tilt_deg)}"
    return (
        ("box", place),
        *((back.name or "back plate", _plate_words(back)) for back in box.back if counts(back)),
        *((seal.name or "seal", _seal_words(seal, box, lens)) for seal in box.seal if counts(seal)),
        *((stage_name(stage, number), _tray_words(stage)) for number, stage in enumerate(box.stage, 1) if counts(stage)),
        *((mask.name or "mask", _mask_words(mask, resources)) for mask in box.mask if counts(mask)),
        *((hood.name or "hood", _hood_words(hood)) for hood in box.hood if counts(hood)),
        *((flag_name(flag), _flag_words(flag, box.hood)) for flag in box.flag if counts(flag)),
        *(
            (solid.name or f"solid {number}", _solid_words(solid, box, resources))
            for number, solid in enumerate(box.solid, 1)
            if counts(solid)
        ),
    )


def _plate_words(back: Back) -> str:
    return f"{_size((back.width_mm, back.height_mm))}, bore {plain(back.bore_mm)}"


def _seal_words(seal: Seal, box: Box, lens: Lens) -> str:
    """'donut, 94 inside, 130 outside'."""
    if seal.kind == "none" or not box.back:
        return "none"
    inner_mm, outer_mm = seal.inner_mm or lens.front_diameter_mm, seal.outer_mm or box.back[0].bore_mm
    return f"{seal.kind}, {plain(inner_mm)} inside, {plain(outer_mm)} outside"


def _tray_words(stage: Stage) -> str:
    opening = _opening(stage)
    filled = "" if stage.filter is None else f", {_glass_words(stage.filter)}"
    turned = _turns(turn=stage.turn_deg, tilt=stage.tilt_deg)
    return f"at {plain(stage.at_mm)}, {opening}, {plain(stage.depth_mm)} deep{_outside(stage)}{turned}{filled}"


def _glass_words(glass: Filter) -> str:
    """'glass 138 x 138, 4 thick, density 0.6'."""
    size = _size(glass.rectangle_mm) if glass.rectangle_mm is not None else f"{plain(glass.round_mm or 0.0)} across"
    density = f", density {plain(glass.density)}" if glass.density else ""
    power = f", {plain(glass.power_dioptre)} dioptres" if glass.power_dioptre else ""
    index = f", index {plain(glass.index)}" if glass.index != Filter.model_fields["index"].default else ""
    return f"glass {size}, {plain(glass.thickness_mm)} thick{index}{density}{power}"


def _mask_words(mask: Mask, resources: Resources) -> str:
    turned = _turns(turn=mask.turn_deg, tilt=mask.tilt_deg)
    if mask.outline is None:
        opening = _opening(mask)
    else:
        drawn = resources.outlines[mask.outline]
        unit = "" if drawn.states_unit else ", which states no unit"
        left_mm, low_mm, right_mm, high_mm = drawn.shape.bounds  # as the lens sees it: x to the operator's left
        moved = _moved((_tenth(-(left_mm + right_mm) / 2), _tenth((low_mm + high_mm) / 2)))
        opening = f"{_size(size_mm(drawn))}{moved and f', {moved} of the middle,'} as read from {mask.outline}{unit}"
    thick = "" if mask.thickness_mm == Mask.model_fields["thickness_mm"].default else f", {plain(mask.thickness_mm)} thick"
    return f"at {plain(mask.at_mm)}, {opening}{thick}{_outside(mask)}{turned}"


def _hood_words(hood: Hood) -> str:
    return f"at {plain(hood.at_mm)}, {_size(hood.rear_mm)} to {_size(hood.front_mm)}, {plain(hood.depth_mm)} deep"


def _flag_words(flag: Flag, hoods: tuple[Hood, ...]) -> str:
    """'top, at 30 deg, 110 long, 310 wide, hinged at 85, 79 off the middle'; the side where its name leaves it out."""
    out_mm, at_mm = flag_hinge_mm(flag, hoods)
    more = flag.extension
    carried_on = "" if more is None else f" and {plain(more.length_mm)} more at {plain(more.angle_deg)} deg"
    blade = f"{plain(flag.length_mm)} long{carried_on}, {plain(flag.width_mm)} wide"
    side = "" if flag.side in flag_name(flag) else f"{flag.side}, "
    return f"{side}at {plain(flag.angle_deg)} deg, {blade}, hinged at {_number(at_mm)}, {_number(out_mm)} off the middle"


def _solid_words(solid: Solid, box: Box, resources: Resources) -> str:
    """'200 x 10 x 8 as read from bracket.stl, from 18 to 26 ahead, its middle 62 up'."""
    mesh = resources.meshes[solid.file]
    points_mm = MM_PER_UNIT[solid.unit or mesh.unit or "mm"] * mesh.vertices
    size = " x ".join(_number(length) for length in np.ptp(points_mm, axis=0))
    centre_mm = box.back[0].thickness_mm / 2 if box.back else 0.0  # of the plate, which places of meshes count from
    placed = pose(tilt_deg=solid.tilt_deg, turn_deg=solid.turn_deg, ahead_mm=centre_mm + solid.at_mm).points_to_frame(points_mm)
    least, most = placed.min(axis=0), placed.max(axis=0)
    right, up = (_tenth(value) for value in frame_to_right_up((least + most)[:2] / 2))
    turned = _turns(turn=solid.turn_deg, tilt=solid.tilt_deg)
    middle = _moved((right, up))
    stands = f"from {_number(least[2])} to {_number(most[2])} ahead{middle and f', its middle {middle}'}"
    return f"{size} as read from {solid.file}{turned}, {stands}"


def _opening(part: Stage | Mask) -> str:
    """'152 x 84', '152 x 84 with corners of 4', '110 across'."""
    if part.opening_mm is None:
        return f"{plain(part.opening_diameter_mm or 0.0)} across"
    return f"{_size(part.opening_mm)}{f' with corners of {plain(part.corner_mm)}' if part.corner_mm else ''}"


def _outside(part: Stage | Mask) -> str:
    return "" if part.outer_mm is None else f", {_size(part.outer_mm)} outside"


def _size(size_mm: tuple[float, float]) -> str:
    return f"{_number(size_mm[0])} x {_number(size_mm[1])}"


def _number(value: float) -> str:
    return plain(_tenth(value))


def _tenth(value: float) -> float:
    return round(value, 1) + 0.0


def _moved(offset_mm: tuple[float, float]) -> str:
    """'1.5 right and 3 down'; '' where it is not moved."""
    right, up = offset_mm
    told = [f"{plain(abs(right))} {'right' if right > 0 else 'left'}"] if right else []
    told += [f"{plain(abs(up))} {'up' if up > 0 else 'down'}"] if up else []
    return " and ".join(told)


def _off_axis(offset_mm: tuple[float, float]) -> str:
    """', 1.5 right and 3 down of the lens axis'; '' on the axis."""
    moved = _moved(offset_mm)
    return f", {moved} of the lens axis" if moved else ""


def _turns(*, turn: float = 0.0, tilt: float = 0.0) -> str:
    """', turned 90 deg, tilted 5 deg'; '' where it stands straight."""
    told = [f", {word} {plain(value)} deg" for word, value in (("turned", turn), ("tilted", tilt)) if value]
    return "".join(told)
