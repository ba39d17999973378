"""How large trays and masks are made whose outside a scene does not give.

Never for the judgement: there a part without outer_mm is closed all round.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

import numpy as np

from geometry.arrays import FloatArray
from geometry.outline import Outline, half_size_mm
from scenes.rig.box import filter_outline, opening_outline
from scenes.scene_file.tables.box import Box, BoxPart, Hood, Mask, Stage, is_fitted
from scenes.scene_file.tables.scene import Scene

P = TypeVar("P", bound=BoxPart)
Open = TypeVar("Open", Stage, Mask)


def with_outsides(scene: Scene, outlines: Mapping[str, Outline]) -> Box:
    """The scene's box with outer_mm on every tray and mask: `rim_mm` past what it holds and covers where the scene gives none.

    `outlines`: the cut-outs of masks by their file. A tray takes on the hood's rear edge where no mask does, lens by lens.
    """
    box, rim = scene.box, scene.make.rim_mm
    stages = [_sized(stage, _tray_half_mm(stage, scene), rim) for stage in box.stage]
    masks = [_sized(mask, _mask_half_mm(mask, scene, outlines), rim) for mask in box.mask]
    return box.model_copy(update={"stage": tuple(stages), "mask": tuple(masks)})


def stands_inside(mask: Mask, scene: Scene) -> bool:
    """Whether a mask stands between the ends of a hood that it is fitted together with."""
    return any(hood.at_mm < mask.at_mm < hood.at_mm + hood.depth_mm for hood in _together(mask, scene.box.hood, scene))


def mask_outline(mask: Mask, outlines: Mapping[str, Outline]) -> Outline:
    """The opening of a mask, by its drawing where it has one."""
    return opening_outline(mask) if mask.outline is None else outlines[mask.outline]


def _sized(part: Open, half_mm: FloatArray, rim_mm: float) -> Open:
    if part.outer_mm is not None:
        return part
    width, height = (2 * half_mm + 2 * rim_mm).tolist()
    return part.model_copy(update={"outer_mm": (width, height)})


def _tray_half_mm(stage: Stage, scene: Scene) -> FloatArray:
    """Half of what a tray has to reach round: its opening, its filter with its play, and hoods that no mask closes."""
    half = half_size_mm(opening_outline(stage))
    if stage.filter is not None:
        half = np.maximum(half, half_size_mm(filter_outline(stage.filter)) + scene.make.glass_gap_mm / 2)
    return _with_hoods(half, stage, list(_unmasked(stage, scene)))


def _unmasked(stage: Stage, scene: Scene) -> Iterator[Hood]:
    """Hoods that some lens has with a tray, but without a mask."""
    bare = [name for name in _lens_names(stage, scene) if not any(is_fitted(mask, name) for mask in scene.box.mask)]
    yield from (hood for hood in scene.box.hood if any(is_fitted(hood, name) for name in bare))


def _mask_half_mm(mask: Mask, scene: Scene, outlines: Mapping[str, Outline]) -> FloatArray:
    """Half of what a mask has to reach round: its own opening, those of trays behind it, rear edges of hoods ahead of it."""
    half = half_size_mm(mask_outline(mask, outlines))
    for stage in _together(mask, scene.box.stage, scene):
        if stage.at_mm <= mask.at_mm:
            half = np.maximum(half, half_size_mm(opening_outline(stage)))
    return _with_hoods(half, mask, _together(mask, scene.box.hood, scene))


def _with_hoods(half_mm: FloatArray, part: Stage | Mask, hoods: Sequence[Hood]) -> FloatArray:
    """Half a size, grown to the rear edges of hoods that do not begin behind the part."""
    rears = [np.array(hood.rear_mm) / 2 for hood in hoods if hood.at_mm >= part.at_mm]
    return np.max([half_mm, *rears], axis=0)


def _together(part: BoxPart, others: Sequence[P], scene: Scene) -> list[P]:
    """Those of other parts that some lens has together with a part."""
    names = _lens_names(part, scene)
    return [other for other in others if any(is_fitted(other, name) for name in names)]


def _lens_names(part: BoxPart, scene: Scene) -> list[str]:
    return [lens.name for lens in scene.lens if is_fitted(part, lens.name)]
