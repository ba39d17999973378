"""What filters do to the picture of each lens: a density's own corner loss, a graduated edge, close-up lenses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.errors import GeometryError
from geometry.frame import Pose
from raytrace.box import Box, Glass, GlassKind
from raytrace.optics.closeup import MM_PER_M, sharp_distance_mm, spaced_power_dioptre, total_power_dioptre
from raytrace.optics.filter_light import GradedEdge, extra_loss_stops, graded_edge
from raytrace.optics.lens import LensState, field_slopes, pencils_for
from scenes.questions.filters.sizes import field_deg, plate_in, stage_pose
from scenes.rig.box import stage_name
from scenes.scene_file.tables.box import Stage
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import box_for, f_numbers_of, focal_lengths
from scenes.states.full_range import Ranged
from scenes.states.keys import Setting
from scenes.states.load import Loaded
from scenes.states.state import State, guides_of, pixel_grid, plan_state

DENSITIES = (0.3, 0.6, 0.9, 1.2, 1.8)
TRIED_DENSITY = 0.6  # of the hard-edged graduated filter that is looked at where the scene has none
STOPPED_DOWN = 4.0  # times the widest f-number: how an edge hardens four stops further closed
ALIKE_STOPS = 0.6  # stops nearer than this show the same edge


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerLoss:
    """What filters take more at a lens's largest field angle than on its axis, by themselves [stops]."""

    lens: Lens
    field_deg: float
    usual: tuple[float, ...]
    fitted: tuple[tuple[str, float], ...]


def corner_losses(ranged: Sequence[Ranged]) -> tuple[CornerLoss, ...]:
    """The usual densities and the filters fitted, lens by lens."""
    return tuple(_corner_loss(one) for one in ranged)


def _corner_loss(one: Ranged) -> CornerLoss:
    lens, plans = one.lens, one.plans
    angle = field_deg(plans)
    level = Pose(np.eye(3), np.zeros(3))
    usual = tuple(extra_loss_stops(plate_in(level, None, kind=GlassKind.DENSITY, density=density), angle) for density in DENSITIES)
    fitted = tuple((glass.name, _loss_in_corners(plans, k)) for k, glass in enumerate(plans[0].box.glasses))
    return CornerLoss(lens=lens, field_deg=angle, usual=usual, fitted=fitted)


def _loss_in_corners(plans: Sequence[State], place: int) -> float:
    """The most that one filter takes more at any corner than on the axis, tilted as it is [stops]."""
    worst = -math.inf
    for plan in plans:
        glass = plan.box.glasses[place]
        normal = glass.slab.pose.rotation[:, 2]
        corners = np.concatenate([guide.corners_mm() for guide in plan.guides])
        for variant in plan.variants:
            slope = pencils_for(variant, corners).slope
            along = np.column_stack([slope, np.ones(len(slope))])
            cosine = along @ normal / np.linalg.norm(along, axis=1)
            axis = math.degrees(math.acos(min(float(normal[2]), 1.0)))
            worst = max(worst, *(extra_loss_stops(glass, math.degrees(math.acos(min(float(c), 1.0))), axis) for c in cosine))
    return worst


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedAnswer:
    """A graduated filter in one stage behind one lens at one stop, at infinity focus; `tried` where the scene has none there."""

    lens: Lens
    stage_name: str
    focal_mm: float
    f_number: float
    density: float
    turn_deg: float
    half_mm: tuple[float, float]
    middle_mm: tuple[float, float]
    edge: GradedEdge
    tried: bool
    variant: LensState
    glasses: tuple[Glass, ...]
    place: int


def graded_answers(loaded: Loaded, lenses: Sequence[Lens]) -> tuple[GradedAnswer, ...]:
    """Every graduated filter of the scene, lens by lens and stop by stop; a hard one of 0.6 in the last stage where it has none."""
    return tuple(answer for lens in lenses for answer in _graded(loaded, lens))


def _graded(loaded: Loaded, lens: Lens) -> Iterator[GradedAnswer]:
    stages = box_for(loaded.scene, lens).stage
    own = [stage for stage in stages if stage.filter is not None and stage.filter.kind == "graduated"]
    last = sorted(stages, key=lambda stage: stage.at_mm)[-1:]
    for stage in own or last:
        for f_number in _stops(loaded, lens):
            yield _graded_at(loaded, lens, stage, f_number, tried=not own)


def _stops(loaded: Loaded, lens: Lens) -> tuple[float, ...]:
    """The scene's own stops, and where these leave them out the widest and one stopped far down."""
    found = list(f_numbers_of(loaded.scene, lens))
    for extra in (lens.f_number, lens.f_number * STOPPED_DOWN):
        if all(abs(2 * math.log2(extra / stop)) > ALIKE_STOPS for stop in found):
            found.append(extra)
    return tuple(sorted(found))


def _graded_at(loaded: Loaded, lens: Lens, stage: Stage, f_number: float, *, tried: bool) -> GradedAnswer:
    scene, grid = loaded.scene, pixel_grid(loaded.scene.camera)
    setting = Setting(focal_mm=focal_lengths(lens)[0], focus_mm=math.inf, f_number=f_number)
    plan = plan_state(scene, lens, loaded.resources, setting, grid=grid, guides=guides_of(scene.camera, grid))
    glasses, place = _with_graded(stage, plan, tried=tried)
    variant = plan.variants[len(plan.variants) // 2]
    half, turn = (grid.width_mm / 2, grid.height_mm / 2), stage.turn_deg
    return GradedAnswer(
        lens=lens,
        stage_name=stage_name(stage, scene.box.stage.index(stage) + 1),
        focal_mm=plan.focal_mm,
        f_number=f_number,
        density=glasses[place].density,
        turn_deg=turn,
        half_mm=half,
        middle_mm=grid.offset_mm,
        edge=graded_edge(variant, glasses, place, turn_deg=turn, half_mm=half, middle_mm=grid.offset_mm),
        tried=tried,
        variant=variant,
        glasses=glasses,
        place=place,
    )


def _with_graded(stage: Stage, plan: State, *, tried: bool) -> tuple[tuple[Glass, ...], int]:
    """The glasses with a graduated one in the stage, and which of them it is."""
    at_mm = stage_pose(stage, plan).origin_mm[2]
    nearer = [glass for glass in plan.box.glasses if glass.slab.pose.origin_mm[2] < at_mm - 1e-6]
    if not tried:
        return plan.box.glasses, len(nearer)
    pose = stage_pose(stage, plan)
    return (*nearer, plate_in(pose, stage.filter, kind=GlassKind.GRADUATED, density=TRIED_DENSITY)), len(nearer)


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseUp:
    """Close-up lenses in front of one lens at one setting.

    power_dioptre is their sum, spaced_dioptre what two of them have with their gap. sharp_mm is from the outermost close-up lens,
    from_image_mm from the image plane where the scene tells how long the lens is. field_mm is the width that the picture covers
    there, bare_field_mm what it covers without them (inf at infinity). All nan where negative power leaves nothing sharp.
    """

    lens: Lens
    focal_mm: float
    focus_mm: float
    powers_dioptre: tuple[float, ...]
    power_dioptre: float
    spaced_dioptre: float
    gap_mm: float
    sharp_mm: float
    from_image_mm: float | None
    field_mm: float
    bare_field_mm: float


def close_ups(ranged: Sequence[Ranged], tried: Sequence[float] = ()) -> tuple[CloseUp, ...]:
    """Every setting of the lenses that are fitted with close-up lenses; or of all with those tried, together in the first stage."""
    return tuple(found for one in ranged for plan in one.plans if (found := _close_up(plan, tried)) is not None)


def _close_up(plan: State, tried: Sequence[float]) -> CloseUp | None:
    lens = plan.lens
    fitted = [glass for glass in plan.box.glasses if glass.kind is GlassKind.CLOSE_UP]
    powers = tuple(tried) or tuple(glass.power_dioptre for glass in fitted)
    if not powers:
        return None
    places = [_first_place_mm(plan)] if tried else [float(glass.slab.pose.origin_mm[2]) for glass in fitted]
    variant = plan.variants[0]
    pupil_mm = _pupil_behind_mm(variant)
    gap, power = pupil_mm + places[-1], total_power_dioptre(powers)
    spaced = spaced_power_dioptre(*powers, abs(places[-1] - places[0])) if len(powers) == 2 else power
    main = variant.object_z_mm + pupil_mm
    sharp = _sharp_mm(spaced, main, gap)
    width = 2 * float(field_slopes(variant, max(guide.half_width_mm for guide in plan.guides), 0.0).tan_right)
    length = None if lens.front_to_sensor_mm is None else lens.front_to_sensor_mm + plan.travel_mm
    return CloseUp(
        lens=lens,
        focal_mm=plan.focal_mm,
        focus_mm=plan.focus_mm,
        powers_dioptre=powers,
        power_dioptre=power,
        spaced_dioptre=spaced,
        gap_mm=gap,
        sharp_mm=sharp,
        from_image_mm=None if length is None else length + places[-1] + sharp,
        field_mm=width * field_growth_mm(gap, spaced, sharp),
        bare_field_mm=width * main,
    )


def _sharp_mm(power_dioptre: float, main_mm: float, gap_mm: float) -> float:
    """As `sharp_distance_mm`; nan where nothing in front of the lens is sharp."""
    try:
        return sharp_distance_mm(power_dioptre, main_mm, gap_mm)
    except GeometryError:
        return math.nan


def field_growth_mm(gap_mm: float, power_dioptre: float, sharp_mm: float) -> float:
    """Height of a chief ray per its slope at the main lens, on the plane that is sharp: q + s (1 - D q / 1000) [mm].

    Source: a thin lens bends a ray at height q t by -D q t / 1000; any thin-lens text.
    """
    return gap_mm + sharp_mm * (1.0 - power_dioptre * gap_mm / MM_PER_M)


def _first_place_mm(plan: State) -> float:
    """Where close-up lenses that are tried stand: in the stage nearest the lens, else at its front [mm ahead of the front]."""
    stages = sorted(plan.fitted.stage, key=lambda stage: stage.at_mm)
    return float(stage_pose(stages[0], plan).origin_mm[2]) if stages else 0.0


def _pupil_behind_mm(variant: LensState) -> float:
    depth = variant.pupil.behind_front_mm
    return depth[1] if isinstance(depth, tuple) else depth


def with_close_ups(plan: State, powers: Sequence[float]) -> Box:
    """The box with these close-up lenses, as one of their summed power, in the stage nearest the lens in place of its glass."""
    stages = sorted(plan.fitted.stage, key=lambda stage: stage.at_mm)
    if not stages:
        return plan.box
    pose = stage_pose(stages[0], plan)
    power = total_power_dioptre(powers)
    close = plate_in(pose, stages[0].filter, kind=GlassKind.CLOSE_UP, power_dioptre=power)
    others = [glass for glass in plan.box.glasses if abs(glass.slab.pose.origin_mm[2] - pose.origin_mm[2]) > 1e-6]
    return replace(plan.box, glasses=tuple(sorted([close, *others], key=lambda glass: float(glass.slab.pose.origin_mm[2]))))
