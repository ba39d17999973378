"""What a loss shows as on the waveform, against values computed with colour-science 0.4.7 from the standards' formulas."""

import math
from dataclasses import replace

import pytest

from scenes.questions.plan.expected import expected, signal_percent
from scenes.questions.plan.report import again_words
from scenes.scene_file.tables.plan import Plan
from scenes.stills.transfer import FROM_LIGHT, TO_LIGHT, code_of_signal
from scenes.verdicts.verdict import TraysEmpty

# Grey 18 %; HLG with diffuse white at 75 %, PQ with grey at 26 cd/m2 (ITU-R BT.2408): percent, drops at 1/10, 1/3, 1 and 2 stops.
DROPS = {
    "linear": (18.0, 1.2054, 3.7134, 9.0, 13.5),
    "srgb": (46.1356, 1.4700, 4.7392, 12.9526, 22.6561),
    "rec709": (40.9008, 1.5601, 5.0166, 13.6124, 23.5773),
    "bt1886": (48.9437, 1.3933, 4.4921, 12.2774, 21.4750),
    "hlg": (37.8259, 1.2885, 4.1269, 11.0789, 18.9129),
    "pq": (38.0032, 0.6149, 2.0309, 5.9258, 11.3225),
}
STOPS = (0.1, 1 / 3, 1.0, 2.0)
# 10-bit codes in narrow range at 0, 1/10, 1/3 and 1 stop, BT.2100 table 9.
CODES = {
    "linear": (222, 211, 189, 143),
    "srgb": (468, 455, 427, 355),
    "rec709": (422, 409, 378, 303),
    "hlg": (395, 384, 359, 298),
    "pq": (397, 392, 379, 345),
    "pq-camera": (397, 390, 374, 330),
}


@pytest.mark.parametrize("curve", DROPS)
def test_grey_drops_by_as_much_percent_as_the_standards_say(curve):
    grey, *drops = DROPS[curve]
    assert signal_percent(curve, 0.0) == pytest.approx(grey, abs=1e-4)
    assert [grey - signal_percent(curve, stops) for stops in STOPS] == pytest.approx(drops, abs=2e-4)


def test_a_stop_of_scene_light_is_more_of_pq_than_a_stop_of_display_light():
    bare = signal_percent("pq-camera", 0.0)
    assert bare == pytest.approx(38.0032, abs=1e-4)
    drops = [bare - signal_percent("pq-camera", stops) for stops in (0.1, 1 / 3, 1.0)]
    assert drops == pytest.approx([0.7807, 2.5886, 7.6424], abs=2e-4)


@pytest.mark.parametrize("curve", CODES)
def test_codes_are_those_of_the_standard(curve):
    plan = Plan(curve=curve)
    found = [expected(plan, stops, stops, stops).dark.code for stops in (0.0, 0.1, 1 / 3, 1.0)]
    assert found == list(CODES[curve])


@pytest.mark.parametrize(("bits", "codes"), [(8, (16, 126, 235)), (10, (64, 502, 940)), (12, (256, 2008, 3760))])
def test_black_half_and_white_are_the_standards_codes(bits, codes):
    assert tuple(code_of_signal([0.0, 0.5, 1.0], bits)) == codes  # BT.709-6, BT.2100-3 table 9


def test_halves_of_a_code_go_up():
    assert code_of_signal(3 / 32, 12) == 585  # 584.5, exact in binary: round() to even would say 584


@pytest.mark.parametrize("curve", FROM_LIGHT)
def test_each_curve_undoes_its_inverse(curve):
    light = [0.001, 0.01, 0.05, 0.18, 0.5]
    assert list(TO_LIGHT[curve](FROM_LIGHT[curve](light))) == pytest.approx(light, rel=1e-6)


def test_no_light_at_all_is_black():
    found = expected(Plan(curve="rec709"), math.inf, math.inf, math.inf)
    assert (found.dark.percent, found.dark.code) == (0.0, 64)
    assert found.least.percent == 0.0


def test_the_band_holds_both_ends_the_errors_and_the_reading():
    plan = Plan(curve="rec709", reading_percent=1.0)
    found = expected(plan, 0.0, 1 / 3, 1.0)
    assert found.most.percent == pytest.approx(40.9008 + 1.0, abs=1e-3)
    assert found.dark.percent == pytest.approx(40.9008 - 5.0166, abs=1e-3)
    assert found.least.percent == pytest.approx(40.9008 - 13.6124 - 1.0, abs=1e-3)


def test_the_shot_with_the_trays_empty_says_what_the_waveform_reads():
    # A third of a stop under BT.709, as above; the code of BT.709 in 10-bit narrow range is 64 + 876 E'.
    empty = TraysEmpty(room_mm=-1.2, part="front tray", where="bottom left", enough=False, loss_stops=1 / 3, filters=1)
    told = again_words(empty, Plan(curve="rec709"))
    assert told.startswith(
        "Then take the filter out, bring the middle back and read it again: "
        "expect up to 0.33 stop less light, down to 35.9 % (code 378; as predicted from 34.9 to 41.9 %)"
    )
    assert "(code" not in again_words(replace(empty, room_mm=0.3, loss_stops=0.0), Plan())
