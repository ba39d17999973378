"""Which states and lenses of a scene a question is asked of."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import did_you_mean, plain, text_as_mm
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene
from scenes.states.state import StatePlan


def widest_stops(plans: Iterable[StatePlan]) -> tuple[StatePlan, ...]:
    """Of each lens, zoom and focus the state at the widest stop, whose beam holds those of the others."""
    found: dict[tuple[str, float, float], StatePlan] = {}
    for plan in plans:
        key = (plan.lens_name, plan.focal_mm, plan.focus_mm)
        if key not in found or plan.f_number < found[key].f_number:
            found[key] = plan
    return tuple(found.values())


def ghost_plans(plans: Sequence[StatePlan]) -> tuple[StatePlan, ...]:
    """One state per lens, zoom and focus: the widest stop, where the beam is largest and ghosts are softest."""
    widest: dict[tuple[str, float, float], StatePlan] = {}
    for plan in plans:
        key = (plan.lens_name, plan.focal_mm, plan.focus_mm)
        if key not in widest or plan.f_number < widest[key].f_number:
            widest[key] = plan
    return tuple(widest.values())


SAME_FOCUS_MM = 0.5  # a focus distance asked for this near one of the scene's means that one


SAME_F_NUMBER = 0.051  # stops are said to one decimal


def selected(
    plans: Sequence[StatePlan], *, lenses: Sequence[str] = (), focus: Sequence[str] = (), f_numbers: Sequence[float] = ()
) -> tuple[StatePlan, ...]:
    """The states of some lenses, focus distances (mm, "infinity" or "close") and stops; SceneError where there is none such."""
    kept = tuple(plans)
    if lenses:
        _insist("--lens", lenses, list(dict.fromkeys(plan.lens_name for plan in plans)))
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


Test = Callable[[StatePlan], bool]


def _stop_test(stop: float) -> Test:
    return lambda plan: abs(plan.f_number - stop) < SAME_F_NUMBER


def _focus_test(said: str, plans: Sequence[StatePlan]) -> Test:
    if said in {"infinity", "inf"}:
        return lambda plan: math.isinf(plan.focus_mm)
    if said == "close":
        nearest = {name: min(p.focus_mm for p in plans if p.lens_name == name) for name in {p.lens_name for p in plans}}
        return lambda plan: not math.isinf(plan.focus_mm) and plan.focus_mm == nearest[plan.lens_name]
    distance = text_as_mm(said)
    if distance is None:
        raise _bad_option("--focus", f'must be a distance in mm, "infinity" or "close", got "{said}"')
    return lambda plan: abs(plan.focus_mm - distance) <= SAME_FOCUS_MM


def _insist(option: str, wanted: Sequence[str], known: list[str]) -> None:
    for name in wanted:
        if name not in known:
            raise _bad_option(option, f'the scene has no lens "{name}"; {did_you_mean(name, known)}')


def _insist_on_some(
    option: str, wanted: Sequence[tuple[str, Test]], plans: Sequence[StatePlan], words: Callable[[StatePlan], str]
) -> None:
    for said, test in wanted:
        if not any(test(plan) for plan in plans):
            known = ", ".join(dict.fromkeys(words(plan) for plan in plans))
            raise _bad_option(option, f"the scene's [check] has no state at {said}; it has {known}")


def _bad_option(option: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=option)])


def chosen_lenses(scene: Scene, names: Sequence[str]) -> tuple[Lens, ...]:
    """The scene's lenses of these names, all where none is named; SceneError for a name that it does not have."""
    known = [lens.name for lens in scene.lens]
    for name in names:
        if name not in known:
            problem = f'the scene has no lens "{name}"; {did_you_mean(name, known)}'
            raise SceneError([Complaint(where="", problem=problem, source="--lens")])
    return tuple(lens for lens in scene.lens if not names or lens.name in names)
