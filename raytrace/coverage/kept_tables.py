"""Tables of boxes that were asked for lately: a state asks for the light of a few places of one box dozens of times."""

from __future__ import annotations

from collections import OrderedDict

from raytrace.box import Box
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.coverage.tables.tables import Tables, box_tables
from raytrace.kept import Kept

KEPT = 16
BESIDE_MM = 2.0  # depths are told by coarse chords: cut farther off than this a part loses nothing

_tables: OrderedDict[tuple[int, float, float, float], tuple[Box, Tables]] = OrderedDict()


def kept_tables(box: Box, *, start_z_mm: float, end_z_mm: float, sagitta_mm: float) -> Tables:
    """As `box_tables`, worked out once for a box while it is asked for."""
    near, far = _depths_of(box)
    start, end = max(start_z_mm, near - BESIDE_MM), min(end_z_mm, far + BESIDE_MM)
    key = (id(box), start, end, sagitta_mm)
    held = _tables.get(key)
    if held is None:
        held = (box, box_tables(box, start_z_mm=start, end_z_mm=end, sagitta_mm=sagitta_mm))
        _tables[key] = held  # with the box, so that no other gets its id
        if len(_tables) > KEPT:
            _tables.popitem(last=False)
    return held[1]


def _depths_mm(box: Box) -> tuple[float, float]:
    near, far = box_depths_mm(box)
    return float(near), float(far)


_depths_of: Kept[Box, tuple[float, float]] = Kept(_depths_mm, KEPT)
