"""The ways that one box may be set up: with and without its mask, a stage more, its flags. Opens no file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Block, Body, Kind, Loop, Part, Surface
from raytrace.box import Box
from scenes.changes.stages import with_stage_added
from scenes.rig.box import build_box
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for

SWUNG = {Kind.FLAG, Kind.EXTENSION}
SAME_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One way to set up the box: `added` with a stage more, masks in or out, flags as they are set or off."""

    added: bool = False
    masked: bool = True
    flagged: bool = True

    def keeps(self, part: Part) -> bool:
        """Whether a part of the box is fitted."""
        return (self.masked or part.kind is not Kind.MASK) and (self.flagged or part.kind not in SWUNG)


AS_SET = Setup()
EVERY_SETUP = tuple(
    Setup(added=added, masked=masked, flagged=flagged)
    for flagged in (True, False)
    for added, masked in ((False, True), (False, False), (True, True))
)


def setups_of(scene: Scene) -> tuple[Setup, ...]:
    """The setups that differ in this scene: without a mask there is none to take out."""
    masks, flags = bool(scene.box.mask), bool(scene.box.flag)
    return tuple(s for s in EVERY_SETUP if (s.masked or masks) and (s.flagged or flags))


def setup_words(setup: Setup) -> str:
    """A setup as the crew says it."""
    what = "one stage more" if setup.added else "as set" if setup.masked else "mask out"
    return what if setup.flagged else "flags off" if what == "as set" else f"{what}, flags off"


@dataclass(frozen=True, slots=True)
class Stack:
    """The box on one lens as it is and with a stage more; parts that the stage does not move are the same in both."""

    now: Box
    added: Box

    def parts(self, setup: Setup) -> tuple[Part, ...]:
        """The parts that stand in front of the lens in a setup."""
        return tuple(part for part in (self.added if setup.added else self.now).parts if setup.keeps(part))

    def box(self, setup: Setup) -> Box:
        """The box of a setup."""
        return Box(parts=self.parts(setup), glasses=self.now.glasses)

    def moves(self, part: Part) -> bool:
        """Whether a part stands otherwise with a stage more than it does now."""
        return all(part is not one for one in self.now.parts)

    @property
    def whole(self) -> Box:
        """Every part of every setup at once: how far a beam has to be known. The glass is the same in all of them."""
        every = {id(part): part for part in (*self.now.parts, *self.added.parts)}
        return Box(parts=tuple(every.values()), glasses=self.now.glasses)


def stack_of(scene: Scene, added_mm: float, lens: Lens, resources: Resources, *, front_travel_mm: float = 0.0) -> Stack:
    """The stack of a scene's box on a lens."""
    wider = with_stage_added(scene, added_mm, lens)
    _, now = build_box(box_for(scene, lens), lens, resources, front_travel_mm=front_travel_mm)
    _, added = build_box(box_for(wider, lens), lens, resources, front_travel_mm=front_travel_mm)
    by_name = {part.name: part for part in now.parts}
    parts = tuple(by_name[p.name] if p.name in by_name and _same(p.body, by_name[p.name].body) else p for p in added.parts)
    return Stack(now=now, added=Box(parts=parts, glasses=now.glasses))


def _same(a: Body, b: Body) -> bool:
    one, other = _points_mm(a), _points_mm(b)
    return one.shape == other.shape and bool(np.abs(one - other).max() < SAME_MM)


def _points_mm(body: Body) -> FloatArray:
    match body:
        case Block():
            return body.corners_mm
        case Surface():
            return body.vertices_mm
    loops: tuple[Loop, ...] = body.inner
    return np.concatenate([points for loop in loops for points in loop.points_mm()])
