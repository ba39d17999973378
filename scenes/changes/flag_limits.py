"""How far in flags may come over a set of states: what `brimline flags` calls clear, for whoever moves flags for other reasons."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from geometry.flags import LEAST_DEG, MOST_DEG
from scenes.changes.flag_angles import FlagBench
from scenes.states.full_range import Ranged, checked_ranges
from scenes.states.select import by_setting
from scenes.states.state import State


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
        if self._found is None:
            self._found = self._all()
        return self._found[name]

    def _all(self) -> dict[str, FlagLimit]:
        found: dict[str, list[_Span]] = {}
        left_out_mm = {one.lens.name: one.left_out_mm for one in self._ranges}
        for setting in by_setting(self._plans):
            for name, span in self._of_setting(setting, left_out_mm.get(setting[0].lens_name, 0.0)):
                found.setdefault(name, []).append(span)
        for one in self._ranges:
            for plan in one.plans:
                for name, span in _asking_more(FlagBench(plan, left_out_mm=one.left_out_mm), found):
                    found[name].append(span)
        return {name: _limit(spans) for name, spans in found.items()}

    def _of_setting(self, plans: Sequence[State], left_out_mm: float) -> Iterator[tuple[str, _Span]]:
        """From the widest stop on, down to the first that every flag can keep clear: its beam holds those of the rest."""
        for plan in plans:
            work = FlagBench(plan, left_out_mm=left_out_mm)
            spans = {place.name: _Span(plan, *work.span_deg(place.hinge, place.bars)) for place in work.places}
            yield from spans.items()
            if not any(span.least_deg == math.inf for span in spans.values()):
                return


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
