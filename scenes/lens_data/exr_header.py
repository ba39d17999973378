"""Standard attributes in an OpenEXR frame's header -> a reading. Keys, units and signs: OpenEXR, Standard Attributes."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from scenes.lens_data.reading import Reading, refusal
from scenes.scene_file.messages import shown

MICRON_MM = 1e-3
MM = 1000.0  # in a metre
FARTHEST_MM = 1e6
VALUES = {
    "pupil_from_sensor_mm": ("entrancePupilOffset", 1.0),
    "pinhole_mm": ("pinholeFocalLength", 1.0),
    "effective_mm": ("effectiveFocalLength", 1.0),
    "nominal_mm": ("nominalFocalLength", 1.0),
    "focus_mm": ("focus", MM),
    "f_number": ("aperture", 1.0),
    "t_number": ("tStop", 1.0),
}


def read_header(path: Path) -> dict[str, Any]:
    """Attributes of a frame's header; a SceneError with one sentence where that cannot be."""
    try:
        import OpenEXR
    except ImportError:
        raise refusal(str(path), "", "is an EXR frame, which needs one more library; install brimline[exr]") from None
    try:
        with OpenEXR.File(str(path), header_only=True) as frame:
            return dict(frame.header())
    except Exception as error:  # noqa: BLE001 - whatever a broken file makes the library trip over
        raise refusal(str(path), "", f"is damaged or cut short and cannot be read as EXR; copy it again ({error})") from None


def header_reading(header: dict[str, Any], source: str) -> Reading:
    """What a header says of the lens and of the part of the sensor that was recorded."""
    found, keys = {}, {}
    for name, (key, factor) in VALUES.items():
        if header.get(key) is not None:
            found[name], keys[name] = _number(header[key], key, source) * factor, key
    if found.get("focus_mm", 0.0) > FARTHEST_MM:
        found["focus_mm"] = math.inf
    return Reading(source=source, keys=keys, **_recorded(header, source), **found)


def _recorded(header: dict[str, Any], source: str) -> dict[str, Any]:
    """Size of the part of the sensor that was recorded [mm] and its pixels, and how far its centre is off: (right, up)."""
    pitch, box = header.get("sensorPhotositePitch"), header.get("sensorAcquisitionRectangle")
    if pitch is None or box is None:
        return {}
    pitch_mm = _number(pitch, "sensorPhotositePitch", source) * MICRON_MM
    try:
        (x0, y0), (x1, y1) = ((float(c) for c in corner) for corner in box)
    except (TypeError, ValueError):
        raise refusal(source, "sensorAcquisitionRectangle", f"must be a box of two corners, got {shown(box)}") from None
    across, down = x1 - x0 + 1, y1 - y0 + 1
    found: dict[str, Any] = {"width_mm": across * pitch_mm, "height_mm": down * pitch_mm, "pixels": (int(across), int(down))}
    if header.get("sensorCenterOffset") is not None:
        x, y = (float(c) for c in header["sensorCenterOffset"])
        found["offset_mm"] = (x * MICRON_MM, -y * MICRON_MM)
    return found


def _number(value: Any, key: str, source: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if math.isnan(number):
        raise refusal(source, key, f"must be a number, got {shown(value)}")
    return number
