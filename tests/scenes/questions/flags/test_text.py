"""The first sentence of `flags`: an angle is named only where it keeps every state clear, and with how far out it may go."""

import math
from types import SimpleNamespace

import pytest

from geometry.frame import Side
from scenes.changes.flag_summaries import FlagState, FlagSummary, Limits
from scenes.questions.flags.text import answer_words


def flag(set_deg, *spans, hopeless=0):
    """A flag with a state for each (least, most) angle, and some that no angle clears."""
    every = [*spans, *[(math.inf, 180.0)] * hopeless]
    states = tuple(
        FlagState(
            flag=None,
            plan=SimpleNamespace(label=None, lens_name="21", is_zoom=False, focal_mm=21.0, focus_mm=math.inf, f_number=2.0),
            limits=Limits(clear_deg=least, touch_deg=least, touch=None, visible_deg=least, most_deg=most),
            bare=None,
        )
        for least, most in every
    )
    return FlagSummary(name="top flag", side=Side.TOP, set_deg=set_deg, bars=None, states=states)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (flag(40, (30.0, 180.0), (35.0, 180.0)), "in every state: top flag 35.0 deg (set to 40)."),
        (flag(20, (30.0, 180.0)), "in every state: top flag 30.0 deg (set to 20; open it to 30.0)."),
        (flag(40, (-math.inf, 180.0)), "in every state: top flag at any angle."),
        (flag(40, (-math.inf, 95.0)), "in every state: top flag at any angle up to 95.0 deg."),
        (flag(99, (-math.inf, 95.0)), "top flag at any angle up to 95.0 deg (set to 99; bring it in to 95.0)."),
        (flag(40, (30.0, 95.0)), "top flag 30.0 deg up to 95.0 deg (set to 40)."),
        (flag(40, (30.0, 180.0), (-math.inf, 20.0)), "in every state: top flag at no one angle."),
        (flag(40, hopeless=1), "clear of the flag: top flag at no angle."),
    ],
)
def test_the_first_sentence_names_no_angle_that_darkens_a_state(given, said):
    assert answer_words([given]).endswith(said)


def test_states_that_no_angle_clears_are_left_out_of_every_and_told_once_of_all_flags():
    words = answer_words([flag(40, (30.0, 180.0), hopeless=1)] * 2)
    assert words.count("in every state but ") == 1
    assert words.endswith("top flag 30.0 deg (set to 40), top flag 30.0 deg (set to 40).")
    apart = answer_words([flag(40, (30.0, 180.0), hopeless=1), flag(40, (30.0, 180.0))])
    assert "in every state" not in apart
    assert "top flag 30.0 deg (set to 40, all but " in apart
