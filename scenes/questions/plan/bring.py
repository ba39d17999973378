"""What to bring to a test shoot: every part once, and the tools with the sizes that its shots need."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from raytrace.optics.lens import field_slopes
from scenes.questions.plan.measuring import PART, depths_mm
from scenes.questions.plan.report import TestPlan
from scenes.questions.plan.setups import Piece
from scenes.runtime.page import listed
from scenes.states.names import middle_variant
from scenes.states.state import State
from scenes.verdicts.test_plan import FIELD, PUPIL, WALK, open_gaps

LARGER = 1.1  # a card than the frame, each way
STEP_MM = 50  # that cards are told to
PAST_FLAGS_MM = 50.0  # from the box's front to a card just past it
WAVEFORM = "waveform monitor"
LAMPS = "two lamps of one kind, one from each side at the same distance, for an even card; a spot meter to check it"
CLOSE_GAP = "ring, donut, bellows or black cloth to close the gap round the {lenses}, which has no seal"
TAPE = "tape measure and caliper, for the box's place and the lens front"
GAUGE = (
    "angle gauge (inclinometer or protractor), zeroed along the lens axis: a flag along the axis reads 0, one straight out "
    "from it 90"
)
RIG = "pan head with a slide under the camera{tilt}, and two upright pins, to find the pupil"
ACROSS = "tape or ruler to fix across the card, for the field of view"
FROM_SIDE = "spirit level, so that the camera stands level while angles are read"


@dataclass(frozen=True, slots=True)
class Part:
    """Something to bring: what, and the lenses that need it."""

    piece: Piece
    lenses: tuple[str, ...]


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
    return (*(f"lens {station.setup.lens}" for station in plan.stations), *told, *_tools(plan))


def _tools(plan: TestPlan) -> Iterator[str]:
    asked = {one.kind for one in plan.measures}
    bare = [station.setup.lens for station in plan.stations if open_gaps([shot.result for shot in station.shots])]
    if bare:
        yield CLOSE_GAP.format(lenses=listed(bare))
    if plan.shots:
        width, height = card_mm(plan)
        yield f"plain card or wall, matt, at least {width} x {height} mm"
    yield LAMPS
    yield WAVEFORM
    yield TAPE
    angles = any(piece.kind == "flag" for station in plan.stations for piece in station.setup.pieces)
    if angles or any(one.kind == PART and one.so_far.endswith("deg") for one in plan.measures):
        yield GAUGE
        yield FROM_SIDE
    if asked & {PUPIL, WALK}:
        two = any(depths_mm(middle_variant(shot.plan))[0] != depths_mm(middle_variant(shot.plan))[1] for shot in plan.shots)
        yield RIG.format(tilt=" that tilts as well" if two else "")
    if FIELD in asked:
        yield ACROSS


def card_mm(plan: TestPlan) -> tuple[int, int]:
    """Width and height [mm] of a card that fills the frame of every state: in focus, or for infinity just past the box."""
    states = [*(shot.plan for shot in plan.shots), *(one.plan for one in plan.covered)]  # fields are measured at the others too
    sizes = np.array([_frame_mm(state) for state in states])
    width, height = (int(STEP_MM * math.ceil(LARGER * float(size) / STEP_MM)) for size in sizes.max(axis=0))
    return width, height


def _frame_mm(state: State) -> tuple[float, float]:
    """Width and height of what the recorded area sees of a card, centred on the lens axis [mm]."""
    lens, grid = middle_variant(state), state.grid
    at_mm = float(lens.object_z_mm) if math.isfinite(lens.object_z_mm) else front_end_mm(state) + PAST_FLAGS_MM
    right = abs(grid.offset_mm[0]) + grid.width_mm / 2
    up = abs(grid.offset_mm[1]) + grid.height_mm / 2
    field = field_slopes(lens, np.array([right, right, 0.0]), np.array([0.0, up, up]))
    across, upright = depths_mm(lens)
    wide = float(np.nanmax(np.abs(field.tan_right))) * (at_mm + across)
    return 2.0 * wide, 2.0 * float(np.nanmax(np.abs(field.tan_up))) * (at_mm + upright)


def front_end_mm(state: State) -> float:
    """How far ahead of the lens front the box reaches [mm]."""
    from geometry.meshes import part_mesh

    return max((float(part_mesh(part).bounds[1][2]) for part in state.box.parts), default=0.0)
