"""Frames whose headers are written by the OpenEXR library itself.

Source of each attribute: OpenEXR, Standard Attributes (website/StandardAttributes.rst, 03d72ad5).
"""

import math

import numpy as np
import pytest

from scenes.lens_data.exr_header import header_reading
from scenes.lens_data.files import readings_of
from scenes.lens_data.given import Given
from scenes.lens_data.rows import lens_table
from scenes.scene_file.errors import SceneError
from tests.scenes.lens_data.samples_made import OWN, lens_of

HEADER = {
    "entrancePupilOffset": 104.0,  # mm from the image plane, larger: nearer the object
    "pinholeFocalLength": 24.0,
    "effectiveFocalLength": 25.5,
    "nominalFocalLength": 25.0,
    "aperture": 2.8,
    "tStop": 3.0,
    "focus": 1.2,  # metres
    "sensorPhotositePitch": 5.0,  # microns
    "sensorAcquisitionRectangle": ((100, 40), (7299, 4839)),  # both ends included: 7200 x 4800
    "sensorOverallDimensions": (37.0, 25.0),  # mm
    "sensorCenterOffset": (200.0, 100.0),  # microns; positive: more of the right and the bottom
    "pixelAspectRatio": 1.0,
}


def table_of_header(**changes):
    header = {key: value for key, value in {**HEADER, **changes}.items() if value is not None}
    return lens_table([header_reading(header, "frame.exr")], Given(**OWN))


def test_the_library_s_own_header_gives_the_same_as_its_values(tmp_path):
    OpenEXR = pytest.importorskip("OpenEXR", reason="the library comes with the extra exr")
    box = tuple(np.array(corner, dtype=np.int32) for corner in HEADER["sensorAcquisitionRectangle"])
    header = {
        "compression": OpenEXR.ZIP_COMPRESSION,
        "type": OpenEXR.scanlineimage,
        **HEADER,
        "sensorAcquisitionRectangle": box,
        **{key: np.array(HEADER[key], dtype=np.float32) for key in ("sensorOverallDimensions", "sensorCenterOffset")},
    }
    path = tmp_path / "frame.exr"
    with OpenEXR.File(header, {"Y": np.zeros((4, 6), dtype=np.float32)}) as file:
        file.write(str(path))
    (read,) = readings_of(path)
    told, found = lens_table([read], Given(**OWN)), table_of_header()
    assert told.values == found.values
    assert [row.values for row in told.rows] == [row.values for row in found.rows]
    assert told.camera == found.camera


@pytest.mark.parametrize("data", [b"\x76\x2f\x31\x01", b"\x76\x2f\x31\x01" + b"\x02\0\0\0" + b"x" * 500])
def test_a_damaged_frame_is_one_sentence(tmp_path, data):
    pytest.importorskip("OpenEXR", reason="the library comes with the extra exr")
    path = tmp_path / "frame.exr"
    path.write_bytes(data)
    with pytest.raises(SceneError, match="damaged or cut short") as told:
        readings_of(path)
    assert "\n" not in str(told.value)


def test_the_pupil_is_in_mm_from_the_image_plane():
    (row,) = table_of_header().rows
    assert row.values["pupil_behind_front_mm"] == 46.0  # 150 - 104
    assert row.values["focus_mm"] == 1200.0


def test_the_recorded_width_counts_both_ends_of_the_rectangle():
    table = table_of_header()
    assert (table.camera["width_mm"], table.camera["height_mm"]) == (36.0, 24.0)
    assert table.camera["pixels"] == [7200, 4800]
    # tan = 18 / 24, and as much more as the offset below asks for
    assert math.tan(math.radians(table.rows[0].values["half_field_deg"])) >= 18.0 / 24.0


def test_the_picture_s_middle_is_the_sensor_s_and_the_rectangle_s_together():
    # sensor: right 0.2, down 0.1. Rectangle: its middle at 100 + 3600 = 3700 photosites = 18.5 mm = half of 37: 0 to the right;
    # 40 + 2400 = 2440 = 12.2 mm against 12.5: 0.3 up. So right 0.2, up 0.3 - 0.1
    assert table_of_header().camera["offset_mm"] == pytest.approx([0.2, 0.2])


def test_a_recorded_part_to_the_right_on_the_sensor_moves_the_picture_s_middle_to_the_right():
    # middle at 120 + 3600 = 3720 photosites = 18.6 mm, 0.1 right of the sensor's 18.5, which is 0.2 right of the mount's
    moved = table_of_header(sensorAcquisitionRectangle=((120, 40), (7319, 4839)))
    assert moved.camera["offset_mm"] == pytest.approx([0.3, 0.2])


def test_without_a_sensor_s_size_its_own_offset_alone_counts():
    assert table_of_header(sensorOverallDimensions=None).camera["offset_mm"] == pytest.approx([0.2, -0.1])


def test_the_pupil_s_size_comes_from_the_longest_focal_length_that_is_told():
    assert lens_of(table_of_header())["focal_mm"] == 25.5
    assert lens_of(table_of_header(effectiveFocalLength=None))["focal_mm"] == 25.0


def test_pixels_that_are_not_square_are_a_squeeze_and_square_ones_say_nothing():
    assert lens_of(table_of_header(pixelAspectRatio=2.0))["squeeze"] == 2.0
    table = table_of_header()
    assert "squeeze" not in lens_of(table)
    assert any("desqueezed" in caution for caution in table.cautions)


def test_a_focus_without_end_is_infinity():
    assert table_of_header(focus=math.inf).rows[0].values["focus_mm"] == "infinity"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sensorAcquisitionRectangle": ((0, 0), (9000, 4799))}, "must lie on the sensor of 37 x 25 mm, got 45.005 x 24 mm"),
        ({"sensorAcquisitionRectangle": ((0, 0), (-5, 4799))}, "must span more than 0 mm"),
        ({"entrancePupilOffset": 0.104}, "puts the entrance pupil 149.9 mm behind the front rim, of a lens 150 mm long"),
        ({"entrancePupilOffset": math.nan}, "entrancePupilOffset: must be a number, got nan"),
        ({"pixelAspectRatio": 0.5}, "pixelAspectRatio: must be 1 or more.*turned it over: 2"),
        ({"tStop": 2.0}, "tStop: must not be below the f-number 2.8"),
    ],
)
def test_what_cannot_be_is_refused(changes, words):
    with pytest.raises(SceneError, match=words):
        table_of_header(**changes)


def test_frames_that_name_two_lenses_do_not_become_one():
    names = {"lensMake": "Made up", "lensModel": "25", "lensSerialNumber": "1001"}
    frames = [{**HEADER, **names}, {**HEADER, **names, "lensSerialNumber": "7777", "focus": 0.6}, {**HEADER, "focus": 3.0}]
    readings = [header_reading(header, "frame.exr") for header in frames]
    assert len(lens_table([readings[0], readings[2]], Given(**OWN)).rows) == 2
    with pytest.raises(SceneError, match=r'lensSerialNumber: must be one and the same .*two lenses, "1001" and "7777"'):
        lens_table(readings, Given(**OWN))
