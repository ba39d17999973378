"""Words for made-up light: what counts is the search, the limits and the sentences."""

import numpy as np
import pytest

from geometry.body import Kind
from raytrace.beam.frame_margin import Margin, pessimistic_share
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.shares import Bound, Made, Shares, VignetteMap
from scenes.states.clear_rule import Limits, Word, word_for, worst_word
from scenes.verdicts.verdict import at_words, judge

GRID = PixelGrid(width_mm=40, height_mm=20, columns=20, rows=10)
FRAME = Guide(name="frame", half_width_mm=20, half_height_mm=10)
KINDS = (Kind.FLAG, Kind.MASK)
NAMES = ("left flag", "mask")


def light(share_of, *, stderr=0.0, bounds=(), alone=None):
    """Shares by a rule of (x, y): the first part takes what is missing."""

    def at(points_mm, _fine):
        share = np.asarray(share_of(*np.asarray(points_mm).T), dtype=np.float64) * np.ones(len(points_mm))
        return Shares(
            clear_share=share,
            glass=np.ones(len(share)),
            lens=np.ones(len(share)),
            blocked_by=np.where(share < 1, 0, -1).astype(np.int16),
            alone=np.column_stack([share, np.ones(len(share)) if alone is None else np.full(len(share), alone)]),
            stderr=np.where(share < 1, stderr, 0.0),
            part_names=NAMES,
            made=Made(engine="made up", bounds=bounds),
        )

    return at


def map_of(at):
    seen = at(GRID.points_mm, False)
    shape = (GRID.rows, GRID.columns)
    values = {name: getattr(seen, name).reshape(shape).astype(np.float32) for name in ("clear_share", "glass", "lens", "stderr")}
    by = seen.blocked_by.reshape(shape)
    return VignetteMap(
        x_mm=GRID.x_mm, y_mm=GRID.y_mm, **values, blocked_by=by, alone=np.zeros((0, *shape), np.float32), part_names=NAMES
    )


def verdict(*lights, guide=FRAME, limits=None):
    return judge(
        guide, shares_at=lights, maps=[map_of(at) for at in lights], kinds=KINDS, limits=limits or Limits(visible_loss_stops=0.1)
    )


@pytest.mark.parametrize(
    ("nothing", "stops", "margin", "word"),
    [
        (True, 0.0, 2.0, Word.CLEAR),
        (True, 0.0, 1.9, Word.TIGHT),
        (False, 0.02, 9.0, Word.TIGHT),
        (False, 0.1, 0.0, Word.TIGHT),
        (False, 0.11, 0.0, Word.SHADING),
        (False, 0.99, -5.0, Word.SHADING),
        (False, 1.0, -5.0, Word.IN_FRAME),
        (False, np.inf, -50.0, Word.IN_FRAME),
    ],
)
def test_each_word_has_its_limits(nothing, stops, margin, word):
    assert word_for(nothing, stops, margin, Limits(visible_loss_stops=0.1)) is word


def test_the_scene_sets_what_is_visible():
    assert word_for(False, 0.2, 5.0, Limits(visible_loss_stops=0.25)) is Word.TIGHT


def test_the_worst_word_wins():
    assert worst_word([Word.TIGHT, Word.IN_FRAME, Word.CLEAR]) is Word.IN_FRAME
    assert worst_word([]) is Word.CLEAR


def test_a_single_dark_corner_is_named_as_the_operator_sees_it():
    worst = verdict(light(lambda x, y: np.where((x < -19.9) & (y < -9.9), 0.5, 1.0))).worst
    assert (worst.where, worst.x_mm, worst.y_mm) == ("bottom left", -20, -10)
    assert worst.blame.part == "left flag"


def test_of_two_places_without_light_the_one_that_reaches_further_into_the_frame_is_named():
    worst = verdict(light(lambda x, _y: np.where((x < -18) | (x > 6), 0.0, 1.0))).worst
    assert worst.where == "right"
    assert 6.0 < worst.x_mm <= 6.0 + 20.0 / 1024  # black begins 6 mm out: looked for to a thousandth of half the guide, 20 mm


@pytest.mark.parametrize(
    ("rule", "where"),
    [
        (lambda x, y: np.where((abs(x) > 19) & (y > 9), 0.5, 1.0), "both top corners"),
        (lambda x, y: np.where((abs(x) > 19) & (abs(y) > 9), 0.5, 1.0), "all corners"),
        (lambda x, y: np.where((x > 19) & (abs(y) > 9), 0.5, 1.0), "both right corners"),
        (lambda x, y: np.where((x < -19) & (abs(y) > 9), 0.995, 1.0), "both left corners"),  # 0.007 stop; nothing on the right
        (lambda x, y: np.where((abs(x) > 19) & (abs(y) > 9), np.where(x < 0, 0.995, 0.996), 1.0), "all corners"),
        (lambda x, y: np.where((x < -19) & (abs(y) < 2), 0.5, 1.0), "left"),
        (lambda x, y: np.where((abs(x) < 2) & (abs(y) < 2), 0.5, 1.0), "centre"),
    ],
)
def test_places_are_named_together_where_they_fare_alike(rule, where):
    assert verdict(light(rule)).worst.where == where


def test_errors_widen_the_answer():
    loss = light(lambda x, _: np.where(x > 15, 0.96, 1.0))  # 0.06 stop
    noisy = light(lambda x, _: np.where(x > 15, 0.96, 1.0), stderr=0.03)  # 0.06 +- 0.05: 2 sigma reach 0.15 stop
    bound = light(lambda x, _: np.where(x > 15, 0.96, 1.0), bounds=(Bound(what="chords", size=0.05, unit="share"),))
    assert [verdict(at).word for at in (loss, noisy, bound)] == [Word.TIGHT, Word.SHADING, Word.SHADING]


def test_bounds_in_other_units_are_no_share():
    at = light(lambda x, _: np.where(x > 0, 0.9, 1.0), bounds=(Bound(what="chords", size=0.5, unit="mm"),))
    assert pessimistic_share(at(np.array([[1.0, 0.0], [-1.0, 0.0]]), True)).tolist() == [0.9, 1.0]


def test_the_worst_of_the_pupil_depths_counts_and_both_are_told():
    mild, hard = (light(lambda x, _, s=share: np.where(x > 19, s, 1.0)) for share in (0.9, 0.7))
    found = verdict(mild, hard)
    worst = found.worst
    assert found.pupil == 1
    assert worst.loss_stops == pytest.approx(-np.log2(0.7))
    assert worst.range_stops == pytest.approx((-np.log2(0.9), -np.log2(0.7)))


def test_other_parts_that_would_shade_alone_are_listed():
    found = verdict(light(lambda x, _: np.where(x > 19, 0.5, 1.0), alone=0.8))
    assert [(other.part, round(other.alone_stops, 3)) for other in found.worst.others] == [("mask", 0.322)]  # -log2(0.8)
    assert found.next_step == "take the left flag out of the light"


def test_a_tight_frame_says_what_not_to_move_and_what_to_confirm():
    at = light(lambda x, _: np.ones_like(x))
    found = judge(FRAME, **asked(at), margin=Margin(percent=1.0, part=0, where="top right"))
    assert found.word is Word.TIGHT
    assert found.next_step == "do not bring the left flag any further in, and confirm the top right corner on the test shoot"


def test_a_part_that_nobody_can_bring_in_is_not_what_the_advice_moves():
    at = light(lambda x, _: np.ones_like(x))
    made = asked(at) | {"kinds": [Kind.TRAY] * len(asked(at)["kinds"])}
    found = judge(FRAME, **made, margin=Margin(percent=1.0, part=0, where="top right"))
    assert found.next_step.startswith("the left flag only just clears the top right corner: leave box and lens as they are")


def test_a_thin_part_between_the_pixels_is_found_round_the_place_in_doubt():
    # A dark streak 0.2 mm wide between pixels that are 2 mm apart; the place in doubt is 0.3 mm beside it.
    at = light(lambda x, y: np.where((np.abs(x - 7.1) < 0.1) & (np.abs(y) < 1.0), 0.5, 1.0))
    assert judge(FRAME, **asked(at)).word is Word.CLEAR
    found = judge(FRAME, **asked(at), doubtful_mm=np.array([[7.4, 0.2]]))
    assert found.worst.loss_stops == pytest.approx(1.0)


def asked(at):
    return {"shares_at": [at], "maps": [map_of(at)], "kinds": KINDS, "limits": Limits(visible_loss_stops=0.1)}


def test_a_clear_frame_asks_for_nothing():
    assert verdict(light(lambda x, _: np.ones_like(x))).next_step == ""


def test_a_next_step_is_the_remedy_where_that_is_known():
    at = light(lambda x, _: np.where(x > 19, 0.5, 1.0))
    assert (
        judge(FRAME, **asked(at), remedy=lambda: "open the left flag by 7 degrees").next_step == "open the left flag by 7 degrees"
    )


@pytest.mark.parametrize(
    ("where", "words"),
    [("top right", "the top right corner"), ("left", "the left edge"), ("centre", "the centre"), ("all corners", "all corners")],
)
def test_places_read_as_words(where, words):
    assert at_words(where) == words
