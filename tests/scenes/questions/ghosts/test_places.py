"""The ghost report on lopsided scenes: places by the law of reflection, tilts by closed forms, words as the operator reads them."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from raytrace.ghosts.paths import Route
from raytrace.ghosts.seen import ANYWHERE, MIDDLE
from scenes.answers.answer import answer_text
from scenes.questions.ghosts import answer as ghosts_answer
from scenes.questions.ghosts.answer import GhostsAnswer
from scenes.questions.ghosts.command import command
from scenes.questions.ghosts.figure import NO_RING, ghost_figure
from scenes.questions.ghosts.report import ghost_report
from scenes.questions.ghosts.set_text import set_words
from scenes.questions.ghosts.set_tilt import set_tilt
from scenes.questions.ghosts.text import best_answer, next_step, place_words
from scenes.questions.ghosts.tilts import ALL_TRAYS, WHOLE_BOX, TiltableBox, rounded_out_deg
from scenes.runtime.blas import VARIABLES
from scenes.runtime.shared_out import PROCESSES
from scenes.states.load import load_scene, plans_of
from scenes.states.select import widest_stops

ROOT = Path(__file__).parents[4]
HEAD = """
brimline = 1
title = "Quay"
[camera]
format = "36x24"
offset_mm = [0.4, -0.3]
[[camera.guide]]
name = "scope"
aspect = 2.39
scale = 0.95
[[lens]]
name = "50"
focal_mm = 50
f_number = 2.0
front_diameter_mm = 114
front_to_sensor_mm = 160
pupil_behind_front_mm = 45
close_focus_mm = 700
[box]
mount = "clamp"
ahead_mm = 4
tilt_deg = {tilt}
[[box.stage]]
name = "rear tray"
at_mm = 18
depth_mm = 8
opening_mm = [138, 97]
filter = {{ name = "clear", size = "4x5.65", thickness_mm = 4 }}
{more}
[check]
focus_mm = ["infinity", "close"]
f_numbers = [2.8, 5.6]
"""
SECOND = """
[[box.stage]]
name = "front tray"
at_mm = 60
depth_mm = 8
tilt_deg = 2
opening_mm = [138, 97]
filter = { name = "ND", size = "4x5.65", thickness_mm = 4, kind = "density", density = 0.6, reflectance = 0.01 }
"""
LAMP = """
[[light]]
name = "lamp"
azimuth_deg = -12
elevation_deg = 4
width_deg = 1.2
"""
TIGHT_MASK = """
[[box.mask]]
name = "tight mask"
at_mm = 80
opening_mm = [106, 74]
"""

# A pupil of 50 mm: light of a lamp 12 deg aside comes back into it off a filter 70 mm ahead, 2 x 70 tan 12 = 30 mm off the axis.
FAST = ("f_number = 2.0", "f_number = 1.0"), ("f_numbers = [2.8, 5.6]", "f_numbers = [1.0, 5.6]")
LOW_LAMP = LAMP.replace("elevation_deg = 4", "elevation_deg = 1").replace("-12", "-3")
LITTLE_ROOM = """
[[box.mask]]
name = "plate"
at_mm = 28
opening_mm = [138, 97]
[[box.mask]]
name = "mask"
at_mm = 100
opening_mm = [122, 72]
"""


def faster(text):
    for old, new in FAST:
        assert old in text
        text = text.replace(old, new)
    return text


@pytest.fixture
def report_of(tmp_path):
    def made(more=LAMP, tilt=1.0, focus=np.inf, fast=False):
        path = tmp_path / "quay.toml"
        text = HEAD.format(tilt=tilt, more=more)
        path.write_text(faster(text) if fast else text)
        loaded = load_scene(path)
        (plan,) = [plan for plan in widest_stops(plans_of(loaded)) if plan.focus_mm == focus]
        return ghost_report(plan)

    return made


def answer_of(reports):
    return GhostsAnswer(title="Quay", sensor_reflectance=0.05, reports=tuple(reports), for_all=set_tilt(reports))


def page_of(*reports):
    return answer_text(answer_of(reports)).splitlines()


def sensor_ghosts(report):
    return [seen for seen in report.lights.ghosts if seen.ghost.route is Route.SENSOR]


def test_a_lamp_on_the_upper_left_ghosts_on_the_lower_right(report_of):
    report = report_of(fast=True)
    (lamp,) = report.lights.seen
    # 12 deg left, 4 deg up through a 50: -50 tan 12, 50 tan 4 / cos 12
    assert lamp.picture_mm == pytest.approx((-10.6278, 3.5744), abs=1e-4)
    (ghost,) = sensor_ghosts(report)
    up = np.tan(np.radians(4)) / np.cos(np.radians(12))
    # In the upright plane through the axis a tilt t turns the ghost down by 2 t: -f tan(2 t + atan y / f)
    assert ghost.ghost.picture_mm[1] == pytest.approx(-50 * np.tan(np.radians(2) + np.arctan(up)), abs=1e-3)
    assert ghost.ghost.picture_mm[0] > 10.6
    assert (lamp.where, ghost.where) == ("top left", "bottom right")


def test_the_smallest_tilt_puts_the_spot_just_outside_the_guide(report_of):
    report = report_of(fast=True)
    guide, (ghost,) = report.plan.guides[0], sensor_ghosts(report)
    toward_scene = next(answer for answer in report.tilts if answer.what == WHOLE_BOX and answer.toward_scene)
    below = -(guide.centre_mm[1] - guide.half_height_mm) + ghost.radius_mm
    up = np.tan(np.radians(4)) / np.cos(np.radians(12))
    # -f tan(2 t + atan(y / f)) = lower edge less the spot's radius; the spot's own stretching is under 0.01 mm
    expected = np.degrees(np.arctan(below / 50) - np.arctan(up)) / 2
    assert toward_scene.exact_deg == pytest.approx(expected, abs=0.02)
    assert toward_scene.tilt_deg == pytest.approx(np.ceil(toward_scene.exact_deg * 10) / 10)
    assert toward_scene.works
    other = next(answer for answer in report.tilts if answer.what == WHOLE_BOX and not answer.toward_scene)
    assert other.exact_deg < -toward_scene.exact_deg  # the lamp stands high: its ghost has farther to go over the top


def test_without_a_light_in_the_picture_the_rule_of_thumb_comes_out(report_of):
    report = report_of(more="", tilt=0.0)
    assert report.lights.is_grid
    assert NO_RING in {text.get_text() for text in ghost_figure(report).texts}  # nine lights: most have none that is seen
    middle = next(answer for answer in report.tilts if answer.lights == MIDDLE and answer.toward_scene)
    low = report.plan.guides[0].half_height_mm + 0.3  # the sensor sits 0.3 mm low against the lens axis, the light in its middle
    expected = np.degrees(np.arctan(low / 50) + np.arctan(0.3 / 50)) / 2
    assert middle.exact_deg == pytest.approx(expected, abs=0.01)
    anywhere = next(answer for answer in report.tilts if answer.lights == ANYWHERE and answer.toward_scene)
    lowest = 12 + 0.3  # a light on the picture's lower edge: its ghost starts as far above the axis
    assert anywhere.exact_deg == pytest.approx(np.degrees(np.arctan(low / 50) + np.arctan(lowest / 50)) / 2, abs=0.02)


def test_a_tray_by_itself_leaves_the_other_filters_ghost_and_parts_the_two(report_of):
    report = report_of(more=SECOND + LAMP)
    rear = [answer for answer in report.tilts if answer.what == "rear tray"]
    assert any("between clear and ND" in answer.left for answer in rear)
    alike = [answer for answer in report.tilts if answer.what == ALL_TRAYS]
    assert all(not answer.left for answer in alike)
    assert best_answer(report).what == ALL_TRAYS
    assert next_step(report).startswith("set box.stage[1].tilt_deg and box.stage[2].tilt_deg = ")


def test_a_mask_that_the_tilted_box_brings_into_the_beam_is_named(report_of):
    report = report_of(more=SECOND.replace("tilt_deg = 2", "") + TIGHT_MASK, tilt=0.0)
    anywhere = [answer for answer in report.tilts if answer.lights == ANYWHERE and answer.what == WHOLE_BOX]
    assert anywhere
    for answer in anywhere:
        assert not answer.works
        assert answer.beam.part == "tight mask"
        assert answer.beam.now_stops < 0.1


def test_a_tray_tilted_into_its_neighbour_does_not_fit(report_of):
    near = SECOND.replace("at_mm = 60", "at_mm = 27").replace("tilt_deg = 2", "")
    report = report_of(more=near + LAMP, tilt=0.0, fast=True)
    alone = [answer for answer in report.tilts if answer.what == "rear tray" and answer.beam is not None]
    assert alone
    assert not any(answer.works for answer in alone)
    assert all(("rear tray", "front tray") in answer.beam.meets for answer in alone)


def test_ghosts_already_outside_leave_the_tilt_alone(report_of):
    report = report_of(tilt=6.0)
    (box, tray) = report.tilts
    assert (box.is_present, tray.is_present) == (True, True)
    assert next_step(report).startswith("leave the tilts as they are")


def test_the_built_box_turns_its_filters_as_the_formula_does(report_of, tmp_path):
    report_of(more=SECOND + LAMP)
    loaded = load_scene(tmp_path / "quay.toml")
    plan = widest_stops(plans_of(loaded))[0]
    tiltable = TiltableBox(plan)
    checked = 0
    for thing in tiltable.things():
        _, box = tiltable.built_at(thing.keys, 7.3)
        built = {glass.name: glass.slab.pose for glass in box.glasses}
        for mirror in thing.mirrors_at(7.3):
            assert mirror.normal == pytest.approx(built[mirror.name].rotation[:, 2], abs=1e-12)
            assert mirror.centre_mm == pytest.approx(built[mirror.name].origin_mm, abs=1e-9)
            checked += 1
    assert checked == 2 + 2 + 1 + 1


@pytest.mark.parametrize(("exact", "set_to"), [(5.2877, 5.3), (-5.2001, -5.3), (0.0, 0.0), (4.0, 4.0)])
def test_tilts_are_rounded_away_from_upright(exact, set_to):
    assert rounded_out_deg(exact) == set_to


def test_places_are_said_without_signs():
    assert place_words((-3.04, 12.0)).split() == ["3.0", "left", "12.0", "up"]
    assert place_words((0.0, -0.01)).split() == ["0.0", "0.0"]
    assert place_words((np.nan, np.nan)) == "outside the picture"


def test_the_table_keeps_to_its_width_and_ends_with_the_cautions(report_of):
    lines = page_of(report_of(more=SECOND + LAMP), report_of(focus=700.0))
    assert max(map(len, lines)) <= 100
    assert "never look" in " ".join(" ".join(lines).split())
    assert any(line.startswith("  Next: ") for line in lines)
    short = [line for line in lines[lines.index("All of them in short") + 2 :] if line.startswith("  50")]
    assert [line.split(", f/")[0].strip() for line in short] == ["50, infinity", "50, focus 700 mm"]


def test_the_command_prints_json_and_writes_a_chart_for_each_focus(tmp_path):
    scene = tmp_path / "quay.toml"
    scene.write_text(HEAD.format(tilt=1.0, more=LAMP))
    result = CliRunner().invoke(command, [str(scene), "--json", "--out", str(tmp_path / "out")], standalone_mode=False)
    assert result.exception is None
    told = json.loads(result.stdout)
    assert [state["focus_mm"] for state in told["states"]] == ["infinity", 700.0]
    assert [state["f_number"] for state in told["states"]] == [2.8, 2.8]  # the widest asked for
    pictures = ["ghosts-50_at_700_f2.8.png", "ghosts-50_inf_f2.8.png"]
    assert sorted(path.name for path in (tmp_path / "out").glob("[!.]*") if path.suffix != ".csv") == [*pictures, "ghosts.json"]
    assert [name for name in told["files"] if not name.endswith(".csv")] == [*pictures, "ghosts.json"]


def test_the_chart_shows_the_ghost_where_it_is_and_the_picture_right_way_round(report_of):
    report = report_of(fast=True)
    figure = ghost_figure(report)
    picture, chart = (next(axes for axes in figure.axes if axes.get_label() == name) for name in ("picture", "tilt"))
    assert picture.get_xlim()[0] < picture.get_xlim()[1]
    stars = [line for line in picture.lines if line.get_marker() == "*"]
    assert (stars[0].get_xdata()[0], stars[0].get_ydata()[0]) == pytest.approx(report.lights.seen[0].picture_mm)
    rings = {tuple(np.round(patch.center, 6)) for patch in picture.patches if hasattr(patch, "center")}
    assert tuple(np.round(sensor_ghosts(report)[0].ghost.picture_mm, 6)) in rings
    curve = next(line for line in chart.lines if line.get_label() == "whole box")
    at_present = np.interp(1.0, curve.get_xdata(), curve.get_ydata())
    assert at_present == pytest.approx(sensor_ghosts(report)[0].ghost.picture_mm[1], abs=0.02)
    assert chart.get_xlabel() == "tilt [deg], positive: top toward the scene"
    assert chart.get_ylim() == picture.get_ylim()
    assert NO_RING not in {text.get_text() for text in figure.texts}


def test_a_travelling_front_keeps_formula_and_box_together(tmp_path):
    travel = """
[[lens.state]]
focal_mm = 50
focus_mm = "infinity"
pupil_behind_front_mm = 45
front_travel_mm = 0
[[lens.state]]
focal_mm = 50
focus_mm = 700
pupil_behind_front_mm = 44
front_travel_mm = 5
[box]
"""
    path = tmp_path / "quay.toml"
    text = HEAD.format(tilt=1.0, more=SECOND + LAMP).replace('"clamp"', '"rods-15"')
    path.write_text(text.replace("[box]", travel))
    loaded = load_scene(path)
    plan = next(plan for plan in widest_stops(plans_of(loaded)) if plan.focus_mm == 700)
    tiltable = TiltableBox(plan)
    for thing in tiltable.things():
        _, box = tiltable.built_at(thing.keys, -6.0)
        built = np.array([glass.slab.pose.origin_mm for glass in box.glasses])
        for mirror in thing.mirrors_at(-6.0):
            assert np.linalg.norm(built - mirror.centre_mm, axis=1).min() < 1e-9


@pytest.fixture
def reports_of(tmp_path):
    def made(more=LAMP, tilt=1.0, rear=0.0, fast=False):
        path = tmp_path / "quay.toml"
        text = HEAD.format(tilt=tilt, more=more).replace("at_mm = 18\n", f"at_mm = 18\ntilt_deg = {rear}\n")
        path.write_text(faster(text) if fast else text)
        loaded = load_scene(path)
        return [ghost_report(plan) for plan in widest_stops(plans_of(loaded))]

    return made


def states_with_ghosts(reports):
    """Keys of states in whose frame a ghost lies, but for those that stay on their light."""
    return {r.plan.key for r in reports if any(ghost.in_frame and not ghost.hides for ghost in r.lights.ghosts)}


def test_one_tilt_clears_every_focus_and_a_tenth_less_does_not(reports_of):
    reports = reports_of(fast=True)
    answer = set_tilt(reports)
    assert answer.clears
    assert answer.keys == ("box.tilt_deg",)
    assert states_with_ghosts(reports) == {one.key for one in answer.left_now} != set()
    assert states_with_ghosts(reports_of(tilt=answer.tilt_deg, fast=True)) == set()
    assert states_with_ghosts(reports_of(tilt=answer.tilt_deg - 0.1, fast=True)) != set()
    # No smaller than at infinity alone, in the upright plane through the axis: -f tan(2 t + atan y / f) at the guide's lower edge.
    up = np.tan(np.radians(4)) / np.cos(np.radians(12))
    guide = reports[0].plan.guides[0]
    assert answer.tilt_deg >= np.degrees(np.arctan((guide.half_height_mm - guide.centre_mm[1]) / 50) - np.arctan(up)) / 2


def test_what_no_one_tilt_clears_gets_the_best_that_fits_and_says_whom_it_leaves(reports_of):
    # A plate before the tray holds it upright; the mask lets the box lean as the far focus needs, and less than the near one does.
    reports = reports_of(more=LOW_LAMP + LITTLE_ROOM)
    answer = set_tilt(reports)
    assert not answer.clears
    assert re.fullmatch(r"whole box at \+[\d.]+ deg would, but takes .* \(mask\) \(50, .*\)", answer.why)
    then = reports_of(more=LOW_LAMP + LITTLE_ROOM, tilt=answer.tilt_deg)
    assert states_with_ghosts(then) == {one.key for one in answer.left} == {"50_at_700_f2.8"}
    assert states_with_ghosts(reports) == {"50_inf_f2.8", "50_at_700_f2.8"}
    assert not any(report.tiltable.refit.is_dark for report in then)
    assert "it leaves a ghost in 1 of 2 states, 50, focus 700 mm, f/2.8 (" in set_words(answer)


def test_where_nothing_that_fits_is_better_the_sentence_says_so(reports_of):
    answer = set_tilt(
        reports_of(more=LOW_LAMP + LITTLE_ROOM.replace("[122, 72]", "[96, 58]").replace("at_mm = 28", "at_mm = 26.2"))
    )
    assert (answer.clears, answer.tilt_deg) == (False, None)
    assert "None that fits does better" in set_words(answer)


def test_a_sensor_ghost_on_its_own_light_counts_for_one_state_and_for_all_alike(reports_of):
    # Off an upright filter the light on the axis comes back onto itself; a pan takes light and ghost apart, to opposite sides.
    centred = LAMP.replace("azimuth_deg = -12", "azimuth_deg = 0").replace("elevation_deg = 4", "elevation_deg = 0")
    reports = reports_of(more=centred, tilt=0.0)
    assert all(ghost.on_light and ghost.in_frame for report in reports for ghost in sensor_ghosts(report)[:1])
    assert all(not answer.is_present for report in reports for answer in report.tilts)
    answer = set_tilt(reports)
    assert {one.key for one in answer.left_now} == {report.plan.key for report in reports}
    page = "\n".join(page_of(*reports))
    assert not answer.is_present
    assert "leave the tilts as they are" not in page
    assert page.count("  on its own light  ") == sum(len(sensor_ghosts(report)) for report in reports)


def test_a_ghost_is_not_moved_off_its_own_light_only_to_be_weaker(reports_of):
    centred = LAMP.replace("azimuth_deg = -12", "azimuth_deg = 0").replace("elevation_deg = 4", "elevation_deg = 0")
    answer = set_tilt(reports_of(more=centred + LITTLE_ROOM, tilt=0.0))
    assert (answer.clears, answer.tilt_deg) == (False, None)
    assert "the present one, which leaves each ghost on its own light until the camera pans: " in set_words(answer)


def test_the_short_list_ends_with_one_tilt_for_all_and_the_json_has_it(reports_of):
    reports = reports_of(fast=True)
    answer = set_tilt(reports)
    lines = page_of(*reports)
    short = " ".join(" ".join(lines[lines.index("All of them in short") :]).split())
    assert f"One tilt for all of them: set box.tilt_deg = {answer.tilt_deg:g} (top toward the scene)" in short
    told = answer_of(reports).data()["all_states"]
    assert (told["tilt_deg"], told["clears"], told["leaves"]) == (answer.tilt_deg, True, [])
    assert answer_of(reports[:1]).data()["all_states"] is None


def test_keys_count_trays_as_the_scene_does_though_a_lens_has_not_all_of_them(tmp_path):
    other = '[[box.stage]]\nname = "other tray"\nlenses = ["85"]\nat_mm = 8\ndepth_mm = 6\nopening_mm = [138, 97]\n'
    lens = HEAD[HEAD.index("[[lens]]") : HEAD.index("[box]")].replace('"50"', '"85"').replace("focal_mm = 50", "focal_mm = 85")
    text = HEAD.replace("[[box.stage]]", f"{other}[[box.stage]]", 1).replace("[box]", f"{lens}[box]", 1)
    path = tmp_path / "quay.toml"
    path.write_text(text.format(tilt=1.0, more=LAMP))
    loaded = load_scene(path)
    plan = next(plan for plan in widest_stops(plans_of(loaded)) if plan.lens_name == "50")
    (tray,) = [thing for thing in TiltableBox(plan).things() if thing.name == "rear tray"]
    assert tray.keys == ("box.stage[2].tilt_deg",)


def spied_on(monkeypatch):
    """What the answer shares out to processes, and what it has prepared."""
    shared, prepared = [], []
    monkeypatch.setattr(ghosts_answer, "shared_out", lambda work, items, **_: shared.extend(items) or list(map(work, items)))
    monkeypatch.setattr(ghosts_answer, "prepare_judge", lambda: prepared.append(1))
    return shared, prepared


def quay(tmp_path, text=None):
    path = tmp_path / "quay.toml"
    path.write_text(text or HEAD.format(tilt=1.0, more=LAMP + SECOND))
    return path


def test_states_are_shared_out_to_processes(monkeypatch, tmp_path):
    shared, prepared = spied_on(monkeypatch)
    found = ghosts_answer.answer(load_scene(quay(tmp_path)))
    assert [(plan.focus_mm, plan.f_number) for plan in shared] == [(np.inf, 2.8), (700.0, 2.8)]
    assert [report.plan for report in found.reports] == shared
    assert prepared == [1]


def test_a_box_without_filters_waits_for_no_compiler(monkeypatch, tmp_path):
    _, prepared = spied_on(monkeypatch)
    text = re.sub(r"filter = .*\n", "", HEAD.format(tilt=1.0, more=LAMP))
    assert not any(report.filters for report in ghosts_answer.answer(load_scene(quay(tmp_path, text))).reports)
    assert prepared == []


@pytest.mark.skipif(sys.platform != "linux", reason="copies of this process are made on Linux alone")
def test_the_same_bytes_come_from_any_number_of_processes(tmp_path):
    path, said = quay(tmp_path), []
    for count in (1, 2, 4):
        environment = {**os.environ, **dict.fromkeys(VARIABLES, "1"), "PYTHONPATH": str(ROOT), PROCESSES: str(count)}
        words = [sys.executable, "-m", "scenes.cli", "ghosts", str(path), "--json"]
        said.append(subprocess.run(words, capture_output=True, cwd=ROOT, env=environment, check=True).stdout)
    assert said == said[:1] * 3
    assert json.loads(said[0])["all_states"]["states"] == 2
