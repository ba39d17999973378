"""OpenTrackIO samples and clips: units, signs and planes, by hand.

Sources: SMPTE ris-osvp-metadata-camdkit f9f94805, lens_types.py and camera_types.py; OpenLensIO 1.0.0 (equations by number).
"""

import json
import math
import time

import pytest

from scenes.lens_data.files import readings_of
from scenes.lens_data.opentrackio import read_opentrackio
from scenes.lens_data.pupil import written_depth
from scenes.scene_file.errors import SceneError
from tests.scenes.lens_data.samples_made import lens_of, sample, table_of, written

STATIC_WITHOUT_SIZE = {"lens": {"nominalFocalLength": 25.0}}


def only_row(table):
    (row,) = table.rows
    return row.values


def test_a_pupil_in_metres_from_the_sensor_lies_behind_the_front_by_the_lens_s_length_less_it(tmp_path):
    # entrancePupilOffset: metres from the imaging plane, positive toward the object (lens_types.py): 150 - 104 = 46
    assert only_row(table_of(tmp_path, sample()))["pupil_behind_front_mm"] == 46.0


def test_a_front_that_travels_forward_takes_the_pupil_deeper_by_as_much(tmp_path):
    near = sample(focusDistance=0.4, entrancePupilOffset=0.107)
    table = table_of(tmp_path, [sample(), near], front_travel_mm=3.0, close_focus_mm=400.0)
    # 150 + 3 - 107 = 46 at the nearest focus, 150 - 104 at infinity
    assert [row.values["pupil_behind_front_mm"] for row in table.rows] == [46.0, 46.0]
    assert [row.values["front_travel_mm"] for row in table.rows] == [0.0, 3.0]


@pytest.mark.parametrize(("travel", "bounds"), [(3.0, [45.0, 48.0]), (-3.0, [42.0, 45.0])])
def test_between_infinity_and_the_nearest_focus_the_front_may_have_moved_by_any_part_of_its_travel(tmp_path, travel, bounds):
    middle = sample(focusDistance=1.0, entrancePupilOffset=0.105)
    table = table_of(tmp_path, [sample(), middle], front_travel_mm=travel, close_focus_mm=400.0)
    assert table.rows[1].values["pupil_behind_front_mm"] == bounds


def test_the_field_is_that_of_the_pinhole_at_the_edge_of_the_width(tmp_path):
    # OpenLensIO 1.1, eq. 2 to 5: tan = (w / 2) / F = 18 / 24
    assert only_row(table_of(tmp_path, sample(pinholeFocalLength=24.0)))["half_field_deg"] == pytest.approx(
        math.degrees(math.atan(18.0 / 24.0)), abs=1e-3
    )


def test_the_field_s_edge_is_where_distortion_leaves_it_k1_over_k2(tmp_path):
    # OpenLensIO eq. 16: r (1 + k1 r^2 + k3 r^4) / (1 + k2 r^2): 18 (1 + 0.0324 + 0.0105) / (1 + 0.00324) at r = 18
    entry = {"radial": [1e-4, 1e-5, 1e-7]}
    edge = 18.0 * (1 + 1e-4 * 18**2 + 1e-7 * 18**4) / (1 + 1e-5 * 18**2)
    told = only_row(table_of(tmp_path, sample(distortion=[entry])))["half_field_deg"]
    assert math.degrees(math.atan(edge / 25.0)) <= told <= math.degrees(math.atan(1.001 * edge / 25.0))


def test_of_two_distortions_the_one_that_undoes_the_picture_s_is_taken(tmp_path):
    there, back = {"model": "Brown-Conrady U-D", "radial": [-1e-4]}, {"model": "Brown-Conrady D-U", "radial": [1.05e-4]}
    both, one = (only_row(table_of(tmp_path, sample(distortion=entries))) for entries in ([there, back], [back]))
    assert both["half_field_deg"] == one["half_field_deg"]


def test_barrel_told_as_undistorted_to_distorted_widens_the_field_like_its_inverse(tmp_path):
    # U-D: 18 = q (1 - 1e-4 q^2), so q = 18.66 by Newton's steps
    q = 18.0
    for _ in range(20):
        q -= (q * (1 - 1e-4 * q**2) - 18.0) / (1 - 3e-4 * q**2)
    told = only_row(table_of(tmp_path, sample(distortion=[{"model": "Brown-Conrady U-D", "radial": [-1e-4]}])))["half_field_deg"]
    assert told == pytest.approx(math.degrees(math.atan(q / 25.0)), abs=0.02)
    assert q > 18.6


def test_the_picture_s_middle_lies_away_from_the_projection_s_centre_left_for_right_and_up_for_down(tmp_path):
    # projectionOffset: mm, x right, y down, the projection's centre from the screen's (OpenLensIO 1.2, 1.5)
    table = table_of(tmp_path, sample(projectionOffset={"x": 0.5, "y": 0.2}))
    assert table.camera["offset_mm"] == [-0.5, 0.2]
    # the field holds the side that reaches farther: 18.5 / 25, or as much more of the height
    assert math.tan(math.radians(only_row(table)["half_field_deg"])) >= 18.5 / 25.0


def test_of_two_values_of_one_key_none_is_taken():
    text = '{"lens": {"pinholeFocalLength": 25.0, "focusDistance": 1.0, "pinholeFocalLength": 27.0}}'
    for whole in (text, f"{text}\n{text}"):
        with pytest.raises(SceneError, match='the key "pinholeFocalLength" stands twice in one object'):
            read_opentrackio(whole, "a.json")


def test_a_squeeze_is_a_fraction_and_multiplies_the_tangent_across(tmp_path):
    static = {
        "camera": {
            "activeSensorPhysicalDimensions": {"width": 24.0, "height": 20.0},
            "anamorphicSqueeze": {"num": 2, "denom": 1},
        },
        "lens": {"nominalFocalLength": 40.0},
    }
    table = table_of(tmp_path, sample(static, pinholeFocalLength=40.0))
    assert lens_of(table)["squeeze"] == 2.0
    assert only_row(table)["half_field_deg"] == pytest.approx(math.degrees(math.atan(2.0 * 12.0 / 40.0)), abs=1e-3)
    assert any("which direction" in caution for caution in table.cautions)


def test_focus_in_metres_becomes_mm_and_a_kilometre_is_infinity(tmp_path):
    table = table_of(tmp_path, [sample(focusDistance=1200.0), sample(focusDistance=0.75)])
    assert [row.values["focus_mm"] for row in table.rows] == ["infinity", 750.0]
    assert any("from the image plane; the standards do not say" in caution for caution in table.cautions)


def test_focus_told_in_mm_is_not_read_as_infinity(tmp_path):
    # 450 and 1200 m stand on no focus scale; 450 m alone neither. As mm they are an everyday pull.
    for pull in ([sample(focusDistance=450.0), sample(focusDistance=1200.0)], sample(focusDistance=450.0)):
        with pytest.raises(SceneError, match=r"focusDistance: must be in metres, and no lens is focused at 450 m.*--focus-in-mm"):
            table_of(tmp_path, pull)
    pulled = [sample(focusDistance=450.0), sample(focusDistance=1200.0)]
    readings = readings_of(written(tmp_path, pulled), focus_in_mm=True)
    assert sorted(reading.focus_mm for reading in readings) == [450.0, 1200.0]
    alone = table_of(tmp_path, sample(focusDistance=1200.0))
    assert "a focus of 1200 m is taken as infinity; if the files have it in mm, say so with --focus-in-mm" in alone.cautions


def test_a_clip_of_arrays_is_its_samples_one_by_one(tmp_path):
    foci, pupils, pinholes = [1e5, 1.0, 0.5], [0.104, 0.105, 0.106], [25.0, 24.5, 24.0]
    entry = [{"radial": [1e-5]}]
    one_by_one = [
        sample(focusDistance=f, entrancePupilOffset=e, pinholeFocalLength=p, distortion=entry)
        for f, e, p in zip(foci, pupils, pinholes, strict=True)
    ]
    clip = sample(focusDistance=foci, entrancePupilOffset=pupils, pinholeFocalLength=pinholes, distortion=[entry] * 3)
    assert [row.values for row in table_of(tmp_path, clip).rows] == [row.values for row in table_of(tmp_path, one_by_one).rows]
    lines = "\n".join(json.dumps(one) for one in one_by_one)
    assert [row.values for row in table_of(tmp_path, lines).rows] == [row.values for row in table_of(tmp_path, one_by_one).rows]


def test_the_engraved_focal_length_yields_to_a_longer_one_measured_at_infinity(tmp_path):
    assert lens_of(table_of(tmp_path, sample(pinholeFocalLength=26.0)))["focal_mm"] == 26.0
    assert lens_of(table_of(tmp_path, sample(pinholeFocalLength=24.0)))["focal_mm"] == 25.0


def test_a_zoom_s_engraved_focal_length_is_none(tmp_path):
    # nominalFocalLength: "undefined in the case of a zoom lens" (lens_types.py)
    ends = [
        sample(encoders={"zoom": z, "focus": 0.0}, pinholeFocalLength=f, entrancePupilOffset=e)
        for z, f, e in ((0.0, 20.0, 0.1), (1.0, 50.0, 0.09))
    ]
    assert [row.values["focal_mm"] for row in table_of(tmp_path, ends).rows] == [20.0, 50.0]


def test_samples_that_jitter_stand_in_one_row_with_the_widest_field_and_bounds_of_the_depth(tmp_path):
    ones = [sample(entrancePupilOffset=e, pinholeFocalLength=f) for e, f in ((0.104, 25.0), (0.105, 24.9), (0.1045, 25.1))]
    values = only_row(table_of(tmp_path, ones))
    assert values["pupil_behind_front_mm"] == [45.0, 46.0]
    assert values["half_field_deg"] == pytest.approx(math.degrees(math.atan(18.0 / 24.9)), abs=1e-3)


@pytest.mark.parametrize(("bounds", "told"), [((46.0, 46.0), 46.0), ((45.98, 46.004), 46.01), ((45.0, 46.001), [45.0, 46.01])])
def test_a_depth_is_rounded_to_the_deep_side(bounds, told):
    assert written_depth(bounds) == told


def test_a_focus_pull_of_a_thousand_frames_comes_to_rows_between_which_none_is_narrower(tmp_path):
    foci = [1.0 / (0.001 + 2.4 * n / 999) for n in range(1000)]
    pupils = [0.100 + 0.003 * math.sin(n / 50) for n in range(1000)]
    pinholes = [25.0 - n / 1000 + 0.05 * math.sin(n / 30) for n in range(1000)]
    rows = [
        row.values
        for row in table_of(tmp_path, sample(focusDistance=foci, entrancePupilOffset=pupils, pinholeFocalLength=pinholes)).rows
    ]
    assert 10 < len(rows) <= 60
    for focus, pupil, pinhole in zip(foci, pupils, pinholes, strict=True):
        around = _rows_around(rows, 1000.0 * focus)
        assert min(row["half_field_deg"] for row in around) >= math.degrees(math.atan(18.0 / pinhole)) - 1e-9
        assert min(_deepest(row) for row in around) >= 150.0 - 1000.0 * pupil - 1e-9


def _deepest(row):
    depth = row["pupil_behind_front_mm"]
    return depth[-1] if isinstance(depth, list) else depth


def _rows_around(rows, focus_mm):
    """The rows between which a focus lies: that before it and that after it, or the last."""
    at = [math.inf if row["focus_mm"] == "infinity" else row["focus_mm"] for row in rows]
    farther = max(n for n, one in enumerate(at) if one >= focus_mm - 0.06)
    return rows[farther : farther + 2]


def test_each_row_names_the_keys_it_rests_on(tmp_path):
    (row,) = table_of(tmp_path, sample(distortion=[{"radial": [1e-5]}])).rows
    assert row.note == (
        "from lens.json, sample 1: lens.distortion, lens.entrancePupilOffset, lens.focusDistance, lens.pinholeFocalLength"
    )


def test_fall_off_is_told_beside_the_natural_one_and_left_out(tmp_path):
    # OpenLensIO eq. 20 at r = 21.63 (468 mm^2): 1 - 468 x 0.001; cos^4 of atan(21.63 / 25): (1 + 468 / 625)^-2 = 0.327
    table = table_of(tmp_path, sample(exposureFalloff={"a1": 0.001}))
    assert any("corner 53 % by the samples, 33 % by cos^4" in caution for caution in table.cautions)


def test_a_picture_size_of_one_s_own_stands_before_the_samples(tmp_path):
    table = table_of(tmp_path, sample(STATIC_WITHOUT_SIZE), width_mm=30.0, height_mm=20.0)
    assert only_row(table)["half_field_deg"] == pytest.approx(math.degrees(math.atan(15.0 / 25.0)), abs=1e-3)


def test_a_pupil_told_in_mm_is_read_as_such_when_told_to(tmp_path):
    assert only_row(table_of(tmp_path, sample(entrancePupilOffset=104.0), pupil_in_mm=True))["pupil_behind_front_mm"] == 46.0
    with pytest.raises(SceneError, match="must be in metres"):
        table_of(tmp_path, sample(entrancePupilOffset=104.0))


def test_an_hour_of_frames_at_one_focus_is_read_in_seconds(tmp_path):
    """Every frame says how far the front moved, by all frames of its focus: looked through once, not once for each."""
    clip = sample(**{key: [value] * 20_000 for key, value in sample()["lens"].items()})
    began = time.process_time()
    assert len(table_of(tmp_path, clip, front_travel_mm=3.0, close_focus_mm=400.0).rows) == 1
    assert time.process_time() - began < 8.0
