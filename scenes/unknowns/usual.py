"""What is usually not measured of a lens and its box: the paths of it, and what a crew calls them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import PUPIL, WALK, PathError, Spot, at_path, spot_path, spots_of
from scenes.unknowns.unknown import Unknown

PLACES = ("box.ahead_mm", "box.offset_mm.up", "box.offset_mm.right", "box.tilt_deg")
PLACE_WORDS = {
    ("ahead_mm", ""): "box ahead",
    ("offset_mm", "up"): "box height",
    ("offset_mm", "right"): "box sideways",
    ("tilt_deg", ""): "box tilt",
}


def usual_paths(scene: Scene, lens: Lens) -> Iterator[str]:
    """Key paths of what is usually not measured of this lens with its box: where the box stands, the pupil, flags, trays."""
    box = scene.box
    flags = [f"box.flag[{flag.name or place + 1}].angle_deg" for place, flag in enumerate(box.flag) if _with(flag.lenses, lens)]
    trays = [f"box.stage[{stage.name or place + 1}].turn_deg" for place, stage in enumerate(box.stage) if _with(stage.lenses, lens)]
    for path in (*PLACES, _pupil_path(lens), *flags, *trays):
        try:
            spots_of(scene, path)
        except PathError:
            continue
        yield path


def _with(lenses: tuple[str, ...] | None, lens: Lens) -> bool:
    return not lenses or lens.name in lenses


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


def plain_words(scene: Scene, item: Unknown) -> str:
    """'box height', 'pupil depth', 'angle of the top flag'; the path where there is no such word."""
    spot = item.spot
    if spot.table == ("box",) and (spot.key, spot.part) in PLACE_WORDS:
        return PLACE_WORDS[spot.key, spot.part]
    if spot.key in {PUPIL, WALK}:
        return " ".join(["pupil depth", *_setting(scene, spot), *([spot.part] if spot.part else [])])
    if spot.key in {"angle_deg", "turn_deg"} and len(spot.table) == 3:
        part = at_path(scene, spot.table)
        name = getattr(part, "name", None) or f"{getattr(part, 'side', '')} {spot.table[1]} {spot.table[2]}".strip()
        return f"{'angle' if spot.key == 'angle_deg' else 'turn'} of the {name}"
    return item.path


def _setting(scene: Scene, spot: Spot) -> list[str]:
    """Of a row of a zoom: the setting that it is for."""
    if "state" not in spot.table:
        return []
    row = at_path(scene, spot.table)
    focal, focus = getattr(row, "focal_mm", None), getattr(row, "focus_mm", None)
    told = [] if focal is None else [f"at {focal:g} mm"]
    told += [] if focus is None else ["infinity" if math.isinf(focus) else f"focus {focus:g} mm"]
    return [", ".join(told)] if told else []
