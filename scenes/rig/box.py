"""Scene box -> parts, glass and fixtures, as fitted to one lens at one setting."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import geometry.parts as build
from geometry.body import Assembly, Part, Slab
from geometry.errors import GeometryError
from geometry.fixtures import RodSpec, barrel, front_ring, rods
from geometry.flags import Bars, Hinge, boards, hood_edge
from geometry.frame import Pose, Side
from geometry.openings import Fit, LensFront, Slot
from geometry.outline import Outline
from raytrace.box import Box, Glass, GlassKind
from scenes.rig.bent_hood import corner_of
from scenes.scene_file.catalogue import rods as catalogue_rods
from scenes.scene_file.errors import ItemError
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.box import CLAMP, Filter, Flag, Hood, Mask, Stage
from scenes.scene_file.tables.box import Box as SceneBox
from scenes.scene_file.tables.lens import Lens

BARREL_INSIDE_SHARE = 0.9  # of the outside, as drawn where the front glass is not given


def build_box(box: SceneBox, lens: Lens, resources: Resources, *, front_travel_mm: float = 0.0) -> tuple[Assembly, Box]:
    """The box's parts, glass and fixtures in the frame of this lens's front rim.

    A box on rods stays where it is when the lens's front moves toward the scene; a clamped one moves with it.
    """
    ahead_mm, place = _ahead_mm(box, front_travel_mm), box_place(box, front_travel_mm)
    fitted = tuple(_named_apart(tuple(_parts(box, lens, place, resources, ahead_mm))))
    glasses = tuple(sorted(_glasses(box, place), key=lambda glass: float(glass.slab.pose.origin_mm[2])))
    slabs = tuple(glass.slab for glass in glasses)
    assembly = Assembly(parts=fitted, slabs=slabs, fixtures=_fixtures(box, lens, ahead_mm))
    return assembly, Box(parts=fitted, glasses=glasses)


def _ahead_mm(box: SceneBox, front_travel_mm: float) -> float:
    return box.ahead_mm - (0.0 if box.mount == CLAMP else front_travel_mm)


def box_place(box: SceneBox, front_travel_mm: float = 0.0) -> Pose:
    """Where a box stands in the frame of the lens front rim: the pose that every `at_mm` is measured in."""
    right, up = box.offset_mm
    return build.box_pose(
        ahead_mm=_ahead_mm(box, front_travel_mm),
        offset_right_mm=right,
        offset_up_mm=up,
        tilt_deg=box.tilt_deg,
        back_thickness_mm=box.back[0].thickness_mm if box.back else 0.0,
    )


@contextmanager
def _told_of(item: object) -> Iterator[None]:
    """Have a shape that cannot be told together with the scene's table that asks for it."""
    try:
        yield
    except GeometryError as error:
        raise ItemError(item, str(error)) from None


def _parts(box: SceneBox, lens: Lens, place: Pose, resources: Resources, ahead_mm: float) -> Iterator[Part]:
    yield from _back_and_seal(box, lens, place, ahead_mm)
    for number, stage in enumerate(box.stage, 1):
        with _told_of(stage):
            tray = _tray(stage, number, place)
        yield tray
    for number, mask in enumerate(box.mask, 1):
        with _told_of(mask):
            plate = _mask(mask, number, place, resources)
        yield plate
    for hood in box.hood:
        with _told_of(hood):
            walls = _hood(hood, place)
        yield walls
    for number, flag in enumerate(box.flag, 1):
        with _told_of(flag):
            blades = _flag(flag, number, box.hood, place)
        yield from blades
    yield from _solids(box, place, resources)


def _hood(hood: Hood, place: Pose) -> Part:
    return build.hood(
        place,
        at_mm=hood.at_mm,
        depth_mm=hood.depth_mm,
        rear_mm=hood.rear_mm,
        front_mm=hood.front_mm,
        wall_mm=hood.thickness_mm,
        corner_mm=corner_of(hood),
        name=hood.name or "hood",
        group="box.hood",
    )


def _back_and_seal(box: SceneBox, lens: Lens, place: Pose, ahead_mm: float) -> Iterator[Part]:
    for back in box.back:
        with _told_of(back):
            plate = build.back_plate(
                place,
                width_mm=back.width_mm,
                height_mm=back.height_mm,
                thickness_mm=back.thickness_mm,
                bore_mm=back.bore_mm,
                name=back.name or "back plate",
                group="box.back",
            )
        yield plate
    for seal in box.seal:
        if seal.kind == "none" or not box.back:
            continue
        with _told_of(seal):
            rings = build.seal(
                place,
                kind=seal.kind,
                inner_mm=seal.inner_mm or lens.front_diameter_mm,
                outer_mm=seal.outer_mm or box.back[0].bore_mm,
                back_thickness_mm=box.back[0].thickness_mm,
                barrel_front_mm=-ahead_mm,
                name=seal.name or "seal",
                group="box.seal",
            )
        yield from rings


def stage_name(stage: Stage, number: int) -> str:
    """What the crew calls a stage."""
    return stage.name or f"stage {number}"


def _tray(stage: Stage, number: int, place: Pose) -> Part:
    return build.tray(
        place,
        at_mm=stage.at_mm,
        depth_mm=stage.depth_mm,
        opening=opening_outline(stage),
        turn_deg=stage.turn_deg,
        tilt_deg=stage.tilt_deg,
        outer_mm=stage.outer_mm,
        holds=None if stage.filter is None else filter_outline(stage.filter),
        name=stage_name(stage, number),
        group=f"box.stage[{number}]",
    )


def opening_outline(stage: Stage | Mask) -> Outline:
    """The opening of a tray or a mask."""
    return build.opening(size_mm=stage.opening_mm, diameter_mm=stage.opening_diameter_mm, corner_mm=stage.corner_mm)


def _mask(mask: Mask, number: int, place: Pose, resources: Resources) -> Part:
    return build.mask(
        place,
        at_mm=mask.at_mm,
        thickness_mm=mask.thickness_mm,
        opening=resources.outlines[mask.outline] if mask.outline is not None else opening_outline(mask),
        turn_deg=mask.turn_deg,
        tilt_deg=mask.tilt_deg,
        outer_mm=mask.outer_mm,
        name=mask.name or "mask",
        group=f"box.mask[{number}]",
    )


def flag_hinge_mm(flag: Flag, hoods: tuple[Hood, ...]) -> tuple[float, float]:
    """(distance from the box's centre line, place ahead) of a flag's hinge: its own, else the hood's front edge [mm]."""
    hinge_mm, at_mm = flag.hinge_mm, flag.at_mm
    if hinge_mm is None or at_mm is None:
        hood = hoods[0]
        edge = hood_edge(flag.side, front_mm=hood.front_mm, at_mm=hood.at_mm, depth_mm=hood.depth_mm)
        hinge_mm, at_mm = (edge[0] if hinge_mm is None else hinge_mm), (edge[1] if at_mm is None else at_mm)
    return hinge_mm, at_mm


def hinge_of(flag: Flag, hoods: tuple[Hood, ...], place: Pose) -> Hinge:
    """Where a flag of a box that stands there is hinged."""
    out_mm, at_mm = flag_hinge_mm(flag, hoods)
    return Hinge(box=place, side=Side(flag.side), out_mm=out_mm, at_mm=at_mm)


def bars_of(flag: Flag) -> Bars:
    """A flag of a scene as bars."""
    more = flag.extension
    return Bars(
        length_mm=flag.length_mm,
        width_mm=flag.width_mm,
        thickness_mm=flag.thickness_mm,
        extension_mm=more.length_mm if more else 0.0,
        extension_deg=more.angle_deg if more else 0.0,
    )


def flag_name(flag: Flag) -> str:
    """What the crew calls a flag."""
    return flag.name or f"{flag.side} flag"


def _flag(flag: Flag, number: int, hoods: tuple[Hood, ...], place: Pose) -> tuple[Part, ...]:
    bars = bars_of(flag)
    return boards(hinge_of(flag, hoods, place), bars, flag.angle_deg, flag_name(flag), f"box.flag[{number}]")


def _solids(box: SceneBox, place: Pose, resources: Resources) -> Iterator[Part]:
    thickness_mm = box.back[0].thickness_mm if box.back else 0.0
    for number, solid in enumerate(box.solid, 1):
        arrays = resources.meshes[solid.file]
        if solid.unit and arrays.unit and solid.unit != arrays.unit:
            raise ItemError(solid, f'unit = "{solid.unit}" speaks against the file, which states "{arrays.unit}"; leave unit out')
        try:
            part = build.imported_solid(
                place,
                arrays.vertices,
                arrays.faces,
                unit=solid.unit or arrays.unit,
                file_name=solid.file,
                name=solid.name or f"solid {number}",
                at_mm=solid.at_mm,
                back_thickness_mm=thickness_mm,
                turn_deg=solid.turn_deg,
                tilt_deg=solid.tilt_deg,
                group=f"box.solid[{number}]",
            )
        except ValueError as error:
            raise ItemError(solid, str(error)) from None
        yield part


def named_apart(names: Iterable[str]) -> Iterator[str]:
    """Distinct names: a second 'top flag' becomes 'top flag 2'."""
    seen: Counter[str] = Counter()
    for name in names:
        seen[name] += 1
        yield name if seen[name] == 1 else f"{name} {seen[name]}"


def _named_apart(items: Sequence[Part]) -> Iterator[Part]:
    """Parts with distinct names."""
    for part, name in zip(items, named_apart(part.name for part in items), strict=True):
        yield part if part.name == name else replace(part, name=name)


def filter_outline(glass: Filter) -> Outline:
    """The outline of a filter, by its catalogue size or its own."""
    if glass.rectangle_mm is not None:
        return build.opening(size_mm=glass.rectangle_mm)
    return build.opening(diameter_mm=glass.round_mm)


def _glasses(box: SceneBox, place: Pose) -> Iterator[Glass]:
    for number, stage in enumerate(box.stage, 1):
        if stage.filter is not None:
            yield _glass(stage, stage.filter, f"{stage_name(stage, number)} filter", place)


def _glass(stage: Stage, glass: Filter, name: str, place: Pose) -> Glass:
    slab: Slab = build.filter_slab(
        place,
        at_mm=stage.at_mm,
        depth_mm=stage.depth_mm,
        outline=filter_outline(glass),
        thickness_mm=glass.thickness_mm,
        turn_deg=stage.turn_deg,
        tilt_deg=stage.tilt_deg,
        name=glass.name or name,
    )
    return Glass(
        slab=slab,
        index=glass.index,
        kind=GlassKind(glass.kind),
        density=glass.density,
        edge_mm=glass.edge_mm,
        soft_mm=glass.soft_mm,
        power_dioptre=glass.power_dioptre or 0.0,
        reflectance=glass.reflectance,
    )


def _fixtures(box: SceneBox, lens: Lens, ahead_mm: float) -> tuple[Part, ...]:
    """Barrel, front ring and rods: drawn and checked, not traced."""
    inside = lens.front_glass_mm or BARREL_INSIDE_SHARE * lens.front_diameter_mm
    inside = min(inside, lens.front_diameter_mm - 1.0)
    length = min(lens.front_to_sensor_mm or math.inf, 80.0)
    fixtures = [
        front_ring(outside_mm=lens.front_diameter_mm, glass_mm=inside),
        barrel(outside_mm=lens.front_diameter_mm, inside_mm=inside, length_mm=length),
    ]
    spec = rod_spec(box)
    if spec is not None:
        thickness = box.back[0].thickness_mm if box.back else 0.0
        fixtures += rods(spec, rear_mm=min(-length, ahead_mm - 1.0), front_mm=ahead_mm + thickness)
    return tuple(fixtures)


def rod_spec(box: SceneBox) -> RodSpec | None:
    """The rods that carry the box, with the scene's own drop and spacing where given; None when it is clamped."""
    if box.mount == CLAMP:
        return None
    known = catalogue_rods()[box.mount]
    return RodSpec(
        name=known.name,
        diameter_mm=known.diameter_mm,
        spacing_mm=box.rod_spacing_mm or known.spacing_mm,
        drop_mm=box.rod_drop_mm or known.drop_mm,
    )


def fit_of(box: SceneBox, lens: Lens, travel_mm: float) -> Fit:
    """How a box sits on a lens: its place, the lens's front, the seal's kind and the slots of its trays."""
    glass = min(lens.front_glass_mm or BARREL_INSIDE_SHARE * lens.front_diameter_mm, lens.front_diameter_mm - 1.0)
    length = min(lens.front_to_sensor_mm or math.inf, 80.0)
    slots = tuple(
        Slot(tray=stage_name(stage, number), side=Side(side), width_mm=stage.slot_mm)
        for number, stage in enumerate(box.stage, 1)
        for side in (stage.slot_sides if stage.slot_mm > 0 else ())
    )
    front = LensFront(outside_mm=lens.front_diameter_mm, glass_mm=glass, length_mm=length)
    soft = bool(box.seal) and box.seal[0].kind in {"donut", "bellows"}
    return Fit(box=box_place(box, travel_mm), front=front, soft_seal=soft, slots=slots)


def linings_of(box: SceneBox) -> dict[str, float]:
    """Diffuse reflectance of the parts of a box, by their group."""
    found: dict[str, float] = {"box.back": box.back[0].lining} if box.back else {}
    found |= {"box.hood": box.hood[0].lining} if box.hood else {}
    for key in ("stage", "mask", "flag"):
        found |= {f"box.{key}[{number}]": item.lining for number, item in enumerate(getattr(box, key), 1)}
    return found
