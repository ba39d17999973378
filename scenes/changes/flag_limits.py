"""How far in flags may come over a set of states: what `brimline flags` calls clear, for whoever moves flags for other reasons."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from geometry.flags import LEAST_DEG, MOST_DEG
from scenes.changes.flag_bench import FlagBench
from scenes.runtime.first_run import prepare_judge
from scenes.runtime.shared_out import shared_out
from scenes.states.full_range import Ranged, checked_ranges
from scenes.states.select import by_setting
from scenes.states.state import State

SETTING_S = 0.2  # what a lens at one zoom and focus takes, about


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagLimit:
    """The smallest opening angle of one flag at which every state that it can keep clear stays clear [deg].

    decided_by is the state that asks for it; None where any angle down to the least there is will do. most_deg is how far it may be
    opened: less than MOST_DEG where its hinge is too close to the beam for the blade to fold back. shut names states that no
    angle clears. clear_deg is inf where that holds for all of them.
    """

    clear_deg: float
    most_deg: float = MOST_DEG
    decided_by: State | None = None
    shut: tuple[State, ...] = ()


class _Span(NamedTuple):
    plan: State
    least_deg: float
    most_deg: float


class FlagLimits:
    """The limits of a show's flags over the states given and all settings between them, worked out when first asked for."""

    def __init__(self, plans: Sequence[State], ranges: Sequence[Ranged] | None = None) -> None:
        self._plans = tuple(plans)
        self._ranges = checked_ranges(plans) if ranges is None else tuple(ranges)
        self._found: dict[str, FlagLimit] | None = None

    def of(self, name: str) -> FlagLimit:
        """The limit of the flag of that name."""
        return self.all()[name]

    def all(self) -> dict[str, FlagLimit]:
        """The limits of all flags by name; worked out on all cores when first asked for."""
        if self._found is None:
            self._found = self._all()
        return self._found

    def _all(self) -> dict[str, FlagLimit]:
        prepare_judge()
        found: dict[str, list[_Span]] = {}
        left_out_mm = {one.lens.name: one.left_out_mm for one in self._ranges}
        asked = [(setting, left_out_mm.get(setting[0].lens_name, 0.0)) for setting in by_setting(self._plans)]
        for spans in shared_out(_of_setting, asked, each_s=SETTING_S):
            for name, span in spans:
                found.setdefault(name, []).append(span)
        for one in self._ranges:
            for plan in one.plans:
                for name, span in _asking_more(FlagBench(plan, left_out_mm=one.left_out_mm), found):
                    found[name].append(span)
        return {name: _limit(spans) for name, spans in found.items()}


def _of_setting(asked: tuple[Sequence[State], float]) -> list[tuple[str, _Span]]:
    """From the widest stop on, down to the first that every flag can keep clear: its beam holds those of the rest."""
    found: list[tuple[str, _Span]] = []
    plans, left_out_mm = asked
    for plan in plans:
        work = FlagBench(plan, left_out_mm=left_out_mm)
        spans = {place.name: _Span(plan, *work.span_deg(place.hinge, place.bars)) for place in work.places}
        found += spans.items()
        if not any(span.least_deg == math.inf for span in spans.values()):
            break
    return found


def _asking_more(work: FlagBench, found: dict[str, list[_Span]]) -> Iterator[tuple[str, _Span]]:
    """The spans of a state between those known, where these do not hold it."""
    for place in work.places:
        limit = _limit(found[place.name]) if place.name in found else None
        if limit is None or math.isinf(limit.clear_deg):
            continue
        if not all(work.holds(place.hinge, place.bars, deg) for deg in (limit.clear_deg, limit.most_deg)):
            yield place.name, _Span(work.plan, *work.span_deg(place.hinge, place.bars))


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
