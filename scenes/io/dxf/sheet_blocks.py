"""Lines, curves and blocks on a sheet of a drawing (paper space): where they are, and which by name are a border or title block."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from scenes.io.dxf.doubts import CUT_OUT, quote
from scenes.io.dxf.joined_lines import DRAWN

MOST_THINGS, DEEPEST = 20_000, 16  # on all sheets, with their blocks taken apart; blocks in blocks
TITLE_BLOCK = re.compile(
    r"title.?(?:block|strip|box)|titel.?block|schriftfeld|zeichnungskopf|cartouche|cartiglio|cajet[ií]n|r[óo]tulo|titelhoek"
    r"|ritningshuvud|основная.надпись|штамп|図枠|标题栏",
    re.IGNORECASE,
)
BORDER = re.compile(
    r"(?<![a-z])(?:title|frame|border|sheet|rahmen|rand|marco|cadre|squadratura|kader|ansi.?[a-e]|(?:iso|din)?.?a[0-4])(?![a-z0-9])"
    r"|zeichnungsrahmen|blattrahmen",
    re.IGNORECASE,
)
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class SheetLines:
    """A line, curve or block on a sheet: where its lines are, on the sheet; None where that cannot be told.

    block: its name, empty of lines and curves. is_title: whether it is a title block by name. is_border: whether it is that, or a
    border by name, or has fields to fill in.
    """

    kind: str
    block: str
    is_title: bool
    is_border: bool
    boxes: tuple[Box, ...] | None

    @property
    def named(self) -> str:
        """What to call it."""
        return f'the block "{quote(self.block)}"' if self.block else f"{'an' if self.kind[0] in 'AEIO' else 'a'} {self.kind}"


class TooManyError(Exception):
    """More in blocks than is looked through."""


def is_title_block(name: str) -> bool:
    """Whether a block is by its name a title block and nothing else."""
    return bool(TITLE_BLOCK.search(name))


def on_sheet(thing: Any, counted: Iterator[int]) -> tuple[SheetLines | None, list[Any]]:
    """What a line, curve or block on a sheet draws, None where that is nothing, and what else it holds.

    counted: ends where no more is looked through.
    """
    is_block = thing.dxftype() == "INSERT"
    block = str(thing.dxf.get("name", "")) if is_block else ""
    is_elsewhere = is_block and (thing.block() is None or thing.block().block.is_xref)
    is_title = is_elsewhere or is_title_block(block)
    is_border = is_title or bool(block and not CUT_OUT.search(block) and (BORDER.search(block) or len(thing.attribs)))
    parts = list(thing.attribs) if is_block else []
    boxes: tuple[Box, ...] | None = None
    try:
        parts += _parts(thing, counted, 0)
        boxes = None if is_elsewhere else tuple(_box(part) for part in parts if part.dxftype() in DRAWN)
    except Exception:  # noqa: BLE001 - whatever hides where lines are; they are then taken for what they may be
        boxes = None
    found = SheetLines(kind=thing.dxftype(), block=block, is_title=is_title, is_border=is_border, boxes=boxes)
    return None if boxes == () else found, [part for part in parts if part.dxftype() not in DRAWN]


def _parts(thing: Any, counted: Iterator[int], depth: int) -> Iterator[Any]:
    """Lines, curves and texts of a thing, blocks and polylines taken apart."""
    if next(counted, None) is None or depth > DEEPEST:
        raise TooManyError
    kind = thing.dxftype()
    if kind == "INSERT":
        copies = thing.multi_insert() if thing.mcount > 1 else [thing]
        inside = (part for copy in copies for part in copy.virtual_entities())
    elif kind in {"LWPOLYLINE", "POLYLINE"}:
        inside = thing.virtual_entities()
    else:
        yield thing
        return
    for part in inside:
        yield from _parts(part, counted, depth + 1)


def _box(part: Any) -> Box:
    from ezdxf import bbox

    box = bbox.extents([part], fast=True)
    return box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y
