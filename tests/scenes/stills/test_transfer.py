"""Transfer functions against check values computed with colour-science 0.4.7 from the standards' own formulas."""

import numpy as np
import pytest

from scenes.stills.transfer import (
    PQ_PEAK,
    bt1886_to_light,
    hlg_to_light,
    light_to_bt1886,
    light_to_hlg,
    light_to_pq,
    light_to_pq_camera,
    light_to_rec709,
    light_to_srgb,
    pq_camera_to_light,
    pq_to_light,
    rec709_to_light,
    signal_of_code,
    srgb_to_light,
    table_to_light,
)

# IEC 61966-2-1, BT.709-6 (1.099, 0.018) and BT.2100-3 HLG: light, signal
SIGNALS = {
    light_to_srgb: [(0.001, 0.012920), (0.01, 0.099853), (0.18, 0.461356), (0.5, 0.735357), (0.9, 0.954687), (1, 1)],
    light_to_rec709: [
        (0.001, 0.0045),
        (0.018, 0.081248),
        (0.05, 0.186453),
        (0.09, 0.272883),
        (0.18, 0.409008),
        (0.36, 0.594959),
        (1, 1),
    ],
    light_to_hlg: [(0.01, 0.173205), (1 / 12, 0.5), (0.18, 0.672358), (0.5, 0.871643), (1, 0.999999995)],
}
LIGHTS = {
    srgb_to_light: [(0.1, 0.010023), (0.5, 0.214041)],
    rec709_to_light: [(0.1, 0.022428), (0.5, 0.259589)],
    hlg_to_light: [(0.25, 0.020833), (0.5, 0.083333), (0.75, 0.264963)],
}
PQ = [
    (0, 7.31e-7),
    (0.005, 0.015076),
    (1, 0.149946),
    (10, 0.299699),
    (26, 0.380032),
    (100, 0.508078),
    (203, 0.580689),
    (1000, 0.751827),
    (10000, 1),
]


@pytest.mark.parametrize("curve", SIGNALS)
def test_signals_of_light_are_those_of_the_standard(curve):
    light, signal = np.array(SIGNALS[curve]).T
    assert curve(light) == pytest.approx(signal, abs=6e-7)


@pytest.mark.parametrize("curve", LIGHTS)
def test_light_of_signals_is_that_of_the_standard(curve):
    signal, light = np.array(LIGHTS[curve]).T
    assert curve(signal) == pytest.approx(light, abs=6e-7)


def test_pq_signals_of_luminances_are_those_of_st_2084():
    luminance, signal = np.array(PQ).T
    assert light_to_pq(luminance / PQ_PEAK) == pytest.approx(signal, abs=6e-7)
    assert pq_to_light([0.25, 0.5, 0.75]) * PQ_PEAK == pytest.approx([5.154176, 92.245709, 983.377856], abs=1e-5)


def test_bt1886_makes_the_luminances_of_its_annex():
    assert bt1886_to_light([0.5, 0.75], 100.0) == pytest.approx([18.946457, 50.135694], abs=1e-6)
    assert bt1886_to_light([0.0, 0.1, 0.5], 100.0, 0.1) == pytest.approx([0.1, 1.063786, 21.604911], abs=1e-6)


def test_bt1886_is_not_the_inverse_of_bt709():
    assert bt1886_to_light(light_to_rec709(0.18)) == pytest.approx(0.116992, abs=1e-6)


def test_one_stop_of_scene_light_is_not_one_stop_of_pq_display_light():
    """BT.2100 OOTF: at 26 cd/m2 its local exponent is 1.267422 (difference of the two slopes of signal)."""
    scene = float(pq_camera_to_light(light_to_pq(26 / PQ_PEAK)))
    ends = pq_to_light(light_to_pq_camera([scene * 0.999, scene * 1.001]))
    assert float(np.diff(np.log(ends))[0] / np.log(1.001 / 0.999)) == pytest.approx(1.267422, abs=1e-4)
    assert float(light_to_pq_camera(scene / 2)) == pytest.approx(0.380032 - 0.076424, abs=2e-6)  # "drop at 1 stop"


@pytest.mark.parametrize(
    ("back", "there"),
    [
        (srgb_to_light, light_to_srgb),
        (rec709_to_light, light_to_rec709),
        (bt1886_to_light, light_to_bt1886),
        (pq_to_light, light_to_pq),
        (pq_camera_to_light, light_to_pq_camera),
        (hlg_to_light, light_to_hlg),
    ],
)
def test_a_curve_and_its_inverse_give_back_the_light(back, there):
    light = np.geomspace(1e-4, 1.0, 200)
    assert back(there(light)) == pytest.approx(light, rel=1e-6)


def test_a_table_joins_its_rows_by_straight_lines():
    assert table_to_light([0.25, 0.75], [(0, 0), (0.5, 0.2), (1, 1)]) == pytest.approx([0.1, 0.6])


@pytest.mark.parametrize(("bits", "codes"), [(8, (16, 235)), (10, (64, 940)), (12, (256, 3760))])
def test_narrow_codes_of_black_and_white_are_signal_0_and_1(bits, codes):
    """BT.2100, table 9."""
    assert signal_of_code(codes, bits, "narrow") == pytest.approx([0.0, 1.0], abs=1e-12)
    assert signal_of_code([0, 2**bits - 1], bits) == pytest.approx([0.0, 1.0])
