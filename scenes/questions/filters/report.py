"""Everything that filters do to the lenses of a scene, stage by stage and lens by lens. Prints nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scenes.changes.stages import added_depth_mm, with_stage_added
from scenes.questions.filters.costs import (
    Cost,
    RodAnswer,
    close_up_costs,
    costs_of,
    costs_without_close_ups,
    rod_answer,
    standings,
)
from scenes.questions.filters.effects import CloseUp, CornerLoss, GradedAnswer, close_ups, corner_losses, graded_answers
from scenes.questions.filters.sizes import SizeRoom, StageAnswer, StageNeed, stage_answers
from scenes.scene_file.tables.box import Stage
from scenes.states.full_range import focus_note, ranged_lenses
from scenes.states.load import Loaded
from scenes.states.state import StatePlan


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterReport:
    """Every answer of `brimline filters`; margin_mm is the room that a size must leave, states are those looked at."""

    margin_mm: float
    stages: tuple[StageAnswer, ...]
    corners: tuple[CornerLoss, ...]
    graded: tuple[GradedAnswer, ...]
    close_ups: tuple[CloseUp, ...]
    close_up_costs: tuple[Cost, ...]
    close_ups_tried: bool
    added_mm: float
    added: tuple[Cost, ...]
    rods: RodAnswer
    notes: tuple[str, ...]
    states: tuple[StatePlan, ...]


def filter_report(
    show: Loaded, names: Sequence[str], *, margin_mm: float, added_mm: float | None = None, close_up: Sequence[float] = ()
) -> FilterReport:
    """Everything for the named lenses of a scene."""
    ranged = ranged_lenses(show, names)
    lenses, now = [one.lens for one in ranged], standings(ranged)
    depth_mm = added_mm or added_depth_mm(show.scene)
    return FilterReport(
        margin_mm=margin_mm,
        stages=stage_answers(show, ranged),
        corners=corner_losses(ranged),
        graded=graded_answers(show, lenses),
        close_ups=close_ups(show, ranged, close_up),
        close_up_costs=close_up_costs(show, ranged, now, close_up) if close_up else costs_without_close_ups(ranged, now),
        close_ups_tried=bool(close_up),
        added_mm=depth_mm,
        added=tuple(cost for lens in lenses for cost in costs_of(show, [lens], now, with_stage_added(show.scene, depth_mm, lens))),
        rods=rod_answer(show, lenses, now),
        notes=tuple(note for note in map(focus_note, lenses) if note),
        states=tuple(plan for one in ranged for plan in one.plans),
    )


def smallest(need: StageNeed, margin_mm: float, *, turned: bool, round_glass: bool = False) -> SizeRoom | None:
    """The smallest catalogue size of a form, by area, that leaves the margin; None where none does."""
    same_form = [room for room in need.sizes if (room.size.diameter_mm is not None) == round_glass]
    enough = [room for room in same_form if (room.turned_mm if turned else room.upright_mm) >= margin_mm]
    return min(enough, key=_area_mm2, default=None)


def takes_round(stage: Stage) -> bool:
    """Whether a stage is for round glass: by the glass in it, else by its opening."""
    return stage.opening_diameter_mm is not None if stage.filter is None else stage.filter.round_mm is not None


def _area_mm2(room: SizeRoom) -> float:
    size = room.size
    return math.pi / 4 * size.diameter_mm**2 if size.diameter_mm else (size.width_mm or 0.0) * (size.height_mm or 0.0)
