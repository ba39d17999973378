"""How much a next step takes: by how many degrees a flag is to be opened, by how many mm another part bites."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from geometry.body import Block, Kind, Part
from geometry.swing import swung

if TYPE_CHECKING:
    from scenes.build import StatePlan

BLADES = {Kind.FLAG, Kind.EXTENSION}
WIDEST_DEG = 120  # a flag opened further than this lies behind its hinge: another place, not another angle, is then the cure
LEAST_TOLD_MM = 0.05  # less than this is written as 0.0


class Amounts:
    """Asks for the amounts of one state's parts; worked out only for parts that are to blame."""

    def __init__(self, plan: StatePlan, clearance_mm: Mapping[str, float | None]) -> None:
        self._plan, self._clearance_mm = plan, clearance_mm

    def words(self, part_name: str) -> str:
        """' by 7 degrees' for a flag, ' (2.3 mm in the beam)' for other parts; '' where neither can be told."""
        depth = self._clearance_mm.get(part_name)
        if depth is None or not math.isfinite(depth) or depth > -LEAST_TOLD_MM:
            return ""
        part = next(part for part in self._plan.box.parts if part.name == part_name)
        if part.kind not in BLADES or not isinstance(part.body, Block):
            return f" ({-depth:.1f} mm in the beam)"
        opened = self._least_opening_deg(part)
        return "" if opened is None else f" by {opened} degree{'s' if opened > 1 else ''}"

    def _least_opening_deg(self, blade: Part) -> int | None:
        """Whole degrees of opening at which the blade clears every beam of the state; None where none up to the widest does."""
        from raytrace.clearance import beams_of, part_clearance

        plan = self._plan
        beams = beams_of(plan.variants, plan.guides, plan.box)

        def clears(opened: int) -> bool:
            return part_clearance(swung(blade, float(opened)), beams).clearance_mm >= 0.0

        if not clears(WIDEST_DEG):
            return None
        bad, good = 0, WIDEST_DEG
        while good - bad > 1:
            middle = (good + bad) // 2
            bad, good = (bad, middle) if clears(middle) else (middle, good)
        return good
