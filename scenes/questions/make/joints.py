"""Which parts of a box follow each other, and how far apart they stand. No words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from scenes.rig.box import stage_name
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.scene import Scene, box_for


@dataclass(frozen=True, slots=True)
class Joint:
    """Two parts that follow each other ahead, and how far apart they stand [mm]; below 0 where one reaches into the other."""

    rear: str
    front: str
    apart_mm: float


def joints_of(scene: Scene) -> tuple[Joint, ...]:
    """Neighbours ahead of each other, of back plates, trays, masks and hoods that some lens has together, each pair once."""
    found = (Joint(*pair) for lens in scene.lens for pair in _neighbours(box_for(scene, lens)))
    return tuple(dict.fromkeys(found))


def _neighbours(box: Box) -> Iterator[tuple[str, str, float]]:
    spans = [(0.0, back.thickness_mm, back.name or "back plate") for back in box.back]
    spans += [(tray.at_mm, tray.at_mm + tray.depth_mm, stage_name(tray, k)) for k, tray in enumerate(box.stage, 1)]
    spans += [(mask.at_mm, mask.at_mm + mask.thickness_mm, mask.name or "mask") for mask in box.mask]
    spans += [(hood.at_mm, hood.at_mm + hood.depth_mm, hood.name or "hood") for hood in box.hood]
    for (_, rear_end, rear), (start, _, front) in pairwise(sorted(spans)):
        yield rear, front, round(start - rear_end, 3)
