"""Standard attributes in an OpenEXR frame's header -> a reading. Keys, units and signs: OpenEXR, Standard Attributes."""

from __future__ import annotations

import math
from typing import Any

from scenes.io.folders.own_folder import own_folder
from scenes.lens_data.reading import Reading, refusal
from scenes.scene_file.messages import plain, shown

MICRON_MM = 1e-3
MM = 1000.0  # in a metre
FARTHEST_MM = 1e6
SQUARE_SHARE = 0.01  # pixels this near to square are square
VALUES = {
    "pupil_from_sensor_mm": ("entrancePupilOffset", 1.0),
    "pinhole_mm": ("pinholeFocalLength", 1.0),
    "effective_mm": ("effectiveFocalLength", 1.0),
    "nominal_mm": ("nominalFocalLength", 1.0),
    "focus_mm": ("focus", MM),
    "f_number": ("aperture", 1.0),
    "t_number": ("tStop", 1.0),
}
IDENTITY = {"make": "lensMake", "model": "lensModel", "serial_number": "lensSerialNumber"}


def read_header(data: bytes, source: str) -> dict[str, Any]:
    """Attributes of a frame's header; a SceneError with one sentence where that cannot be."""
    try:
        import OpenEXR
    except ImportError:
        raise refusal(source, "", "is an EXR frame, which needs one more library; install brimline[exr]") from None
    try:
        with own_folder() as folder:  # the library reads by name alone
            path = folder / "frame.exr"
            path.write_bytes(data)
            with OpenEXR.File(str(path), header_only=True) as frame:
                return dict(frame.header())
    except Exception:  # noqa: BLE001 - whatever a broken file makes the library trip over
        raise refusal(source, "", "is damaged or cut short and cannot be read as EXR; copy it again") from None


def header_reading(header: dict[str, Any], source: str) -> Reading:
    """What a header says of the lens and of the part of the sensor that was recorded."""
    found: dict[str, Any] = {}
    keys: dict[str, str] = {}
    for name, (key, factor) in VALUES.items():
        if header.get(key) is not None:
            found[name], keys[name] = _number(header[key], key, source) * factor, key
    if found.get("focus_mm", 0.0) > FARTHEST_MM:
        found["focus_mm"] = math.inf
    recorded = _recorded(header, source)
    keys.update({name: "sensorAcquisitionRectangle" for name in ("width_mm", "height_mm") if name in recorded})
    named: dict[str, Any] = {name: str(header[key]) for name, key in IDENTITY.items() if header.get(key) is not None}
    keys.update({name: IDENTITY[name] for name in named})
    return Reading(source=source, keys=keys, **recorded, **found, **named, **_squeeze(header, source, keys))


def _squeeze(header: dict[str, Any], source: str, keys: dict[str, str]) -> dict[str, Any]:
    """The shape of a pixel as displayed is the squeeze of a frame that still has it; a desqueezed one says 1, and so nothing."""
    shape = header.get("pixelAspectRatio")
    if shape is None or abs(_number(shape, "pixelAspectRatio", source) - 1.0) <= SQUARE_SHARE:
        return {}
    keys["squeeze"] = "pixelAspectRatio"
    return {"squeeze": float(shape)}


def _recorded(header: dict[str, Any], source: str) -> dict[str, Any]:
    """Size of the part of the sensor that was recorded [mm] and its pixels, and how far its middle is off the axis: (right, up)."""
    pitch, box = header.get("sensorPhotositePitch"), header.get("sensorAcquisitionRectangle")
    if pitch is None or box is None:
        return {}
    pitch_mm = _number(pitch, "sensorPhotositePitch", source) * MICRON_MM
    x0, y0, x1, y1 = _numbers([*box[0], *box[1]], "sensorAcquisitionRectangle", source)
    across, down = x1 - x0 + 1, y1 - y0 + 1  # both ends are part of it
    size = across * pitch_mm, down * pitch_mm
    if min(size) <= 0.0:
        raise refusal(source, "sensorAcquisitionRectangle", f"must span more than 0 mm, got {plain(size[0])} x {plain(size[1])} mm")
    offset = _offset_mm(header, source, pitch_mm, size, ((x0 + x1 + 1) / 2, (y0 + y1 + 1) / 2))
    return {"width_mm": size[0], "height_mm": size[1], "pixels": (int(across), int(down)), "offset_mm": offset}


def _offset_mm(
    header: dict[str, Any], source: str, pitch_mm: float, size: tuple[float, float], middle: tuple[float, float]
) -> tuple[float, float]:
    """(right, up) of the recorded part's middle against the mount's [mm]; photosites count from the picture's upper left."""
    right, down = 0.0, 0.0
    if header.get("sensorCenterOffset") is not None:
        right, down = (value * MICRON_MM for value in _numbers(header["sensorCenterOffset"], "sensorCenterOffset", source))
    if header.get("sensorOverallDimensions") is not None:
        whole = _numbers(header["sensorOverallDimensions"], "sensorOverallDimensions", source)
        if any(side > all_of_it + 2 * pitch_mm for side, all_of_it in zip(size, whole, strict=True)):
            raise refusal(
                source,
                "sensorAcquisitionRectangle",
                f"must lie on the sensor of {plain(whole[0])} x {plain(whole[1])} mm, got {plain(size[0])} x {plain(size[1])} mm; "
                "the pitch is in microns: check it",
            )
        right += middle[0] * pitch_mm - whole[0] / 2
        down += middle[1] * pitch_mm - whole[1] / 2
    return right, -down


def _numbers(values: Any, key: str, source: str) -> tuple[float, ...]:
    return tuple(_number(value, key, source) for value in values)


def _number(value: Any, key: str, source: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if math.isnan(number) or (math.isinf(number) and key != "focus"):
        raise refusal(source, key, f"must be a number, got {shown(value)}")
    return number
