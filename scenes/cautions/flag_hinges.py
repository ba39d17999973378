"""Flags whose hinge hangs on nothing: off the hood and all else of the box, in the light, at a whole width, from another datum."""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely

from scenes.rig.box import flag_hinge_mm, flag_name
from scenes.rig.openings import as_written, opening_mm, outsides_mm
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Flag, Hood, Mask, Stage

TURNED_DEG = 10.0  # its width is no longer across
OFF_EDGE_MM = 40.0  # a hinge this far off the hood's front edge hangs on nothing, whatever else is near
INSIDE_SHARE = 0.8  # of half the opening before it: nearer to its edge a flag hangs before the rim
LOOSE_MM = 5.0  # off all parts: hinges for flags are flat on what they hold on to, or a knuckle's height above it (common practice)
WHOLE_SHARE = 1.02  # a whole width or height, as against its half, is rounded by less
COUNTS_FROM = "hinge_mm counts from the box's centre line, at_mm from the back plate's rear face"


def hinge_words(box: Box) -> Iterator[tuple[str, str]]:
    """Flags that hang on nothing: hinge_mm as a whole width, at_mm from elsewhere than the back plate."""
    yield from _whole_words(box)
    for flag in box.flag:
        if box.hood:
            text = _off_hood_words(flag, box)
        else:
            text = (_off_plate_words(flag, box) if _is_stated(box) else "") or _in_opening_words(flag, box)
        if text:
            yield flag_name(flag), text


def _is_stated(box: Box) -> bool:
    """Whether the scene says how far anything of the box reaches outside."""
    return bool(box.back) or any(part.outer_mm for part in (*box.stage, *box.mask))


def _off_hood_words(flag: Flag, box: Box) -> str:
    own = flag_hinge_mm(flag, box.hood)
    edge = flag_hinge_mm(flag.model_copy(update={"hinge_mm": None, "at_mm": None}), box.hood)
    there = f"hinge_mm would be {plain(edge[0])} and at_mm {plain(edge[1])}: {COUNTS_FROM}"
    off_edge_mm = math.dist(own, edge)
    if off_edge_mm > OFF_EDGE_MM:
        return f"is hinged {off_edge_mm:.0f} mm off the hood's front edge, where {there}"
    off_mm = _loose_mm(flag, box)
    if off_mm > LOOSE_MM:
        return (
            f"hinge_mm = {plain(own[0])} and at_mm = {plain(own[1])} hang it {off_mm:.1f} mm off the hood and all else of the box; "
            f"at the hood's front edge {there}"
        )
    return ""


def _loose_mm(flag: Flag, box: Box) -> float:
    """How far a hinge outside of the box is off what is nearest to it [mm]; 0 for one inside a hood, and without a hood."""
    way = _way(flag)
    out_mm, at_mm = flag_hinge_mm(flag, box.hood)
    hinge = shapely.Point(at_mm, out_mm)
    if any(_filled(hood, way).contains(hinge) for hood in box.hood):
        return 0.0
    return float(shapely.distance(shapely.union_all([*_sections(box, way)]), hinge))


def _filled(hood: Hood, way: int) -> shapely.Polygon:
    """Half of a hood in section, from the box's centre line out to the inside of its wall."""
    front_mm = hood.at_mm + hood.depth_mm
    corners = [(hood.at_mm, 0.0), (hood.at_mm, hood.rear_mm[way] / 2), (front_mm, hood.front_mm[way] / 2), (front_mm, 0.0)]
    return shapely.Polygon(corners)


def _sections(box: Box, way: int) -> Iterator[shapely.Geometry]:
    """What a hinge can hold on to, in section from the box's centre line out: (place ahead, distance from that line) [mm]."""
    for hood in box.hood:
        yield _filled(hood, way).buffer(hood.thickness_mm)
    for back in box.back:
        yield shapely.box(0.0, 0.0, back.thickness_mm, (back.width_mm, back.height_mm)[way] / 2)
    plates = [(stage.at_mm, stage.depth_mm, stage.outer_mm or stage.opening_mm) for stage in box.stage]
    plates += [(mask.at_mm, mask.thickness_mm, mask.outer_mm or mask.opening_mm) for mask in box.mask]
    for at_mm, deep_mm, size_mm in plates:
        if size_mm is not None:
            yield shapely.box(at_mm, 0.0, at_mm + deep_mm, size_mm[way] / 2)


def _off_plate_words(flag: Flag, box: Box) -> str:
    """A flag of a box without a hood that hangs outside of its plate, trays and masks."""
    half_mm = max(size[_way(flag)] for size in outsides_mm(box)) / 2
    hinge_mm, _ = flag_hinge_mm(flag, ())
    out_mm = hinge_mm - half_mm
    reaches = f"the box, which reaches {plain(half_mm)} mm from its centre line there"
    if out_mm > OFF_EDGE_MM:
        return f"hinge_mm = {plain(hinge_mm)} is {plain(round(out_mm, 1))} mm outside of {reaches}; is a digit too many?"
    if out_mm > LOOSE_MM:
        off = f"hangs it {plain(round(out_mm, 1))} mm outside of {reaches}"
        return f"hinge_mm = {plain(hinge_mm)} {off}; hinge_mm counts from that line: measure it"
    return ""


def _in_opening_words(flag: Flag, box: Box) -> str:
    """A flag of a box without a hood that hangs inside of the opening before it: light passes on both sides of it."""
    hinge_mm, at_mm = flag_hinge_mm(flag, ())
    parts: list[Stage | Mask] = [*box.stage, *box.mask]
    behind = [part for part in parts if part.at_mm <= at_mm and abs(part.turn_deg) <= TURNED_DEG]
    part = max(behind, key=lambda one: one.at_mm, default=None)
    size = opening_mm(part) if part is not None else None
    if part is None or size is None or part.opening_mm is None or hinge_mm >= INSIDE_SHARE * size[_way(flag)] / 2:
        return ""
    half = f"opening_mm = {as_written(size)} behind it reaches {plain(size[_way(flag)] / 2)} mm from the box's centre line there"
    return f"hinge_mm = {plain(hinge_mm)} hangs it in the middle of the light: {half}; measure both"


def _way(flag: Flag) -> int:
    """0 for a flag that swings across, 1 for one that swings up or down."""
    return 0 if flag.side in {"left", "right"} else 1


def _whole_words(box: Box) -> Iterator[tuple[str, str]]:
    """Hinges at a whole height or width of the hood's front, or of the plate where there is no hood, which should be its half."""
    sizes = [("front_mm of the hood", *hood.front_mm) for hood in box.hood]
    sizes = sizes or [("the back plate", back.width_mm, back.height_mm) for back in box.back]
    for flag in box.flag:
        across = flag.side in {"left", "right"}
        for what, width_mm, height_mm in sizes:
            whole_mm = width_mm if across else height_mm
            if flag.hinge_mm is not None and 1 / WHOLE_SHARE <= flag.hinge_mm / whole_mm <= WHOLE_SHARE:
                text = (
                    f"hinge_mm = {plain(flag.hinge_mm)} is the whole {'width' if across else 'height'} of {what}; it counts from "
                    f"the box's centre line: half of it would be {plain(whole_mm / 2)}"
                )
                yield flag_name(flag), text
