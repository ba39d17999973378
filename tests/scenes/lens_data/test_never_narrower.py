"""Whatever samples say, no row has a narrower field or a shallower pupil than any of them: a wrong clear would follow."""

import json
import math
import tempfile
from pathlib import Path

import hypothesis.strategies as st
from hypothesis import HealthCheck, given, settings

from scenes.lens_data.files import readings_of
from scenes.scene_file.errors import SceneError
from tests.scenes.lens_data.samples_made import sample, table_of, written

FOCI_M = (0.4, 0.403, 1.0, 3.0, 1e5)
SMALL = st.floats(-1.0, 1.0)


@st.composite
def one_sample(draw):
    told = {
        "focusDistance": draw(st.sampled_from(FOCI_M)),
        "entrancePupilOffset": draw(st.floats(0.08, 0.14)),
        "pinholeFocalLength": draw(st.floats(24.0, 27.0)),
    }
    if draw(st.booleans()):
        radial = [1e-4 * draw(SMALL), 1e-5 * draw(SMALL), 1e-7 * draw(SMALL)]
        told["distortion"] = [{"radial": radial}]
    if draw(st.booleans()):
        told["projectionOffset"] = {"x": draw(SMALL), "y": draw(SMALL)}
    return told


@given(ones=st.lists(one_sample(), min_size=1, max_size=6), travel=st.floats(-5.0, 5.0))
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_row_is_narrower_or_shallower_than_a_sample(ones, travel):
    with tempfile.TemporaryDirectory() as folder:
        try:
            table = table_of(Path(folder), [sample(**one) for one in ones], front_travel_mm=travel, confirmed=("half_field_deg",))
        except SceneError:
            return
    for one in ones:
        row = min(table.rows, key=lambda row: _apart(row.values["focus_mm"], 1000.0 * one["focusDistance"])).values
        k1, k2, k3 = one.get("distortion", [{"radial": [0.0] * 3}])[0]["radial"]
        reach = 18.0 + abs(one.get("projectionOffset", {"x": 0.0})["x"])
        edge = reach * (1 + k1 * reach**2 + k3 * reach**4) / (1 + k2 * reach**2)
        assert row["half_field_deg"] >= math.degrees(math.atan(edge / one["pinholeFocalLength"])) - 1e-6
        moved = max(travel, 0.0) if one["focusDistance"] < 1e4 else 0.0
        depth = row["pupil_behind_front_mm"]
        assert (depth[-1] if isinstance(depth, list) else depth) >= 150.0 + moved - 1000.0 * one["entrancePupilOffset"] - 1e-6


def _apart(row_mm, focus_mm):
    at = 0.0 if row_mm == "infinity" else 1.0 / row_mm
    return abs(at - (1.0 / focus_mm if focus_mm < 1e7 else 0.0))


ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(("x", "y", "num", "denom", "radial", "a1")), inner),
    max_leaves=6,
)
PLACES = ("entrancePupilOffset", "pinholeFocalLength", "focusDistance", "fStop", "distortion", "projectionOffset", "encoders")


@given(place=st.sampled_from((*PLACES, "exposureFalloff", "distortionOffset", "custom")), value=ODD)
@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
def test_odd_values_are_read_or_refused_in_one_sentence(place, value):
    with tempfile.TemporaryDirectory() as folder:
        try:
            table_of(Path(folder), json.dumps(sample(**{place: value})))
            told = "read"
        except SceneError as error:
            told = str(error)
    assert told
    assert "\n" not in told


@given(data=st.binary(max_size=200) | st.text(alphabet='{}[]",:01.e-lens', max_size=80).map(str.encode))
@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
def test_odd_bytes_are_read_or_refused_in_one_sentence(data):
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), "")
        path.write_bytes(data)
        try:
            readings_of(path)
            told = "read"
        except SceneError as error:
            told = str(error)
    assert told
    assert "\n" not in told
