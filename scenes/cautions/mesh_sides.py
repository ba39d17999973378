"""Imported meshes called by a side of the box, as 'bracket right', that lie on another: turned too far, or drawn mirrored."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import numpy as np

from geometry.body import Part, Surface
from geometry.frame import OUTWARD, Side
from scenes.cautions.part_names import sides_in
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box

LEAST_ASIDE_MM = 10.0  # nearer to the centre line it lies on no side
ASIDE_SHARE = 0.25  # of how far it lies to another side: at a corner of the box a part lies to two
WHERE = {Side.TOP: "above", Side.BOTTOM: "below", Side.LEFT: "left of", Side.RIGHT: "right of"}


def mesh_side_words(box: Box, parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    """A caution for each mesh whose middle lies to another side of the box than its name says."""
    for part in parts:
        named = sides_in(part.name)
        if isinstance(part.body, Surface) and len(named) == 1 and (text := _off_side_words(box, part, part.body, Side(named[0]))):
            yield part.name, text


def _off_side_words(box: Box, part: Part, surface: Surface, named: Side) -> str:
    right_mm, up_mm = box.offset_mm
    middle_mm = (surface.vertices_mm.min(axis=0) + surface.vertices_mm.max(axis=0)) / 2 + (right_mm, -up_mm, 0.0)
    aside_mm = {side: float(np.dot(outward, middle_mm)) for side, outward in OUTWARD.items()}
    lies = max(aside_mm, key=lambda side: aside_mm[side])
    if aside_mm[lies] <= LEAST_ASIDE_MM or aside_mm[named] >= ASIDE_SHARE * aside_mm[lies]:
        return ""
    where = f"{aside_mm[lies]:.0f} mm {WHERE[lies]} the box's centre line, and its name says {named}"
    turned = _turned_words(box, part)
    if turned:
        return f"{turned} puts its middle {where}; check the turn, or give it another name"
    return f"its middle lies {where}; check the file's axes, x to the operator's left and y up, or give it another name"


def _turned_words(box: Box, part: Part) -> str:
    """'turn_deg = 90' of a mesh that the scene turns; '' of one that lies as in its file."""
    numbered = re.fullmatch(r"box\.solid\[(\d+)\]", part.group)
    if not numbered or len(box.solid) < int(numbered[1]):
        return ""
    solid = box.solid[int(numbered[1]) - 1]
    angles = {"turn_deg": solid.turn_deg, "tilt_deg": solid.tilt_deg}
    return " and ".join(f"{key} = {plain(angle)}" for key, angle in angles.items() if angle)
