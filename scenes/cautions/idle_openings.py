"""Parts that take no light, or that nothing holds, by the rest of the box: a size or a place that slipped."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from geometry.body import Part
from geometry.outline import half_size_mm
from scenes.cautions.unheld_hoods import inside_mm
from scenes.rig.box import flag_hinge_mm, flag_name, stage_name
from scenes.rig.openings import as_written, built_outlines, glass_mm, opening_mm, times
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Hood, Mask, Stage

WIDER_SHARE = 1.25  # than the plate before it: nothing is left for such an opening to be cut in
TURNED_DEG = 10.0  # its width is no longer across
SEATED_MM = 0.1  # what lies on a face is not behind it
OUTER_SHARE = 1.15  # a mask's sheet may reach over the edge that it is clipped on
LOOSE_MM = 5.0  # ahead of the hood's front edge, where a mask is still clipped on
NEAR_TRAY_MM, WIDER_THAN_TRAY = 15.0, 1.1
STEEPEST = 1.5  # how far a beam widens each way to a mask ahead, for each mm: a field of 112 deg
THIN_RIM_MM = 2.0  # of sheet round an opening; 5 and more is usual (common practice)
ONE_WAY_SHARE = 3.0  # the same in width or height alone, of round openings: they stand in low boxes


def idle_opening_words(box: Box, parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    """A caution for each opening that takes no light: larger than the box round it, than the hood there, or off all of it."""
    for name, part, size in _openings(box, parts):
        in_box = _wide_words(box, part, size) or _in_hood_words(box, part, size) or _off_hood_words(box, part)
        if text := in_box or _at_tray_words(box, part, size):
            yield name, text


def rim_words(box: Box, parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    """Trays and masks whose outside leaves next to no rim round their opening, however that is given."""
    for name, part, size in _openings(box, parts):
        if part.outer_mm is None:
            continue
        rim_mm = min((wide - open_) / 2 for wide, open_ in zip(part.outer_mm, size, strict=True))
        if rim_mm < THIN_RIM_MM:
            rim = f"outer_mm = {as_written(part.outer_mm)} leaves a rim of {rim_mm:.1f} mm"
            yield name, f"{rim} round {_opening_words(part, size)}; measure both"


def outer_words(box: Box) -> Iterator[tuple[str, str]]:
    """Masks behind the hood that are wider and higher outside than all of the box round them."""
    round_them = [(back.width_mm, back.height_mm) for back in box.back] + [hood.rear_mm for hood in box.hood]
    for mask in box.mask if box.back else ():
        if mask.outer_mm is None or _ahead_of_hood(mask.at_mm, box.hood) or abs(mask.turn_deg) > TURNED_DEG:
            continue
        round_mm = [max(one[way] for one in round_them) for way in (0, 1)]
        if all(wide > OUTER_SHARE * room for wide, room in zip(mask.outer_mm, round_mm, strict=True)):
            sticks = f"outer_mm = {as_written(mask.outer_mm)} sticks out of the box around it, {times(round_mm)} mm"
            yield mask.name or "mask", f"{sticks}, at at_mm = {plain(mask.at_mm)}: does it stand farther ahead?"


def _opening_words(part: Stage | Mask, size: tuple[float, float]) -> str:
    if part.opening_diameter_mm is not None:
        return f"opening_diameter_mm = {plain(part.opening_diameter_mm)}"
    return f"opening_mm = {as_written(part.opening_mm)}" if part.opening_mm else f"its drawn opening of {times(size)} mm"


def _wide_words(box: Box, part: Stage | Mask, size: tuple[float, float]) -> str:
    """Behind the hood, larger than the back plate and the hood's rear."""
    round_them = [(back.width_mm, back.height_mm) for back in box.back] + [hood.rear_mm for hood in box.hood]
    if not round_them or part.outer_mm is not None or _ahead_of_hood(part.at_mm, box.hood):
        return ""
    round_mm = [max(one[k] for one in round_them) for k in (0, 1)]
    both = all(size[k] > WIDER_SHARE * round_mm[k] for k in (0, 1))
    over = [size[k] > _one_way_mm(box, part, round_mm, k) for k in (0, 1)]
    if not (both or any(over)):
        return ""
    which = "larger" if both else "wider" if over[0] else "higher"
    return (
        f"its opening of {times(size)} mm is {which} than the box around it, {times(round_mm)} mm, and takes no light"
        f"{'' if both else ' there'}; is it twice what it should be, in another unit, or is a digit too many?"
    )


def _one_way_mm(box: Box, part: Stage | Mask, round_mm: Sequence[float], way: int) -> float:
    """What an opening may not pass in width (0) or height (1) alone: for a tray the plate, as hoods often begin narrower."""
    if part.opening_diameter_mm or abs(part.turn_deg) > TURNED_DEG:
        return ONE_WAY_SHARE * round_mm[way]
    if isinstance(part, Mask):
        return round_mm[way]
    return max(((back.width_mm, back.height_mm)[way] for back in box.back), default=ONE_WAY_SHARE * round_mm[way])


def _in_hood_words(box: Box, part: Stage | Mask, size: tuple[float, float]) -> str:
    """A mask in a hood, or at its rear, wider and higher than the hood itself is there."""
    for hood in box.hood if isinstance(part, Mask) and part.outer_mm is None else ():
        inside = inside_mm(hood, part.at_mm)
        if all(size[k] > inside[k] for k in (0, 1)):
            hood_there = f"{hood.name or 'the hood'} is there, {times(inside)} mm"
            return (
                f"its opening of {times(size)} mm is wider and higher than {hood_there}, and takes no light; is it twice what it "
                "should be, or another mask's?"
            )
    return ""


def _off_hood_words(box: Box, part: Stage | Mask) -> str:
    """A mask ahead of the hood's front edge, where nothing holds it."""
    ends_mm = max((hood.at_mm + hood.depth_mm for hood in box.hood), default=math.inf)
    if not isinstance(part, Mask) or part.at_mm <= ends_mm + LOOSE_MM:
        return ""
    return (
        f"at_mm = {plain(part.at_mm)} stands it {plain(round(part.at_mm - ends_mm, 1))} mm ahead of the hood's front edge, at "
        f"{plain(ends_mm)} mm, where nothing holds it; at_mm counts from the back plate's rear face"
    )


def _at_tray_words(box: Box, part: Stage | Mask, size: tuple[float, float]) -> str:
    """A mask next to a tray, larger than the tray's opening and its glass: no light passes the one and meets the other."""
    if not isinstance(part, Mask) or abs(part.turn_deg) > TURNED_DEG:
        return ""
    for number, stage in enumerate(box.stage, 1):
        behind_mm, ahead_mm = part.at_mm - stage.at_mm - stage.depth_mm, stage.at_mm - part.at_mm - part.thickness_mm
        tray, apart_mm = opening_mm(stage), max(behind_mm, ahead_mm)
        if tray is None or not 0.0 <= apart_mm <= NEAR_TRAY_MM or abs(stage.turn_deg) > TURNED_DEG:
            continue
        widens_mm = 2.0 * STEEPEST * apart_mm if behind_mm >= 0.0 else 0.0
        glass = glass_mm(stage) or (0.0, 0.0)
        if all(size[k] > max(WIDER_THAN_TRAY * (tray[k] + widens_mm), glass[k]) for k in (0, 1)):
            where = f"{plain(round(apart_mm, 1))} mm {'behind' if behind_mm >= 0.0 else 'ahead of'} it"
            of_tray = f'that of "{stage_name(stage, number)}", {times(tray)} mm'
            return f"its opening of {times(size)} mm is wider and higher than {of_tray}, {where}: does it mask anything?"
    return ""


def behind_words(box: Box) -> Iterator[tuple[str, str]]:
    """Trays, masks, hoods and flags behind the plate that holds them, or wholly behind the lens front, where they take no light."""
    plates = [(stage_name(stage, number), stage.at_mm, stage.depth_mm) for number, stage in enumerate(box.stage, 1)]
    plates += [(mask.name or "mask", mask.at_mm, mask.thickness_mm) for mask in box.mask]
    for name, at_mm, deep_mm in plates if box.back else ():
        if at_mm + deep_mm <= SEATED_MM and at_mm < -SEATED_MM:
            yield name, f"at_mm = {plain(at_mm)} stands it behind the back plate; at_mm counts ahead from the plate's rear face"
    for hood in box.hood:
        name, ends_mm = hood.name or "hood", hood.at_mm + hood.depth_mm
        if box.back and hood.at_mm < -SEATED_MM:
            yield name, f"at_mm = {plain(hood.at_mm)} begins behind the back plate; at_mm counts ahead from the plate's rear face"
        elif box.ahead_mm + ends_mm <= 0.0:
            yield name, _behind_front(f"at_mm = {plain(hood.at_mm)}", box, ends_mm)
    for flag in box.flag:
        _, at_mm = flag_hinge_mm(flag, box.hood)
        out = flag.extension.length_mm if flag.extension else 0.0
        ends_mm = at_mm + max(0.0, (flag.length_mm + out) * math.cos(math.radians(flag.angle_deg)))
        if box.back and at_mm < -SEATED_MM:
            yield (
                flag_name(flag),
                f"at_mm = {plain(round(at_mm, 1))} hinges it behind the back plate; at_mm counts ahead from its rear face",
            )
        elif box.ahead_mm + ends_mm <= 0.0:
            yield flag_name(flag), _behind_front(f"at_mm = {plain(round(at_mm, 1))}", box, ends_mm)


def _behind_front(what: str, box: Box, ends_mm: float) -> str:
    behind_mm = plain(round(-(box.ahead_mm + ends_mm), 1))
    return f"{what} with ahead_mm = {plain(box.ahead_mm)} ends {behind_mm} mm behind the lens front, where it takes no light"


def _openings(box: Box, parts: Sequence[Part]) -> Iterator[tuple[str, Stage | Mask, tuple[float, float]]]:
    """Names, tables and sizes of openings, those that are drawn by what is drawn."""
    drawn = built_outlines(parts)
    for number, stage in enumerate(box.stage, 1):
        if size := opening_mm(stage):
            yield stage_name(stage, number), stage, size
    for number, mask in enumerate(box.mask, 1):
        outline = drawn.get(f"box.mask[{number}]")
        if size := opening_mm(mask):
            yield mask.name or "mask", mask, size
        elif outline is not None:
            width, height = (round(2.0 * float(half), 1) for half in half_size_mm(outline))
            yield mask.name or "mask", mask, (width, height)


def _ahead_of_hood(at_mm: float, hoods: tuple[Hood, ...]) -> bool:
    return any(at_mm > hood.at_mm for hood in hoods)
