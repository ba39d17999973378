"""Lights of the set whose place would be inside the box, or where a part goes through them: in metres or cm, or a part moved."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Assembly, Part
from geometry.meshes import part_mesh
from geometry.notes import Note, Severity
from scenes.rig.box import flag_name
from scenes.rig.lights import light_place
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene

LARGEST_M = 15.0  # a set is seldom larger, and nothing of a box so small
CM, METRE = 10.0, 1000.0
CORE_SHARE = (
    0.5  # of a lamp's half width: so far from its middle it is there, whichever way it faces, however flat (common practice)
)


def light_in_box_words(scene: Scene, box: Box, lens: Lens) -> Iterator[tuple[str, str]]:
    """(light, words) of each light that takes up room where the box stands."""
    room_mm = _room_mm(box, lens)
    wide_mm, high_mm, deep_mm = (plain(round(length, 1)) for length in room_mm)
    for light in scene.light:
        if light.position_mm is None or light.size_mm is None:
            continue
        if _is_inside(light.position_mm, light.size_mm / 2, box.offset_mm, room_mm):
            where = f"the box, which is {wide_mm} x {high_mm} mm and reaches {deep_mm} mm ahead of the lens front"
            text = (
                f"position_mm = {_listed(light.position_mm)}, size_mm = {plain(light.size_mm)}, puts the light into {where}; "
                f"{_meant(light.position_mm)}"
            )
            yield light.name, text


def lamp_notes(scene: Scene, box: Box, lens: Lens, assembly: Assembly) -> tuple[Note, ...]:
    """A caution for each light of the set that a part of the box, as it is set, goes through; those in the box are told above."""
    told = {name for name, _ in light_in_box_words(scene, box, lens)}
    found = []
    for light in scene.light:
        place = light_place(light)
        if light.position_mm is None or not light.size_mm or place.place_mm is None or light.name in told:
            continue
        core_mm = CORE_SHARE * light.size_mm / 2
        met = next((part for part in (*assembly.parts, *assembly.fixtures) if _meets(part, place.place_mm, core_mm)), None)
        if met is not None:
            text = (
                f"position_mm = {_listed(light.position_mm)}, size_mm = {plain(light.size_mm)}, puts the light where "
                f'"{met.name}" goes through it{_set_words(box, met.name)}: is one of them wrong?'
            )
            found.append(Note(light.name, text, Severity.CAUTION, may_be_slip=True))
    return tuple(found)


def _meets(part: Part, middle_mm: FloatArray, radius_mm: float) -> bool:
    """Whether a part comes nearer to a point than a radius."""
    from trimesh.triangles import closest_point  # not needed to read a scene

    triangles = np.asarray(part_mesh(part).triangles)
    low, high = triangles.min(axis=(0, 1)) - radius_mm, triangles.max(axis=(0, 1)) + radius_mm
    if not (np.all(low < middle_mm) and np.all(middle_mm < high)):
        return False
    nearest = closest_point(triangles, np.broadcast_to(middle_mm, (len(triangles), 3)))  # type: ignore[no-untyped-call]
    return bool(np.linalg.norm(nearest - middle_mm, axis=1).min() < radius_mm)


def _set_words(box: Box, name: str) -> str:
    """At which angle the flag stands that a part belongs to; '' for other parts."""
    angle = next((flag.angle_deg for flag in box.flag if name.startswith(flag_name(flag))), None)
    return "" if angle is None else f", set to angle_deg = {plain(angle)}"


def _is_inside(
    place_mm: tuple[float, float, float], half_mm: float, offset_mm: tuple[float, float], room_mm: tuple[float, float, float]
) -> bool:
    beside = (abs(place_mm[k] - offset_mm[k]) - half_mm < room_mm[k] / 2 for k in (0, 1))
    return all(beside) and -half_mm < place_mm[2] < room_mm[2] + half_mm


def _meant(place_mm: tuple[float, float, float]) -> str:
    unit, times = ("m", METRE) if max(map(abs, place_mm)) < LARGEST_M else ("cm", CM)
    return f"written in {unit}? It would be {_listed([round(times * value, 1) for value in place_mm])}"


def _listed(values: tuple[float, ...] | list[float]) -> str:
    return f"[{', '.join(map(plain, values))}]"


def _room_mm(box: Box, lens: Lens) -> tuple[float, float, float]:
    """Width and height of what surrounds the light's way, and how far ahead of the lens front it reaches."""
    sizes = [(lens.front_diameter_mm,) * 2, *((back.width_mm, back.height_mm) for back in box.back)]
    sizes += [size for hood in box.hood for size in (hood.front_mm, hood.rear_mm)]
    ends = [0.0, *(stage.at_mm + stage.depth_mm for stage in box.stage), *(mask.at_mm + mask.thickness_mm for mask in box.mask)]
    ends += [hood.at_mm + hood.depth_mm for hood in box.hood]
    return max(size[0] for size in sizes), max(size[1] for size in sizes), box.ahead_mm + max(ends)
