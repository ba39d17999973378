"""Filters of each lens, and what changes of the stack cost it: lens by lens, on all cores. Draws nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from scenes.changes.stages import with_stage_added
from scenes.questions.filters.costs import Cost, close_up_costs, costs_of, costs_without_close_ups, off_axis_costs, standings
from scenes.questions.filters.effects import CloseUp, CornerLoss, GradedAnswer, corner_losses, graded_answers
from scenes.questions.filters.effects import close_ups as close_ups_of
from scenes.questions.filters.sizes import StageNeed, stage_needs
from scenes.runtime.first_run import prepare
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.tables.lens import Lens
from scenes.states.full_range import Ranged, ranged
from scenes.states.load import Loaded, chosen_lenses

LENS_S = 1.5  # what a lens takes, about


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFilters:
    """One lens over its whole range: what it needs by the stage's number, what filters do to it, and what changes cost it.

    on_axis holds what the box on the lens axis costs; empty where it is there.
    """

    held: Ranged
    needs: dict[int, StageNeed]
    corners: tuple[CornerLoss, ...]
    graded: tuple[GradedAnswer, ...]
    close_ups: tuple[CloseUp, ...]
    close_up_costs: tuple[Cost, ...]
    added: tuple[Cost, ...]
    on_axis: tuple[Cost, ...]


def lens_filters(
    loaded: Loaded, added_mm: float, close_ups: Sequence[float] = (), names: Sequence[str] = ()
) -> tuple[LensFilters, ...]:
    """The named lenses of a scene, all where none is named."""
    prepare()
    asked = [(loaded, lens) for lens in chosen_lenses(loaded.scene, names)]
    return tuple(shared_out(partial(_of_lens, added_mm, tuple(close_ups)), asked, each_s=LENS_S))


def _of_lens(added_mm: float, close_ups: tuple[float, ...], asked: tuple[Loaded, Lens]) -> LensFilters:
    loaded, lens = asked
    held = [ranged(loaded, lens)]
    now = standings(held)
    return LensFilters(
        held=held[0],
        needs=stage_needs(loaded.scene, held[0]),
        corners=corner_losses(held),
        graded=graded_answers(loaded, [lens]),
        close_ups=close_ups_of(held, close_ups),
        close_up_costs=close_up_costs(held, now, close_ups) if close_ups else costs_without_close_ups(held, now),
        added=costs_of(held, now, with_stage_added(loaded.scene, added_mm, lens)),
        on_axis=off_axis_costs(loaded.scene, held, now),
    )
