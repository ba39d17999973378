"""What [make] states and the box does not let be: holes for rods where no rod goes, sheets smaller than a part."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scenes.rig.box import rod_spec
from scenes.rig.rods_in_plate import rod_meetings
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.make import Make, names_of
from scenes.scene_file.tables.scene import Scene, box_for

PLAY_MM = 2.0  # by which a hole for a rod is wider than the rod at most; bolts and brackets are another size


def make_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A caution for holes that miss the rods, and one for the first part that no sheet holds."""
    box = box_for(scene, lens)
    yield from _hole_words(box, scene.make, lens)
    yield from _sheet_words(box, scene.make)


def _hole_words(box: Box, make: Make, lens: Lens) -> Iterator[str]:
    spec = rod_spec(box)
    met = [] if spec is None else list(rod_meetings(box, make, lens.name))
    if spec is None or not met:
        return
    back = {name for name, (kind, _) in names_of(box).items() if kind == "back"}
    fits = [hole for hole in make.hole if hole.of in back and 0.0 <= hole.diameter_mm - spec.diameter_mm <= PLAY_MM]
    if fits:
        hole = min(fits, key=lambda one: math.dist(one.at_mm, met[0].at_mm))
        yield (
            f"hole at_mm = {_pair(hole.at_mm)}, diameter_mm = {plain(hole.diameter_mm)}, is for rods of "
            f"{plain(spec.diameter_mm)} mm, and the {met[0].side} rod meets the plate at {_pair(met[0].at_mm)} with offset_mm = "
            f"{_pair(box.offset_mm)} of the box: is one of them wrong?"
        )


def _sheet_words(box: Box, make: Make) -> Iterator[str]:
    """A stated sheet that the longest edge of a part does not fit; where none is stated, usual ones are taken."""
    if make.sheet_mm is None:
        return
    room_mm = max(make.sheet_mm) - 2.0 * make.margin_mm
    edges = [(back.name or "back plate", max(back.width_mm, back.height_mm)) for back in box.back]
    edges += [(hood.name or "hood", max(*hood.front_mm, *hood.rear_mm)) for hood in box.hood]
    name, longest_mm = max(edges, key=lambda edge: edge[1], default=("", 0.0))
    if longest_mm > room_mm:
        yield (
            f"sheet_mm = {_pair(make.sheet_mm)} with margin_mm = {plain(make.margin_mm)} holds {plain(round(room_mm, 1))} mm at "
            f"most, and an edge of {name} is {plain(round(longest_mm, 1))} mm long: is one of them wrong?"
        )


def _pair(values_mm: tuple[float, float]) -> str:
    return f"[{', '.join(plain(round(value, 1)) for value in values_mm)}]"
