"""What changes about the stack cost: one stage more, a box off the lens axis, close-up lenses. Least clearance, worst loss."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.body import Kind
from raytrace.box import Box, GlassKind
from raytrace.shares import loss_stops
from scenes.questions.filters.effects import with_close_ups
from scenes.rig.rod_height import rod_rise_mm
from scenes.runtime.engines import engine_of
from scenes.scene_file.catalogue import rods as catalogue_rods
from scenes.scene_file.tables.box import CLAMP
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene
from scenes.states.full_range import Ranged
from scenes.states.keys import Setting
from scenes.states.names import state_words
from scenes.states.rooms import near_in
from scenes.states.state import State, plan_state

RIM_POINTS = 17  # on each side of a guide
UNTOUCHED_MM = 0.05  # a box that stays farther out of the beam than a section may be wrong takes nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a box without flags stands to a lens's beam over all states: least clearance [mm], of which part, worst loss [stops]."""

    clearance_mm: float
    part: str
    loss_stops: float
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """A lens's standing now, and with a change made."""

    lens: Lens
    now: Standing
    then: Standing


def standing(plans: Sequence[State], box_of: Callable[[State], Box] = lambda plan: plan.box) -> Standing:
    """The worst over states: the rims of all guides are asked for loss, every part but flags for clearance."""
    engine, worst, least = engine_of("coverage"), (0.0, state_words(plans[0])), (float("inf"), "")
    for plan in plans:
        box = without_flags(box_of(plan))
        near = near_in(plan.variants, plan.guides, box, within_mm=max(least[0], UNTOUCHED_MM), untouched_mm=UNTOUCHED_MM)
        least = min(least, *((found.clearance_mm, found.part) for found in near)) if near else least
        taking = {found.part for found in near if found.clearance_mm <= UNTOUCHED_MM}
        if not taking:
            continue
        box = replace(box, parts=tuple(part for part in box.parts if part.name in taking))
        points = np.concatenate([guide.rim_points_mm(RIM_POINTS) for guide in plan.guides])
        for variant in plan.variants:
            shares = engine.shares(variant, points, box, seed=0, fine=False)
            worst = max(worst, (float(loss_stops(shares.clear_share).max()), state_words(plan)))
    return Standing(clearance_mm=least[0], part=least[1], loss_stops=worst[0], state=worst[1])


def without_flags(box: Box) -> Box:
    """The box without what can be swung out of the way: flags would hide what the rest of the stack costs."""
    return replace(box, parts=tuple(part for part in box.parts if part.kind not in {Kind.FLAG, Kind.EXTENSION}))


def standings(ranged: Sequence[Ranged]) -> dict[str, Standing]:
    """Every lens as the box stands now, by name."""
    return {one.lens.name: standing(one.plans) for one in ranged}


def costs_of(ranged: Sequence[Ranged], now: dict[str, Standing], changed: Scene) -> tuple[Cost, ...]:
    """Every lens now and in a scene with another box, over the same range."""
    by_name = {lens.name: lens for lens in changed.lens}

    def then(one: Ranged) -> Standing:
        return standing([_in_scene(changed, by_name[one.lens.name], plan) for plan in one.plans])

    return tuple(Cost(lens=one.lens, now=now[one.lens.name], then=then(one)) for one in ranged)


def _in_scene(scene: Scene, lens: Lens, plan: State) -> State:
    """A state as it is in another scene."""
    setting = Setting(focal_mm=plan.focal_mm, focus_mm=plan.focus_mm, f_number=plan.f_number)
    return plan_state(scene, lens, plan.resources, setting, grid=plan.grid, guides=plan.guides)


def close_up_costs(ranged: Sequence[Ranged], now: dict[str, Standing], powers: Sequence[float]) -> tuple[Cost, ...]:
    """Every lens now and with close-up lenses in the stage nearest it."""
    found = []
    for one in ranged:
        lens, plans = one.lens, one.plans
        boxes = {plan.key: with_close_ups(plan, powers) for plan in plans}
        then = standing(plans, lambda plan, boxes=boxes: boxes[plan.key])  # type: ignore[misc]
        found.append(Cost(lens=lens, now=now[lens.name], then=then))
    return tuple(found)


def costs_without_close_ups(ranged: Sequence[Ranged], now: dict[str, Standing]) -> tuple[Cost, ...]:
    """Every lens that is fitted with close-up lenses: now, and with these taken out."""
    found = []
    for one in ranged:
        lens, plans = one.lens, one.plans
        if any(glass.kind is GlassKind.CLOSE_UP for glass in plans[0].box.glasses):
            found.append(Cost(lens=lens, now=now[lens.name], then=standing(plans, _without_close_ups)))
    return tuple(found)


def _without_close_ups(plan: State) -> Box:
    kept = tuple(glass for glass in plan.box.glasses if glass.kind is not GlassKind.CLOSE_UP)
    return replace(plan.box, glasses=kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class RodAnswer:
    """Whether the mount puts the box on the lens axis.

    stated_mm is the box's offset (right, up) in the scene; expected_up_mm what the rods of this camera give a box that is made for
    the catalogue's drop; None on a clamp. costs compare now with the box on axis; empty where it is there.
    """

    mount: str
    drop_mm: float | None
    usual_drop_mm: float | None
    stated_mm: tuple[float, float]
    expected_up_mm: float | None
    costs: tuple[Cost, ...]


def off_axis_costs(scene: Scene, ranged: Sequence[Ranged], now: dict[str, Standing]) -> tuple[Cost, ...]:
    """What the box's offset costs each lens; empty where it stands on the axis."""
    return costs_of(ranged, now, on_axis(scene)) if scene.box.offset_mm != (0.0, 0.0) else ()


def mount_of(scene: Scene, costs: tuple[Cost, ...]) -> RodAnswer:
    """The mount of the scene, with what its offset costs each lens."""
    box = scene.box
    known = None if box.mount == CLAMP else catalogue_rods()[box.mount]
    drop = None if known is None else box.rod_drop_mm or known.drop_mm
    return RodAnswer(
        mount=box.mount,
        drop_mm=drop,
        usual_drop_mm=None if known is None else known.drop_mm,
        stated_mm=box.offset_mm,
        expected_up_mm=rod_rise_mm(box),
        costs=costs,
    )


def on_axis(scene: Scene) -> Scene:
    """The scene with its box on the lens axis."""
    return scene.model_copy(update={"box": scene.box.model_copy(update={"offset_mm": (0.0, 0.0)})})
