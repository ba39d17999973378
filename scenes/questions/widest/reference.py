"""The lens that a family follows, as far as the family's limits rest on it: what was stated for it stands in place of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from scenes.questions.widest.lens_family import Family, family_states
from scenes.scene_file.tables.lens import Lens, LensState
from scenes.states.state import State


def as_used(family: Family, plans: Sequence[State]) -> tuple[State, ...]:
    """The states of that lens among some, at the focal length that the family starts from."""
    own = (plan for plan in plans if plan.lens_name == family.lens.name and plan.focal_mm == family.focal_mm)
    return tuple(_as_used(family, plan) for plan in own)


def _as_used(family: Family, plan: State) -> State:
    seen = family_states(family, plan.grid, plan.focal_mm, plan.focus_mm, plan.f_number)
    return replace(plan, lens=_lens_as_used(family, plan.lens), variants=seen)


def _lens_as_used(family: Family, lens: Lens) -> Lens:
    """With its family's pupil, without its front glass, and of its rows what they say at that focal length."""
    stated = family.measures
    changes = {"front_diameter_mm": stated.front_mm, "front_to_sensor_mm": stated.length_mm}
    rows = tuple(_row_as_used(row) for row in lens.state if row.focal_mm in {None, family.focal_mm})
    kept = {name: value for name, value in changes.items() if value is not None}
    return lens.model_copy(update={"front_glass_mm": None, "pupil_walk": family.walk, "state": rows, **kept})


def _row_as_used(row: LensState) -> LensState:
    """How far the front has come out counts at infinity alone, where a family takes it from."""
    return row if row.focus_mm in {None, math.inf} else row.model_copy(update={"front_travel_mm": None})
