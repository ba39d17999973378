"""Where the entrance pupil stands behind the front rim at a setting, and how far the rim has moved there."""

from __future__ import annotations

import math

from scenes.lens_data.given import Given, Told
from scenes.lens_data.reading import Reading, refusal
from scenes.lens_data.settings import ALIKE_FOCUS, Setting
from scenes.scene_file.messages import plain

SPREAD_MM = 0.1  # depths of one setting that differ by less are one, the deepest
AT_SENSOR_MM = 1.0  # a pupil this near to the sensor is one told in metres
Bounds = tuple[float, float]


def depth_bounds_mm(setting: Setting, given: Given, zooms: int, told: Told) -> Bounds | None:
    """Least and most depth that the readings of a setting allow [mm]; None where none of them tells."""
    travel = travel_bounds_mm(setting, given, zooms)
    found = [bounds for reading in setting.readings if (bounds := _depth_mm(reading, travel, given, told)) is not None]
    return (min(least for least, _ in found), max(most for _, most in found)) if found else None


def written_depth(bounds: Bounds) -> float | list[float]:
    """A depth as a row has it: the deepest where bounds are close, rounded away from each other [mm]."""
    least, most = math.floor(bounds[0] * 100 + 1e-6) / 100, math.ceil(bounds[1] * 100 - 1e-6) / 100
    return most if most - least <= SPREAD_MM + 1e-6 else [least, most]


def travel_bounds_mm(setting: Setting, given: Given, zooms: int) -> Bounds | None:
    """Least and most that the front rim has moved toward the scene [mm]; None where nobody tells.

    A table tells it for each setting. The travel given stands for the nearest focus, so anything up to it may be farther out.
    """
    if travels := setting.values("front_travel_mm"):
        return min(travels), max(travels)
    if math.isinf(setting.focus_mm) and zooms == 1:
        return 0.0, 0.0
    travel, close = given.front_travel_mm, given.close_focus_mm
    if travel is None:
        return None
    if zooms == 1 and close is not None and abs(setting.focus_mm - close) <= ALIKE_FOCUS * close:
        return travel, travel
    return min(travel, 0.0), max(travel, 0.0)


def _depth_mm(reading: Reading, travel: Bounds | None, given: Given, told: Told) -> Bounds | None:
    if reading.pupil_behind_front_mm is not None:
        bounds = (reading.pupil_behind_front_mm, reading.pupil_behind_front_mm)
        _insist_on_likely_depth(reading, "pupil_behind_front_mm", bounds, given)
    elif reading.pupil_from_sensor_mm is not None:
        from_rim = _length_mm(reading, given) - reading.pupil_from_sensor_mm
        least, most = _needed_travel_mm(reading, travel)
        bounds = (from_rim + least, from_rim + most)
        _insist_on_likely_depth(reading, "pupil_from_sensor_mm", bounds, given)
    else:
        return None
    told.say(
        "the pupil is the one on axis; no standard says how it moves off axis, so leave the 2.5 mm that a fixed pupil can be out by"
    )
    return bounds


def _length_mm(reading: Reading, given: Given) -> float:
    if given.front_to_sensor_mm is None:
        raise refusal(
            reading.source,
            reading.keys["pupil_from_sensor_mm"],
            "says where the entrance pupil stands from the sensor, and no standard holds the front rim; measure from front rim "
            "to image plane at infinity and give --front-to-sensor-mm",
        )
    return given.front_to_sensor_mm


def _needed_travel_mm(reading: Reading, travel: Bounds | None) -> Bounds:
    if travel is None:
        raise refusal(
            reading.source,
            reading.keys["pupil_from_sensor_mm"],
            "is measured from the sensor, so its depth needs to know how far the front rim moves, which no standard holds; give "
            "--front-travel-mm at the nearest focus, 0 if it stands still",
        )
    return travel


def _insist_on_likely_depth(reading: Reading, name: str, bounds: Bounds, given: Given) -> None:
    length = given.front_to_sensor_mm
    last = math.inf if length is None else length - AT_SENSOR_MM
    if (bounds[0] >= 0.0 and bounds[1] <= last) or "pupil_behind_front_mm" in given.confirmed:
        return
    wrong = bounds[0] if bounds[0] < 0.0 else bounds[1]
    long = f", of a lens {plain(length)} mm long" if length is not None else ""
    raise refusal(
        reading.source,
        reading.keys[name],
        f"puts the entrance pupil {plain(round(abs(wrong), 2))} mm {'ahead of' if wrong < 0.0 else 'behind'} the front "
        f"rim{long}; its unit "
        "or sign may be wrong, or the length: if you have checked them, say so with --confirmed pupil_behind_front_mm",
    )
