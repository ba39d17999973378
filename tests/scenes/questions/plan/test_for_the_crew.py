"""What a crew needs of a plan without asking: held against closed forms, hand counts and the engine with another field."""

import io
import math
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from pypdf import PdfReader

from raytrace.optics.camera import PixelGrid, whole_frame
from raytrace.shares import VignetteMap
from scenes.questions.plan.bring import bring_lines, card_mm
from scenes.questions.plan.dark_places import dark_places
from scenes.questions.plan.expected import expected, signal_percent
from scenes.questions.plan.looked_at import judged
from scenes.questions.plan.reading_tells import narrower_reading
from scenes.questions.plan.readings import rows_of_shot
from scenes.questions.plan.setups import setups_of
from scenes.questions.plan.spots import spots_of
from scenes.questions.plan.words import box_line, chart_rows, look_words, reading_words, to_change
from scenes.states.load import load_scene, plans_of
from scenes.verdicts.test_plan import shot_of as shot_of_result
from tests.scenes.questions.check.test_results_json import guide
from tests.scenes.questions.plan.weir import SCENE


@pytest.fixture(scope="module")
def page(papers):
    class Words(HTMLParser):
        def __init__(self):
            super().__init__()
            self.words, self.style = [], False

        def handle_starttag(self, tag, attrs):  # noqa: ARG002 - as HTMLParser calls it
            self.style = tag in {"style", "script"}

        def handle_data(self, data):
            self.words += [] if self.style else [data]

    parser = Words()
    parser.feed(papers["plan.html"].decode())
    return " ".join(" ".join(parser.words).split())


@pytest.fixture(scope="module")
def paper(papers):
    return " ".join(" ".join(one.extract_text() for one in PdfReader(io.BytesIO(papers["plan.pdf"])).pages).split())


def shot_of(made, lens, focus_mm):
    return next(shot for shot in made.plan.shots if (shot.lens_name, shot.focus_mm) == (lens, focus_mm))


def test_the_box_s_place_is_told_for_every_set_up_with_the_focus_it_is_measured_at_and_what_the_front_leaves_of_it(
    made, page, paper
):
    lines = {station.setup.lens: box_line(station) for station in made.plan.stations}
    place = "rear face of the back plate 7 mm ahead of the lens front, centre 1.5 mm below the lens axis"
    assert lines["long"] == f"Box: {place}; measured with the lens at infinity"
    assert (
        lines["near"]
        == f"Box: {place}; measured with the lens at infinity; its front comes out 3 mm by focus 450 mm, which leaves 4 mm"
    )
    assert all(line in page and line in paper for line in lines.values())
    assert all("7 mm ahead" in row[1] and "infinity" in row[1] for row in chart_rows(made.plan))


def test_a_box_on_rods_is_slid_for_a_lens_of_another_length(made):
    second = made.plan.stations[1]
    # [plan.minutes]: a lens 6, a slide 2, two flags and a mask 1 each
    assert second.change.minutes == 6 + 2 + 3
    setups = setups_of([shot.plan for shot in made.plan.shots])
    assert setups["near"].from_sensor_mm - setups["long"].from_sensor_mm == 178 - 150


def test_every_reading_that_is_asked_for_has_a_blank(made, papers):
    fields = PdfReader(io.BytesIO(papers["plan.pdf"])).get_fields()
    html = papers["plan.html"].decode()
    for shot in made.plan.shots:
        rows = rows_of_shot(shot)
        named = [key for row in rows for key in row.blanks if key]
        corners = max(len(shot.map.spots), 1)
        assert {"off", "reads", "middle"} <= set(named)
        assert ("out" in named) == bool(shot.again)
        assert sum(key.startswith("reads") for key in named) == corners
        assert len(set(named)) == len(named)
        for key in named:
            assert f"shot_{shot.number:02}_{key}" in fields
            assert f'name="shot_{shot.number:02}_{key}"' in html
    assert all(f"setup_{station.number:02}_box" in fields for station in made.plan.stations)


def test_measuring_begins_with_what_a_change_waits_for_and_goes_on_lens_by_lens_as_the_shoot_does(made):
    names = [station.setup.lens for station in made.plan.stations]
    first, *rest = made.plan.measures
    assert (first.kind, first.who) == ("field", "near")
    assert any("near" in one and "first measure the field" in one for one in to_change(made.plan))
    asked = [one.who for one in rest if one.who in names]
    assert len(set(asked)) == 2
    assert asked == sorted(asked, key=names.index)


def test_what_no_still_tells_and_is_to_be_measured_stands_under_measure_first(made):
    (told,) = [one for one in made.plan.tells if not one.silent]
    by_hand = {words for words, known in zip(told.words, told.told, strict=True) if not known}
    listed = {one.who for one in made.plan.measures} | {
        f"pupil position of the {one.who}" for one in made.plan.measures if one.kind == "pupil"
    }
    assert "angle of the left flag" in by_hand
    assert by_hand <= listed


def test_keys_of_the_scene_file_stand_in_brackets_alone(page, paper):
    for text in (page, paper):
        bare = re.sub(r"\([^()]*\)", "", text)
        assert not re.findall(r"\b[a-z]+_[a-z_]+\b", bare)
        assert "Common practice" not in bare


def test_the_place_that_is_named_is_the_place_that_is_marked(made):
    for shot in made.plan.shots:
        width = shot.map.extent_mm[1] - shot.map.extent_mm[0]
        for spot in shot.map.spots:
            assert spot.words in look_words(shot)
            assert ("right" in spot.words) == (spot.at_mm[0] > 0.1 * width)
            assert ("left" in spot.words) == (spot.at_mm[0] < -0.1 * width)
            # The ring's radius is 2.4 of 60 parts of the picture's width: it holds the very edge.
            assert math.dist(spot.at_mm, spot.mark_mm) < 2.4 / 60 * width
    dark = shot_of(made, "near", 450.0)
    assert look_words(dark).startswith("the right edge (")
    assert dark.map.loss_stops[dark.map.loss_stops.shape[0] // 2, -1] > 5.0


def test_a_place_that_is_black_whatever_the_field_is_is_no_reading_of_the_field_but_its_shadow_s_reach_is(made, tmp_path):
    """Against the engine: the same lens with its field at 450 mm stated to be that at infinity, atan(18 / 24)."""
    shot = shot_of(made, "near", 450.0)
    assert "Tells whether the field" not in shot.tells
    reach = re.search(r"from the right edge: (\d+) % .* wider than at infinity\), (\d+) % if it is no wider", shot.tells)
    now, narrow = map(int, reach.groups())
    assert ("shadow in from the right, % of width", ("", "reach")) in [(row.words, row.blanks[:2]) for row in rows_of_shot(shot)]
    stated = tmp_path / "stated.toml"
    stated.write_text(SCENE.replace("STATED", f", half_field_deg = {math.degrees(math.atan(18 / 24))}"))
    states = {state.key: state for state in plans_of(load_scene(stated))}
    _, small = judged(states[shot.key])
    found = {place.where: place.in_percent[0] for place in small.dark}
    assert now > narrow + 2
    assert found["right"] == pytest.approx(narrow, abs=1.0)


def test_what_a_place_reads_if_the_field_is_no_wider_is_what_the_engine_says_of_that_field(tmp_path):
    """A flag that is in frame with the field as guessed and shades its edge with that of infinity; the density is counted in."""
    shows = [tmp_path / "guessed.toml", tmp_path / "stated.toml"]
    for path, stated in zip(shows, ("", f", half_field_deg = {math.degrees(math.atan(18 / 24))}"), strict=True):
        path.write_text(SCENE.replace("STATED", stated).replace("angle_deg = 5", "angle_deg = 13.5"))
    loaded = [load_scene(path) for path in shows]
    guessed, stated = (next(s for s in plans_of(one) if (s.lens_name, s.focus_mm) == ("near", 450.0)) for one in loaded)
    result, small = judged(guessed)
    shot, plan = shot_of_result(result), loaded[0].scene.plan
    glass = small.spots[0].glass_stops
    worst = shot.guide.worst
    readings = expected(plan, *worst.range_stops, worst.worst_case_stops, glass)
    told = narrower_reading(readings, small, plan)
    narrow = shot_of_result(judged(stated)[0]).guide
    glass_mid = judged(stated)[1].spots[0].glass_stops[1]
    assert 0.3 < narrow.worst.loss_stops < 3.0
    assert told.percent == pytest.approx(signal_percent("rec709", narrow.worst.loss_stops + glass_mid), abs=1.5)


def test_what_a_density_takes_toward_the_edge_is_in_the_reading(made):
    """Bouguer's law along the slanted path and Fresnel's equations at both faces: n = 1.5168, density 0.6."""

    def stops(angle):
        inside = math.asin(math.sin(angle) / 1.5168)
        s = (math.sin(angle - inside) / math.sin(angle + inside)) ** 2 if angle else (0.5168 / 2.5168) ** 2
        p = (math.tan(angle - inside) / math.tan(angle + inside)) ** 2 if angle else s
        through = 10 ** (-0.6 / math.cos(inside))
        return -math.log2(through * ((1 - s) ** 2 + (1 - p) ** 2) / 2)

    shot = shot_of(made, "long", math.inf)
    (spot,) = shot.map.spots
    more = stops(math.atan(math.hypot(*spot.at_mm) / 85)) - stops(0.0)
    assert more > 0.01
    assert shot.expected.glass_stops == pytest.approx(more, abs=0.003)
    # BT.709: 4.5 L below 0.018, else 1.099 L^0.45 - 0.099
    percent = 100 * (1.099 * (0.18 * 2**-more) ** 0.45 - 0.099)
    assert shot.expected.dark.percent == pytest.approx(percent, abs=0.1)
    assert f"box on {percent:.1f} %" in reading_words(shot)


def a_map(shares, blocked):
    rows, columns = shares.shape
    return VignetteMap(
        x_mm=np.arange(columns) - (columns - 1) / 2,
        y_mm=(rows - 1) / 2 - np.arange(rows),
        clear_share=shares.astype(np.float32),
        glass=np.ones_like(shares, dtype=np.float32),
        lens=np.ones_like(shares, dtype=np.float32),
        blocked_by=blocked.astype(np.int16),
        stderr=np.zeros_like(shares, dtype=np.float32),
        alone=np.zeros((0, *shares.shape), dtype=np.float32),
        part_names=("left flag", "mask", "bracket"),
    )


def test_every_dark_place_is_named_with_its_part_and_how_far_it_reaches_in():
    shares, blocked = np.ones((40, 80)), np.full((40, 80), -1)
    shares[:, :8], blocked[:, :8] = 0.0, 0
    shares[:4, -6:], blocked[:4, -6:] = 0.5, 1
    shares[20:23, 60:64], blocked[20:23, 60:64] = 0.25, 2
    shares[39, 30:34] = 0.99  # 0.014 stop: nobody sees it
    told = [place.words for place in dark_places(a_map(shares, blocked), 0.1)]
    corner = "the top right corner, in to 8 % of the picture's width and 10 % of the picture's height"
    assert told == [
        "the left edge, in to 10 % of the picture's width: no light at all, by the left flag",
        "inside the picture, right: up to 2.00 stops less, by the bracket",
        f"{corner}: up to 1.00 stop less, by the mask",
    ]
    assert dark_places(a_map(np.ones((40, 80)), blocked), 0.1) == ()


def test_a_shadow_inside_the_frame_is_named_and_marked_where_it_is_and_not_at_the_edge():
    shares, blocked = np.ones((40, 80)), np.full((40, 80), 2)
    shares[18:22, 58:62] = 0.25
    frame = whole_frame(PixelGrid(width_mm=80, height_mm=40, columns=80, rows=40))
    seen = guide(loss=2.0)
    at = replace(seen, worst=replace(seen.worst, loss_stops=2.0, where="right", x_mm=20.0, y_mm=0.0))
    (spot,) = spots_of(frame, at, a_map(shares, blocked))
    assert spot.at_mm == spot.mark_mm == (20.0, 0.0)
    assert spot.words.startswith("right, 25 % of the picture's width in from the right edge")
    shares[18:22, 58:] = 0.25  # as far as the edge
    (spot,) = spots_of(frame, at, a_map(shares, blocked))
    assert (spot.words, spot.at_mm) == ("the right edge", (40.0, 0.0))


def test_dark_edges_that_meet_are_told_one_by_one():
    shares, blocked = np.ones((40, 80)), np.zeros((40, 80))
    shares[:, :8] = shares[:, -16:] = shares[:2] = 0.0
    assert [place.where for place in dark_places(a_map(shares, blocked), 0.1)] == ["right", "left", "top"]


def test_the_card_fills_the_frame_of_every_state_and_the_tools_are_those_that_the_plan_uses(made, page):
    width, height = card_mm(made.plan)
    field = next(one for one in made.plan.measures if one.kind == "field" and one.who == "near")
    tape = float(re.search(r"([\d.]+) mm on the tape", field.so_far)[1])
    assert 2.2 * tape <= width < 2.2 * tape + 100
    assert height >= width * 24 / 36 - 50
    told = " ".join(bring_lines(made.plan))
    assert f"at least {width} x {height} mm" in told
    for tool in ("two lamps", "angle gauge", "slide under the camera", "fix across the card"):
        assert tool in told
        assert tool in page


def test_the_sum_for_the_half_field_is_worked_through_with_the_plan_s_own_numbers(made, page):
    told = made.plan.field_how[-1]
    number = r"([\d.]+)"
    left, right, _, _, half, rim, reach, _, _, tangent, angle = map(
        float,
        re.search(
            rf"{number} mm left and {number} mm right: \({number} \+ {number}\) / 2 = {number} mm. The card is {number} mm from "
            rf"the rim, so {number} mm from the pupil. {number} / {number} = {number}, the tangent of {number} deg",
            told,
        ).groups(),
    )
    # Of the near lens, for which a change waits: 450 mm from the image plane, the rim at 178 + 3 mm, the pupil 40 mm behind it.
    assert told.startswith("Example, near: ")
    assert (rim, reach) == (450 - 181, 450 - 181 + 40)
    assert half == pytest.approx((left + right) / 2, abs=1)
    assert tangent == pytest.approx(half / reach, abs=0.002)
    assert angle == pytest.approx(math.degrees(math.atan(tangent)), abs=0.1)
    assert told in page
