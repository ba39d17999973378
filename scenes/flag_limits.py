"""How far in flags may come over a set of states: what `brimline flags` calls clear, for whoever moves flags for other reasons."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from raytrace.flag_window import LEAST_DEG
from scenes.build import StatePlan
from scenes.flags import StateLimits, flag_places
from scenes.model import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagLimit:
    """The smallest opening angle of one flag at which every state that it can keep clear stays clear [deg].

    decided_by is the state that asks for it; None where any angle down to the least there is will do. shut names states that no
    angle clears. clear_deg is inf where that holds for all of them.
    """

    clear_deg: float
    decided_by: StatePlan | None = None
    shut: tuple[StatePlan, ...] = ()

    @property
    def is_geometry(self) -> bool:
        """Whether no picture holds the flag up, so that it folds in as far as it goes."""
        return self.decided_by is None and self.clear_deg <= LEAST_DEG


class FlagLimits:
    """The limits of a show's flags over the states given, worked out when first asked for."""

    def __init__(self, scene: Scene, plans: Sequence[StatePlan]) -> None:
        self._scene, self._plans = scene, tuple(plans)
        self._found: dict[str, FlagLimit] | None = None

    def of(self, name: str) -> FlagLimit:
        """The limit of the flag of that name."""
        if self._found is None:
            self._found = self._all()
        return self._found[name]

    def _all(self) -> dict[str, FlagLimit]:
        found: dict[str, list[tuple[StatePlan, float]]] = {}
        for setting in by_setting(self._plans):
            for name, plan, angle in self._of_setting(setting):
                found.setdefault(name, []).append((plan, angle))
        return {name: _limit(angles) for name, angles in found.items()}

    def _of_setting(self, plans: Sequence[StatePlan]) -> Iterator[tuple[str, StatePlan, float]]:
        """From the widest stop on, down to the first that every flag can keep clear: its beam holds those of the rest."""
        for plan in plans:
            work = StateLimits(plan, flag_places(self._scene, plan), self._scene.check.visible_loss_stops)
            angles = {place.name: work.clear_deg(place.hinge, place.bars) for place in work.places}
            yield from ((name, plan, angle) for name, angle in angles.items())
            if not any(angle == math.inf for angle in angles.values()):
                return


def by_setting(plans: Iterable[StatePlan]) -> tuple[tuple[StatePlan, ...], ...]:
    """States of one lens, zoom and focus together, the widest stop first."""
    found: dict[tuple[str, float, float], list[StatePlan]] = {}
    for plan in plans:
        found.setdefault((plan.lens_name, plan.focal_mm, plan.focus_mm), []).append(plan)
    return tuple(tuple(sorted(mine, key=lambda plan: plan.f_number)) for mine in found.values())


def _limit(angles: Sequence[tuple[StatePlan, float]]) -> FlagLimit:
    shut = tuple(plan for plan, angle in angles if angle == math.inf)
    kept = [(plan, angle) for plan, angle in angles if angle < math.inf]
    if not kept:
        return FlagLimit(clear_deg=math.inf, shut=shut)
    plan, angle = max(kept, key=lambda one: one[1])
    held = angle > -math.inf
    return FlagLimit(clear_deg=max(angle, LEAST_DEG), decided_by=plan if held else None, shut=shut)
