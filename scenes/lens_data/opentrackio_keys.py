"""Keys of an OpenTrackIO sample: those that are read, those known beside them, and those that look like one that was meant.

What an unknown key tells is passed over, and a lost offset or a lost distortion makes the field narrower.
Source of the names: SMPTE RIS OSVP camdkit f9f94805, its schema of version 1.0 and those of 0.9.
"""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from functools import lru_cache
from typing import Any

from scenes.lens_data.reading import refusal
from scenes.scene_file.messages import shown

XY, SIZE = ("x", "y"), ("width", "height")
READ = {  # place: keys that are read there
    "": ("static", "lens"),
    "static": ("camera", "lens"),
    "static.camera": ("activeSensorPhysicalDimensions", "activeSensorResolution", "anamorphicSqueeze"),
    "static.camera.activeSensorPhysicalDimensions": SIZE,
    "static.camera.activeSensorResolution": SIZE,
    "static.lens": ("make", "model", "nominalFocalLength", "serialNumber"),
    "lens": (
        "distortion",
        "distortionOffset",
        "encoders",
        "entrancePupilOffset",
        "exposureFalloff",
        "fStop",
        "focusDistance",
        "pinholeFocalLength",
        "projectionOffset",
        "tStop",
    ),
    "lens.distortion": ("model", "radial", "tangential"),
    "lens.distortionOffset": XY,
    "lens.encoders": ("zoom",),
    "lens.exposureFalloff": ("a1", "a2", "a3"),
    "lens.projectionOffset": XY,
}
OTHER = {"distortionOverscan", "focalLength", "rawEncoders", "undistortionOverscan"}  # of lens, in 0.9 or 1.0, and not needed
DRAFTS = {"perspectiveShift": "projectionOffset", "distortionShift": "distortionOffset"}  # as drafts before 0.9 had them
NAMED_OFTEN = {"encoders", "make", "model", "serialNumber"}  # a camera and a tracker have these too
OF_ONE_PLACE = {key: place for place in ("static.camera", "static.lens", "lens") for key in READ[place] if key not in NAMED_OFTEN}
MOST_ARRAYS = 2  # a clip has an array of frames, and each frame one of distortions; deeper ones are refused as they are read
LIKENESS = 0.75  # a key this near to one that is read, and is not there, was meant to be it; others are programs' own


def insist_on_known_keys(sample: dict[str, Any], source: str) -> None:
    """SceneError for a key that is nearly one that is read, or that stands in another object than its own."""
    for place, told in _objects(sample, ""):
        for key in told:
            if key not in READ[place] and key not in OTHER and (words := _way_out(place, key, frozenset(told))):
                raise refusal(source, place, words)


def _objects(value: Any, place: str, arrays: int = 0) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every object at or below a place that is read, with its place; those of a clip stand in arrays."""
    if isinstance(value, list) and arrays < MOST_ARRAYS:
        for one in value:
            yield from _objects(one, place, arrays + 1)
    elif isinstance(value, dict):
        yield place, value
        for key, inner in value.items():
            below = f"{place}.{key}" if place else key
            if below in READ and isinstance(inner, dict | list):
                yield from _objects(inner, below)


@lru_cache(maxsize=1024)
def _way_out(place: str, key: str, beside: frozenset[str]) -> str:
    """What is wrong with a key that is not known at its place; '' where it is a program's own."""
    home = OF_ONE_PLACE.get(key)
    if home is not None:
        return f"has the key {shown(key)}, which is read in {home} alone; move it there"
    plain = _letters(key)
    known = {_letters(one): one for one in READ[place]}
    near = get_close_matches(plain, known, 1, LIKENESS)
    meant = DRAFTS.get(key) if place == "lens" else None
    meant = meant or (known[near[0]] if near else None)
    if meant is None or (meant in beside and _letters(meant) in plain):  # focusDistanceRaw beside focusDistance
        return ""
    return f"has the unknown key {shown(key)}, which would be passed over; did you mean {shown(meant)}?"


def _letters(key: str) -> str:
    """A key without what programs write differently: capitals, underscores and the like."""
    return "".join(letter for letter in key[:100].lower() if letter.isalnum())
