"""How much a next step takes: by how many degrees a flag is to be opened, by how many mm another part bites."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import TYPE_CHECKING

from geometry.body import Block, Kind, Part
from geometry.swing import leaning_deg, swung
from scenes.states.clear_rule import TOLD_MM, WALK_MM, room_needed_mm

if TYPE_CHECKING:
    from scenes.states.state import StatePlan

BLADES = {Kind.FLAG, Kind.EXTENSION}
WIDEST_DEG = 120  # a flag opened further than this lies behind its hinge: another place, not another angle, is then the cure
STRAIGHT_STEPS = (
    4  # guesses along a straight line, which a blade's clearance nearly follows; then by halving, which always ends soon
)
FOLDED_DEG = 170.0  # nor folded further back than this: beyond it the blade comes in again behind its hinge
LEAST_TOLD_MM = 0.05  # less than this is written as 0.0


class Amounts:
    """Asks for the amounts of one state's parts; worked out only for parts that are to blame."""

    def __init__(self, plan: StatePlan, clearance_mm: Mapping[str, float | None]) -> None:
        self._plan, self._clearance_mm = plan, clearance_mm
        self._told: dict[str, str] = {}

    def words(self, part_name: str) -> str:
        """What `worked_out` says, worked out once a part: every guide asks."""
        if part_name not in self._told:
            self._told[part_name] = self.worked_out(part_name)
        return self._told[part_name]

    def worked_out(self, part_name: str) -> str:
        """' by 7 degrees' for a flag, ' (2.3 mm in the beam)' for other parts; '' where neither can be told.

        The flag then has as much room as a clear frame needs, or, where no angle gives that, the words say so. One whose hinge is
        in the beam clears it at no angle: then ' and hinge it 3.1 mm further out'.
        """
        depth = self._clearance_mm.get(part_name)
        if depth is None or not math.isfinite(depth) or depth > -LEAST_TOLD_MM:
            return ""
        part = next(part for part in self._plan.box.parts if part.name == part_name)
        if part.kind not in BLADES or not isinstance(part.body, Block):
            return f" ({-depth:.1f} mm in the beam)"
        clearance_mm = self._clearance_by_opening(part)
        widest = max(min(WIDEST_DEG, int(FOLDED_DEG - leaning_deg(part))), 1)
        needed_mm = max(room_needed_mm(self._plan.variants) - TOLD_MM, 0.0)
        if (opened := least_opening(clearance_mm, depth, widest, needed_mm)) is not None:
            return _degrees_words(opened)
        if needed_mm > 0.0 and (opened := least_opening(clearance_mm, depth, widest)) is not None:
            return f"{_degrees_words(opened)}, with less than the {WALK_MM:g} mm of room a fixed pupil asks for"
        lacking_mm = needed_mm - clearance_mm(widest)
        return f" and hinge it {lacking_mm:.1f} mm further out" if math.isfinite(lacking_mm) else ""

    def _clearance_by_opening(self, blade: Part) -> Callable[[int], float]:
        """The blade's clearance from every beam of the state, by the degrees that it is opened further."""
        from raytrace.beam.clearance import beams_of, part_clearance

        plan = self._plan
        beams = beams_of(plan.variants, plan.guides, plan.box)

        @cache
        def clearance_mm(opened: int) -> float:
            return part_clearance(swung(blade, float(opened)), beams).clearance_mm

        return clearance_mm


def _degrees_words(opened: int) -> str:
    return f" by {opened} degree{'s' if opened > 1 else ''}"


def least_opening(clearance_mm: Callable[[int], float], at_zero_mm: float, widest: int, needed_mm: float = 0.0) -> int | None:
    """The least whole number at which a rising clearance is as much as needed; None where it is less up to `widest`."""
    return least_clear(lambda opened: clearance_mm(opened) - needed_mm, at_zero_mm - needed_mm, widest)


def least_clear(clearance_mm: Callable[[int], float], at_zero_mm: float, widest: int) -> int | None:
    """The least whole number at which a rising clearance is not negative; None where it is negative up to `widest`."""
    bad, good, low, high = 0, widest, at_zero_mm, clearance_mm(widest)
    if high < 0.0:
        return None
    for step in range(widest):
        if good - bad <= 1:
            break
        straight = step < STRAIGHT_STEPS and math.isfinite(high)
        guess = bad + (good - bad) * -low / (high - low) if straight else (bad + good) / 2
        middle = min(max(math.ceil(guess), bad + 1), good - 1)
        found = clearance_mm(middle)
        bad, good, low, high = (bad, middle, low, found) if found >= 0.0 else (middle, good, found, high)
    return good
