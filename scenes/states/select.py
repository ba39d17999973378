"""Which states and lenses of a scene a question is asked of."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import did_you_mean, plain, text_as_mm
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene
from scenes.states.state import State

SAME_FOCUS_MM = 0.5  # a focus distance asked for this near one of the scene's means that one
SAME_F_NUMBER = 0.051  # stops are said to one decimal


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


def selected(
    plans: Sequence[State], *, lenses: Sequence[str] = (), focus: Sequence[str] = (), f_numbers: Sequence[float] = ()
) -> tuple[State, ...]:
    """The states of some lenses, focus distances (mm, "infinity" or "close") and stops; SceneError where there is none such."""
    kept = tuple(plans)
    if lenses:
        _insist_on_lenses(lenses, list(dict.fromkeys(plan.lens_name for plan in plans)))
        kept = tuple(plan for plan in kept if plan.lens_name in lenses)
    if focus:
        wanted = [(said, _focus_test(said, kept)) for said in focus]
        _insist_on_some("--focus", wanted, kept, lambda plan: plain(plan.focus_mm))
        kept = tuple(plan for plan in kept if any(test(plan) for _, test in wanted))
    if f_numbers:
        stops = [(plain(stop), _stop_test(stop)) for stop in f_numbers]
        _insist_on_some("--f-number", stops, kept, lambda plan: plain(plan.f_number))
        kept = tuple(plan for plan in kept if any(test(plan) for _, test in stops))
    return kept


Test = Callable[[State], bool]


def _stop_test(stop: float) -> Test:
    return lambda plan: abs(plan.f_number - stop) < SAME_F_NUMBER


def _focus_test(said: str, plans: Sequence[State]) -> Test:
    if said in {"infinity", "inf"}:
        return lambda plan: math.isinf(plan.focus_mm)
    if said == "close":
        nearest = {name: min(p.focus_mm for p in plans if p.lens_name == name) for name in {p.lens_name for p in plans}}
        return lambda plan: not math.isinf(plan.focus_mm) and plan.focus_mm == nearest[plan.lens_name]
    distance = text_as_mm(said)
    if distance is None:
        raise _bad_option("--focus", f'must be a distance in mm, "infinity" or "close", got "{said}"')
    return lambda plan: abs(plan.focus_mm - distance) <= SAME_FOCUS_MM


def _insist_on_lenses(wanted: Sequence[str], known: list[str]) -> None:
    for name in wanted:
        if name not in known:
            raise _bad_option("--lens", f'the scene has no lens "{name}"; {did_you_mean(name, known)}')


def _insist_on_some(option: str, wanted: Sequence[tuple[str, Test]], plans: Sequence[State], words: Callable[[State], str]) -> None:
    for said, test in wanted:
        if not any(test(plan) for plan in plans):
            known = ", ".join(dict.fromkeys(words(plan) for plan in plans))
            raise _bad_option(option, f"the scene's [check] has no state at {said}; it has {known}")


def _bad_option(option: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=option)])


def chosen_lenses(scene: Scene, names: Sequence[str]) -> tuple[Lens, ...]:
    """The scene's lenses of these names, all where none is named; SceneError for a name that it does not have."""
    _insist_on_lenses(names, [lens.name for lens in scene.lens])
    return tuple(lens for lens in scene.lens if not names or lens.name in names)
