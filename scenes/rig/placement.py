"""Where the box stands on each lens, moved: lenses that place it themselves move along."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from scenes.scene_file.messages import KeyPath
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import Spot, shifted

PLACEMENT = ("ahead_mm", "offset_mm", "tilt_deg")  # of a box; a lens may have its own


def shifted_with_lenses(scene: Scene, spot: Spot, by: float, own: Collection[tuple[KeyPath, str, str]]) -> Scene:
    """As `shifted`; where lenses place the box themselves, that moves along, unless `own` has it as a place of its own."""
    scene = shifted(scene, spot, by)
    if spot.table == ("box",) and spot.key in PLACEMENT:
        for k, lens in enumerate(scene.lens):
            along = replace(spot, table=("lens", k, "box"), nominal=0.0, width=0.0)
            if getattr(lens.box, spot.key) is not None and along.place not in own:
                scene = shifted(scene, along, by)
    return scene
