"""The flags of a box in their places: what each is called, how it is set and where it hinges."""

from __future__ import annotations

from dataclasses import dataclass

from geometry.flags import Bars, Hinge
from geometry.frame import Side
from raytrace.stray.light_on_glass import SetFlag
from scenes.rig.box import bars_of, box_place, flag_name, hinge_of
from scenes.scene_file.tables.box import Box
from scenes.states.state import State


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagPlace:
    """A flag of a box as fitted to one lens: what it is called, how it is set, where it is hinged and what swings there."""

    name: str
    number: int  # in the box of this lens, from 1
    set_deg: float
    hinge: Hinge
    bars: Bars

    @property
    def side(self) -> Side:
        """The side it is hinged on."""
        return self.hinge.side


def flag_places(plan: State) -> tuple[FlagPlace, ...]:
    """Every flag of the box in a state."""
    return places_in(plan.fitted, plan)


def places_in(own_box: Box, plan: State) -> tuple[FlagPlace, ...]:
    """Every flag of a box in a state's place, named as in its own box; flags beyond those are named by their side."""
    place = box_place(own_box, plan.travel_mm)
    named = {part.group: part.name for part in plan.box.parts}
    found = []
    for number, flag in enumerate(own_box.flag, 1):
        name, hinge = named.get(f"box.flag[{number}]", flag_name(flag)), hinge_of(flag, own_box.hood, place)
        found.append(FlagPlace(name=name, number=number, set_deg=flag.angle_deg, hinge=hinge, bars=bars_of(flag)))
    return tuple(found)


def set_flags(own_box: Box, plan: State) -> tuple[SetFlag, ...]:
    """Every flag of a box in a state's place as it stands."""
    return tuple(SetFlag(hinge=p.hinge, bars=p.bars, angle_deg=p.set_deg) for p in places_in(own_box, plan))
