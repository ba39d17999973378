"""The share of tolerance builds that is asked for, told as room: the least beyond all else with which that many are clear."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from scenes.questions.design.designer import Design, Designer
from scenes.questions.design.picks import counted
from scenes.questions.design.wishes import Wishes
from scenes.questions.tolerances.report import surety
from scenes.states.load import wanted_states

BUILD_MM, BUILD_STEPS = 0.25, 5  # room added for tolerance builds: how finely, in how many halvings
BEYOND_MM = 1.0  # room beyond that of the worst build: enough for all


@dataclass(frozen=True, slots=True)
class ForBuilds:
    """A design with the share of builds asked for, and what it was solved for: builds told as room."""

    design: Design
    wishes: Wishes


def build_share(designer: Designer, design: Design, wishes: Wishes) -> tuple[float, float]:
    """Share of a design's builds that are clear with every lens asked for, and the room of the worst [mm]."""
    key = repr(sorted(design.pick.items())), design.notches, wishes.lenses
    if key not in designer.build_shares:
        designer.tick(0, "looking at builds")
        loaded = designer.remade(design)
        found = surety(loaded, wanted_states(loaded, lenses=wishes.lenses))
        designer.build_shares[key] = found.clear_share, min(lens.worst.clearance_mm for lens in found.lenses)
    return designer.build_shares[key]


def for_builds(designer: Designer, pick: Mapping[str, Any], wishes: Wishes) -> ForBuilds | None:
    """The best design of a set of choices that has the share of builds asked for; None where none has."""
    wanted, design = wishes.clear_builds, designer.solved(pick, wishes, designer.design.small)
    if design is None or wanted is None:
        return None if design is None else ForBuilds(design, wishes)
    share, worst_mm = build_share(designer, design, wishes)
    if share >= wanted:
        return ForBuilds(design, wishes)
    best = roomiest(designer, pick, wishes, max(-worst_mm, 0.0) + BEYOND_MM)
    if build_share(designer, best.design, wishes)[0] < wanted:
        return None
    low_mm, high_mm = 0.0, best.wishes.more_mm - wishes.more_mm
    for _ in range(BUILD_STEPS):
        if high_mm - low_mm <= BUILD_MM:
            break
        middle_mm = (low_mm + high_mm) / 2
        tried = _with_more(designer, pick, wishes, middle_mm)
        if tried is not None and build_share(designer, tried.design, wishes)[0] >= wanted:
            best, high_mm = tried, middle_mm
        else:
            low_mm = middle_mm
    return best


def roomiest(designer: Designer, pick: Mapping[str, Any], wishes: Wishes, most_mm: float) -> ForBuilds:
    """The design with the most room that there is for all else, up to so much more; there is one without more."""
    low_mm, found = 0.0, _with_more(designer, pick, wishes, most_mm)
    if found is not None:
        return found
    while most_mm - low_mm > BUILD_MM / 2:
        middle_mm = (low_mm + most_mm) / 2
        tried = _with_more(designer, pick, wishes, middle_mm)
        low_mm, most_mm, found = (low_mm, middle_mm, found) if tried is None else (middle_mm, most_mm, tried)
    found = found or _with_more(designer, pick, wishes, 0.0)
    assert found is not None
    return found


def best_for_builds(designer: Designer, wishes: Wishes) -> ForBuilds | None:
    """The best design of all choices that has the share of builds asked for; None where none has."""
    found = [one for pick in designer.picks if (one := for_builds(designer, pick, wishes)) is not None]
    return min(found, key=lambda one: one.design.found.cost, default=None)


def most_builds(designer: Designer, wishes: Wishes) -> tuple[float, ForBuilds] | None:
    """The largest share of builds that there is for all else, and the design that has it."""
    shares = []
    for design in designer.best(replace(wishes, clear_builds=None)):
        _, worst_mm = build_share(designer, design, wishes)
        most = roomiest(designer, counted(design.pick), wishes, max(-worst_mm, 0.0) + BEYOND_MM)
        shares.append((build_share(designer, most.design, wishes)[0], most))
    return max(shares, key=lambda one: one[0], default=None)


def _with_more(designer: Designer, pick: Mapping[str, Any], wishes: Wishes, more_mm: float) -> ForBuilds | None:
    asked = replace(wishes, more_mm=wishes.more_mm + round(more_mm, 3))
    design = designer.solved(pick, asked, designer.design.small)
    return None if design is None else ForBuilds(design, asked)
