"""Which of a scene's states stand for the others."""

from __future__ import annotations

from collections.abc import Iterable

from scenes.states.state import State


def widest_stops(plans: Iterable[State]) -> tuple[State, ...]:
    """Of each lens, zoom and focus the state at the widest stop.

    A stop further closed lights less of the same pupil: the widest beam holds those of the others, and ghosts are softest there.
    """
    return tuple(mine[0] for mine in by_setting(plans))


def first_focus(plans: Iterable[State]) -> tuple[State, ...]:
    """Of each lens and zoom its first focus, at the widest stop."""
    found: dict[tuple[str, float], State] = {}
    for plan in widest_stops(plans):
        found.setdefault((plan.lens_name, plan.focal_mm), plan)
    return tuple(found.values())


def first_of_each_lens(plans: Iterable[State]) -> tuple[State, ...]:
    """The first state of every lens."""
    found: dict[str, State] = {}
    for plan in plans:
        found.setdefault(plan.lens_name, plan)
    return tuple(found.values())


def by_setting(plans: Iterable[State]) -> tuple[tuple[State, ...], ...]:
    """States of one lens, zoom and focus together, the widest stop first."""
    found: dict[tuple[str, float, float], list[State]] = {}
    for plan in plans:
        found.setdefault((plan.lens_name, plan.focal_mm, plan.focus_mm), []).append(plan)
    return tuple(tuple(sorted(mine, key=lambda plan: plan.f_number)) for mine in found.values())
