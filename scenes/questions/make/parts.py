"""A scene's box worked out as parts that a workshop makes, and what is taken by default on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

import geometry.parts as build
from geometry.arrays import FloatArray
from geometry.body import Block
from geometry.errors import GeometryError
from geometry.flags import boards
from geometry.frame import Pose
from geometry.polyhedra import centre_mm, volume_mm3
from geometry.rings import circle_ring, rectangle_ring, rings_of
from geometry.unfold import Bending, ends_of, one_piece, overlaps_itself
from scenes.questions.make.bends import bending_of, joint_of
from scenes.questions.make.made_part import Made, Parts
from scenes.questions.make.rims import insist_on_rim
from scenes.questions.make.shapes import FILE_SAGITTA_MM, HoodShape, PlateShape, Shape, cuts_of
from scenes.questions.make.trays import tray_layers
from scenes.rig.box import bars_of, flag_name, hinge_of, named_apart, stage_name
from scenes.rig.outsides import mask_outline, stands_inside, with_outsides
from scenes.scene_file.catalogue import Material
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.box import Back, BoxPart, Flag, Hood, Mask, Stage
from scenes.scene_file.tables.make import MakePart, materials_of, names_of
from scenes.scene_file.tables.scene import Scene

CENTRE = Pose(np.eye(3), np.zeros(3))
JOINT_WORDS = {"panels": "glued from four panels", "tabs": "folded on scored lines", "bend": "bent from one sheet"}


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
            cuts=tuple(cuts_of(name, rough.shape, is_flag=rough.key[0] == "flag")),
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
        """A tray's plates, rear to front, each where it stands."""
        name, middle = stage_name(stage, place + 1), _pose_of(stage, stage.depth_mm)
        size = self._outside(stage, self._scene.box.stage[place], name)
        layers, taken = tray_layers(stage, name, size, self._make)
        self._taken += taken
        for layer in layers:
            yield _Rough(layer.name, ("stage", place), stage, layer.shape, layer.shift.then(middle))

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
        insist_on_rim(name, size, holes[0], "its opening")
        shape = PlateShape(outer=rectangle_ring(*size), holes=holes, thickness_mm=mask.thickness_mm)
        return _Rough(name, ("mask", place), mask, shape, _pose_of(mask, mask.thickness_mm))

    def _hood(self, place: int, hood: Hood) -> _Rough:
        name, key = hood.name or "hood", ("hood", place)
        row, material = self._row(key), self._material(key)
        joint = joint_of(row, self._make, material)
        if (row is None or row.joint is None) and self._make.joint is None:
            self._taken.append(f"{name}: {JOINT_WORDS[joint]}, as is usual with {material.title} (joint)")
        bending, taken = (
            bending_of(name, hood.thickness_mm, material, row, self._make)
            if joint == "bend"
            else (Bending(thickness_mm=hood.thickness_mm), [])
        )
        self._taken += taken
        ends = ends_of(hood.rear_mm, hood.front_mm, hood.depth_mm)
        shape = HoodShape(ends=ends, thickness_mm=hood.thickness_mm, joint=joint, bending=bending, tab_mm=self._make.tab_mm)
        if joint != "panels" and overlaps_itself(one_piece(ends, bending, self._make.tab_mm)):
            self._taken.append(f"{name}: four panels, for in one piece its flat would lie on itself")
            shape = replace(shape, joint="panels")
        return _Rough(name, key, hood, shape, build.part_pose(CENTRE, at_mm=hood.at_mm, depth_mm=hood.depth_mm))

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


def _share_a_lens(one: BoxPart, other: BoxPart) -> bool:
    return one.lenses is None or other.lenses is None or bool(set(one.lenses) & set(other.lenses))


def _pose_of(part: Stage | Mask, depth_mm: float) -> Pose:
    return build.part_pose(CENTRE, at_mm=part.at_mm, depth_mm=depth_mm, turn_deg=part.turn_deg, tilt_deg=part.tilt_deg)


def _blade_pose(corners_mm: FloatArray) -> Pose:
    """Where a blade lies: its length up, its thickness ahead, in its own coordinates."""
    up, ahead = (corners_mm[k] - corners_mm[0] for k in (2, 1))
    up, ahead = up / np.linalg.norm(up), ahead / np.linalg.norm(ahead)
    return Pose(np.column_stack([np.cross(up, ahead), up, ahead]), corners_mm.mean(axis=0))


def parts_of(scene: Scene, resources: Resources) -> Parts:
    """Every part of a scene's box, and what was taken by default."""
    return PartsOf(scene, resources).all()
