"""A lens between its states: against similar triangles for a field that is widest at a focus in between."""

import json
import math
from itertools import pairwise

import numpy as np
import pytest
from click.testing import CliRunner

from scenes.questions.check.command import command as check
from scenes.states.judgement import judge_state
from scenes.states.lens_judgement import FocusSpan, LensJudgement, Shown, at_focus, lens_judgements, rounded_limits
from scenes.states.load import load_scene, plans_of

# A pupil whose walk is known, so that no room is asked for but 2 % of the frame; rows that state a field widest at the middle one.
SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [360, 240]
[[lens]]
name = "a"
focal_mm = 30
f_number = 4
front_diameter_mm = 120
front_to_sensor_mm = 150
close_focus_mm = 600
pupil_walk = [[0, 40, 1, 1], [80, 40, 1, 1]]
[[lens.state]]
focus_mm = "infinity"
half_field_deg = 31
[[lens.state]]
focus_mm = 1200
half_field_deg = {middle}
[[lens.state]]
focus_mm = 600
half_field_deg = 31
[box]
[[box.mask]]
at_mm = 60
thickness_mm = 1
opening_mm = [{width}, 400]
[check]
focus_mm = ["infinity", "close"]
"""
ROOMY = 1.02


def half_width_mm(field_deg, focus_mm, scale=ROOMY, z_mm=61.0):
    """Half the beam's width in a plane: the edge of the field from a pupil 40 mm behind the front, and what is left of the pupil.

    Rays of a field point run from the pupil's rim to its place in the plane in focus, so they converge toward that plane: similar
    triangles. A pupil whose walk states sizes of 1 is as wide square to its middle ray.
    """
    slope = math.tan(math.radians(field_deg)) * scale
    left = 1.0 - (z_mm + 40.0) / (focus_mm - 150.0 + 40.0) if math.isfinite(focus_mm) else 1.0
    return slope * (z_mm + 40.0) + 30 / 4 / 2 * math.hypot(1.0, slope) * left


@pytest.fixture
def show(tmp_path):
    def loaded(middle, width):
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format(middle=middle, width=width))
        return load_scene(path)

    return loaded


def test_a_focus_between_that_is_worse_than_both_ends_is_found_and_told(show):
    ends = max(half_width_mm(31, math.inf), half_width_mm(31, 600))
    middle = half_width_mm(34, 1200)
    width = ends + middle  # half way between what the ends ask for and what the middle asks for
    plans = plans_of(show(34, width))
    assert all(judge_state(plan).clear for plan in plans)
    (found,) = lens_judgements(plans)
    assert [span.shown for span in found.spans] == [Shown.CLEAR, Shown.NOT_CLEAR, Shown.CLEAR]
    assert found.spans[0].near_mm > 1200 > found.spans[2].far_mm
    assert not found.clear
    assert found.words.startswith("clear from infinity to ")
    assert found.words.endswith(" to 0.60 m")


GUESSED = (
    SCENE[: SCENE.index("[[lens.state]]")]
    .replace("focal_mm = 30\nf_number = 4", "focal_mm = 50\nf_number = 32")
    .replace("close_focus_mm = 600", "close_focus_mm = 360")
    + SCENE[SCENE.index("[box]") :]
)


def guessed_half_width_mm(distance, z_mm=61.0):
    """The same with the field of a thin lens: focused at D by moving it, it sees as F = f + m (2 f - c) + f m^2 does.

    D = f (2 + m + 1/m), c from pupil to sensor (docs/physics.md, "Finite focus"); never narrower than at infinity.
    """
    m = 0.0
    if math.isfinite(distance):
        b = distance / 50 - 2
        m = 2 / (b + math.sqrt(b * b - 4))
    slope = 18 / min(50 + m * (100 - 110) + 50 * m * m, 50) * ROOMY
    left = 1.0 - (z_mm + 40.0) / (distance - 110.0) if math.isfinite(distance) else 1.0
    return slope * (z_mm + 40.0) + 50 / 32 / 2 * math.hypot(1.0, slope) * left


def test_a_guessed_field_that_is_widest_between_two_states_is_found_where_no_row_names_its_focus(tmp_path):
    ends = max(guessed_half_width_mm(math.inf), guessed_half_width_mm(360))
    worst = max(guessed_half_width_mm(distance) for distance in range(400, 2000, 10))
    assert worst > ends + 0.15
    path = tmp_path / "scene.toml"
    path.write_text(GUESSED.format(width=ends + worst))
    plans = plans_of(load_scene(path))
    assert all(judge_state(plan).clear for plan in plans)
    (found,) = lens_judgements(plans)
    assert [span.shown for span in found.spans] == [Shown.CLEAR, Shown.NOT_CLEAR, Shown.CLEAR]
    for span, low, high in ((found.spans[0], 700, 3500), (found.spans[1], 360, 600)):
        assert low <= span.near_mm <= high
        assert guessed_half_width_mm(span.near_mm) == pytest.approx((ends + worst) / 2, abs=0.05)


def test_where_the_middle_fits_too_the_whole_range_is_shown_to_be_clear(show):
    width = 2 * half_width_mm(34, 1200) + 0.6
    (found,) = lens_judgements(plans_of(show(34, width)))
    assert found.clear
    assert found.words == "clear from infinity to 0.60 m"


def test_the_focus_at_which_it_stops_being_clear_is_that_of_similar_triangles(show):
    # The field runs straight in 1 / distance between rows, as rows do.
    width = 2 * half_width_mm(33, 1200)  # clear where the stated field is no wider than about 33 of 34 deg
    (found,) = lens_judgements(plans_of(show(34, width)))
    edge_mm = found.spans[0].near_mm

    def reach(distance):
        share = (1 / distance) / (1 / 1200)
        return half_width_mm(31 + 3 * share, distance)

    assert reach(edge_mm) == pytest.approx(width / 2, abs=0.15)


def test_what_is_shown_clear_is_clear_at_random_settings(show):
    (found,) = lens_judgements(plans := plans_of(show(34, 2 * half_width_mm(33, 1200))))
    rng = np.random.default_rng(5)
    for span in found.spans:
        for share in rng.uniform(0, 1, 6):
            inverse = (1 - share) / span.far_mm + share / span.near_mm
            if inverse > 0 and span.shown is Shown.CLEAR:
                assert judge_state(at_focus(plans[0], 1 / inverse)).clear


def test_a_lens_in_the_way_at_every_focus_is_told_so(show):
    (found,) = lens_judgements(plans_of(show(34, half_width_mm(31, math.inf))))
    assert found.words == "not clear from infinity to 0.60 m"


def test_a_plane_in_focus_in_the_box_is_never_clear(tmp_path):
    # The plane in focus at 210 mm stands 60 mm ahead of the front, and the mask reaches from 60 to 61 mm.
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(middle=31, width=300).replace("600", "210"))
    (found,) = lens_judgements(plans_of(load_scene(path)))
    assert found.spans[-1].shown is Shown.NOT_CLEAR
    assert found.spans[-1].near_mm == 210


def test_check_tells_each_lens_between_its_states_on_its_page_and_in_its_json(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(middle=34, width=half_width_mm(31, 600) + half_width_mm(34, 1200)))
    told = CliRunner().invoke(check, [str(path), "--pixels", "16", "--json"], standalone_mode=False)
    (lens,) = json.loads(told.stdout)["lenses"]
    assert not lens["clear"]
    assert [span["shown"] for span in lens["spans"]] == ["clear", "not clear", "clear"]
    page = CliRunner().invoke(check, [str(path), "--pixels", "16"], standalone_mode=False).stdout
    assert f"a: {lens['says']}" in " ".join(page.split())
    without = CliRunner().invoke(check, [str(path), "--pixels", "16", "--no-range", "--json"], standalone_mode=False)
    assert json.loads(without.stdout)["lenses"] == []


@pytest.mark.parametrize(("asked", "words"), [(4, ""), (8, "wider than f/8, up to f_number = 4, not looked at")])
def test_a_clear_lens_says_up_to_which_stop_it_was_not_looked_at(tmp_path, asked, words):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(middle=31, width=400) + f"f_numbers = [{asked}]\n")
    (found,) = lens_judgements(plans_of(load_scene(path)))
    assert (found.clear, found.wider_words) == (True, words)


def told_of(*spans):
    """The words of spans (focal length, far, near [mm], what is shown)."""
    made = [FocusSpan(focal_mm=focal, far_mm=far, near_mm=near, shown=shown) for focal, far, near, shown in spans]
    return LensJudgement(lens=None, spans=tuple(made)).words


def test_focal_lengths_that_fare_alike_are_told_together_and_many_by_their_number():
    clear, not_clear = Shown.CLEAR, Shown.NOT_CLEAR
    zoom = [(17 + k, math.inf, 600, not_clear if k < 2 else clear) for k in range(9)]
    far = "from infinity to 0.60 m"
    assert told_of(*zoom) == f"at 17 and 18 mm not clear {far}; at 7 focal lengths from 19 to 25 mm clear {far}"
    assert told_of(*zoom[2:4]) == f"clear {far}, at 19 and 20 mm"
    assert told_of(zoom[0], *zoom[7:], zoom[1]).startswith(f"at 17 mm not clear {far}; at 24 and 25 mm clear {far}; at 18 mm")


def test_the_ends_of_a_span_never_read_alike():
    spans = [(24, math.inf, 303.1, Shown.CLEAR), (24, 303.1, 300, Shown.NOT_CLEAR)]
    assert told_of(*spans) == "clear from infinity to 0.303 m, not clear from 0.303 m to 0.300 m"
    assert told_of(spans[0], (24, 303.1, 200, Shown.NOT_CLEAR)) == "clear from infinity to 0.30 m, not clear from 0.30 m to 0.20 m"


CLEAR, DOUBT, NOT = Shown.CLEAR, Shown.IN_DOUBT, Shown.NOT_CLEAR


@pytest.mark.parametrize(
    ("spans", "words"),
    [
        # as a zoom had it: in doubt as far as no scale on a lens goes, clear from there on
        (
            [(24, math.inf, 2_457_600, DOUBT), (24, 2_457_600, 76_800, CLEAR), (24, 76_800, 3000, NOT)],
            (
                "clear at each focus tried from infinity to 100 m, but by so little that those between them are not proven, "
                "clear from 100 m to 77 m, not clear from 77 m to 3.00 m"
            ),
        ),
        ([(24, math.inf, 2_457_600, CLEAR), (24, 2_457_600, 600, NOT)], "not clear from infinity to 0.60 m"),
        (
            [(24, math.inf, 2_457_600, NOT), (24, 2_457_600, 600, CLEAR)],
            "not clear from infinity to 100 m, clear from 100 m to 0.60 m",
        ),
        ([(24, math.inf, 12_300, CLEAR), (24, 12_300, 600, NOT)], "clear from infinity to 13 m, not clear from 13 m to 0.60 m"),
        ([(24, math.inf, 12_300, NOT), (24, 12_300, 600, CLEAR)], "not clear from infinity to 12 m, clear from 12 m to 0.60 m"),
        ([(24, math.inf, 9_930, CLEAR), (24, 9_930, 600, NOT)], "clear from infinity to 9.93 m, not clear from 9.93 m to 0.60 m"),
        ([(24, math.inf, 12_500, CLEAR)], "clear from infinity to 12.50 m"),
    ],
)
def test_limits_of_focus_are_told_as_distances_that_can_be_set(spans, words):
    assert told_of(*spans) == words


def test_no_rounding_of_limits_calls_a_focus_clearer_than_it_is():
    rng = np.random.default_rng(4)
    rank = [NOT, DOUBT, CLEAR]
    for _ in range(300):
        limits = [math.inf, *np.sort(10 ** rng.uniform(3, 7, rng.integers(1, 6)))[::-1].tolist(), 900.0]
        shown = [rank[k] for k in rng.integers(0, 3, len(limits) - 1)]
        spans = [
            FocusSpan(focal_mm=24, far_mm=a, near_mm=b, shown=one) for a, b, one in zip(limits, limits[1:], shown, strict=False)
        ]
        told = rounded_limits(spans)
        assert told[0].far_mm == math.inf
        assert told[-1].near_mm == 900.0
        assert all(one.near_mm == two.far_mm for one, two in pairwise(told))
        for focus_mm in (1e9, *10 ** rng.uniform(2.96, 7, 200)):
            ((real,), (said,)) = ([one.shown for one in some if one.far_mm > focus_mm >= one.near_mm] for some in (spans, told))
            assert rank.index(said) <= rank.index(real)
