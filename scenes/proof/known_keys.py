"""Keys that a scene may hold, as the verifier knows them: a part under a misspelt one would be none to it, and its proof hold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

PART = {"name", "lenses"}
CUT = {*PART, "at_mm", "corner_mm", "lining", "opening_diameter_mm", "opening_mm", "outer_mm", "tilt_deg", "turn_deg"}
PLACE = {"ahead_mm", "offset_mm", "tilt_deg"}
KNOWN: dict[str, set[str]] = {
    "": {"box", "brimline", "camera", "check", "design", "lens", "light", "make", "plan", "title", "tolerance"},
    "camera": {"confirmed", "format", "guide", "height_mm", "offset_mm", "pixels", "sensor_reflectance", "width_mm"},
    "camera.guide": {"aspect", "name", "offset_mm", "scale"},
    "lens": {
        "box", "close_focus_mm", "confirmed", "distortion", "f_number", "focal_mm", "front_diameter_mm", "front_glass_mm",
        "front_to_sensor_mm", "name", "prescription", "projection", "pupil_behind_front_mm", "pupil_magnification", "pupil_walk",
        "pupil_width_factor", "squeeze", "state",
    },
    "lens.box": PLACE,
    "lens.state": {"focal_mm", "focus_mm", "front_travel_mm", "half_field_deg", "pupil_behind_front_mm", "pupil_magnification"},
    "box": {*PLACE, "back", "flag", "hood", "mask", "mount", "rod_drop_mm", "rod_spacing_mm", "seal", "solid", "stage"},
    "box.back": {*PART, "bore_mm", "height_mm", "lining", "thickness_mm", "width_mm"},
    "box.seal": {*PART, "inner_mm", "kind", "outer_mm"},
    "box.stage": {*CUT, "depth_mm", "filter", "slot_mm", "slot_sides"},
    "box.stage.filter": {
        "confirmed", "density", "diameter_mm", "edge_mm", "height_mm", "index", "kind", "name", "power_dioptre", "reflectance",
        "size", "soft_mm", "thickness_mm", "width_mm",
    },
    "box.mask": {*CUT, "outline", "thickness_mm"},
    "box.hood": {*PART, "at_mm", "depth_mm", "front_mm", "lining", "rear_mm", "thickness_mm"},
    "box.flag": {
        *PART, "angle_deg", "at_mm", "extension", "hinge_mm", "length_mm", "lining", "side", "thickness_mm", "width_mm",
    },
    "box.flag.extension": {"angle_deg", "length_mm"},
}  # fmt: skip


def unknown_key(tables: Mapping[str, Any], path: str = "") -> str:
    """The path of a key that no scene has, among those that light depends on; empty where all are known."""
    for key, value in tables.items():
        here = f"{path}.{key}".removeprefix(".")
        if key not in KNOWN[path]:
            return here
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict) and here in KNOWN and (found := unknown_key(inner, here)):
                return found
    return ""
