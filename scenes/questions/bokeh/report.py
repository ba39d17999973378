"""Out-of-focus highlights of every state: how the box bites into them across the frame, and what it takes on the axis."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from geometry.frame import where_in_words
from raytrace.beam.beam import outer_guides
from raytrace.bokeh import Blurs, highlight_blurs
from raytrace.optics.camera import Guide
from raytrace.optics.fresnel import loss_stops
from scenes.runtime.engines import engine_of
from scenes.states.names import state_words
from scenes.states.state import StatePlan

WIDTH = 100
THREADS = 2  # states at once: most of the work is on long arrays, which leaves room for one more
ACROSS, UPRIGHT = 5, 3  # places of the frame
FAR_MM = math.inf
NEAR_MM = 2000.0  # ahead of the lens front: where highlights stand for a lens focused at infinity, unless asked for
SAME_PLANE_MM = 1.0
SEEN_SHARE = 0.01  # of a blur's area: less is the lattice's own coarseness
FAR_WORDS = "As the picture shows highlights beyond the focused distance; those nearer than it stand upside down."
SEVERAL_WORDS = "Of several guides the one that loses most counts; the pages and --json name it."
CAUTION = "A prediction is no substitute for the test shoot: confirm it with the real lens, box and filters."


@dataclass(frozen=True, slots=True, kw_only=True)
class StateBokeh:
    """One state's blurs in the guide that loses most, row by row from top left, and the light lost in the middle [stops]."""

    plan: StatePlan
    guide: str
    highlight_mm: float
    blurs: Blurs
    box_stops: float
    glass_stops: float

    @property
    def worst(self) -> int:
        """The place that loses most."""
        return int(np.argmax(self.blurs.lost_share))


def bokeh_of(plans: Sequence[StatePlan], ahead_mm: float | None) -> tuple[StateBokeh, ...]:
    """Blurs of every state; those that are focused where the highlights stand are left out, for they have none."""
    wanted = [(plan, at) for plan in plans if not is_sharp(plan, at := highlight_mm(plan, ahead_mm))]
    with ThreadPoolExecutor(max_workers=THREADS) as pool:
        return tuple(pool.map(_state, *zip(*wanted, strict=True))) if wanted else ()


def highlight_mm(plan: StatePlan, ahead_mm: float | None) -> float:
    """How far ahead of the lens front the highlights stand [mm]."""
    if ahead_mm is not None:
        return ahead_mm
    return NEAR_MM if math.isinf(plan.variants[0].object_z_mm) else FAR_MM


def is_sharp(plan: StatePlan, at_mm: float) -> bool:
    """Whether the state is focused there."""
    sharp = plan.variants[0].object_z_mm
    return sharp == at_mm or abs(sharp - at_mm) < SAME_PLANE_MM


def places_mm(guide: Guide) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Picture points (ACROSS * UPRIGHT, 2) right and up, row by row from top left [mm]."""
    right = np.linspace(-1, 1, ACROSS) * guide.half_width_mm + guide.centre_mm[0]
    up = np.linspace(1, -1, UPRIGHT) * guide.half_height_mm + guide.centre_mm[1]
    x, y = np.meshgrid(right, up)
    return np.column_stack([x.ravel(), y.ravel()])


def _state(plan: StatePlan, at_mm: float) -> StateBokeh:
    engine, guides = engine_of("coverage"), outer_guides(plan.guides)
    each = [
        (guide.name, highlight_blurs(lens, places_mm(guide), plan.box, highlight_z_mm=at_mm))
        for guide in guides
        for lens in plan.variants
    ]
    guide, blurs = max(each, key=lambda one: float(one[1].lost_share.max()))
    shares = [engine.shares(lens, np.zeros((1, 2)), plan.box, seed=0, fine=False) for lens in plan.variants]
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


def table(states: Sequence[StateBokeh], sharp: int) -> list[str]:
    """Lines of at most 100 columns: each state's worst blur, and what is lost in the middle."""
    head = f"{'state':<36} {'worst blur':<13} {'lost':>5} {'lean':>5}  {'part':<16} {'box':>7} {'filters':>8}"
    lines = ["How much of an out-of-focus highlight the box takes, and how much light on the axis", "", head, "-" * WIDTH]
    lines += [_row(state) for state in states]
    if sharp:
        lines.append(f"{sharp} {'state is' if sharp == 1 else 'states are'} focused where the highlights stand: no blur there")
    notes = (
        "lost: share of the blur's area; lean: how far its light is pushed to one side, in its own radii (half a disc: 0.42)",
        "box, filters: light lost in the middle of the picture, in stops",
        *((SEVERAL_WORDS,) if any(len(state.plan.guides) > 1 for state in states) else ()),
        f"Highlights stand far away for states with a near focus, {distance_words(NEAR_MM)} for those at infinity, unless asked.",
        CAUTION,
    )
    return [*lines, "-" * WIDTH, *(line for note in notes for line in textwrap.wrap(note, WIDTH))]


def _row(state: StateBokeh) -> str:
    k = state.worst
    lost = float(state.blurs.lost_share[k])
    light = f"{_stops(state.box_stops):>7} {_stops(state.glass_stops):>8}"
    if lost < SEEN_SHARE:
        return f"{state_words(state.plan):<36.36} {'whole':<13} {'-':>5} {'-':>5}  {'-':<16} {light}"
    lean = float(np.hypot(*state.blurs.lean[k]))
    words = f"{place_words(k):<13} {100 * lost:>4.0f}% {lean:>5.2f}  {part_words(state, k):<16.16}"
    return f"{state_words(state.plan):<36.36} {words} {light}"


def _stops(value: float) -> str:
    return "all" if math.isinf(value) else f"{value:.2f}"


def as_data(states: Sequence[StateBokeh]) -> dict[str, Any]:
    """The same as plain values: every place of every state."""
    return {"brimline_bokeh": 1, "states": [_state_data(state) for state in states]}


def _state_data(state: StateBokeh) -> dict[str, Any]:
    lost, lean = state.blurs.lost_share, state.blurs.lean
    return {
        "state": state.plan.key,
        "guide": state.guide,
        "highlight_ahead_mm": "infinity" if math.isinf(state.highlight_mm) else state.highlight_mm,
        "box_stops_on_axis": _finite(state.box_stops),
        "filter_stops_on_axis": _finite(state.glass_stops),
        "places": [
            {
                "right_mm": round(float(right), 3),
                "up_mm": round(float(up), 3),
                "lost_share": round(float(lost[k]), 3),
                "lean_right": round(float(lean[k, 0]), 3),
                "lean_up": round(float(lean[k, 1]), 3),
                "part": part_words(state, k),
            }
            for k, (right, up) in enumerate(state.blurs.points_mm)
        ],
    }


def _finite(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None
