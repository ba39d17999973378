"""A pupil depth of one row far off the others is a slip that turns a dark frame clear: it gets a word, and steady rows none.

Pupils move by a few mm over a lens's focus (common practice; the depths of the steady rows are invented to that).
"""

import pytest
from click.testing import CliRunner

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.cli import brimline
from scenes.scene_file.parse import parse_scene

STEADY = (38.4, 38.1, 37.8, 37.2)
FOCUS = ('"infinity"', "1200", "800", "450")
WORDS = "is far out of line with the rows beside it"


def told(depths, more=""):
    rows = "".join(
        f"[[lens.state]]\nfocus_mm = {focus}\npupil_behind_front_mm = {depth}\nfront_travel_mm = 0\n"
        for focus, depth in zip(FOCUS, depths, strict=False)
    )
    lens = f'[[lens]]\nname = "25"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\nfront_to_sensor_mm = 150\n{more}{rows}'
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n', source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if WORDS in note.text]


@pytest.mark.parametrize("depth", [20, 14, 8.4, 0, 56, 84])
@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("count", [3, 4])
def test_one_depth_far_off_the_others_is_told_with_the_row_it_is_in(depth, place, count):
    place = min(place, count - 1)
    (text,) = told([*STEADY[:place], depth, *STEADY[place + 1 : count]])
    focus = FOCUS[place].strip('"') + ("" if place == 0 else " mm")
    assert f"pupil_behind_front_mm = {depth} at focus {focus} {WORDS}" in text


@pytest.mark.parametrize(
    "depths",
    [
        STEADY,
        (60, 52, 44, 31),
        (31, 44, 52, 60),
        (40, 40, 40, 40),
        (38, 34),
        (40, 39, 37, 30),
        (12, 11, 14, 15),
        (70, 65, 60),
    ],
)
def test_depths_that_go_on_steadily_or_are_two_get_no_word(depths):
    assert told(depths) == []


def depth_words(rows, focal_mm=20, more=""):
    """What is told of pupil depths, rows of (focal length, focus, depth), in the cautions of a lens."""
    told_rows = "".join(
        f"[[lens.state]]\nfocal_mm = {focal}\nfocus_mm = {focus}\npupil_behind_front_mm = {depth}\n" for focal, focus, depth in rows
    )
    lens = f'[[lens]]\nname = "a"\nfocal_mm = {focal_mm}\nf_number = 3\nfront_diameter_mm = 114\nfront_to_sensor_mm = 180\n{more}'
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}{told_rows}[box]\nahead_mm = 2\n', source="s.toml")
    texts = [note.text for note in doubtful_notes(scene, scene.lens[0])]
    return [text for text in texts if text.startswith("pupil_behind_front_mm") and "is last given" not in text]


INFINITY = '"infinity"'
# Behind the front vertex, worked out by first order from the surfaces ahead of the stop.
PATENTS = {
    "US 7,218,457 ex. 3, f = 104": [(104, INFINITY, 79.6), (104, 314, 181.2)],
    "US 2007/0236805 ex. 4, f = 100": [(100, INFINITY, 144.1), (100, 1030, 93.6)],
    "US 7,359,125 ex. 1, f = 14.4 to 23.8": [
        (14.4, INFINITY, 31.05),
        (14.4, 300, 30.99),
        (18, INFINITY, 29.99),
        (18, 300, 29.91),
        (23.8, INFINITY, 28.54),
        (23.8, 300, 28.43),
    ],
    "US 2010/0220400 ex. 1, f = 24.7 to 116.39, at infinity and at the near focus that it gives (taken as 1.5 m)": [
        (24.7, INFINITY, 31.3),
        (24.7, 1500, 30.2),
        (45.75, INFINITY, 55.2),
        (45.75, 1500, 53.9),
        (116.39, INFINITY, 139.8),
        (116.39, 1500, 136.3),
    ],
    "US 2019/0265441 ex. 2, f = 51.1": [(51.1, INFINITY, 30), (51.1, 400, 30)],
    "US 5,537,259 ex. 1, f = 72.1 to 194": [(72.1, INFINITY, 92.0), (135, INFINITY, 182.7), (194.01, INFINITY, 233.2)],
    "US 4,196,968, f = 100 to 146": [(100, INFINITY, 78.8), (123, INFINITY, 70.4), (146, INFINITY, 59.9)],
    "JP S53-131852, f = 80 to 200": [(80, INFINITY, 81.2), (140, INFINITY, 152.2), (200, INFINITY, 284.5)],
}


@pytest.mark.parametrize("rows", PATENTS.values(), ids=PATENTS)
def test_depths_of_published_lenses_that_focus_inside_get_no_word(rows):
    assert depth_words(rows, rows[0][0]) == []


@pytest.mark.parametrize(
    ("depths", "wrong", "in_line"),
    [
        ((27, 37.4, 38.5), "27 at focus infinity", 37),
        ((37, 27.4, 38.5), "27.4 at focus 1200 mm", 38),
        ((37, 37.4, 28.5), "28.5 at focus 400 mm", 38),
    ],
)
def test_a_wrong_first_digit_among_rows_of_a_prime_is_told_with_the_depth_in_line(depths, wrong, in_line):
    (text,) = depth_words([(20, focus, depth) for focus, depth in zip((INFINITY, 1200, 400), depths, strict=True)])
    assert f"pupil_behind_front_mm = {wrong} is far out of line" in text
    assert f"In line it would be about {in_line}:" in text


@pytest.mark.parametrize(("far", "near", "is_told"), [(37, 14, True), (17, 38.5, True), (37, 31, False), (31, 37, False)])
def test_two_depths_of_a_wide_prime_are_told_where_no_focusing_takes_a_pupil_so_far(far, near, is_told):
    texts = depth_words([(20, INFINITY, far), (20, 400, near)])
    assert any("where moving the whole lens would take 1.1 mm" in text for text in texts) == is_told


# Halves of other depths would be right for other zooms: that of the shortest where its first step is a small part of the next.
HALVED = [
    *(("US 5,537,259 ex. 1, f = 72.1 to 194", place) for place in (0, 1, 2)),
    *(("US 4,196,968, f = 100 to 146", place) for place in (0, 1, 2)),
    *(("JP S53-131852, f = 80 to 200", place) for place in (1, 2)),
]


@pytest.mark.parametrize(("patent", "place"), HALVED)
def test_half_the_depth_at_one_focal_length_of_a_published_zoom_is_told(patent, place):
    rows = list(PATENTS[patent])
    focal_mm, focus, depth = rows[place]
    rows[place] = (focal_mm, focus, round(depth / 2, 1))
    (text,) = depth_words(rows, rows[0][0])
    assert "is far out of line with" in text
    assert f"{rows[place][2]:g} at " in text  # first, or after what else it may be


@pytest.mark.parametrize(("place", "is_told"), [(0, False), (1, True), (2, True)])
def test_half_the_depths_of_a_zooms_focal_length_at_both_its_distances_are_told(place, is_told):
    rows = PATENTS[next(name for name in PATENTS if name.startswith("US 2010/0220400"))]
    halved = [(focal, focus, depth / 2 if number // 2 == place else depth) for number, (focal, focus, depth) in enumerate(rows)]
    assert bool(depth_words(halved, 24.7)) == is_told


ENDS = {name: (rows[0], rows[-1]) for name, rows in PATENTS.items() if rows[0][0] != rows[-1][0]}


@pytest.mark.parametrize("ends", ENDS.values(), ids=ENDS)
def test_the_two_ends_of_a_published_zoom_get_no_word(ends):
    assert depth_words([(focal, INFINITY, depth) for focal, _, depth in ends], ends[0][0]) == []


@pytest.mark.parametrize(
    ("wide", "long", "is_told"), [((45, 41), (90, 150), True), ((45, 82), (90, 150), False), ((28, 24), (45, 88), True)]
)
def test_half_the_depth_at_the_wide_end_of_a_short_zoom_is_told_with_both_ends(wide, long, is_told):
    """A pupil 3.7 times as deep over a zoom of 2 times has no equal among the patents above: 1.37 is their steepest power."""
    texts = depth_words([(wide[0], INFINITY, wide[1]), (long[0], INFINITY, long[1])], wide[0])
    words = f"pupil_behind_front_mm = {wide[1]} at focal_mm = {wide[0]} and {long[1]} at {long[0]}, focus infinity, make the pupil"
    assert [words in text for text in texts] == [True] * is_told


ZOOM = [(17, INFINITY, 52), (17, 600, 51), (24, INFINITY, 60), (24, 600, 58.5), (35, INFINITY, 74), (35, 600, 72)]


@pytest.mark.parametrize("place", range(6))
def test_one_depth_of_a_zoom_that_moves_as_at_no_other_focal_length_is_told(place):
    focal, focus, depth = ZOOM[place]
    told_of = depth_words([*ZOOM[:place], (focal, focus, depth - 27), *ZOOM[place + 1 :]])
    assert len(told_of) == 1
    assert f"pupil_behind_front_mm = {depth - 27:g} at foc" in told_of[0] or f"and {depth - 27:g} at 600 mm" in told_of[0]
    assert depth_words(ZOOM) == []


def test_two_rows_of_a_zoom_that_were_changed_for_each_other_are_told():
    changed = [(focal, focus, {60: 74, 74: 60}.get(depth, depth)) for focal, focus, depth in ZOOM]
    (text,) = depth_words(changed)
    assert "lie 15.5 mm apart at focal_mm = 24, where at other focal lengths the pupil moves by 1.0 mm" in text


@pytest.mark.parametrize(
    ("depths", "is_told"), [((25, 60, 74), True), ((52, 60, 34), True), ((45, 60, 74), False), ((31, 30, 28), False)]
)
def test_an_end_of_a_zoom_shallower_than_the_run_of_its_depths_is_told(depths, is_told):
    texts = depth_words([(focal, INFINITY, depth) for focal, depth in zip((17, 24, 35), depths, strict=True)])
    assert any("is far out of line with the other focal lengths" in text for text in texts) == is_told


def test_a_depth_that_was_measured_again_gets_no_word():
    assert told([38.4, 14, 37.8, 37.2], 'confirmed = ["pupil_behind_front_mm"]\n') == []


def test_lens_tells_it_of_a_table(tmp_path):
    rows = "\n".join(
        f"25,{focus},{depth},0,35.8" for focus, depth in zip(("infinity", 1200, 800, 450), (38.4, 14, 37.8, 37.2), strict=True)
    )
    table = tmp_path / "c.csv"
    table.write_text(f"focal_mm,focus_mm,pupil_behind_front_mm,front_travel_mm,half_field_deg\n{rows}\n")
    given = "--f-number 2 --front-diameter-mm 114 --front-to-sensor-mm 150 --width-mm 36 --height-mm 24"
    said = CliRunner().invoke(brimline, ["lens", str(table), *given.split(), "--close-focus-mm", "450", "--no-distortion"])
    assert said.exit_code == 0, said.output
    assert f"Check: pupil_behind_front_mm = 14 at focus 1200 mm {WORDS}" in " ".join(said.output.replace("\n# ", " ").split())


def test_lens_tells_a_zooms_depth_far_out_of_line_with_those_of_other_focal_lengths(tmp_path):
    rows = "\n".join(f"{focal},infinity,{depth},0" for focal, depth in ((28, 54), (45, 18), (70, 104)))
    table = tmp_path / "z.csv"
    table.write_text(f"focal_mm,focus_mm,pupil_behind_front_mm,front_travel_mm\n{rows}\n")
    given = "--f-number 2.8 --front-diameter-mm 114 --front-to-sensor-mm 230 --width-mm 36 --height-mm 24 --close-focus-mm 900"
    said = CliRunner().invoke(brimline, ["lens", str(table), *given.split(), "--no-distortion"])
    assert said.exit_code == 0, said.output
    told_of = "pupil_behind_front_mm = 18 at focal_mm = 45 is far out of line with the rows beside it, 54 at 28 and 104 at 70"
    assert told_of in " ".join(said.output.replace("\n# ", " ").split())


@pytest.mark.parametrize(
    ("near", "depth", "told_so"), [("300", 43, True), ("430", 43, False), ("300", 40.2, False), ("", 43, False)]
)
def test_rows_that_end_before_the_nearest_focus_are_told_where_the_depth_moves(near, depth, told_so):
    rows = "".join(
        f"[[lens.state]]\nfocus_mm = {focus}\npupil_behind_front_mm = {mm}\n" for focus, mm in [('"infinity"', 40), ("450", depth)]
    )
    lens = '[[lens]]\nname = "25"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\nfront_to_sensor_mm = 150\n'
    close = near and f"close_focus_mm = {near}\n"
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}{close}{rows}[box]\nahead_mm = 2\n', source="s.toml")
    texts = [note.text for note in doubtful_notes(scene, scene.lens[0])]
    assert any("is last given at focus_mm = 450 and taken as 43 from there to 300" in text for text in texts) == told_so


FOUR = {
    24: 34,
    35: 44,
    50: 57,
    70: 74,
}  # invented: steps that grow with the logarithm of the focal length, as those of the patents do


@pytest.mark.parametrize("focal", FOUR)
@pytest.mark.parametrize("less", [10, 20])
def test_a_depth_of_four_that_is_ten_mm_short_is_told_with_about_what_it_would_be(focal, less):
    (text,) = depth_words([(mm, INFINITY, depth - less * (mm == focal)) for mm, depth in FOUR.items()], 24)
    own = FOUR[focal] - less
    assert f"pupil_behind_front_mm = {own} at focal_mm = {focal}" in text or f", and {own} at {focal}" in text
    assert "In line it would be about " in text or "is far out of line with the rows beside it" in text


@pytest.mark.parametrize(
    "depths",
    [
        (34, 44, 57, 74),
        (31, 36, 48, 70),  # the first step small, as that of US 4,196,968 turned about
        (60, 52, 47, 45),
        (40, 40.5, 41, 40),
        (30, 44, 55, 63),  # steps that shrink all through are another design's
        (34, 41, 57, 74),  # 3 mm are measured wrong soon
    ],
)
def test_four_depths_of_a_zoom_that_run_on_evenly_get_no_word(depths):
    assert depth_words([(mm, INFINITY, depth) for mm, depth in zip(FOUR, depths, strict=True)], 24) == []
