"""A lens that the lists of masks, trays or flags leave out, where they name every other one: it is checked without."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scenes.scene_file.tables.box import Box, BoxPart
from scenes.scene_file.tables.lens import Lens, focal_lengths

LEAST_LENSES = 3
LEAST_PARTS = 2  # that share the lenses out; one with a list may well be for some of them


def left_out_words(box: Box, lens: Lens, lenses: Sequence[Lens]) -> Iterator[str]:
    """A caution for each kind of part that every other lens has one of, by lists, but this one; the widest may go without."""
    if _wide_mm(lens) <= min(map(_wide_mm, lenses)):
        return
    names = {other.name for other in lenses}
    for kind, parts in _kinds(box):
        listed = [set(part.lenses) for part in parts if part.lenses is not None]
        if len(listed) < max(LEAST_PARTS, len(parts)) or len(names) < LEAST_LENSES:
            continue
        if set.union(*listed) == names - {lens.name}:
            yield (
                f"has no {kind}: the lenses = [...] of the {len(parts)} in the box name every other lens; name it in one if "
                f"it is used with a {kind}"
            )


def _wide_mm(lens: Lens) -> float:
    """The shortest focal length across the picture."""
    return focal_lengths(lens)[0] / lens.squeeze


def _kinds(box: Box) -> Iterator[tuple[str, Sequence[BoxPart]]]:
    yield "mask", box.mask
    yield "tray", box.stage
    for side in ("top", "bottom", "left", "right"):
        yield f"{side} flag", [flag for flag in box.flag if flag.side == side]
