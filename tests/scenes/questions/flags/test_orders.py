"""One flag is asked for one thing on one page, however many lights ask for it."""

from types import SimpleNamespace

from scenes.questions.flags.lights_text import joint_words
from scenes.questions.flags.text import set_lines


def flag(name, clear_deg):
    return SimpleNamespace(name=name, clear_deg=clear_deg, most_deg=120.0)


def light(*windows, pairs=()):
    return SimpleNamespace(windows=windows, pairs=pairs, reaches=True)


def window(flag, upto_deg):
    return SimpleNamespace(flag=flag, clear_deg=flag.clear_deg, upto_deg=upto_deg, opens=flag.clear_deg <= upto_deg)


def test_a_flag_that_two_lights_ask_for_is_set_where_both_are_kept_off():
    # 20.4 clears the frame; one light is off up to 31, the other up to 26 deg: both are off between 20.4 and 26.
    top = flag("top flag", 20.4)
    lights = [light(window(top, 31.0)), light(window(top, 26.0))]
    assert joint_words(lights) == "For all of these lights at once set the top flag between 20.4 and 26.0."
    assert joint_words(lights[:1]) == ""


def test_a_pair_that_shares_a_flag_with_another_light_is_reconciled_too():
    top, right = flag("top flag", 20.4), flag("right flag", 10.0)
    pair = SimpleNamespace(first=top, second=right, first_deg=24.0, second_deg=15.0, room_deg=3.6, opens=True)
    told = joint_words([light(window(top, 31.0)), light(pairs=[pair])])
    assert told == "For all of these lights at once set the top flag between 20.4 and 24.0."


def test_a_flag_that_has_to_be_opened_is_not_told_not_to_be_opened_in_the_same_breath():
    shut = SimpleNamespace(visible_deg=40.0, touch_most_deg=163.0, clear_deg=47.2, most_deg=163.3, folds_back=False, hinge=None)
    state = SimpleNamespace(
        limits=shut, focus_in_reach=False, plan=SimpleNamespace(lens_name="24", focus_mm=float("inf"), f_number=2.8)
    )
    asked = SimpleNamespace(
        states=[state], hopeless=(), set_deg=30.0, clear_deg=47.2, most_deg=163.3, bars=SimpleNamespace(thickness_mm=1.5)
    )
    shut.hinge = SimpleNamespace(clear_mm=6.0, farther_mm=0.6)
    asked.kept = lambda: asked
    lines = set_lines(asked)
    assert lines[0].endswith("open it to 47.2")
    assert not any("open it no farther" in line for line in lines)
