"""What changes about the stack cost: one stage more, a box off the lens axis, close-up lenses. Least clearance, worst loss."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from geometry.body import Kind
from raytrace.box import Box, GlassKind
from raytrace.clearance import clearances
from raytrace.shares import loss_stops
from scenes.build import StatePlan
from scenes.catalogue import rods as catalogue_rods
from scenes.check import state_words
from scenes.engines import engine_of
from scenes.filter_effects import with_close_ups
from scenes.model import Scene, box_for
from scenes.model_box import CLAMP, Flag, Hood, Mask, Solid, Stage
from scenes.model_box import Box as SceneBox
from scenes.model_lens import Lens
from scenes.plan import Loaded
from scenes.range_plans import Ranged, range_plans

USUAL_DEPTH_MM = 8.0  # of a tray where the scene has none to go by; common practice
RIM_POINTS = 17  # on each side of a guide
SAME_MM = 1e-6
UNTOUCHED_MM = 0.05  # a box that stays farther out of the beam than a section may be wrong takes nothing
AnyMoved = TypeVar("AnyMoved", Mask, Hood, Flag, Solid)


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


def standing(plans: Sequence[StatePlan], box_of: Callable[[StatePlan], Box] = lambda plan: plan.box) -> Standing:
    """The worst over states: the rims of all guides are asked for loss, every part but flags for clearance."""
    engine, worst, least = engine_of("coverage"), (0.0, state_words(plans[0])), (float("inf"), "")
    for plan in plans:
        box = without_flags(box_of(plan))
        nearest = min(((found.clearance_mm, found.part) for found in clearances(plan.variants, plan.guides, box)), default=least)
        least = min(least, nearest)
        if nearest[0] > UNTOUCHED_MM:
            continue
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


def costs_of(loaded: Loaded, lenses: Sequence[Lens], now: dict[str, Standing], changed: Scene) -> tuple[Cost, ...]:
    """Every lens now and in a changed scene."""
    other = Loaded(scene=changed, resources=loaded.resources, file_name=loaded.file_name, sha256=loaded.sha256)
    by_name = {lens.name: lens for lens in changed.lens}
    return tuple(Cost(lens=lens, now=now[lens.name], then=standing(range_plans(other, by_name[lens.name]))) for lens in lenses)


def close_up_costs(loaded: Loaded, ranged: Sequence[Ranged], now: dict[str, Standing], powers: Sequence[float]) -> tuple[Cost, ...]:
    """Every lens now and with close-up lenses in the stage nearest it."""
    found = []
    for one in ranged:
        lens, plans = one.lens, one.plans
        boxes = {plan.key: with_close_ups(loaded, lens, plan, powers) for plan in plans}
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


def _without_close_ups(plan: StatePlan) -> Box:
    kept = tuple(glass for glass in plan.box.glasses if glass.kind is not GlassKind.CLOSE_UP)
    return replace(plan.box, glasses=kept)


def added_depth_mm(scene: Scene) -> float:
    """How deep one stage more is: as deep as the outermost."""
    last = outermost(scene.box)
    return last.depth_mm if last else USUAL_DEPTH_MM


def outermost(box: SceneBox) -> Stage | None:
    """The stage farthest from the lens."""
    return max(box.stage, key=lambda stage: stage.at_mm + stage.depth_mm, default=None)


def with_stage_added(scene: Scene, depth_mm: float, lens: Lens) -> Scene:
    """The scene as it is with one lens, with an empty tray like the outermost behind mask and hood, everything ahead moved on.

    Parts fitted with other lenses only are left out: a larger tray of theirs says nothing of this lens. Without a stage to go by,
    everything ahead of the back plate moves on and no tray is put in.
    """
    box = box_for(scene, lens)
    last = outermost(box)
    end_mm = last.at_mm + last.depth_mm if last else 0.0
    moved: dict[str, Any] = {
        "stage": box.stage,
        "mask": tuple(_on(mask, depth_mm, end_mm) for mask in box.mask),
        "hood": tuple(_on(hood, depth_mm, end_mm) for hood in box.hood),
        "flag": tuple(flag if flag.at_mm is None else _on(flag, depth_mm, end_mm) for flag in box.flag),
        "solid": tuple(_on(solid, depth_mm, end_mm) for solid in box.solid),
    }
    if last:
        added = last.model_copy(
            update={"name": "added stage", "at_mm": end_mm, "depth_mm": depth_mm, "filter": None, "lenses": None}
        )
        moved["stage"] = (*box.stage, added)
    return scene.model_copy(update={"box": box.model_copy(update=moved)})


def _on(part: AnyMoved, depth_mm: float, end_mm: float) -> AnyMoved:
    at_mm = part.at_mm
    assert at_mm is not None
    return part.model_copy(update={"at_mm": at_mm + depth_mm}) if at_mm >= end_mm - SAME_MM else part


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


def rod_answer(loaded: Loaded, lenses: Sequence[Lens], now: dict[str, Standing]) -> RodAnswer:
    """The mount of the scene, and what its offset costs each lens."""
    box = loaded.scene.box
    known = None if box.mount == CLAMP else catalogue_rods()[box.mount]
    drop = None if known is None else box.rod_drop_mm or known.drop_mm
    off = box.offset_mm != (0.0, 0.0)
    return RodAnswer(
        mount=box.mount,
        drop_mm=drop,
        usual_drop_mm=None if known is None else known.drop_mm,
        stated_mm=box.offset_mm,
        expected_up_mm=None if known is None or drop is None else known.drop_mm - drop,
        costs=costs_of(loaded, lenses, now, on_axis(loaded.scene)) if off else (),
    )


def on_axis(scene: Scene) -> Scene:
    """The scene with its box on the lens axis."""
    return scene.model_copy(update={"box": scene.box.model_copy(update={"offset_mm": (0.0, 0.0)})})
