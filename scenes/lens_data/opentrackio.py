"""OpenTrackIO JSON, samples and clips -> readings. Keys, units and signs: SMPTE RIS OSVP camdkit, OpenLensIO 1.0.0."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from scenes.io.json_keys import json_of
from scenes.lens_data.opentrackio_keys import insist_on_known_keys
from scenes.lens_data.reading import Polynomial, Reading, refusal
from scenes.scene_file.messages import plain, shown

MM = 1000.0  # in a metre
LEAST_FAR_M = 100.0  # no focus scale is marked so far out: what is told beyond is infinity, or mm
LARGEST_PUPIL_M = 1.0  # a pupil farther from the sensor than this is one told in mm
FARTHEST_MM = 1e6  # a scene's own limit: from here on it is infinity
FROM_PICTURE = ("Brown-Conrady D-U", "")  # the standard's default, and what a sample without a model means
TO_PICTURE = ("Brown-Conrady U-D",)
MOST_SAMPLES = 200_000
MOST_TERMS = {"radial": 6, "tangential": 2}  # k1 to k6, p1 and p2
FOCUS = "lens.focusDistance"
ALIKE_DISTORTION = 0.02  # of the radius: terms for there and for back are fitted to each other
PLAIN_RADIUS_MM = 15.0  # where the size of the picture is not told: about the corner of a motion picture frame

VALUES = {  # key of a reading: (key path, factor)
    "pupil_from_sensor_mm": ("lens.entrancePupilOffset", MM),
    "pinhole_mm": ("lens.pinholeFocalLength", 1.0),
    "focus_mm": (FOCUS, MM),
    "f_number": ("lens.fStop", 1.0),
    "t_number": ("lens.tStop", 1.0),
    "zoom": ("lens.encoders.zoom", 1.0),
    "nominal_mm": ("static.lens.nominalFocalLength", 1.0),
    "squeeze": ("static.camera.anamorphicSqueeze", 1.0),
    "width_mm": ("static.camera.activeSensorPhysicalDimensions.width", 1.0),
    "height_mm": ("static.camera.activeSensorPhysicalDimensions.height", 1.0),
}
IDENTITY = {"make": "static.lens.make", "model": "static.lens.model", "serial_number": "static.lens.serialNumber"}
OVERSCAN = (
    *("lens.distortionOverscan", "lens.undistortionOverscan"),
    *("static.lens.distortionOverscanMax", "static.lens.undistortionOverscanMax"),
)
OFFSETS = {"projection_mm": "lens.projectionOffset", "distortion_mm": "lens.distortionOffset"}


def read_opentrackio(text: str, source: str, *, pupil_in_mm: bool = False, focus_in_mm: bool = False) -> list[Reading]:
    """Readings of a sample, of several (an array, or one a line), or of a clip whose values are arrays."""
    readings = [
        _reading(sample, f"{source}, sample {number}", pupil_in_mm=pupil_in_mm, focus_in_mm=focus_in_mm)
        for number, sample in enumerate(_samples(_documents(text, source), source), 1)
    ]
    if not readings:
        raise refusal(source, "", "holds no sample; name an OpenTrackIO sample or clip")
    if not focus_in_mm:
        _insist_on_focus_in_metres(readings)
    return readings


def _insist_on_focus_in_metres(readings: list[Reading]) -> None:
    """Distances in mm would read as infinity, where most lenses see less than close up.

    Nobody pulls focus out there: several distances, all beyond any scale, or one between there and a kilometre, are mm.
    """
    told = {reading.focus_raw_m: reading for reading in readings if reading.focus_raw_m is not None}
    far = sorted(value for value in told if math.isfinite(value))
    if far and far[0] >= LEAST_FAR_M and (len(far) > 1 or far[0] * MM < FARTHEST_MM):
        raise refusal(
            told[far[0]].source,
            FOCUS,
            f"must be in metres, and no lens is focused at {plain(far[0])} m; if its writer meant mm, say so with --focus-in-mm",
        )


def _documents(text: str, source: str) -> list[Any]:
    """What the text holds: one JSON value, or one on each line."""
    try:
        return [json_of(text)]
    except (ValueError, RecursionError) as whole:
        lines = [line for line in text.splitlines() if line.strip()]
        try:
            return [json_of(line) for line in lines] if len(lines) > 1 else _broken(whole, source)
        except (ValueError, RecursionError):
            return _broken(whole, source)


def _broken(error: Exception, source: str) -> list[Any]:
    raise refusal(source, "", f"is no JSON that can be read ({_why(error)}); export the sample or clip again")


def _why(error: Exception) -> str:
    """What is wrong with the text; where Python only tells of its own limits, in words about the file."""
    if isinstance(error, RecursionError):
        return "its brackets lie thousands deep in each other"
    return str(error) if "sys.set_int_max_str_digits" not in str(error) else "a number of it has thousands of digits"


def _samples(documents: list[Any], source: str) -> Iterator[dict[str, Any]]:
    for document in documents:
        for value in document if isinstance(document, list) else [document]:
            if not isinstance(value, dict):
                raise refusal(source, "", f"must hold samples as JSON objects, got {shown(value)}")
            insist_on_known_keys(value, source)
            yield from _frames(value, source)


def _frames(sample: dict[str, Any], source: str) -> Iterator[dict[str, Any]]:
    """The samples of a clip, whose values are arrays of one length; a plain sample as it is."""
    lens = sample.get("lens")
    counts = {len(value) for key, value in _leaves(lens) if _is_per_frame(key, value)} if isinstance(lens, dict) else set()
    if not counts:
        yield sample
        return
    if len(counts) > 1:
        raise refusal(
            source, "lens", f"must have arrays of one length in a clip, got lengths {', '.join(map(str, sorted(counts)))}"
        )
    (count,) = counts
    if count > MOST_SAMPLES:
        raise refusal(source, "lens", f"must hold at most {MOST_SAMPLES} samples, got {count}; export a shorter clip")
    for frame in range(count):
        yield {**sample, "lens": _at_frame("lens", lens, frame)}


def _leaves(value: Any, key: str = "lens") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _leaves(inner, name)
    else:
        yield key, value


def _is_per_frame(key: str, value: Any) -> bool:
    """Whether a value is one a frame: distortion is an array in a sample already, so an array of arrays there."""
    if not isinstance(value, list) or not value:
        return False
    return isinstance(value[0], list) if key == "distortion" else key not in {"radial", "tangential", "custom"}


def _at_frame(key: str, value: Any, frame: int) -> Any:
    if isinstance(value, dict):
        return {name: _at_frame(name, inner, frame) for name, inner in value.items()}
    return value[frame] if _is_per_frame(key, value) else value


def _reading(sample: dict[str, Any], source: str, *, pupil_in_mm: bool, focus_in_mm: bool) -> Reading:
    found: dict[str, Any] = {}
    keys: dict[str, str] = {}
    in_mm = {"pupil_from_sensor_mm"} if pupil_in_mm else set()
    in_mm |= {"focus_mm"} if focus_in_mm else set()
    for name, (path, factor) in VALUES.items():
        value = _number(_at(sample, path), path, source)
        if value is not None:
            found[name] = value * (1.0 if name in in_mm else factor)
            keys[name] = path
    _insist_on_metres(found.get("pupil_from_sensor_mm"), source, pupil_in_mm=pupil_in_mm)
    focus_raw_m = found["focus_mm"] / MM if "focus_mm" in found else None
    if found.get("focus_mm", 0.0) > FARTHEST_MM:
        found["focus_mm"] = math.inf
    offsets: dict[str, Any] = {
        name: pair for name, path in OFFSETS.items() if (pair := _pair(_at(sample, path), path, source)) is not None
    }
    named: dict[str, Any] = {
        name: str(value) for name, path in IDENTITY.items() if isinstance(value := _at(sample, path), str | int)
    }
    polynomial = _polynomial(sample, source)
    bent = {} if polynomial is None else {"polynomial": "lens.distortion"}
    return Reading(
        source=source,
        keys={**keys, **bent, **{name: OFFSETS[name] for name in offsets}, **{name: IDENTITY[name] for name in named}},
        polynomial=polynomial,
        pixels=_pixels(_at(sample, "static.camera.activeSensorResolution")),
        falloff=_falloff(_at(sample, "lens.exposureFalloff"), source),
        focus_raw_m=focus_raw_m,
        overscan=_overscan(sample),
        sample_focal_mm=_told_number(_at(sample, "lens.focalLength")),
        has_custom_terms=_has_custom_terms(sample),
        **found,
        **offsets,
        **named,
    )


def _insist_on_metres(pupil_mm: float | None, source: str, *, pupil_in_mm: bool) -> None:
    if pupil_mm is not None and not pupil_in_mm and abs(pupil_mm) > LARGEST_PUPIL_M * MM:
        raise refusal(
            source,
            "lens.entrancePupilOffset",
            f"must be in metres, and no entrance pupil stands {plain(pupil_mm / MM)} m from its sensor; "
            "if its writer meant mm, say so with --pupil-in-mm",
        )


def _at(sample: dict[str, Any], path: str) -> Any:
    value: Any = sample
    for key in path.split("."):
        value = value.get(key) if isinstance(value, dict) else None
    return value


def _number(value: Any, path: str, source: str) -> float | None:
    """A number, or a fraction { num, denom }; None where there is none."""
    if value is None:
        return None
    if isinstance(value, dict) and {"num", "denom"} <= set(value):
        top, bottom = (_number(value[key], f"{path}.{key}", source) for key in ("num", "denom"))
        if not bottom:
            raise refusal(source, path, "must have a denom other than 0")
        return (top or 0.0) / bottom
    number = _as_float(value)
    if math.isnan(number) or (math.isinf(number) and path != FOCUS):
        raise refusal(source, path, f"must be a number, got {shown(value)}")
    return number


def _as_float(value: Any) -> float:
    """The number that a JSON value is; nan where it is none, and infinity where it is too large."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _told_number(value: Any) -> float | None:
    """A number of those that are only held against others; None where it is none."""
    number = _as_float(value)
    return number if math.isfinite(number) else None


def _overscan(sample: dict[str, Any]) -> float | None:
    """By how much a picture was made larger for its distortion, the most that the sample says."""
    told = [_told_number(_at(sample, path)) for path in OVERSCAN]
    told += [_told_number(entry.get("overscan")) for entry in _distortions(sample)]
    return max((value for value in told if value is not None), default=None)


def _has_custom_terms(sample: dict[str, Any]) -> bool:
    """Whether terms that only their maker knows go on where the lens model ends."""
    terms = [_at(sample, "lens.custom"), *(entry.get("custom") for entry in _distortions(sample))]
    return any(_told_number(term) not in {None, 0.0} for told in terms if isinstance(told, list) for term in told)


def _distortions(sample: dict[str, Any]) -> list[dict[str, Any]]:
    entries = _at(sample, "lens.distortion")
    return [entry for entry in entries if isinstance(entry, dict)] if isinstance(entries, list) else []


def _falloff(value: Any, source: str) -> tuple[float, ...] | None:
    """a1, a2, a3 of a share 1 - (a1 r^2 + a2 r^4 + a3 r^6), r in mm. Source: OpenLensIO 1.0.0, equation 20."""
    if not isinstance(value, dict):
        return None
    return tuple(_number(value.get(key), f"lens.exposureFalloff.{key}", source) or 0.0 for key in ("a1", "a2", "a3"))


def _pair(value: Any, path: str, source: str) -> tuple[float, float] | None:
    if value is None:
        return None
    x, y = (_number(value.get(key) if isinstance(value, dict) else None, f"{path}.{key}", source) for key in ("x", "y"))
    if x is None or y is None:
        raise refusal(source, path, f"must give x and y, got {shown(value)}")
    return x, y


def _pixels(value: Any) -> tuple[int, int] | None:
    width, height = (value.get(key) if isinstance(value, dict) else None for key in ("width", "height"))
    return (width, height) if type(width) is int and type(height) is int else None


def _polynomial(sample: dict[str, Any], source: str) -> Polynomial | None:
    """The distortion that turns the picture into one without, where the sample has it; else that of the other way round.

    An entry without radial terms tells none: the standard wants one at least, and none is not a lens without distortion.
    """
    entries = _at(sample, "lens.distortion")
    if entries is None or entries == []:
        return None
    if not isinstance(entries, list):
        raise refusal(
            source, "lens.distortion", f"must be an array of models with their terms, got {shown(entries)}; write [{{...}}]"
        )
    known = [(_model(entry), entry) for entry in entries]
    told: list[Polynomial] = []
    for models, undistorts in ((FROM_PICTURE, True), (TO_PICTURE, False)):
        for model, entry in known:
            if model in models:
                radial, tangential = (_terms(entry, key, source) for key in ("radial", "tangential"))
                if radial:
                    name = model or FROM_PICTURE[0]
                    told.append(Polynomial(radial=radial, tangential=tangential, undistorts=undistorts, model=name))
    if told:
        _insist_on_one_distortion(told, sample, source)
        return told[0]
    if any(model in (*FROM_PICTURE, *TO_PICTURE) for model, _ in known):
        return None
    raise refusal(
        source,
        "lens.distortion",
        f"must be of the model {FROM_PICTURE[0]} or {TO_PICTURE[0]}, got {shown(known[0][0])}; "
        "measure the half field up close and give it in a table instead",
    )


def _insist_on_one_distortion(told: Sequence[Polynomial], sample: dict[str, Any], source: str) -> None:
    """SceneError where two of them put the picture's corner elsewhere: each is of the same lens, there or back."""
    sides = [_number(_at(sample, VALUES[side][0]), VALUES[side][0], source) for side in ("width_mm", "height_mm")]
    radius_mm = math.hypot(*(side or 0.0 for side in sides)) / 2 or PLAIN_RADIUS_MM
    first = told[0]
    plain_mm = first.at(np.array([radius_mm]))
    for other in told[1:]:
        there = plain_mm if other.undistorts == first.undistorts else radius_mm
        found = other.at(np.array([radius_mm]) if other.undistorts == first.undistorts else plain_mm)
        with np.errstate(all="ignore"):
            apart = float(np.abs(found / there - 1.0)[0])
        if apart > ALIKE_DISTORTION:  # one that folds may be nan: that is told where it is used
            raise refusal(
                source,
                "lens.distortion",
                f"tells two distortions that speak against each other, by {apart * 100:.2g} % at {radius_mm:.3g} mm off the "
                f"picture's middle: {_terms_of(first)} and {_terms_of(other)}; keep the right one",
            )


def _terms_of(one: Polynomial) -> str:
    return f"{one.model} [{', '.join(plain(term) for term in one.radial)}]"


def _model(entry: Any) -> str:
    model = entry.get("model", "") if isinstance(entry, dict) else "?"
    return " ".join(str(model).split())


def _terms(entry: dict[str, Any], key: str, source: str) -> tuple[float, ...]:
    values = entry.get(key) or []
    if not isinstance(values, list) or len(values) > MOST_TERMS[key]:
        raise refusal(
            source, f"lens.distortion.{key}", f"must be an array of at most {MOST_TERMS[key]} numbers, got {shown(values)}"
        )
    terms = tuple(_number(value, f"lens.distortion.{key}", source) for value in values)
    if None in terms:
        raise refusal(source, f"lens.distortion.{key}", "must be numbers, got a null; export the sample or clip again")
    return tuple(term or 0.0 for term in terms)
