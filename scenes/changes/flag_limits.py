"""How far in flags may come over a set of states: what `brimline flags` calls clear, for whoever moves flags for other reasons."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from raytrace.stray.flag_window import LEAST_DEG, MOST_DEG
from scenes.changes.flag_angles import StateLimits, flag_places
from scenes.scene_file.tables.scene import Scene
from scenes.states.state import StatePlan


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagLimit:
    """The smallest opening angle of one flag at which every state that it can keep clear stays clear [deg].

    decided_by is the state that asks for it; None where any angle down to the least there is will do. most_deg is how far it may be
    opened: less than MOST_DEG where its hinge is too close to the beam for the blade to fold back. shut names states that no
    angle clears. clear_deg is inf where that holds for all of them.
    """

    clear_deg: float
    most_deg: float = MOST_DEG
    decided_by: StatePlan | None = None
    shut: tuple[StatePlan, ...] = ()

    @property
    def is_geometry(self) -> bool:
        """Whether no picture holds the flag up, so that it folds in as far as it goes."""
        return self.decided_by is None and self.clear_deg <= LEAST_DEG


class _Span(NamedTuple):
    plan: StatePlan
    least_deg: float
    most_deg: float


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
        found: dict[str, list[_Span]] = {}
        for setting in by_setting(self._plans):
            for name, span in self._of_setting(setting):
                found.setdefault(name, []).append(span)
        return {name: _limit(spans) for name, spans in found.items()}

    def _of_setting(self, plans: Sequence[StatePlan]) -> Iterator[tuple[str, _Span]]:
        """From the widest stop on, down to the first that every flag can keep clear: its beam holds those of the rest."""
        for plan in plans:
            work = StateLimits(plan, flag_places(self._scene, plan), self._scene.check.visible_loss_stops)
            spans = {place.name: _Span(plan, *work.span_deg(place.hinge, place.bars)) for place in work.places}
            yield from spans.items()
            if not any(span.least_deg == math.inf for span in spans.values()):
                return


def by_setting(plans: Iterable[StatePlan]) -> tuple[tuple[StatePlan, ...], ...]:
    """States of one lens, zoom and focus together, the widest stop first."""
    found: dict[tuple[str, float, float], list[StatePlan]] = {}
    for plan in plans:
        found.setdefault((plan.lens_name, plan.focal_mm, plan.focus_mm), []).append(plan)
    return tuple(tuple(sorted(mine, key=lambda plan: plan.f_number)) for mine in found.values())


def _limit(spans: Sequence[_Span]) -> FlagLimit:
    shut = tuple(span.plan for span in spans if span.least_deg == math.inf)
    kept = [span for span in spans if span.least_deg < math.inf]
    if not kept:
        return FlagLimit(clear_deg=math.inf, shut=shut)
    most = max(kept, key=lambda span: span.least_deg)
    return FlagLimit(
        clear_deg=max(most.least_deg, LEAST_DEG),
        most_deg=min(span.most_deg for span in kept),
        decided_by=most.plan if most.least_deg > -math.inf else None,
        shut=shut,
    )
