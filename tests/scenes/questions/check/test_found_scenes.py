"""Scenes whose light an independent ray caster found otherwise than told: straight lines and Snell's law, up to 65536 rays a place.

The scenes in tests/data/found are invented. Losses and scales in the tests are the caster's.
"""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from raytrace.beam.frame_margin import scaled
from scenes.runtime.engines import engine_of
from scenes.states.clear_rule import LOSING_NOTHING, Limits, Word
from scenes.states.judgement import judge_state, judgement_of
from scenes.states.load import load_scene, plans_of
from scenes.verdicts.check import check_state

FOUND = Path(__file__).parents[3] / "data" / "found"
NAMES = sorted(path.stem for path in FOUND.glob("*.toml"))


@cache
def state_of(name, number=0):
    return plans_of(load_scene(FOUND / f"{name}.toml"))[number]


def checked(state):
    limits = Limits(visible_loss_stops=state.visible_loss_stops)
    return check_state(state, engine_of("coverage"), columns=None, limits=limits)[0]


@cache
def result_of(name, number=0):
    return checked(state_of(name, number))


@pytest.mark.parametrize(
    ("name", "loss_stops", "word"),
    [
        ("worst-place-201194", 0.17, Word.SHADING),
        ("worst-place-201265", 1.4207, Word.IN_FRAME),  # an independent ray caster, two million rays at the place told
        ("worst-place-333", 0.106, Word.SHADING),
        ("worst-place-420000413", 1.1335, Word.IN_FRAME),  # a small stop: 0.02 mm beside it 1.10; a million rays
        ("worst-place-710001811", 3.4598, Word.IN_FRAME),  # 0.013 mm beside it 3.17; two million rays
        ("clear-only-with-filters-out", 0.27, Word.SHADING),
    ],
)
def test_the_darkest_place_is_found_between_the_pixels(name, loss_stops, word):
    result = result_of(name)
    assert result.word is word
    assert result.blamed.worst.loss_stops == pytest.approx(loss_stops, abs=0.015)


def test_the_darkest_place_of_a_flag_between_the_pixels_is_told_where_it_is():
    worst = result_of("worst-place-201194").blamed.worst
    assert (worst.x_mm, worst.y_mm) == pytest.approx((-18.7, -0.1), abs=0.15)


@pytest.mark.parametrize(
    ("name", "percent"),
    [("margin-narrow-flag", 0.77), ("margin-narrow-flag-2", 0.19), ("margin-5618", 1.89), ("margin-2410", 1.87)],
)
def test_no_narrow_flag_is_stepped_over_as_the_frame_grows(name, percent):
    result = result_of(name)
    (judged,) = (judgement_of(state_of(name), guide) for guide in state_of(name).guides if guide.name == result.blamed.guide)
    assert judged.margin.percent == pytest.approx(percent, abs=0.05)
    assert result.blamed.margin.percent in (judged.margin.percent, 0.0)  # 0 beside the fault of a part that stands in a filter
    assert result.blamed.word is Word.TIGHT


@pytest.mark.parametrize("name", ["margin-narrow-flag", "margin-narrow-flag-2", "margin-5618", "margin-2410"])
def test_nothing_is_lost_at_the_edge_of_a_frame_as_wide_as_its_margin_says(name):
    state, engine = state_of(name), engine_of("coverage")
    for guide, verdict in zip(state.guides, result_of(name).guides, strict=True):
        rim_mm = scaled(guide, 1.0 + 0.99 * verdict.margin.percent / 100.0).rim_points_mm(41)
        for lens in state.variants:
            assert engine.shares(lens, rim_mm, state.box, seed=1, fine=False).clear_share.min() >= 1.0 - 1e-6


def test_a_clearance_is_the_least_distance_in_space():
    # brute force: every ray against every triangle of the part, refined round the nearest
    rooms = {part.name: part.clearance_mm for part in result_of("clearance-in-space").parts}
    found = [rooms[name] for name in ("top flag", "top flag extension", "right flag", "right flag extension")]
    assert sorted(found) == pytest.approx([7.4, 17.7, 20.2, 42.1], abs=0.2)


def test_light_from_inside_the_frame_that_reaches_farther_than_that_of_its_edge_counts():
    (mask,) = [part for part in result_of("walk-shrinks").parts if part.kind == "mask"]
    assert mask.clearance_mm == pytest.approx(-1.6, abs=0.15)
    assert result_of("walk-shrinks").word is not Word.CLEAR


def test_a_frame_that_is_clear_only_with_its_filters_in_is_not_called_clear_and_says_so():
    guide = result_of("clear-only-with-filters").blamed
    assert guide.word is Word.TIGHT
    assert guide.trays_empty.loss_stops == pytest.approx(0.27, abs=0.01)
    assert not guide.trays_empty.enough
    assert "with the trays empty the mask stands 1.7 mm in the beam" in guide.next_step


@pytest.mark.parametrize("name", ["overlap-1771", "overlap-585"])
def test_a_box_whose_parts_stand_in_its_glass_is_never_clear(name):
    result = result_of(name)
    assert result.word is not Word.CLEAR
    assert any(note.doubts_light for note in result.notes)


def test_a_remedy_that_is_said_to_be_enough_is_enough_when_it_is_done():
    state = state_of("advice-not-enough", 1)
    result = checked(state)
    step = result.blamed.next_step
    assert {"front tray", "wide mask", "right flag"} <= {part.name for part in result.parts if part.name in step}
    assert ": then clear, " in step
    assert checked(as_advised(state, step)).word is Word.CLEAR


def as_advised(state, step):
    """The state with every size and angle that its next step names."""
    (mask,), (tray,) = (
        re.findall(r"cut-out of at least (\d+) x (\d+) mm", step),
        re.findall(r"stage of at least (\d+) x (\d+)", step),
    )
    (angle,) = re.findall(r"right flag to (\d+) degrees", step)
    box = state.fitted
    masks = tuple(one.model_copy(update={"opening_mm": tuple(map(float, mask))}) for one in box.mask)
    stages = tuple(
        one.model_copy(update={"opening_mm": tuple(map(float, tray))}) if one.name == "front tray" else one for one in box.stage
    )
    flags = tuple(one.model_copy(update={"angle_deg": float(angle)}) if one.name == "right flag" else one for one in box.flag)
    fitted = box.model_copy(update={"mask": masks, "stage": stages, "flag": flags})
    assembly, built = state.rebuilt(fitted)
    return replace(state, fitted=fitted, assembly=assembly, box=built)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_a_frame_may_grow_just_where_every_part_has_room(name):
    for judged in judge_state(state_of(name)).fitted:
        assert (judged.room_mm > 0.0) == (judged.margin.percent > 0.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_one_number_is_told_for_the_room_of_the_nearest_part(name):
    """None at all where a part stands in glass: the room that was worked out is of rays that go no such way."""
    result = result_of(name)
    if any(note.in_glass for note in result.notes):
        assert [one.room_mm for one in result.guides] == [None] * len(result.guides)
        assert {part.clearance_mm for part in result.parts} == {None}
        assert result.word is not Word.CLEAR
        return
    least = min(part.clearance_mm for part in result.parts)
    assert min(guide.room_mm for guide in result.guides) == pytest.approx(least, abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_what_is_judged_clear_loses_no_ray(name):
    state = state_of(name)
    if not judge_state(state).clear:
        assert result_of(name).word is not Word.CLEAR or len(state.guides) > 1
        return
    assert result_of(name).word in LOSING_NOTHING
    for guide in state.guides:
        points_mm = np.concatenate([guide.rim_points_mm(9), guide.corners_mm()])
        for lens in state.variants:
            seen = engine_of("reference").shares(lens, points_mm, state.box, seed=3, fine=False)
            assert seen.clear_share.min() == 1.0
