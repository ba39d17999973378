"""Keys of OpenTrackIO samples: a misspelt or misplaced one is told, the standard's own and programs' own are not.

Source of the names: SMPTE ris-osvp-metadata-camdkit, complete static example of version 1.0 and schema of 0.9; values invented.
"""

import copy

import pytest

from scenes.lens_data.files import readings_of
from scenes.scene_file.errors import SceneError
from tests.scenes.lens_data.samples_made import sample, table_of, written

BARREL = [{"model": "Brown-Conrady D-U", "radial": [1e-5], "tangential": [0.0, 0.0], "overscan": 1.1}]
WHOLE = {
    "static": {
        "duration": {"num": 1, "denom": 25},
        "camera": {
            "captureFrameRate": {"num": 24, "denom": 1},
            "activeSensorPhysicalDimensions": {"height": 24.0, "width": 36.0},
            "activeSensorResolution": {"height": 2160, "width": 3840},
            "make": "Made up",
            "model": "One",
            "serialNumber": "1",
            "firmwareVersion": "1.2.3",
            "label": "A",
            "anamorphicSqueeze": {"num": 1, "denom": 1},
            "isoSpeed": 4000,
            "fdlLink": "urn:uuid:d64e9535-fe87-4bd3-a3f9-40f6ff74a0e4",
            "shutterAngle": 45.0,
        },
        "lens": {
            "distortionIsProjection": False,
            "distortionOverscanMax": 1.2,
            "undistortionOverscanMax": 1.3,
            "make": "Made up",
            "model": "25",
            "serialNumber": "2",
            "firmwareVersion": "1.2.3",
            "nominalFocalLength": 25.0,
            "calibrationHistory": ["once"],
        },
        "tracker": {"make": "Made up", "model": "T", "serialNumber": "3", "firmwareVersion": "1.2.3"},
    },
    "tracker": {"notes": "invented", "recording": False, "slate": "1", "status": "Good"},
    "timing": {"mode": "internal", "sequenceNumber": 0},
    "lens": {
        "custom": [1.0, 2.0],
        "distortion": BARREL,
        "distortionOffset": {"x": 0.0, "y": 0.0},
        "distortionOverscan": 1.1,
        "undistortionOverscan": 1.1,
        "encoders": {"focus": 0.1, "iris": 0.2, "zoom": 0.3},
        "entrancePupilOffset": 0.104,
        "exposureFalloff": {"a1": 1e-4, "a2": 0.0, "a3": 0.0},
        "fStop": 4.0,
        "focalLength": 25.0,
        "pinholeFocalLength": 25.0,
        "focusDistance": 10.0,
        "projectionOffset": {"x": 0.1, "y": 0.2},
        "rawEncoders": {"focus": 1000, "iris": 2000, "zoom": 3000},
        "tStop": 4.1,
    },
    "protocol": {"name": "OpenTrackIO", "version": [1, 0, 0]},
    "sampleId": "urn:uuid:0a7a7520-3740-439d-aec8-19c5b4a8de84",
    "sourceId": "urn:uuid:3a90a5d3-0374-47aa-a308-cfa6c67e937d",
    "sourceNumber": 1,
    "relatedSampleIds": [],
    "globalStage": {"E": 1.0, "N": 2.0, "U": 3.0, "lat0": 1.0, "lon0": 2.0, "h0": 3.0},
    "transforms": [{"translation": {"x": 1.0, "y": 2.0, "z": 3.0}, "rotation": {"pan": 1.0, "tilt": 2.0, "roll": 3.0}, "id": "C"}],
    "custom": {"pot1": 2435},
}
MISSPELT = [  # place, key, as it was written, what is said
    ("lens", "projectionOffset", "projectionOfset", 'lens: has the unknown key "projectionOfset".*mean "projectionOffset"?'),
    ("lens", "projectionOffset", "projection_offset", 'mean "projectionOffset"?'),
    ("lens", "projectionOffset", "perspectiveShift", 'mean "projectionOffset"?'),
    ("lens", "pinholeFocalLength", "pinholFocalLength", 'mean "pinholeFocalLength"?'),
    ("lens", "entrancePupilOffset", "EntrancePupilOffset", 'mean "entrancePupilOffset"?'),
    ("lens", "distortion", "distorsion", 'mean "distortion"?'),
    ("lens", "encoders", "encoder", 'mean "encoders"?'),
    ("lens.encoders", "zoom", "zom", 'lens.encoders: has the unknown key "zom".*mean "zoom"?'),
    ("lens.distortion", "radial", "radia1", 'lens.distortion: has the unknown key "radia1".*mean "radial"?'),
    ("lens.distortion", "tangential", "tangental", 'mean "tangential"?'),
    ("lens.distortion", "model", "modle", 'mean "model"?'),
    ("static.camera", "anamorphicSqueeze", "anamorphicSqeeze", 'mean "anamorphicSqueeze"?'),
    ("static.camera", "activeSensorPhysicalDimensions", "activeSensorPhysicalDimension", "mean"),
    ("static.lens", "serialNumber", "serial_number", 'mean "serialNumber"?'),
    ("", "lens", "Lens", 'has the unknown key "Lens".*mean "lens"?'),
    ("", "static", "Static", 'mean "static"?'),
]


def at(tree, place):
    for key in filter(None, place.split(".")):
        tree = tree[key]
    return tree[0] if isinstance(tree, list) else tree


@pytest.mark.parametrize(("place", "key", "slip", "words"), MISSPELT, ids=[slip for _, _, slip, _ in MISSPELT])
def test_a_misspelt_key_is_refused_and_not_passed_over(tmp_path, place, key, slip, words):
    tree = copy.deepcopy(WHOLE)
    at(tree, place)[slip] = at(tree, place).pop(key)
    with pytest.raises(SceneError, match=words.replace("?", r"\?")):
        readings_of(written(tmp_path, tree))


@pytest.mark.parametrize(
    ("place", "key", "home"),
    [("", "projectionOffset", "lens"), ("static.lens", "distortion", "lens"), ("lens", "anamorphicSqueeze", "static.camera")],
)
def test_a_key_in_another_object_than_its_own_is_refused(tmp_path, place, key, home):
    tree = copy.deepcopy(WHOLE)
    at(tree, place)[key] = at(tree, home).pop(key)
    with pytest.raises(SceneError, match=f'has the key "{key}", which is read in {home} alone; move it there'):
        readings_of(written(tmp_path, tree))


def test_a_misspelt_key_in_one_frame_of_a_clip_is_refused(tmp_path):
    clip = sample(
        focusDistance=[1e5, 1.0], entrancePupilOffset=[0.104, 0.105], distortion=[[{"radial": [1e-5]}], [{"radail": [1e-5]}]]
    )
    with pytest.raises(SceneError, match='did you mean "radial"'):
        readings_of(written(tmp_path, clip))


def test_every_key_of_the_standard_and_programs_own_are_read_as_before(tmp_path):
    tree = copy.deepcopy(WHOLE)
    tree["lens"] |= {"focusDistanceRaw": 3, "temperature": 20.0}
    tree["static"]["camera"]["gain"] = 1
    tree["studio"] = {"fStop": 1.0}
    (reading,) = readings_of(written(tmp_path, tree))
    assert (reading.pupil_from_sensor_mm, reading.pinhole_mm, reading.focus_mm) == (104.0, 25.0, 10_000.0)
    assert (reading.polynomial.radial, reading.projection_mm, reading.zoom, reading.squeeze) == ((1e-5,), (0.1, 0.2), 0.3, 1.0)
    assert (reading.make, reading.model, reading.serial_number) == ("Made up", "25", "2")


ENTRIES = [{"radial": []}, {"model": "Brown-Conrady D-U"}, {"tangential": [0, 0]}, {"radial": None}, {}]
ENTRIES += [{"model": "Brown-Conrady U-D", "radial": []}]


@pytest.mark.parametrize("entry", ENTRIES, ids=str)
def test_a_distortion_without_radial_terms_is_missing_and_not_none(tmp_path, entry):
    """The standard's schema wants the key, and one term in it at least."""
    with pytest.raises(SceneError, match=r"radial terms are not in the file, and barrel makes the field wider; .*--no-distortion"):
        table_of(tmp_path, sample(distortion=[entry]), no_distortion=False)
    assert "distortion" not in table_of(tmp_path, sample(distortion=[entry])).values  # who says that there is none may


def test_a_field_guessed_without_distortion_says_so(tmp_path):
    barrel = "no distortion in the files: barrel makes the field wider than the focal length says"
    lost, whole = (
        table_of(tmp_path, sample(pinholeFocalLength=None, distortion=[{"radial": terms}]), no_distortion=False).cautions
        for terms in ([], [1e-5])
    )
    assert barrel in lost
    assert barrel not in whole


def test_of_two_distortions_the_one_that_has_its_terms_is_taken(tmp_path):
    entries = [{"radial": []}, {"model": "Brown-Conrady U-D", "radial": [-1e-4]}]
    both, one = (table_of(tmp_path, sample(distortion=some)) for some in (entries, entries[1:]))
    assert both.rows == one.rows


@pytest.mark.parametrize(
    ("distortion", "words"),
    [
        ([{"radial": [None]}], "must be numbers, got a null"),
        ({"radial": [1e-5]}, "must be an array of models .*got a table"),
        ([[[[{"radial": [1e-5]}]]]], "must be of the model"),
    ],
)
def test_a_distortion_of_another_shape_is_refused_and_not_passed_over(tmp_path, distortion, words):
    with pytest.raises(SceneError, match=words):
        table_of(tmp_path, sample(distortion=distortion))


def named(focus_m, **lens):
    own = {"make": "Made up", "model": "Wide 25", "serialNumber": "1001", "nominalFocalLength": 25.0, **lens}
    return sample({"camera": WHOLE["static"]["camera"], "lens": own}, focusDistance=focus_m)


@pytest.mark.parametrize(
    ("key", "own", "other"), [("make", "Made up", "Another"), ("model", "Wide 25", "Macro 25"), ("serialNumber", "1001", "7777")]
)
def test_samples_of_two_lenses_do_not_become_one(tmp_path, key, own, other):
    words = f'{key}: must be one and the same in all samples, got those of two lenses, "{own}" and "{other}"; name one lens'
    with pytest.raises(SceneError, match=words):
        table_of(tmp_path, [named(1e5), named(1.0), named(0.4, **{key: other})])


def test_samples_that_name_their_lens_alike_or_not_at_all_become_one(tmp_path):
    alike = [named(1e5), named(1.0, model=" wide  25"), named(0.6, serialNumber=1001), named(0.4, make="", model=None), sample()]
    assert len(table_of(tmp_path, alike).rows) == 4
