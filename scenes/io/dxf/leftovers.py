"""What is left in a drawing where a cut-out has been: layers, blocks, groups and other files that are named and hold no line.

Each is a caution, and none where lines were read under the name of a cut-out: then that is the one that is meant.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from scenes.io.dxf.doubts import CUT_OUT, quote
from scenes.io.dxf.tags import numbered_tags, things

# Of dimensions, hatches and tables, which drawing programs make themselves; *U is a user's own block in one of its forms.
OWN_BLOCKS = ("*D", "*X", "*T", "*E")
LARGEST_HEAD = 5.0  # units of the drawing: arrow heads are drawn at 1, and shown larger

# Names of a cut-out and hardly of anything else: those of holes and windows are empty where somebody kept the cut-out alone.
NAMED_CUT_OUT = re.compile(
    r"(?<![a-z])(?<!no.)(?<!not.)(?<!section.)cut(?:s|ting)?(?:[ _-]?outs?)?(?![a-z])(?![ _-]*(?:plane|line|section|list|view))"
    r"|opening|aperture|ausschnitt|[öo]ffnung|durchbruch|d[ée]coupe|[ée]videment|ritagli|taglio|recorte|corte(?![a-z])|uitsparing"
    r"|inn(?:er|en)[ _-]?(?:contour|outline|kontur|umriss|edge|kante)|contour[ _-]int[ée]rieur|contorno[ _-]inter(?:no|ior)"
    r"|вырез|отверстие|開口|开口|切り?抜",
    re.IGNORECASE,
)
HIDDEN_MASK = re.compile(r"(?<![a-z])masks?(?![a-z])", re.IGNORECASE)
SHEETS_OF_OTHERS = {"PDFDEFINITION", "DWFDEFINITION", "DGNDEFINITION"}  # DXF reference, UNDERLAYDEFINITION
MEMBER, HANDLE, NAME, SOFT, HARD = 340, 5, 3, 350, 360  # DXF reference, GROUP and DICTIONARY


def idle_blocks(document: Any) -> Iterator[Any]:
    """Blocks that are inserted nowhere, in model space or on a sheet; arrow heads and parts of dimensions are the program's."""
    from ezdxf.render.arrows import ARROWS

    used: set[str] = set()
    waiting = list(document.layouts)
    while waiting:
        names = {str(entity.dxf.name).lower() for entity in waiting.pop() if entity.dxftype() == "INSERT"} - used
        used |= names
        waiting += [document.blocks.get(name) for name in names if name in document.blocks]
    for block in document.blocks:
        own = block.name.upper().startswith(OWN_BLOCKS) or ARROWS.is_acad_arrow(block.name.lstrip("_"))
        own = block.is_any_layout or (own and not any(_is_large_outline(entity) for entity in block))
        if not own and block.name.lower() not in used:
            yield block


def _is_large_outline(entity: Any) -> bool:
    """Whether this is a closed line larger than an arrow head, or than what else dimensions are drawn with."""
    if entity.dxftype() == "CIRCLE":
        return float(entity.dxf.radius) * 2.0 > LARGEST_HEAD
    if entity.dxftype() not in {"LWPOLYLINE", "POLYLINE"} or not entity.is_closed:
        return False
    places = [(place[0], place[1]) for place in (entity.get_points() if entity.dxftype() == "LWPOLYLINE" else entity.points())]
    return bool(places) and float(np.ptp(np.array(places, dtype=np.float64), axis=0).max()) > LARGEST_HEAD


def leftover_doubts(document: Any, data: bytes, under: Sequence[str]) -> Iterator[str]:
    """What is named for a cut-out, or is another drawing, and shows nothing.

    under: layers and blocks of the lines that were read.
    """
    if any(CUT_OUT.search(name) or NAMED_CUT_OUT.search(name) for name in under):
        return
    yield from _layer_doubts(document, under)
    yield from _block_doubts(document)
    yield from _file_doubts(document)
    lost = next((name for name in _empty_groups(data) if NAMED_CUT_OUT.search(name)), None)
    if lost is not None:
        yield f'its group "{quote(lost)}" holds nothing, and what lies elsewhere was read; has the cut-out been lost?'


def _layer_doubts(document: Any, under: Sequence[str]) -> Iterator[str]:
    """The first layer that is named for a cut-out and holds no line of it."""
    read = ", ".join(f'"{quote(name)}"' for name in under[:2])
    for layer in document.layers:
        name = str(layer.dxf.name)
        hidden = "off" if layer.is_off() else "frozen" if layer.is_frozen() else "not printed" if not layer.dxf.plot else ""
        if NAMED_CUT_OUT.search(name) or (hidden and HIDDEN_MASK.search(name)):
            holds = f"is {hidden} and holds no line" if hidden else "holds no line"
            yield f'its layer "{quote(name)}" {holds}, and what lies on {read} was read; has the cut-out been lost?'
            return


def _block_doubts(document: Any) -> Iterator[str]:
    """Blocks that nobody sees: other drawings, and the first one that is named for a cut-out and is empty."""
    idle = list(idle_blocks(document))
    for block in idle:
        if block.block.is_xref or block.block.is_xref_overlay:
            path = quote(str(block.block.dxf.get("xref_path", "")) or block.name)
            yield f'its drawing names another one, "{path}", and shows nothing of it; has the cut-out been left there?'
            return
    lost = next((block.name for block in idle if NAMED_CUT_OUT.search(block.name)), None)
    if lost is not None:
        yield f'its block "{quote(lost)}" holds no line and is inserted nowhere; has the cut-out been lost?'


def _file_doubts(document: Any) -> Iterator[str]:
    """Sheets of other programs that lie under the drawing, or did."""
    for thing in document.objects:
        if thing.dxftype() in SHEETS_OF_OTHERS:
            path = quote(str(thing.dxf.get("filename", "")))
            yield f'its drawing names a sheet, "{path}", and shows nothing of it; has the cut-out been left there?'
            return


def _empty_groups(data: bytes) -> Iterator[str]:
    """Names of groups without members, which the drawing's reader deletes."""
    if b"GROUP" not in data:
        return
    found = list(things([(code, value) for code, value, _ in numbered_tags(data)]))
    handles = {value.upper() for head, own in found for code, value in own if code == HANDLE and head != "GROUP"}
    named = dict(pair for head, own in found if head == "DICTIONARY" for pair in _entries(own))
    for head, own in found:
        members = {value.upper() for code, value in own if code == MEMBER}
        if head == "GROUP" and not members & handles:
            yield named.get(next((value.upper() for code, value in own if code == HANDLE), ""), "")


def _entries(own: Iterable[tuple[int, str]]) -> Iterator[tuple[str, str]]:
    """(handle, name) of what a dictionary holds."""
    name = ""
    for code, value in own:
        if code == NAME:
            name = value
        elif code in {SOFT, HARD} and name:
            yield value.upper(), name
