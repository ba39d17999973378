"""Whether rods put a box where the scene has it: one rule for every question that tells of it.

Rods set the height of a box; it is made for those of its kind as they usually run (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator

from geometry.notes import Note, Severity
from scenes.rig.box import rod_spec
from scenes.scene_file.catalogue import rods as catalogue_rods
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box

SAME_HEIGHT_MM = 0.05
TURNED_MM = 1.0  # a height less than this off the axis is not told from its opposite


def rod_rise_mm(box: Box) -> float | None:
    """How far above the lens axis its rods put a box that is made for the usual ones [mm]; None on a clamp."""
    spec = rod_spec(box)
    return None if spec is None else catalogue_rods()[box.mount].drop_mm - spec.drop_mm


def follows_from_rods(rise_mm: float, up_mm: float) -> bool:
    """Whether a box stands as high as its rods put it."""
    return abs(rise_mm - up_mm) < SAME_HEIGHT_MM


def turned_height_words(box: Box) -> Iterator[str]:
    """A height with the sign turned: a box that low on its rods, said to be that high."""
    rise_mm, up_mm = rod_rise_mm(box), box.offset_mm[1]
    if rise_mm is not None and box.rod_drop_mm is not None and _is_turned(rise_mm, up_mm):
        way_out = "put the wrong one right, or leave rod_drop_mm out if something else holds it there"
        yield f"{_elsewhere(box.rod_drop_mm, rise_mm, up_mm)}: up is positive in offset_mm; {way_out}"


def rod_notes(box: Box) -> Iterator[Note]:
    """A caution where rods of a drop of their own put the box elsewhere than the scene; else how to bring it back on axis."""
    spec, rise_mm, up_mm = rod_spec(box), rod_rise_mm(box), box.offset_mm[1]
    if spec is None or rise_mm is None:
        return
    if box.rod_drop_mm is not None and not follows_from_rods(rise_mm, up_mm):
        if not _is_turned(rise_mm, up_mm):
            yield Note("box", f"{_elsewhere(box.rod_drop_mm, rise_mm, up_mm)}: measure it", Severity.CAUTION, may_be_slip=True)
    elif up_mm != 0.0:
        riser = ", or a riser," if up_mm < 0.0 else ""
        text = (
            f"stands {_height(up_mm)}; rods {plain(round(spec.drop_mm + up_mm, 3))} mm below the axis instead of "
            f"{plain(spec.drop_mm)} mm{riser} would bring it back on axis"
        )
        yield Note("box", text, Severity.FACT)


def _is_turned(rise_mm: float, up_mm: float) -> bool:
    return abs(rise_mm) >= TURNED_MM and follows_from_rods(-rise_mm, up_mm)


def _elsewhere(drop_mm: float, rise_mm: float, up_mm: float) -> str:
    puts = f"rod_drop_mm = {plain(drop_mm)}, which puts it {_height(rise_mm)}"
    return f"offset_mm has it {_height(up_mm)}; that does not follow from {puts}"


def _height(up_mm: float) -> str:
    if up_mm == 0.0:
        return "on the lens axis"
    return f"{plain(round(abs(up_mm), 3))} mm {'above' if up_mm > 0 else 'below'} the lens axis"
