"""How far a box can come closer to a lens before anything meets the lens: tried on the box as it would stand there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from geometry.checks import behind_notes
from geometry.notes import Note, Severity
from scenes.rig.stated_field import rows_of

if TYPE_CHECKING:
    from scenes.scene_file.tables.box import Box
    from scenes.states.state import State

MOST_MM = 64  # closer than this it is another box
FREE_MM = 1  # that parts keep from the lens: fronts bulge, and nobody sets a box to less


@dataclass(frozen=True, slots=True)
class Closest:
    """The whole mm that a box can come closer to its lens, and the part that meets the lens then; '' where none does."""

    by_mm: int
    part: str


def closest_by_place(plan: State) -> int:
    """The most whole mm that any box of these places could come closer: trays, masks and filters stay ahead of the lens front.

    Shapes are not held against each other, which takes longer: `closest` is this or less.
    """
    front_mm = plan.lens.front_diameter_mm
    known = set(behind_notes(plan.assembly.parts, plan.assembly.slabs, front_diameter_mm=front_mm))

    def stays(by_mm: int) -> bool:
        there = brought_closer(plan, by_mm).assembly
        return set(behind_notes(there.parts, there.slabs, front_diameter_mm=front_mm)) <= known

    good, bad = 0, MOST_MM + 1
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if stays(middle) else (good, middle)
    return good


def closest(plan: State) -> Closest | None:
    """How far the box of a state can come closer; None where the state's parts are not those of its scene's box."""
    if [part.name for part in plan.with_box(plan.fitted).box.parts] != [part.name for part in plan.box.parts]:
        return None
    known = set(_told(plan, 0))
    good, bad = 0, 1
    while bad <= MOST_MM and not _new(plan, bad, known):
        good, bad = bad, 2 * bad
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (good, middle) if _new(plan, middle, known) else (middle, bad)
    met = _new(plan, bad, known)
    return Closest(max(good - FREE_MM, 0), met[0].part if met else "")


def brought_closer(plan: State, by_mm: float) -> State:
    """The state with its box so much closer to the lens [mm], for its light: what that box is at fault with is not looked for."""
    fitted = _moved(plan, by_mm)
    assembly, box = plan.rebuilt(fitted)
    return replace(plan, fitted=fitted, assembly=assembly, box=box)


def _moved(plan: State, by_mm: float) -> Box:
    return plan.fitted.model_copy(update={"ahead_mm": plan.fitted.ahead_mm - by_mm})


def _new(plan: State, by_mm: int, known: set[Note]) -> list[Note]:
    """What is told of the box there and not where it stands, faults first."""
    return sorted((note for note in _told(plan, by_mm) if note not in known), key=lambda note: note.severity is not Severity.FAULT)


def _told(plan: State, by_mm: int) -> Iterator[Note]:
    """Faults and cautions of the box so much closer, with the lens front where it is and as far out as it comes."""
    out_mm = max((row.front_travel_mm or 0.0 for row in rows_of(plan.lens)), default=0.0)
    for travel_mm in {plan.travel_mm, max(plan.travel_mm, out_mm)}:
        there = replace(plan, travel_mm=travel_mm).with_box(_moved(plan, by_mm))
        yield from (note for note in there.notes if note.severity is not Severity.FACT)
