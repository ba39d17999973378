"""A box with a stage added."""

from __future__ import annotations

from typing import Any, TypeVar

from scenes.scene_file.tables.box import Box as SceneBox
from scenes.scene_file.tables.box import Flag, Hood, Mask, Solid, Stage
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for

USUAL_DEPTH_MM = 8.0  # of a tray where the scene has none to go by; common practice


SAME_MM = 1e-6


AnyMoved = TypeVar("AnyMoved", Mask, Hood, Flag, Solid)


def added_depth_mm(scene: Scene) -> float:
    """How deep one stage more is: as deep as the outermost."""
    last = outermost(scene.box)
    return last.depth_mm if last else USUAL_DEPTH_MM


def outermost(box: SceneBox) -> Stage | None:
    """The stage farthest from the lens."""
    return max(box.stage, key=lambda stage: stage.at_mm + stage.depth_mm, default=None)


def with_stage_added(scene: Scene, depth_mm: float, lens: Lens) -> Scene:
    """The scene as it is with one lens, with an empty tray like the outermost behind mask and hood, everything ahead moved on.

    Parts fitted with other lenses only are left out: a larger tray of theirs says nothing of this lens. Without a stage to go by,
    everything ahead of the back plate moves on and no tray is put in.
    """
    box = box_for(scene, lens)
    last = outermost(box)
    end_mm = last.at_mm + last.depth_mm if last else 0.0
    moved: dict[str, Any] = {
        "stage": box.stage,
        "mask": tuple(_on(mask, depth_mm, end_mm) for mask in box.mask),
        "hood": tuple(_on(hood, depth_mm, end_mm) for hood in box.hood),
        "flag": tuple(flag if flag.at_mm is None else _on(flag, depth_mm, end_mm) for flag in box.flag),
        "solid": tuple(_on(solid, depth_mm, end_mm) for solid in box.solid),
    }
    if last:
        added = last.model_copy(
            update={"name": "added stage", "at_mm": end_mm, "depth_mm": depth_mm, "filter": None, "lenses": None}
        )
        moved["stage"] = (*box.stage, added)
    return scene.model_copy(update={"box": box.model_copy(update=moved)})


def _on(part: AnyMoved, depth_mm: float, end_mm: float) -> AnyMoved:
    at_mm = part.at_mm
    assert at_mm is not None
    return part.model_copy(update={"at_mm": at_mm + depth_mm}) if at_mm >= end_mm - SAME_MM else part
