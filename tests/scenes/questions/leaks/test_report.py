"""From a scene to its leak report, the advice, and the words."""

import json
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.figure import Figure

from geometry.openings import OpeningKind
from raytrace.optics.in_frame import in_frame
from scenes.answers.answer import answer_text, save
from scenes.changes.flag_angles import flag_states
from scenes.changes.flag_summaries import summaries
from scenes.changes.tilts import TiltRoom, fit_words
from scenes.questions.ghosts.tilts import TiltableBox
from scenes.questions.leaks.advice_limits import AdviceLimits
from scenes.questions.leaks.adviser import advise_all
from scenes.questions.leaks.answer import LeaksAnswer, report_data
from scenes.questions.leaks.figure import NAME_REACH, _number_patch, leak_figure, sky_figure, ways_figure
from scenes.questions.leaks.report import run_leaks
from scenes.questions.leaks.text import direction_words, joint_words, strength_words
from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states.clear_rule import Limits
from scenes.states.load import load_scene, plans_of
from scenes.states.state import states_of
from scenes.verdicts.check import check_state
from scenes.view3d import render

pytestmark = pytest.mark.slow

HEAD = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [360, 240]
[[lens]]
name = "18"
focal_mm = 18
f_number = 4.0
front_diameter_mm = 100
front_glass_mm = 90
pupil_behind_front_mm = 40
[[light]]
name = "lamp"
azimuth_deg = 55
elevation_deg = 5
"""

GAPPED = (
    HEAD
    + """
[box]
ahead_mm = -4
offset_mm = [2.0, 0.0]
back = { width_mm = 190, height_mm = 160, bore_mm = 112 }
seal = { kind = "none" }
[[box.stage]]
name = "tray"
at_mm = 12
depth_mm = 8
opening_mm = [150, 120]
slot_mm = 1.0
slot_sides = ["left"]
filter = { width_mm = 170, height_mm = 140 }
[box.hood]
at_mm = 24
depth_mm = 50
rear_mm = [170, 140]
front_mm = [240, 180]
[[box.flag]]
side = "right"
angle_deg = 70
length_mm = 120
width_mm = 200
"""
)


def report_of(text, **more):
    scene = parse_scene(text, "s.toml")
    return scene, run_leaks(states_of(scene)[0], columns=90, **more)


def advised(report):
    """Advice that leaves alone every state of the report's own scene."""
    keeping = AdviceLimits(states_of(report.plan.scene, report.plan.resources))
    return advise_all([report], target="glass", keeping=keeping)[0]


def page_of(report, advice, wanted=1):
    return answer_text(LeaksAnswer(title="t", cases=((report, advice),), wanted=wanted, solid=False))


@pytest.fixture(scope="module")
def gapped():
    scene, report = report_of(GAPPED)
    return scene, report, advised(report)


def test_the_open_ring_is_the_worst_gap_and_shows_in_the_picture(gapped):
    _, report, _ = gapped
    gaps = [row for row in report.openings if row.kind is not OpeningKind.MOUTH]
    assert gaps[0].name == "ring gap"
    assert gaps[0].mirrored > 0
    assert gaps[0].peak < 1.0  # a mirror never gives more than there is


def test_box_off_to_the_right_leaks_on_the_right_of_the_picture(gapped):
    _, report, _ = gapped
    light = report.picture.relative
    assert light[:, 45:].sum() > 1.2 * light[:, :45].sum()


def test_donut_closes_the_ring_and_the_rerun_says_so(gapped):
    _, _, advice = gapped
    seal = next(item for item in advice.openings if item.opening == "ring gap")
    assert seal.change == "seal with a donut in place of nothing"
    assert seal.closes
    assert seal.all_after < 0.05 * seal.all_before


def test_tape_closes_the_slot_and_leaves_the_ring(gapped):
    _, _, advice = gapped
    tape = next(item for item in advice.openings if item.change == "tape the slot of tray")
    assert tape.closes
    assert tape.all_after > 0.5 * tape.all_before


def test_flag_on_the_lamps_side_comes_in_and_the_picture_stays_clear(gapped):
    scene, report, advice = gapped
    (light,) = advice.lights
    assert light.flag == "right flag"
    assert light.to_angle_deg < light.angle_deg
    assert light.to_share < report.lights[0].seen.share
    assert light.loss_stops <= scene.check.visible_loss_stops


def test_lines_keep_within_a_hundred_columns(gapped):
    _, report, advice = gapped
    assert max(len(line) for line in page_of(report, advice).splitlines()) <= 100


def test_data_names_every_opening_and_light(gapped):
    _, report, advice = gapped
    data = report_data(report, advice)
    assert {row["name"] for row in data["openings"]} == {row.name for row in report.openings}
    assert data["lights"][0]["name"] == "lamp"
    assert data["focus_mm"] == "infinity"


def test_the_folder_lists_its_files_and_a_picture_that_cannot_be_drawn_costs_nothing_else(gapped, tmp_path, monkeypatch, capsys):
    _, report, advice = gapped
    (tmp_path / "s.toml").write_text(GAPPED)
    show, answer = load_scene(tmp_path / "s.toml"), LeaksAnswer(title="t", cases=((report, advice),), wanted=1, solid=True)

    def broken(jobs):
        raise RuntimeError(f"no room for {len(jobs)} picture")

    monkeypatch.setattr(render, "render_batch", broken)
    files = save(answer, show, tmp_path / "out")
    assert "no room for 1 picture" in capsys.readouterr().err
    key = report.plan.key
    kept = {name for name in files if not name.endswith(".csv")}
    assert kept == {"leaks.json", "leaks.txt", *(f"{key}/{name}" for name in ("leak.npz", "leak.png", "sky.png", "ways.png"))}
    assert json.loads((tmp_path / "out" / "leaks.json").read_text())["files"] == sorted(files)
    with np.load(tmp_path / "out" / key / "leak.npz") as arrays:
        np.testing.assert_array_equal(arrays["leak"], report.picture.absolute.astype(np.float32))


def test_pictures_hold_the_data(gapped):
    _, report, _ = gapped
    image = leak_figure(report, "t", "s").axes[0].images[0]
    with np.errstate(divide="ignore"):
        np.testing.assert_array_equal(np.asarray(image.get_array()), np.log2(report.picture.relative))
    assert image.origin == "upper"
    assert len(sky_figure(report, "t", "s").axes) == 3
    ways = ways_figure(report, "t", "s")
    assert ways.axes[0].get_xlabel() == "ahead of the lens front rim [mm]"
    ahead = np.concatenate([path.corners_mm[path.corners_mm[:, 2] > 0] for path in report.picture.paths])
    assert ahead[:, 2].max() < ways.axes[0].get_xlim()[1]
    assert np.hypot(*ahead[:, :2].T).max() < ways.axes[0].get_ylim()[1]
    assert "1" in {text.get_text() for text in ways.texts}  # by itself, or the share that follows would read on from it


def test_an_openings_number_stands_beside_the_name_of_a_light():
    """On a chart of the sky that one opening fills, which would have its number in the middle of the light's name."""
    chosen = np.ones((64, 64), dtype=bool)

    def at(lights):
        axes = Figure().add_axes((0.0, 0.0, 1.0, 1.0))
        _number_patch(axes, chosen, 1, lights)
        return np.array(axes.texts[0].get_position())

    alone = at([])
    moved = np.abs(at([alone]) - alone)
    assert (moved > np.array(NAME_REACH) - 0.1).any()


@pytest.mark.parametrize(
    "box",
    [
        "[box]\n",
        '[box]\n[[box.flag]]\nside = "top"\nangle_deg = 20\nlength_mm = 90\nwidth_mm = 200\nhinge_mm = 60\nat_mm = 20\n',
        "[box]\nhood = { at_mm = 10, depth_mm = 60, rear_mm = [150, 120], front_mm = [220, 170] }\n",
    ],
)
def test_scenes_with_next_to_nothing_are_measured_too(box):
    _, report = report_of(HEAD + box)
    advice = advised(report)
    assert report.open_sr > 0.5
    assert "stray light on lens front" in page_of(report, advice)


def test_bare_hood_is_open_behind_and_a_back_plate_is_proposed():
    _, report = report_of(HEAD + "[box]\nhood = { at_mm = 10, depth_mm = 60, rear_mm = [150, 120], front_mm = [220, 170] }\n")
    advice = advised(report)
    assert [item.change for item in advice.openings] == ["fit a back plate and a donut seal"]
    assert advice.openings[0].closes


def test_frame_ends_at_the_half_fields():
    # Rectilinear, 18 mm, 36 x 24: half fields are 45 deg to the side and atan(12 / 18) = 33.69 up.
    _, report = report_of(HEAD + "[box]\n")
    toward = [[-np.tan(np.radians(a)), np.tan(np.radians(b)), 1.0] for a, b in ((44.9, 0), (45.1, 0), (0, 33.6), (0, 33.8))]
    inside = in_frame(report.lens, report.plan.grid, np.array(toward) / np.linalg.norm(toward, axis=1, keepdims=True))
    assert inside.tolist() == [True, False, True, False]


def test_words_say_sides_as_the_operator_has_them():
    assert direction_words(np.array([-0.5, 0.5, -np.sqrt(0.5)])) == "145 right, 30 up"
    assert strength_words(2**-5.0) == "5.0 stops under"
    assert strength_words(0.0) == "nothing"


def test_states_that_were_not_looked_at_are_counted(gapped):
    _, report, advice = gapped
    assert LeaksAnswer(title="", cases=((report, advice),), wanted=1, solid=False).left_out == ""
    page = page_of(report, advice, wanted=8)
    assert "Looked at 1 of 8 states" in page
    assert max(map(len, page.splitlines())) <= 100


TWO_LENSES = GAPPED.replace(
    "[[light]]",
    """[[lens]]
name = "28"
focal_mm = 28
f_number = 4.0
front_diameter_mm = 100
front_to_sensor_mm = 150
pupil_behind_front_mm = 40
close_focus_mm = 300
[[light]]""",
    1,
)


def words_of(scene):
    return {
        check_state(plan, engine_of("coverage"), columns=48, limits=Limits(visible_loss_stops=0.1))[0].word.value
        for plan in states_of(scene)
    }


def test_a_crew_that_follows_the_advice_keeps_a_clear_check_with_every_lens_and_focus():
    # The light asks for more than the frame allows; the 18 asks for a wider opening than the 28 whose leaks are looked at.
    # The 28's nearest plane in focus stands 150 mm ahead, within the flag's reach: with a flag beyond that plane no check is clear.
    scene = parse_scene(TWO_LENSES, "s.toml")
    plan = next(plan for plan in states_of(scene) if plan.lens_name == "28")
    report = run_leaks(plan, columns=90)
    (light,) = advised(report).lights
    (flag,) = summaries([state for one in flag_states(states_of(scene)) for state in one.flags])
    assert flag.clear_deg <= light.to_angle_deg < light.angle_deg
    assert words_of(scene) == {"clear"}
    assert words_of(parse_scene(TWO_LENSES.replace("angle_deg = 70", f"angle_deg = {light.to_angle_deg}"), "s.toml")) == {"clear"}


def test_advice_comes_as_far_in_as_the_clear_limit_where_the_light_asks_for_more(gapped):
    scene, _, advice = gapped
    (flag,) = summaries([state for one in flag_states(states_of(scene)) for state in one.flags])
    assert advice.lights[0].to_angle_deg == flag.clear_deg
    assert not advice.lights[0].keeps_off


def test_a_flag_that_stands_too_far_in_is_first_to_be_opened():
    scene, report = report_of(GAPPED.replace("angle_deg = 70", "angle_deg = 30"))
    advice = advised(report)
    (flag,) = summaries([state for one in flag_states(states_of(scene)) for state in one.flags])
    assert advice.lights[0].is_too_far_in
    assert f"open it from 30 to {flag.clear_deg:g} deg" in " ".join(page_of(report, advice).split())


def test_a_tilt_without_room_in_the_box_is_named_as_such_and_not_advised():
    # A tray 8 mm deep and 180 mm high, leaned by t, reaches 90 sin t + 4 cos t before and behind its middle (a rectangle turned):
    # 8.7 mm at 3 deg, where 4 mm of the way to the back plate and 4 mm of the hood's rear edge are left free.
    _, report = report_of(GAPPED.replace("at_mm = 12", "at_mm = 8").replace("at_mm = 24", "at_mm = 20"))
    advice = advised(report)
    (tilt,) = [item for item in advice.openings if "tilt tray" in item.change]
    assert tilt.against.startswith("does not fit: ")
    assert not tilt.helps
    assert f"do not {tilt.change.removeprefix('or ')}: does not fit" in " ".join(page_of(report, advice).split())


def test_ghosts_and_leaks_say_the_same_of_a_tilt(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(GAPPED)
    loaded = load_scene(path)
    plan = plans_of(loaded)[0]
    room = TiltRoom([plan])
    thing = next(thing for thing in TiltableBox(plan).things() if thing.name == "tray")
    told = [fit_words(TiltableBox(plan).refit.fit(thing.keys, tilt)) for tilt in (1.0, 8.0)]
    assert [room.against_tray("tray", tilt).split(" (18, ")[0] for tilt in (1.0, 8.0)] == told


SMALL_HOOD = (
    HEAD
    + """
[box]
ahead_mm = -4
back = { width_mm = 260, height_mm = 230, bore_mm = 112 }
seal = { kind = "donut" }
[[box.stage]]
name = "tray"
at_mm = 12
depth_mm = 8
opening_mm = [150, 120]
filter = { width_mm = 220, height_mm = 200 }
"""
)
HOOD = """
[box.hood]
at_mm = 30
depth_mm = 40
rear_mm = [160, 130]
front_mm = [200, 160]
"""


def test_what_a_hood_keeps_off_is_what_the_box_without_it_lets_in():
    with_hood, without = (report_of_text(text) for text in (SMALL_HOOD + HOOD, SMALL_HOOD))
    # the frame that closes the box to the hood's rear edge goes with the hood: the same box written without one has none
    opens = float(without.sky.open_sr(~without.frame).sum() - with_hood.sky.open_sr(~with_hood.frame).sum())
    assert dict(with_hood.worth_sr)["hood"] == pytest.approx(opens, rel=0.02)


def report_of_text(text):
    scene = parse_scene(text, source="box.toml")
    return run_leaks(states_of(scene)[0], columns=80)


def test_a_box_whose_donut_is_wider_than_its_barrel_lets_nothing_round_the_donut():
    wide = SMALL_HOOD.replace('kind = "donut"', 'kind = "donut", inner_mm = 103').replace("ahead_mm = -4", "ahead_mm = 2") + HOOD
    names = [row.name for row in report_of_text(wide).openings]
    assert "gap inside seal" in names
    assert "open air" not in names


def test_one_setting_is_told_for_a_flag_that_two_lights_ask_for():
    limit = SimpleNamespace(clear_deg=20.4)
    lights = [SimpleNamespace(flag="top flag", to_angle_deg=deg, limit=limit) for deg in (20.4, 22.0)]
    told = joint_words([*lights, "edge lamp: no flag stands on its side"])
    assert told == "for all of these lights at once set the top flag to 20.4 deg"
    assert joint_words(lights[:1]) == ""
