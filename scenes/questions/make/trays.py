"""Trays as a workshop makes them: frames stacked about a filter, with holes for screws; one plate where there is no filter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geometry.frame import Pose
from geometry.rings import Ring, circle_ring, rectangle_ring, rings_of
from scenes.questions.make.rims import insist_on_rim, rim_mm
from scenes.questions.make.shapes import PlateShape
from scenes.rig.box import opening_outline
from scenes.scene_file.tables.box import Filter, Stage
from scenes.scene_file.tables.make import Make

LEAST_BESIDE_MM = 1.0  # of material between a screw hole and an edge
LEAST_FRAME_MM = 0.3  # of sheet: thinner frames about a filter are left out


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One plate of a tray: its name, its shape, and where its middle lies from the tray's."""

    name: str
    shape: PlateShape
    shift: Pose


def tray_layers(stage: Stage, name: str, size: tuple[float, float], make: Make) -> tuple[list[Layer], list[str]]:
    """A tray of an outside size [mm] as plates from the rear on, and what was taken by default, a sentence each.

    A frame behind the filter, one about it, one ahead of it; one plate where it holds none. A GeometryError where the outside
    leaves nothing beside the opening or the filter.
    """
    opening = rings_of(opening_outline(stage))
    insist_on_rim(name, size, opening[0], "its opening")
    taken = []
    if stage.slot_mm > 0:
        sides = " and ".join(stage.slot_sides)
        taken.append(f"{name}: its gap of {stage.slot_mm:g} mm at the {sides} (slot_mm) is not drawn: the tray is made closed")
    if stage.filter is None:
        plate = PlateShape(outer=rectangle_ring(*size), holes=opening, thickness_mm=stage.depth_mm)
        return [Layer(name=name, shape=plate, shift=Pose(np.eye(3), np.zeros(3)))], taken
    layers, told = _stack(stage, stage.filter, name, size, make)
    return layers, [*taken, *told]


def _stack(stage: Stage, glass: Filter, name: str, size: tuple[float, float], make: Make) -> tuple[list[Layer], list[str]]:
    """Frames behind, about and ahead of a filter; those that would be no thicker than foil are left out."""
    opening, pocket = rings_of(opening_outline(stage)), _pocket(glass, make.glass_gap_mm)
    insist_on_rim(name, size, pocket[0], "its filter with its play")
    screws, taken = _screw_holes(name, size, (*pocket, *opening), make.screw_hole_mm)
    taken.append(
        f"{name}: a stack of frames {'screwed' if screws else 'glued'} together, the filter between them with "
        f"{make.glass_gap_mm:g} mm of play (glass_gap_mm); it goes in before the front frame is put on"
    )
    glass_mm = glass.thickness_mm
    frame_mm = (stage.depth_mm - glass_mm) / 2
    frames = [("rear frame", opening, frame_mm, 0.0), ("filter frame", pocket, glass_mm, frame_mm)]
    frames.append(("front frame", opening, frame_mm, frame_mm + glass_mm))
    layers = []
    for what, holes, thick, at in frames:
        if thick < LEAST_FRAME_MM:
            taken.append(f"{name}: no {what}, for the glass is as thick as the tray is deep")
            continue
        shift = Pose(np.eye(3), np.array([0.0, 0.0, at + thick / 2 - stage.depth_mm / 2]))
        shape = PlateShape(outer=rectangle_ring(*size), holes=(*holes, *screws), thickness_mm=thick, screws=len(screws))
        layers.append(Layer(name=f"{name}, {what}", shape=shape, shift=shift))
    return layers, taken


def _screw_holes(
    name: str, size: tuple[float, float], inside: Sequence[Ring], across_mm: float
) -> tuple[tuple[Ring, ...], list[str]]:
    """Four holes in the corners, half way between filter or opening and the edges; none, and why, where they have no room."""
    rim = min(rim_mm(size, ring) for ring in inside)
    if across_mm <= 0:
        return (), []
    if (rim - across_mm) / 2 < LEAST_BESIDE_MM:
        return (), [f"{name}: no screw holes, for {rim:g} mm beside the filter have no room for {across_mm:g} mm: glue the frames"]
    x, y = (side / 2 - rim / 2 for side in size)
    return tuple(circle_ring(across_mm / 2, (a * x, b * y)) for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1))), []


def _pocket(glass: Filter, gap_mm: float) -> tuple[Ring, ...]:
    """The opening of the frame about a filter: the glass with its play."""
    if glass.round_mm is not None:
        return (circle_ring((glass.round_mm + gap_mm) / 2),)
    assert glass.rectangle_mm is not None
    width, height = glass.rectangle_mm
    return (rectangle_ring(width + gap_mm, height + gap_mm),)
