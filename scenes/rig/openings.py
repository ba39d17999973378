"""Openings of trays and masks as their tables and drawings give them, and sizes in words."""

from __future__ import annotations

from collections.abc import Sequence

from geometry.body import Part, Tube
from geometry.outline import Outline
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Mask, Stage


def opening_mm(part: Stage | Mask) -> tuple[float, float] | None:
    """Width and height of an opening by its table; None of one that is drawn."""
    return part.opening_mm or (2 * (part.opening_diameter_mm,) if part.opening_diameter_mm else None)


def built_outlines(parts: Sequence[Part]) -> dict[str, Outline]:
    """Outlines of the rear openings of parts as they are built, by their place in the box ('box.mask[1]')."""
    return {part.group: part.body.inner[0].outline for part in parts if isinstance(part.body, Tube) and part.body.inner}


def times(size_mm: Sequence[float]) -> str:
    """'144 x 98.5'."""
    return f"{plain(round(size_mm[0], 1))} x {plain(round(size_mm[1], 1))}"


def as_written(size_mm: tuple[float, float]) -> str:
    """'[144, 98.5]', as a scene has it."""
    return f"[{plain(size_mm[0])}, {plain(size_mm[1])}]"
