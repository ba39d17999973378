"""What `brimline masks` may be asked for, with its defaults. Light: --help reads it."""

from __future__ import annotations

from dataclasses import dataclass

from scenes.answers.options import ROOM_MM

MARGIN_MM = ROOM_MM
CORNER_MM = 3.0  # a 6 mm cutter; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked for: margin and least inside corner radius [mm], how many masks, and whether lens families share.

    margin_mm None: as much as `check` asks for before it calls a lens clear, MARGIN_MM at least. also_empty: cut-outs hold the beam
    with each filter in or out.
    """

    margin_mm: float | None = None
    corner_mm: float = CORNER_MM
    masks: int | None = None
    split_anamorphic: bool = False
    also_empty: bool = True
    at_mm: float | None = None
