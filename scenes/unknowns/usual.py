"""What is usually not measured of a lens and its box."""

from __future__ import annotations

from collections.abc import Iterator

from scenes.scene_file.tables.box import is_fitted
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import PUPIL, WALK, PathError, spot_path, spots_of
from scenes.unknowns.unknown import Unknown

PLACES = ("box.ahead_mm", "box.offset_mm.up", "box.offset_mm.right", "box.tilt_deg")


def usual_paths(scene: Scene, lens: Lens) -> Iterator[str]:
    """Key paths of what is usually not measured of this lens with its box: where the box stands, the pupil, flags, trays."""
    box = scene.box
    flags = [f"box.flag[{flag.name or place + 1}].angle_deg" for place, flag in enumerate(box.flag) if is_fitted(flag, lens.name)]
    trays = [
        f"box.stage[{stage.name or place + 1}].turn_deg" for place, stage in enumerate(box.stage) if is_fitted(stage, lens.name)
    ]
    for path in (*PLACES, _pupil_path(lens), *flags, *trays):
        try:
            spots_of(scene, path)
        except PathError:
            continue
        yield path


def _pupil_path(lens: Lens) -> str:
    """Where a scene states how deep the pupil of the lens lies."""
    if lens.pupil_walk is not None:
        return f"lens[{lens.name}].{WALK}"
    if any(row.pupil_behind_front_mm is not None for row in lens.state):
        return f"lens[{lens.name}].state[each].{PUPIL}"
    return f"lens[{lens.name}].{PUPIL}"


def unknowns_at(scene: Scene, path: str) -> tuple[Unknown, ...]:
    """The values that a path names, each with a path of its own; PathError where it names none."""
    spots = spots_of(scene, path)
    return tuple(Unknown(path=path if len(spots) == 1 else spot_path(scene, spot), spot=spot) for spot in spots)


def usual_unknowns(scene: Scene, lens: Lens) -> tuple[Unknown, ...]:
    """What is usually not measured of this lens with its box."""
    return tuple(item for path in usual_paths(scene, lens) for item in unknowns_at(scene, path))
