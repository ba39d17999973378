"""Hoods that nothing of the box can hold: larger at their rear than all else, or begun behind a tray that they do not go round."""

from __future__ import annotations

from collections.abc import Iterator

from scenes.rig.box import stage_name
from scenes.rig.openings import as_written, glass_mm, opening_mm, outsides_mm, times
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Hood, Mask, Stage

ONE_WAY_SHARE = 1.15  # in width or height alone: a hood with walls at two sides only, or a low plate
SEATED_MM = 0.5  # a hood's rear edge sinks into a rebate of what carries it
FLOATING_MM = 30.0  # hoods hang on the front tray or the plate; brackets reach a few mm (common practice)
LEAST_RIM_MM = 1.0  # of sheet round an opening or a glass; 5 and more is usual (common practice)
TURNED_DEG = 10.0  # its width is no longer across


def unheld_words(hood: Hood, box: Box) -> str:
    """A hood whose inside is larger at its rear than the outside of all that could carry it; '' without a back plate."""
    if not box.back:
        return ""
    reach = [max(size[way] for size in outsides_mm(box)) for way in (0, 1)]
    shares = [inside / outside for inside, outside in zip(hood.rear_mm, reach, strict=True)]
    if min(shares) <= 1.0 and max(shares) <= ONE_WAY_SHARE:
        return ""
    which = "larger" if min(shares) > 1.0 else "wider" if shares[0] > shares[1] else "higher"
    text = f"rear_mm = {as_written(hood.rear_mm)} is {which} inside than all that could hold it, {times(reach)} mm outside"
    return f"{text}: measure rear_mm again, or width_mm and height_mm of the plate"


def floating_words(hood: Hood, box: Box) -> str:
    """A hood that begins far ahead of all that could hold it; '' where something reaches near to it."""
    ends = [("the back plate", back.thickness_mm) for back in box.back]
    ends += [(stage_name(stage, number), stage.at_mm + stage.depth_mm) for number, stage in enumerate(box.stage, 1)]
    ends += [(mask.name or "mask", mask.at_mm + mask.thickness_mm) for mask in box.mask if mask.at_mm <= hood.at_mm]
    ends += [(other.name or "hood", other.at_mm + other.depth_mm) for other in box.hood if other is not hood]
    name, ends_mm = max(ends, key=lambda end: end[1], default=("", hood.at_mm))
    if hood.at_mm - ends_mm < FLOATING_MM:
        return ""
    begins = f"at_mm = {plain(hood.at_mm)} begins it {plain(round(hood.at_mm - ends_mm, 1))} mm ahead of all that could hold it"
    return f'{begins}, the last of it "{name}", up to {plain(round(ends_mm, 1))} mm: is one of the places wrong?'


def straddled_words(hood: Hood, box: Box) -> str:
    """A hood that begins behind a tray, or a mask with a wide opening, which does not stand in it by its numbers; '' where none."""
    return next((text for name, part, front_mm in _plates(box) if (text := _round_words(hood, name, part, front_mm))), "")


def _plates(box: Box) -> Iterator[tuple[str, Stage | Mask, float]]:
    """Trays and masks with their front faces."""
    yield from ((stage_name(stage, number), stage, stage.at_mm + stage.depth_mm) for number, stage in enumerate(box.stage, 1))
    yield from ((mask.name or "mask", mask, mask.at_mm + mask.thickness_mm) for mask in box.mask)


def _round_words(hood: Hood, name: str, part: Stage | Mask, front_mm: float) -> str:
    if part.outer_mm is not None or not hood.at_mm + SEATED_MM < front_mm <= hood.at_mm + hood.depth_mm:
        return ""  # where outer_mm is known, the shapes tell
    begins = f'at_mm = {plain(hood.at_mm)} begins it behind the front of "{name}", at {plain(front_mm)} mm'
    inside, needed = inside_mm(hood, max(part.at_mm, hood.at_mm)), _least_outside_mm(part)
    if needed is not None and any(least > wide for least, wide in zip(needed, inside, strict=True)):
        return f"{begins}, which takes up at least {times(needed)} mm where the hood is {times(inside)} mm inside; measure at_mm"
    if isinstance(part, Stage):
        return f"{begins}: no filter slides into a tray inside a hood; measure at_mm, or give the tray its outer_mm if it does"
    return ""


def inside_mm(hood: Hood, at_mm: float) -> tuple[float, float]:
    """Inside width and height of a hood at a place along the box; before and past it those of its ends."""
    share = min(max((at_mm - hood.at_mm) / hood.depth_mm, 0.0), 1.0)
    width, height = (rear + share * (front - rear) for rear, front in zip(hood.rear_mm, hood.front_mm, strict=True))
    return width, height


def _least_outside_mm(part: Stage | Mask) -> tuple[float, float] | None:
    """What a part measures outside at the least: its opening, or its glass, in a rim; None of a drawn or a turned one."""
    sizes = [size for size in (opening_mm(part), glass_mm(part)) if size is not None]
    if not sizes or abs(part.turn_deg) > TURNED_DEG:
        return None
    width, height = (max(size[way] for size in sizes) + 2 * LEAST_RIM_MM for way in (0, 1))
    return width, height
