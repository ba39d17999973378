"""What a still's file says of itself besides its pixels: curve and range of its codes (PNG), which way up it was held, its setting.

Sources: PNG specification, third edition, 11.3.2 (cICP, iCCP, sRGB, gAMA) and 11.3.3.6 (eXIf);
ITU-T H.273, table 3; Exif 3.0, 4.6.3 (Exif IFD), 4.6.5, 4.6.6 (FNumber, FocalLength, DateTimeOriginal, ImageUniqueID).
"""

from __future__ import annotations

import io
import math
import re
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from scenes.stills.transfer import to_light

PNG_HEAD, PNG_FRAME = 8, 12  # bytes of its signature; of length, name and checksum around what each chunk holds
PIXELS = b"IDAT"
GAMMA_ONE = 100_000  # of gAMA
LINEAR_SLACK, LEAST_LIGHT = 0.02, 1e-9
# By the transfer characteristics of H.273: the curves of the notes that they may stand for. Those left out have none.
CICP_CURVES = {
    **dict.fromkeys((1, 6, 14, 15), ("rec709", "bt1886")),
    8: ("linear",),
    13: ("srgb",),
    16: ("pq", "pq-camera"),
    18: ("hlg",),
}
CICP_RANGES = {0: "narrow", 1: "full"}
MIDDLE, APART_STOPS = 0.5, 0.4  # signal that curves are held against each other at; programs write one gamma for several of them
ORIENTATION, UPRIGHT = 274, 1  # tag of TIFF and Exif
EXIF = b"Exif\0\0"
EXIF_TAGS = 34665  # tag of TIFF that holds those of Exif
STOPS_APART, FOCAL_APART = 1 / 3, 0.05  # stops; share of a focal length: cameras and lenses tell both rounded
MOMENT = re.compile(r"(?:19|20)\d\d:(?:0[1-9]|1[0-2]):(?:0[1-9]|[12]\d|3[01]) \d\d:\d\d:\d\d")
LEAST_SIGNS = 3  # that a number holds, each once counted: one of zeros is of any image
HELD = {3: "upside down", 6: "on its side", 8: "on its side"}
MIRRORED = {2, 4, 5, 7}


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidCurve:
    """What a file says of its codes: where it says so, curves of the notes or a gamma, and the range of codes if it tells one."""

    where: str
    curves: tuple[str, ...] = ()
    gamma: float = 0.0
    code_range: str = ""


def png_curve(data: bytes) -> SaidCurve | None:
    """The curve that a PNG says its codes are on, by the chunk that counts where it has several; None where none tells one."""
    held: dict[bytes, bytes] = {}
    for name, content in _chunks(data):
        if name == PIXELS:
            break
        held.setdefault(name, content)
    if len(cicp := held.get(b"cICP", b"")) == 4:
        return SaidCurve(where="cICP", curves=CICP_CURVES.get(cicp[1], ()), code_range=CICP_RANGES.get(cicp[3], ""))
    if b"iCCP" in held:
        return None  # a colour profile, which is not read
    if b"sRGB" in held:
        return SaidCurve(where="sRGB", curves=("srgb",))
    if len(gama := held.get(b"gAMA", b"")) == 4 and (parts := struct.unpack(">I", gama)[0]):
        return SaidCurve(where="gAMA", gamma=parts / GAMMA_ONE)
    return None


def curve_notes(
    said: SaidCurve | None, name: str, curve: str, rows: Sequence[tuple[float, float]], code_range: str
) -> tuple[str, ...]:
    """What a file says against the curve and the range that the notes state: a sentence each."""
    if said is None:
        return ()
    ranges = f"of {said.code_range} range" if said.code_range not in {"", code_range} else ""
    found = [(_other_curve(said, curve, rows), curve), (ranges, code_range)]
    return tuple(
        f"{name} says of its own, by {said.where}, that its codes are {words}, and the notes state {stated}: ask who exported it."
        for words, stated in found
        if words
    )


def _other_curve(said: SaidCurve, curve: str, rows: Sequence[tuple[float, float]]) -> str:
    """The curve that a file tells where it is not the stated one: by name, or for a gamma or a table by how dark its middle is."""
    if curve in said.curves:
        return ""
    if said.curves:
        alike = curve == "table" and _is_like(_middle_stops(said.curves[0]), curve, rows)
        return "" if alike else f"on the curve {' or '.join(said.curves)}"
    if not said.gamma or _is_like(math.log2(MIDDLE) / said.gamma, curve, rows):
        return ""
    return "linear" if math.isclose(said.gamma, 1.0, rel_tol=LINEAR_SLACK) else f"light to the power of {said.gamma:.3g}"


def _is_like(stops: float, curve: str, rows: Sequence[tuple[float, float]]) -> bool:
    return abs(stops - _middle_stops(curve, rows)) <= APART_STOPS


def _middle_stops(curve: str, rows: Sequence[tuple[float, float]] = ()) -> float:
    """Light of the middle signal against that of white, in stops."""
    middle, white = (max(float(to_light(signal, curve, rows)), LEAST_LIGHT) for signal in (MIDDLE, 1.0))
    return math.log2(middle / white)


def png_exif(data: bytes) -> bytes:
    """The Exif data of a PNG; empty where it has none."""
    return next((content for name, content in _chunks(data) if name == b"eXIf"), b"")


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Names and contents of a PNG's chunks. Source: PNG specification, 5.3."""
    at = PNG_HEAD
    while at + PNG_FRAME <= len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += PNG_FRAME + length


def orientation_in(tiff: bytes) -> int:
    """The orientation that a TIFF tells, such as Exif data are; upright where it tells none, or cannot be read."""
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(tiff.removeprefix(EXIF))) as file:
            return int(file.pages.first.tags[ORIENTATION].value)
    except Exception:  # noqa: BLE001 - whatever a broken file makes the reader trip over: what it says of itself is not needed
        return UPRIGHT


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidSetting:
    """What a still was shot at, by its file or the notes: f-number and focal length in mm, 0 where it is not told.

    moment: date and time of the shot, to the second; image: the number that no other shot has. Empty where the file tells none.
    """

    f_number: float = 0.0
    focal_mm: float = 0.0
    moment: str = ""
    image: str = ""


UNTOLD = SaidSetting()


def setting_in(tiff: bytes) -> SaidSetting:
    """The f-number and focal length that a TIFF tells among its own tags or those of Exif; none where it cannot be read."""
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(tiff.removeprefix(EXIF))) as file:
            tags = file.pages.first.tags
            held = {**{tag.name: tag.value for tag in tags}, **tags.valueof(EXIF_TAGS, {})}
            return SaidSetting(
                f_number=_number(held.get("FNumber")),
                focal_mm=_number(held.get("FocalLength")),
                moment=_moment(held.get("DateTimeOriginal")),
                image=_image(held.get("ImageUniqueID")),
            )
    except Exception:  # noqa: BLE001 - whatever a broken file makes the reader trip over: what it says of itself is not needed
        return UNTOLD


def _number(value: Any) -> float:
    """A number of Exif, which is two whole ones or their ratio; 0 where it is unknown, as 0/0 is."""
    above, below = value if isinstance(value, tuple) else (value, 1)
    number = float(above) / float(below) if above is not None and below else 0.0
    return number if 0.0 < number < math.inf else 0.0


def _moment(value: Any) -> str:
    """A moment of Exif; empty where none is set, as blanks and zeros say."""
    found = MOMENT.match(str(value)) if isinstance(value, str) else None
    return found[0] if found else ""


def _image(value: Any) -> str:
    """A number of Exif that no other image has; empty where it is blank, or too plain to be one."""
    number = value.strip().strip("\0").lower() if isinstance(value, str) else ""
    return number if len(set(number)) >= LEAST_SIGNS else ""


def setting_notes(files: Sequence[tuple[str, SaidSetting]], stated: SaidSetting) -> tuple[str, ...]:
    """What the files (name, setting) of a row say against what the notes state, or against each other: a sentence."""
    told = [*files, ("the notes", stated)]
    stops = [2 * math.log2(one.f_number) for _, one in told if one.f_number]
    focal_lengths = [one.focal_mm for _, one in told if one.focal_mm]
    is_stop = max(stops) - min(stops) > STOPS_APART
    is_focal = max(focal_lengths) > (1 + FOCAL_APART) * min(focal_lengths)
    said = [(who, _setting_words(one, is_stop=is_stop, is_focal=is_focal)) for who, one in told]
    parts = [f"{who} say{'' if who == 'the notes' else 's of itself'} {words}" for who, words in said if words]
    if not parts:
        return ()
    return (f"{', '.join(parts[:-1])}, and {parts[-1]}: find out which it was, for the box darkens each otherwise.",)


def _setting_words(one: SaidSetting, *, is_stop: bool, is_focal: bool) -> str:
    stop = [f"f/{one.f_number:.3g}"] if is_stop and one.f_number else []
    return " and ".join([*stop, *([f"{one.focal_mm:.4g} mm"] if is_focal and one.focal_mm else [])])


def orientation_problem(orientation: int) -> str:
    """Why a still that is to be shown mirrored is of no use; '' where it is not. No camera records one so."""
    if orientation not in MIRRORED:
        return ""
    found = f"says that it is to be shown mirrored (orientation {orientation})"
    return f"{found}, which no camera records; save it as it was recorded, upright"


def orientation_notes(orientation: int, name: str) -> tuple[str, ...]:
    """That a still was taken as the sensor recorded it: the box turns with the camera, however that was held."""
    if orientation not in HELD:
        return ()
    held = f"{name} says that the camera was {HELD[orientation]} (orientation {orientation})"
    return (
        f"{held}: it was taken as the sensor recorded it, for the box turns with the camera; see that no program has turned it.",
    )
