"""Out-of-focus highlights of every state: how the box bites into them across the frame, and what it takes on the axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geometry.frame import where_in_words
from raytrace.beam.beam import outer_guides
from raytrace.bokeh import Blurs, highlight_blurs
from raytrace.optics.camera import Guide
from raytrace.optics.fresnel import loss_stops
from scenes.runtime.engines import engine_of
from scenes.runtime.first_run import prepare
from scenes.runtime.shared_out import shared_out
from scenes.states.state import State

STATE_S = 0.2  # what a state takes, about
ACROSS, UPRIGHT = 5, 3  # places of the frame
FAR_MM = math.inf
NEAR_MM = 2000.0  # ahead of the lens front: where highlights stand for a lens focused at infinity, unless asked for
SAME_PLANE_MM = 1.0
SEEN_SHARE = 0.01  # of a blur's area: less is the lattice's own coarseness
FAR_WORDS = "As the picture shows highlights beyond the focused distance; those nearer than it stand upside down."
SEVERAL_WORDS = "Of several guides the one that loses most counts; the pages and --json name it."


@dataclass(frozen=True, slots=True, kw_only=True)
class StateBokeh:
    """One state's blurs in the guide that loses most, row by row from top left, and the light lost in the middle [stops]."""

    plan: State
    guide: str
    highlight_mm: float
    blurs: Blurs
    box_stops: float
    glass_stops: float

    @property
    def worst(self) -> int:
        """The place that loses most."""
        return int(np.argmax(self.blurs.lost_share))


def bokeh_of(plans: Sequence[State], ahead_mm: float | None) -> tuple[StateBokeh, ...]:
    """Blurs of every state; those that are focused where the highlights stand are left out, for they have none."""
    wanted = [(plan, at) for plan in plans if not is_sharp(plan, at := highlight_mm(plan, ahead_mm))]
    prepare()
    return tuple(shared_out(_state, wanted, each_s=STATE_S))


def highlight_mm(plan: State, ahead_mm: float | None) -> float:
    """How far ahead of the lens front the highlights stand [mm]."""
    if ahead_mm is not None:
        return ahead_mm
    return NEAR_MM if math.isinf(plan.variants[0].object_z_mm) else FAR_MM


def is_sharp(plan: State, at_mm: float) -> bool:
    """Whether the state is focused there."""
    sharp = plan.variants[0].object_z_mm
    return sharp == at_mm or abs(sharp - at_mm) < SAME_PLANE_MM


def places_mm(guide: Guide) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Picture points (ACROSS * UPRIGHT, 2) right and up, row by row from top left [mm]."""
    right = np.linspace(-1, 1, ACROSS) * guide.half_width_mm + guide.centre_mm[0]
    up = np.linspace(1, -1, UPRIGHT) * guide.half_height_mm + guide.centre_mm[1]
    x, y = np.meshgrid(right, up)
    return np.column_stack([x.ravel(), y.ravel()])


def _state(asked: tuple[State, float]) -> StateBokeh:
    plan, at_mm = asked
    engine, guides = engine_of("coverage"), outer_guides(plan.guides)
    each = [
        (guide.name, highlight_blurs(lens, places_mm(guide), plan.box, highlight_z_mm=at_mm))
        for guide in guides
        for lens in plan.variants
    ]
    guide, blurs = max(each, key=lambda one: float(one[1].lost_share.max()))
    shares = [engine.shares(lens, np.zeros((1, 2)), plan.box, seed=0, fine=True) for lens in plan.variants]
    return StateBokeh(
        plan=plan,
        guide=guide,
        highlight_mm=at_mm,
        blurs=blurs,
        box_stops=max(_loss(float(share.clear_share[0])) for share in shares),
        glass_stops=max(_loss(float(share.glass[0])) for share in shares),
    )


def _loss(share: float) -> float:
    return float(loss_stops(min(share, 1.0))) + 0.0


def place_words(index: int) -> str:
    """Where a place lies, as the operator sees it."""
    column, row = index % ACROSS, index // ACROSS
    return where_in_words(2 * column / (ACROSS - 1) - 1, 1 - 2 * row / (UPRIGHT - 1))


def part_words(state: StateBokeh, index: int) -> str:
    """The part that bites into a place's blur most."""
    part = int(state.blurs.blamed()[index])
    return state.plan.box.parts[part].name if part >= 0 else "-"


def distance_words(mm: float) -> str:
    """'far away' or '2 m ahead of the lens front'."""
    return "far away" if math.isinf(mm) else f"{mm / 1000:g} m ahead of the lens front"
