"""A scene's box as parts that a workshop makes: each with its solid, its material and the flats that it is cut from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

import geometry.parts as build
from geometry.arrays import FloatArray
from geometry.body import Block
from geometry.errors import GeometryError
from geometry.flags import boards
from geometry.flats import Flat, upright
from geometry.frame import Pose
from geometry.polyhedra import Polyhedron, centre_mm, hood_shell, plate, volume_mm3
from geometry.rings import Ring, bounds_mm, circle_ring, polygon_ring, rectangle_ring, rings_of
from geometry.unfold import (
    Bending,
    Ends,
    Unfolded,
    corners_at,
    ends_of,
    loose_panels,
    one_piece,
    outside_corners_mm,
    overlaps_itself,
)
from scenes.rig.box import bars_of, flag_name, hinge_of, named_apart, opening_outline, stage_name
from scenes.rig.outsides import mask_outline, stands_inside, with_outsides
from scenes.scene_file.catalogue import Material
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.box import Back, BoxPart, Flag, Hood, Mask, Stage
from scenes.scene_file.tables.make import LEAST_BETWEEN_MM, MakePart, materials_of, names_of
from scenes.scene_file.tables.scene import Scene

FILE_SAGITTA_MM, DRAWN_SAGITTA_MM = 0.005, 0.02  # of chords in files and in views: both of the very same area as the arc
LEAST_BESIDE_MM = 1.0  # of material between a screw hole and an edge
LEAST_FRAME_MM = 0.3  # of sheet: thinner frames about a filter are left out
KG_PER_MM3 = 1e-6  # times g/cm3
CENTRE = Pose(np.eye(3), np.zeros(3))
JOINT_WORDS = {"panels": "glued from four panels", "tabs": "folded on scored lines", "bend": "bent from one sheet"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateShape:
    """A flat plate, seen by the operator: outline and holes, thickness; how many of the holes, its last ones, are for screws."""

    outer: Ring
    holes: tuple[Ring, ...] = ()
    thickness_mm: float
    screws: int = 0

    def solid(self, sagitta_mm: float) -> Polyhedron:
        """As a solid about its own middle."""
        return plate(self.outer, self.holes, self.thickness_mm, sagitta_mm=sagitta_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoodShape:
    """Four tapered walls about an axis, the middle of the depth at the origin; how they are joined."""

    ends: Ends
    thickness_mm: float
    joint: str
    bending: Bending
    tab_mm: float

    def solid(self, sagitta_mm: float) -> Polyhedron:  # noqa: ARG002 - nothing is round: bends are drawn sharp
        """As a solid about its own middle."""
        depth = self.ends.depth_mm
        (l0, r0, b0, t0), (l1, r1, b1, t1) = self.ends.rear_mm, self.ends.front_mm
        inner = corners_at(0.0, (l0, r0, b0, t0)), corners_at(depth, (l1, r1, b1, t1))
        outer = outside_corners_mm(self.ends, self.thickness_mm)
        shell = hood_shell(inner, outer)
        return replace(shell, vertices_mm=shell.vertices_mm - np.array([0.0, 0.0, depth / 2]))


Shape = PlateShape | HoodShape


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One flat to cut: what it is called, from which side it is drawn."""

    name: str
    flat: Flat
    seen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A part to make: its number and name, where it stands in the scene, its material, its shape and place in the box, its flats.

    Place and centre of mass (3,) [mm] are in box coordinates (geometry.parts); lenses None: fitted with all.
    """

    number: str
    name: str
    key: tuple[str, int]
    item: BoxPart
    material: Material
    shape: Shape
    place: Pose
    lenses: tuple[str, ...] | None
    cuts: tuple[Cut, ...]
    volume_mm3: float
    centre_mm: FloatArray

    @property
    def kg(self) -> float:
        """Mass [kg]."""
        return self.volume_mm3 * self.material.density_g_cm3 * KG_PER_MM3

    @property
    def range_kg(self) -> tuple[float, float]:
        """The least and the most that it weighs, by the range of its material [kg]."""
        low, high = self.material.range_g_cm3
        return self.volume_mm3 * low * KG_PER_MM3, self.volume_mm3 * high * KG_PER_MM3

    @property
    def thickness_mm(self) -> float:
        """Of the sheet that it is made of."""
        return self.shape.thickness_mm

    def own_solid(self, sagitta_mm: float = FILE_SAGITTA_MM) -> Polyhedron:
        """The part alone, lying on its rear face at height 0."""
        solid = self.shape.solid(sagitta_mm)
        return replace(solid, vertices_mm=solid.vertices_mm - np.array([0.0, 0.0, float(solid.vertices_mm[:, 2].min())]))

    def solid(self, sagitta_mm: float = FILE_SAGITTA_MM) -> Polyhedron:
        """The part where it stands in the box."""
        return self.shape.solid(sagitta_mm).placed(self.place)

    def is_fitted(self, lens_name: str) -> bool:
        """Whether it is fitted with a lens."""
        return self.lenses is None or lens_name in self.lenses


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What is made, and what was taken by default on the way, a sentence each."""

    made: tuple[Made, ...]
    taken: tuple[str, ...]


class _Rough:
    """A part without its number."""

    def __init__(self, name: str, key: tuple[str, int], item: BoxPart, shape: Shape, place: Pose) -> None:
        self.name, self.key, self.item, self.shape, self.place = name, key, item, shape, place


class PartsOf:
    """Works a scene's box out as parts; what it takes by default is gathered."""

    def __init__(self, scene: Scene, resources: Resources) -> None:
        self._scene, self._make, self._resources = scene, scene.make, resources
        self._box = with_outsides(scene, resources.outlines)
        self._known = materials_of(scene.make)
        self._places = names_of(scene.box)
        self._taken: list[str] = []

    def all(self) -> Parts:
        """Every part, numbered in the order of the box."""
        rough = list(self._rough())
        names = named_apart(one.name for one in rough)
        made = tuple(self._made(f"P{number:02}", name, one) for number, (name, one) in enumerate(zip(names, rough, strict=True), 1))
        return Parts(made=made, taken=tuple(dict.fromkeys(self._taken)))

    def _rough(self) -> Iterator[_Rough]:
        box = self._box
        for place, back in enumerate(box.back):
            yield self._back(place, back)
        for place, stage in enumerate(box.stage):
            yield from self._tray(place, stage)
        for place, mask in enumerate(box.mask):
            yield self._mask(place, mask)
        for place, hood in enumerate(box.hood):
            yield self._hood(place, hood)
        for place, flag in enumerate(box.flag):
            yield from self._flag(place, flag)

    def _made(self, number: str, name: str, rough: _Rough) -> Made:
        solid = rough.shape.solid(FILE_SAGITTA_MM).placed(rough.place)
        return Made(
            number=number,
            name=name,
            key=rough.key,
            item=rough.item,
            material=self._material(rough.key),
            shape=rough.shape,
            place=rough.place,
            lenses=rough.item.lenses,
            cuts=tuple(_cuts(name, rough.shape)),
            volume_mm3=volume_mm3(solid),
            centre_mm=centre_mm(solid),
        )

    def _row(self, key: tuple[str, int]) -> MakePart | None:
        return next((row for row in self._make.part if self._places.get(row.of) == key), None)

    def _material(self, key: tuple[str, int]) -> Material:
        row = self._row(key)
        return self._known[(row.material if row is not None else None) or self._make.material]

    def _back(self, place: int, back: Back) -> _Rough:
        holes = [
            circle_ring(hole.diameter_mm / 2, hole.at_mm)
            for hole in self._make.hole
            if self._places.get(hole.of) == ("back", place)
        ]
        shape = PlateShape(
            outer=rectangle_ring(back.width_mm, back.height_mm),
            holes=(circle_ring(back.bore_mm / 2), *holes),
            thickness_mm=back.thickness_mm,
        )
        pose = build.part_pose(CENTRE, at_mm=0.0, depth_mm=back.thickness_mm)
        return _Rough(back.name or "back plate", ("back", place), back, shape, pose)

    def _tray(self, place: int, stage: Stage) -> Iterator[_Rough]:
        """A tray as a stack: a frame behind the filter, one about it, one ahead of it; of one plate where it holds none."""
        name, middle = stage_name(stage, place + 1), _pose_of(stage, stage.depth_mm)
        opening = rings_of(opening_outline(stage))
        size = self._outside(stage, self._scene.box.stage[place], name)
        outer = rectangle_ring(*size)
        _insist_on_rim(name, size, opening[0], "its opening")
        if stage.slot_mm > 0:
            sides = " and ".join(stage.slot_sides)
            self._taken.append(
                f"{name}: its gap of {stage.slot_mm:g} mm at the {sides} (slot_mm) is not drawn: the tray is made closed"
            )
        if stage.filter is None:
            yield _Rough(name, ("stage", place), stage, PlateShape(outer=outer, holes=opening, thickness_mm=stage.depth_mm), middle)
            return
        glass_mm = stage.filter.thickness_mm
        frame_mm = (stage.depth_mm - glass_mm) / 2
        pocket = self._pocket(stage)
        _insist_on_rim(name, size, pocket[0], "its filter with its play")
        screws = self._screw_holes(name, size, (*pocket, *opening))
        self._taken.append(
            f"{name}: a stack of frames {'screwed' if screws else 'glued'} together, the filter between them with "
            f"{self._make.glass_gap_mm:g} mm of play (glass_gap_mm); it goes in before the front frame is put on"
        )
        layers = [("rear frame", opening, frame_mm, 0.0), ("filter frame", pocket, glass_mm, frame_mm)]
        layers.append(("front frame", opening, frame_mm, frame_mm + glass_mm))
        for what, holes, thick, at in layers:
            if thick < LEAST_FRAME_MM:
                self._taken.append(f"{name}: no {what}, for the glass is as thick as the tray is deep")
                continue
            shift = Pose(np.eye(3), np.array([0.0, 0.0, at + thick / 2 - stage.depth_mm / 2]))
            shape = PlateShape(outer=outer, holes=(*holes, *screws), thickness_mm=thick, screws=len(screws))
            yield _Rough(f"{name}, {what}", ("stage", place), stage, shape, shift.then(middle))

    def _screw_holes(self, name: str, size: tuple[float, float], inside: Sequence[Ring]) -> tuple[Ring, ...]:
        """Four holes in the corners, half way between filter or opening and the edges; none where there is no room for them."""
        across = self._make.screw_hole_mm
        rim = min(_rim_mm(size, ring) for ring in inside)
        if across <= 0:
            return ()
        if (rim - across) / 2 < LEAST_BESIDE_MM:
            self._taken.append(
                f"{name}: no screw holes, for {rim:g} mm beside the filter have no room for {across:g} mm: glue the frames"
            )
            return ()
        x, y = (side / 2 - rim / 2 for side in size)
        return tuple(circle_ring(across / 2, (a * x, b * y)) for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1)))

    def _pocket(self, stage: Stage) -> tuple[Ring, ...]:
        assert stage.filter is not None
        gap = self._make.glass_gap_mm
        if stage.filter.round_mm is not None:
            return (circle_ring((stage.filter.round_mm + gap) / 2),)
        assert stage.filter.rectangle_mm is not None
        width, height = stage.filter.rectangle_mm
        return (rectangle_ring(width + gap, height + gap),)

    def _outside(self, part: Stage | Mask, given: Stage | Mask, name: str) -> tuple[float, float]:
        """Outside of a tray or mask; told where the scene does not give it."""
        assert part.outer_mm is not None
        width, height = part.outer_mm
        if given.outer_mm is None:
            self._taken.append(
                f"{name}: {plain(round(width, 2))} x {plain(round(height, 2))} mm outside, {self._make.rim_mm:g} mm past what it "
                "covers (rim_mm), as it has no outer_mm"
            )
        return width, height

    def _mask(self, place: int, mask: Mask) -> _Rough:
        name, given = mask.name or "mask", self._scene.box.mask[place]
        if given.outer_mm is None and stands_inside(given, self._scene):
            raise GeometryError(f"{name}: stands inside the hood; give outer_mm")
        size = self._outside(mask, given, name)
        try:
            holes = rings_of(mask_outline(mask, self._resources.outlines))
        except GeometryError as error:
            raise GeometryError(f"{name}: {error}") from None
        _insist_on_rim(name, size, holes[0], "its opening")
        shape = PlateShape(outer=rectangle_ring(*size), holes=holes, thickness_mm=mask.thickness_mm)
        return _Rough(name, ("mask", place), mask, shape, _pose_of(mask, mask.thickness_mm))

    def _hood(self, place: int, hood: Hood) -> _Rough:
        name, key = hood.name or "hood", ("hood", place)
        row, material = self._row(key), self._material(key)
        joint = (row.joint if row is not None else None) or self._make.joint or material.joint
        if (row is None or row.joint is None) and self._make.joint is None:
            self._taken.append(f"{name}: {JOINT_WORDS[joint]}, as is usual with {material.title} (joint)")
        bending = self._bending(name, hood.thickness_mm, joint, material, row)
        ends = ends_of(hood.rear_mm, hood.front_mm, hood.depth_mm)
        shape = HoodShape(ends=ends, thickness_mm=hood.thickness_mm, joint=joint, bending=bending, tab_mm=self._make.tab_mm)
        if joint != "panels" and overlaps_itself(one_piece(ends, bending, self._make.tab_mm)):
            self._taken.append(f"{name}: four panels, for in one piece its flat would lie on itself")
            shape = replace(shape, joint="panels")
        return _Rough(name, key, hood, shape, build.part_pose(CENTRE, at_mm=hood.at_mm, depth_mm=hood.depth_mm))

    def _bending(self, name: str, thickness: float, joint: str, material: Material, row: MakePart | None) -> Bending:
        if joint != "bend":
            return Bending(thickness_mm=thickness)
        wanted = (row.bend_radius_mm if row is not None else None) or self._make.bend_radius_mm
        least = material.least_radius_mm(thickness)
        if wanted is None and least is None:
            raise GeometryError(
                f'{name}: {thickness:g} mm {material.title} is not to be bent; say joint = "panels" in [make], '
                "give bend_radius_mm, or take another material"
            )
        radius = wanted if wanted is not None else least
        assert radius is not None
        k = self._make.k_factor if self._make.k_factor is not None else material.k
        if wanted is None:
            self._taken.append(
                f"{name}: bends of {radius:g} mm inside radius, the least for {thickness:g} mm {material.title} (bend_radius_mm)"
            )
        elif least is not None and wanted < least - 1e-9:
            self._taken.append(
                f"{name}: a bend radius of {wanted:g} mm is less than {material.title} takes, {least:g} mm: it may crack"
            )
        if self._make.k_factor is None:
            self._taken.append(f"{name}: bends reckoned with k = {k:g} (k_factor); bend a test strip first")
        return Bending(thickness_mm=thickness, radius_mm=radius, k_factor=k)

    def _flag(self, place: int, flag: Flag) -> Iterator[_Rough]:
        blades = boards(hinge_of(flag, self._hoods_for(flag), CENTRE), bars_of(flag), flag.angle_deg, flag_name(flag))
        lengths = [flag.length_mm, *([flag.extension.length_mm] if flag.extension else [])]
        for blade, length in zip(blades, lengths, strict=True):
            assert isinstance(blade.body, Block)
            shape = PlateShape(outer=rectangle_ring(flag.width_mm, length), thickness_mm=flag.thickness_mm)
            yield _Rough(blade.name, ("flag", place), flag, shape, _blade_pose(blade.body.corners_mm))

    def _hoods_for(self, flag: Flag) -> tuple[Hood, ...]:
        """Those hoods first that share a lens with the flag: it hangs on the front edge of the first."""
        hoods = self._box.hood
        return tuple(sorted(hoods, key=lambda hood: not _share_a_lens(hood, flag)))


def _rim_mm(size: tuple[float, float], ring: Ring) -> float:
    """The narrowest material beside an opening of a plate [mm]."""
    left, low, right, high = bounds_mm(ring)
    return min(size[0] / 2 - max(right, -left), size[1] / 2 - max(high, -low))


def _insist_on_rim(name: str, size: tuple[float, float], ring: Ring, what: str) -> None:
    rim = _rim_mm(size, ring)
    if rim < LEAST_BETWEEN_MM:
        left, low, right, high = bounds_mm(ring)
        how = "is larger than" if rim < 0 else "leaves nothing of"
        raise GeometryError(
            f"{name}: {what}, {right - left:g} x {high - low:g} mm, {how} its outside, {size[0]:g} x {size[1]:g} mm; "
            "make outer_mm larger, or leave it out"
        )


def _share_a_lens(one: BoxPart, other: BoxPart) -> bool:
    return one.lenses is None or other.lenses is None or bool(set(one.lenses) & set(other.lenses))


def _pose_of(part: Stage | Mask, depth_mm: float) -> Pose:
    return build.part_pose(CENTRE, at_mm=part.at_mm, depth_mm=depth_mm, turn_deg=part.turn_deg, tilt_deg=part.tilt_deg)


def _blade_pose(corners_mm: FloatArray) -> Pose:
    """Where a blade lies: its length up, its thickness ahead, in its own coordinates."""
    up, ahead = (corners_mm[k] - corners_mm[0] for k in (2, 1))
    up, ahead = up / np.linalg.norm(up), ahead / np.linalg.norm(ahead)
    return Pose(np.column_stack([np.cross(up, ahead), up, ahead]), corners_mm.mean(axis=0))


def _cuts(name: str, shape: Shape) -> Iterator[Cut]:
    if isinstance(shape, PlateShape):
        yield Cut(name=name, flat=Flat(outer=shape.outer, holes=shape.holes), seen="seen from behind the camera")
        return
    if shape.joint == "panels":
        for flat in loose_panels(shape.ends, shape.thickness_mm):
            yield Cut(name=f"{name}, {flat.panels[0].side} wall", flat=_flat(flat), seen="seen from the inside, front edge up")
    else:
        flat = one_piece(shape.ends, shape.bending, shape.tab_mm)
        yield Cut(name=name, flat=upright(_flat(flat)), seen="seen from the inside: fold every line up, toward you")


def _flat(unfolded: Unfolded) -> Flat:
    return Flat(outer=polygon_ring(unfolded.outline_mm), bends=unfolded.bends)


def parts_of(scene: Scene, resources: Resources) -> Parts:
    """Every part of a scene's box, and what was taken by default."""
    return PartsOf(scene, resources).all()
