"""What cannot be read, and what would have to be guessed, ends in one sentence: where, the rule, what was found, the way out."""

import json

import pytest

from scenes.lens_data.files import readings_of
from scenes.scene_file.errors import SceneError
from tests.scenes.lens_data.samples_made import STATIC, sample, table_of

CSV = "focus_mm;focal_mm;pupil_behind_front_mm;half_field_deg\n"


def camera_with(**camera):
    return sample({"camera": {**STATIC["camera"], **camera}, "lens": STATIC["lens"]})


REFUSED = [
    (sample(entrancePupilOffset=104.0), {}, "lens.entrancePupilOffset: must be in metres.*104 m.*--pupil-in-mm"),
    (sample(entrancePupilOffset=0.16), {}, "puts the entrance pupil 10 mm ahead of the front rim, of a lens 150 mm long"),
    (sample(entrancePupilOffset=-0.02), {}, "puts the entrance pupil 170 mm behind the front rim"),
    (sample(), {"front_to_sensor_mm": None}, "no standard holds the front rim.*--front-to-sensor-mm"),
    (sample(focusDistance=1.0), {"front_travel_mm": None}, "how far the front rim moves.*--front-travel-mm"),
    (sample(), {"front_diameter_mm": None}, "--front-diameter-mm"),
    (sample(fStop=2.8), {"f_number": None}, "widest of the samples is f/2.8, which may be stopped down; give --f-number"),
    (sample(fStop=1.4), {}, "has a sample at 1.4, wider than the f/2 given"),
    (sample(tStop=1.9), {}, "has a sample at 1.9, wider than the f/2 given"),
    (sample(fStop=2.8, tStop=2.5), {}, "lens.tStop: must not be below the f-number 2.8.*got 2.5; the two may be swapped"),
    (camera_with(anamorphicSqueeze={"num": 1, "denom": 2}), {}, "anamorphicSqueeze: must be 1 or more.*got 0.5.*turned it over: 2"),
    (camera_with(anamorphicSqueeze={"num": 1, "denom": 0}), {}, "must have a denom other than 0"),
    (camera_with(anamorphicSqueeze={"num": 2, "denom": 1}), {"squeeze": 1.5}, "got 2 in the samples and 1.5 from --squeeze"),
    (camera_with(activeSensorPhysicalDimensions={"width": -36, "height": 24}), {}, "width: must be more than 0 mm, got -36"),
    (sample({}), {}, "pinholeFocalLength: says the field only with the picture's width; give --width-mm"),
    (sample({}, distortion=[{"radial": [1e-4]}]), {}, "needs the picture's size; give --width-mm and --height-mm"),
    (sample(pinholeFocalLength=20.0), {}, "half field of 42.0 deg, where 25 mm .* 36 mm wide give 35.8.*--confirmed"),
    (sample(pinholeFocalLength=35.0), {}, "pinholeFocalLength: says a focal length of 35 mm .* one of 25 mm.*another lens's"),
    (sample(), {"no_distortion": False}, "barrel makes the field wider; give half_field_deg in a table.*or --no-distortion"),
    (sample(pinholeFocalLength=0.0), {}, "must tell a focal length of more than 0 mm, got 0"),
    (sample(pinholeFocalLength=-24.0, focusDistance=1.0), {}, "pinholeFocalLength: must be more than 0, got -24"),
    (sample(focusDistance=None), {}, "does not say at which focus it was taken"),
    (sample(focusDistance=-1.0), {}, "must be more than 0, got -1000 mm"),
    (sample(focusDistance=0.149), {}, "has a focus of 149 mm, which lies in a lens 150 mm long"),
    (sample(entrancePupilOffset=None), {}, "does not say where the entrance pupil stands; measure it by parallax"),
    ([sample(), sample(focusDistance=1.0, entrancePupilOffset=None)], {}, "at some settings only; at focus 1000"),
    (sample({"camera": STATIC["camera"]}, pinholeFocalLength=None), {}, "does not tell the focal length; give focal_mm"),
    (sample(distortion=[{"radial": [-2e-3]}]), {}, "fold the picture over; radii are in mm"),
    (sample(distortion=[{"model": "Fish", "radial": [1e-4]}]), {}, 'must be of the model Brown-Conrady D-U .*got "Fish"'),
    (sample(distortion=[{"radial": [0.0]}, {"model": "Brown-Conrady U-D", "radial": [-3e-4]}]), {}, "two distortions that speak"),
    (sample(distortion=[{"model": "Brown-Conrady U-D", "radial": [1e-4]}, {"radial": [1e-4]}]), {}, "two distortions that speak"),
    (sample(distortion=[{"radial": [1e-4]}, {"radial": [2e-4]}]), {}, r"\[0.0001\] and Brown-Conrady D-U \[0.0002\]; keep"),
    (sample(distortion=[{"radial": [0] * 7}]), {}, "radial: must be an array of at most 6 numbers"),
    (sample(distortion=[{"radial": [0], "tangential": [0] * 3}]), {}, "tangential: must be an array of at most 2 numbers"),
    (sample(distortion=[{"radial": [1e308, 1e308]}]), {}, "fold the picture over"),
    (sample(focusDistance=[1.0, 2.0], fStop=[2.8]), {}, "must have arrays of one length in a clip, got lengths 1, 2"),
    ([sample(), camera_with(activeSensorPhysicalDimensions={"width": 30, "height": 20})], {}, "must be one and the same"),
    (sample(projectionOffset={"x": 1}), {}, "must give x and y"),
    (sample(), {"f_number": float("nan")}, "--f-number: must be a number, got nan"),
    (sample(), {"front_to_sensor_mm": float("inf")}, "--front-to-sensor-mm: must be a number, got inf"),
    ("[]", {}, "holds no sample"),
    ("[3]", {}, "must hold samples as JSON objects, got 3"),
    ('{"lens": {', {}, "is no JSON that can be read"),
    ("[" * 100_000, {}, "is no JSON that can be read"),
    (json.dumps(sample()).replace("0.104", "NaN"), {}, "entrancePupilOffset: must be a number, got nan"),
    (json.dumps(sample()).replace("0.104", "1e400"), {}, "entrancePupilOffset: must be a number, got inf"),
    (json.dumps(sample()).replace("0.104", "1" + "0" * 400), {}, "entrancePupilOffset: must be a number, got a number of"),
    (json.dumps(sample()).replace("0.104", "1" + "0" * 5000), {}, "is no JSON that can be read"),
    (sample(entrancePupilOffset=True), {}, "entrancePupilOffset: must be a number, got true"),
    (sample(entrancePupilOffset="0.104"), {}, 'entrancePupilOffset: must be a number, got "0.104"'),
    (sample(entrancePupilOffset=[]), {}, "entrancePupilOffset: must be a number, got an empty array"),
    (sample(focusDistance=[1.0] * 200_001), {}, "must hold at most 200000 samples, got 200001"),
    ("", {}, "is an empty file"),
    (" \n\n", {}, "is an empty file"),
    ("focus_mm\n", {}, "must have a head of column names and a row for each setting"),
    ("pupil_mm,focus_mm\n1,2\n", {}, 'has the unknown column "pupil_mm"'),
    ("focus_mm,focus_mm\n1,2\n", {}, "focus_mm: stands twice in the head"),
    (CSV + "1000;25;46\n", {}, "row 1: must have 4 values as the head has, got 3"),
    (CSV + "1000;25;nan;35\n", {}, "must be a number, got \"nan\""),
    (CSV + "1000;25;46;95\n", {}, "must be more than 0 and at most 89 deg, got 95"),
    (CSV + "1000;25;-3;35\n", {}, "puts the entrance pupil 3 mm ahead of the front rim"),
    (CSV + "1000;25;46;" + "x" * 200_000, {}, "is no table that can be read"),
    ("focus_mm,focal_mm,pupil_behind_front_mm,half_field_vertical_deg\n1000,25,46,20\n", {}, "needs half_field_deg beside it"),
    (CSV + "1000;25;46;35\n" * 10_001, {}, "must have at most 10000 rows"),
]  # fmt: skip


@pytest.mark.parametrize(("content", "own", "words"), REFUSED, ids=range(len(REFUSED)))
def test_it_is_refused_in_one_sentence(tmp_path, content, own, words):
    with pytest.raises(SceneError, match=words) as told:
        table_of(tmp_path, content, **own)
    assert len(told.value.complaints) == 1
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 600


@pytest.mark.parametrize("data", [b"\0\1\2", b"\xff\xfe{\0", b"PK\3\4" + bytes(300), b"{\x00}"])
def test_other_kinds_of_file_are_named_as_such(tmp_path, data):
    path = tmp_path / "lens.json"
    path.write_bytes(data)
    with pytest.raises(SceneError, match="must be OpenTrackIO JSON, an EXR frame or a CSV table"):
        readings_of(path)


def test_a_reader_who_has_checked_may_confirm(tmp_path):
    table = table_of(tmp_path, sample(pinholeFocalLength=20.0), confirmed=("half_field_deg",))
    assert table.values["confirmed"] == ["half_field_deg"]
    deep = table_of(tmp_path, sample(entrancePupilOffset=-0.02), confirmed=("pupil_behind_front_mm",))
    assert deep.rows[0].values["pupil_behind_front_mm"] == 170.0
