"""Openings of trays and masks as their tables and drawings give them, and sizes in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from geometry.body import Part, Tube
from geometry.outline import Outline
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Mask, Stage

WIDEST_RIM_MM = 25.0  # of a tray or mask round its opening or glass; 8 to 20 is usual (common practice)


def opening_mm(part: Stage | Mask) -> tuple[float, float] | None:
    """Width and height of an opening by its table; None of one that is drawn."""
    return part.opening_mm or (2 * (part.opening_diameter_mm,) if part.opening_diameter_mm else None)


def glass_mm(part: Stage | Mask) -> tuple[float, float] | None:
    """Width and height of the glass that a tray holds; None where it holds none."""
    glass = part.filter if isinstance(part, Stage) else None
    if glass is None:
        return None
    return glass.rectangle_mm or (2 * (glass.round_mm,) if glass.round_mm else None)


def outsides_mm(box: Box) -> Iterator[tuple[float, float]]:
    """How wide and high the plate, the trays and the masks are outside; where a scene does not say, as large as they are made."""
    yield from ((back.width_mm, back.height_mm) for back in box.back)
    parts: list[Stage | Mask] = [*box.stage, *box.mask]
    for part in parts:
        if part.outer_mm is not None:
            yield part.outer_mm
        else:
            held = [size for size in (opening_mm(part), glass_mm(part)) if size is not None]
            yield from ((width + 2 * WIDEST_RIM_MM, height + 2 * WIDEST_RIM_MM) for width, height in held)


def built_outlines(parts: Sequence[Part]) -> dict[str, Outline]:
    """Outlines of the rear openings of parts as they are built, by their place in the box ('box.mask[1]')."""
    return {part.group: part.body.inner[0].outline for part in parts if isinstance(part.body, Tube) and part.body.inner}


def times(size_mm: Sequence[float]) -> str:
    """'144 x 98.5'."""
    return f"{plain(round(size_mm[0], 1))} x {plain(round(size_mm[1], 1))}"


def as_written(size_mm: tuple[float, float]) -> str:
    """'[144, 98.5]', as a scene has it."""
    return f"[{plain(size_mm[0])}, {plain(size_mm[1])}]"
