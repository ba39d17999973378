"""What people call a length or angle of a scene."""

from __future__ import annotations

from scenes.rig.box import flag_name
from scenes.scene_file.messages import KeyPath
from scenes.scene_file.tables.box import BoxPart, Flag
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import PUPIL, SIZES, Spot, at_path

SAID = {
    PUPIL: "pupil position of the {}",
    "pupil_walk": "pupil position of the {}",
    "ahead_mm": "distance from lens to {}",
    "at_mm": "place of the {} along the axis",
    "opening_diameter_mm": "opening of the {}",
    "rear_mm": "rear opening of the {}",
    "front_mm": "front opening of the {}",
}
PARTS_SAID = {"right": "{} to the right", "up": "{} upward"}
PART_WORDS = {"back": "back plate", "solid": "mesh", "state": "row"}


def input_words(scene: Scene, spot: Spot) -> str:
    """A spot as people say it: 'angle of the top flag', 'pupil position of the 21'."""
    key = spot.key.removesuffix(f"_{spot.unit}").replace("_", " ")
    words = SAID.get(spot.key, f"{key} of the {{}}")
    if spot.part in SIZES:
        words = words.replace(" of", f" {spot.part} of", 1)
    elif spot.part:
        words = PARTS_SAID.get(spot.part, f"{spot.part} {{}}").format(words)
    return words.replace("{}", _owner_words(scene, spot.table))


def _owner_words(scene: Scene, path: KeyPath) -> str:
    table = at_path(scene, path)
    kinds = [str(step) for step in path if isinstance(step, str)]
    own = kinds[-1]
    if path[0] == "camera":
        return str(getattr(table, "name", "")) or "recorded area"
    if path[0] == "lens":
        lens = at_path(scene, path[:2])
        name = str(getattr(lens, "name", ""))
        return {"lens": name, "box": f"box on the {name}"}.get(own, f"{name}, row {int(path[-1]) + 1}")
    if own in {"filter", "extension"}:
        return str(getattr(table, "name", None) or f"{own} of the {_owner_words(scene, path[:-1])}")
    return _part_words(table, path) if isinstance(table, BoxPart) else own


def _part_words(part: BoxPart, path: KeyPath) -> str:
    if part.name:
        return part.name
    if isinstance(part, Flag):
        return flag_name(part)
    kind = str(path[1])
    words = PART_WORDS.get(kind, kind)
    return f"{words} {int(path[2]) + 1}" if kind in {"stage", "mask", "solid"} else words
