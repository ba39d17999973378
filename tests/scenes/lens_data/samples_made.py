"""Files of lens metadata as their standards have them, written here by hand, and what the reader makes of them."""

import json
import tomllib

from scenes.lens_data.files import readings_of
from scenes.lens_data.given import Given
from scenes.lens_data.rows import lens_table
from scenes.lens_data.toml_text import lens_text

STATIC = {
    "camera": {"activeSensorPhysicalDimensions": {"width": 36.0, "height": 24.0}},
    "lens": {"nominalFocalLength": 25.0},
}
OWN = {"name": "25", "f_number": 2.0, "front_diameter_mm": 114.0, "front_to_sensor_mm": 150.0, "front_travel_mm": 0.0}
OWN |= {"no_distortion": True}


def sample(static=None, **lens):
    """An OpenTrackIO sample with a focus at infinity, a pupil 104 mm from the sensor and the field of a 25 mm pinhole."""
    told = {"focusDistance": 1e5, "entrancePupilOffset": 0.104, "pinholeFocalLength": 25.0, **lens}
    return {
        "static": STATIC if static is None else static,
        "lens": {key: value for key, value in told.items() if value is not None},
    }


def written(folder, content, name="lens.json"):
    path = folder / name
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def table_of(folder, content, name="lens.json", *, pupil_in_mm=False, **own):
    readings = readings_of(written(folder, content, name), pupil_in_mm=pupil_in_mm)
    return lens_table(readings, Given(**{**OWN, **own}))


def lens_of(table):
    """The first lens of the text as a reader of TOML has it."""
    return tomllib.loads(lens_text(table, ["lens.json"]))["lens"][0]
