"""The sun's day through a box: times by the sun's published place and plain trigonometry of the openings."""

import datetime as dt
import json
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from raytrace.lights import LightPlace
from raytrace.sun import camera_angles, sun_in_sky
from scenes.answers.answer import answer_text
from scenes.questions.sun.answer import SunAnswer
from scenes.questions.sun.command import command
from scenes.questions.sun.figure import level_angles, sun_figure
from scenes.questions.sun.report import chosen_sun, clock_may_differ, sun_report
from scenes.questions.sun.text import flag_angles, flag_words, joint_words, next_step, unwanted
from scenes.runtime.engines import engine_of
from scenes.scene_file.errors import SceneError
from scenes.states.clear_rule import Limits
from scenes.states.load import load_scene, plans_of
from scenes.states.select import first_focus
from scenes.verdicts.check import check_state
from tests.scenes.light_cast import beam_on_glass, lit_share, walls

SCENE = """
brimline = 1
title = "Flats"
camera = {{ format = "36x24" }}
[[lens]]
name = "50"
focal_mm = 50
f_number = 2
front_diameter_mm = 114
front_to_sensor_mm = 160
pupil_behind_front_mm = 45
[box]
mount = "clamp"
ahead_mm = 2
back = {{ width_mm = 190, height_mm = 160, thickness_mm = 4, bore_mm = 130 }}
seal = {{ kind = "donut" }}
[box.hood]
at_mm = 6
depth_mm = 60
rear_mm = [150, 130]
front_mm = [190, 150]
{more}
[[light]]
name = "sun"
[light.sun]
latitude_deg = 40.8
longitude_deg = -113.8
time = 2026-09-18T16:30:00-06:00
camera_heading_deg = 215
camera_tilt_deg = 4
"""
TOP_FLAG = """
[[box.flag]]
side = "top"
angle_deg = 80
length_mm = 150
width_mm = 260
"""


TRAY = """
[[box.stage]]
at_mm = 8
depth_mm = 8
opening_mm = [120, 90]
filter = { size = "4x5.65", thickness_mm = 4 }
"""


def loaded_with(tmp_path, more=""):
    path = tmp_path / "flats.toml"
    path.write_text(SCENE.format(more=more))
    return load_scene(path)


def report_with(tmp_path, more="", day=None):
    loaded = loaded_with(tmp_path, more)
    (plan,) = first_focus(plans_of(loaded))
    name, sun = chosen_sun(loaded.scene, None)
    return sun_report(plan, name, sun, day)


def at(hour, minute):
    return dt.datetime(2026, 9, 18, hour, minute, tzinfo=dt.timezone(dt.timedelta(hours=-6)))


def test_the_afternoon_sun_comes_over_the_hood_from_the_front_and_is_not_there_in_the_morning(tmp_path):
    report = report_with(tmp_path)
    azimuth = report.path.azimuth_deg[report.on_glass]
    assert np.abs(azimuth).max() < 90  # a closed back: nothing from behind the camera
    first, last = report.spans(report.on_glass)[0]
    assert first.hour >= 12  # the camera looks south-west
    assert last == report.spans(report.path.up)[0][1]


def test_the_glass_is_lit_from_where_a_line_over_the_hoods_edge_says(tmp_path):
    report = report_with(tmp_path)
    # From the lowest point of the lens front to the hood's top front edge: the clear glass reaches 0.45 of 114 mm down
    # and the sun's disc 0.27 deg up; the hood's edge stands 75 mm above the axis, 2 + 66 mm ahead. Beyond it no light.
    highest = np.degrees(np.arctan2(75 + 0.45 * 114, 68)) + 0.27
    ahead = np.abs(report.path.azimuth_deg) < 20
    up_the_axis = np.degrees(np.arctan2(report.path.direction[:, 1], report.path.direction[:, 2]))
    assert (ahead & report.path.up & (up_the_axis < highest - 4.0)).any()
    assert not report.on_glass[ahead & (up_the_axis > highest + 0.5)].any()
    assert report.on_glass[ahead & report.path.up & (up_the_axis < highest - 4.0)].all()


def test_the_sun_is_in_the_picture_while_its_angles_are_inside_the_frames(tmp_path):
    report = report_with(tmp_path, day=dt.date(2026, 12, 21))
    inside = report.spans(report.path.in_frame)
    assert inside
    tangent = report.path.direction[:, :2] / report.path.direction[:, 2:]
    centre_in = report.path.up & (np.abs(tangent) <= np.array([18, 12]) / 50).all(axis=1) & (report.path.direction[:, 2] > 0)
    assert report.path.in_frame[centre_in].all()
    assert np.count_nonzero(report.path.in_frame & ~centre_in) <= 6  # its rim enters a minute or two before its middle


def test_a_flag_comes_in_until_it_would_show_and_shortens_the_suns_time(tmp_path):
    report = report_with(tmp_path, TOP_FLAG)
    (flag,) = report.flags
    assert flag.least_deg < flag.now_deg
    # By hand: hinge 75 mm up, 68 mm ahead; the beam's edge from the pupil 45 behind, 12.5 mm half high, rises at 12 / 50
    clear = np.degrees(np.arctan2((68 + 45 + 150) * 12 / 50 + 12.5 - 75, 150))
    assert flag.least_deg == pytest.approx(clear, abs=2.5)
    assert unwanted(report).sum() > (report.on_glass_at_best & ~report.path.in_frame).sum()
    assert "flags fully in" in next_step(report)


def test_another_day_keeps_the_clock(tmp_path):
    report = report_with(tmp_path, day=dt.date(2026, 6, 21))
    assert report.path.moments[0].isoformat() == "2026-06-21T00:00:00-06:00"
    assert report.path.sky.height_deg.max() == pytest.approx(90 - 40.8 + 23.44, abs=0.1)  # the solstice's noon


def test_a_scene_without_a_sun_says_how_to_give_one(tmp_path):
    path = tmp_path / "flats.toml"
    path.write_text(re.sub(r"\[\[light\]\].*", "", SCENE.format(more=""), flags=re.DOTALL))
    with pytest.raises(SceneError, match="none is the sun by place and time; give one sun = "):
        chosen_sun(load_scene(path).scene, None)
    with pytest.raises(SceneError, match='no sun is named "son"; did you mean "sun"'):
        chosen_sun(loaded_with(tmp_path).scene, "son")


def test_the_command_tells_table_json_and_chart(tmp_path):
    loaded_with(tmp_path, TOP_FLAG)
    scene, out = str(tmp_path / "flats.toml"), tmp_path / "out"
    result = CliRunner().invoke(command, [scene, "--json", "--out", str(out)], standalone_mode=False)
    assert result.exception is None
    told = json.loads(result.stdout)
    assert (told["brimline"], told["scene"]["title"]) == ("sun", "Flats")
    assert told["states"][0]["focus_mm"] == "infinity"
    assert told["date"] == "2026-09-18"
    assert told["lenses"][0]["on_glass"]
    assert sorted(path.name for path in out.glob("[!.]*") if path.suffix != ".csv") == ["sun-50_inf_f2.png", "sun.json"]
    assert json.loads((out / "sun.json").read_text()) == told


def test_the_table_keeps_to_its_width_and_carries_the_cautions(tmp_path):
    lines = answer_text(SunAnswer(reports=(report_with(tmp_path, TOP_FLAG),), title="Flats")).splitlines()
    assert max(map(len, lines)) <= 100
    assert "never look at it" in " ".join(" ".join(lines).split())


def test_the_chart_is_the_sky_from_above_with_the_way_the_camera_looks_up_the_sheet(tmp_path):
    """In polar coordinates: the bearing from where the camera looks, and the angle from overhead as the length."""
    report = report_with(tmp_path)
    figure = sun_figure(report)
    sky = next(axes for axes in figure.axes if axes.get_label() == "sky")
    (dots,) = (line for line in sky.lines if line.get_label() == "hours")
    x, y = dots.get_xdata(), dots.get_ydata()
    moments = [moment for k, moment in enumerate(report.path.moments) if moment.minute == 0 and report.path.up[k]]
    place = sun_in_sky([at(17, 0)], report.site)
    k = [moment.hour for moment in moments].index(17)
    assert np.hypot(x[k], y[k]) == pytest.approx(90 - place.height_deg[0], abs=1e-6)
    bearing = (place.compass_deg[0] - report.site.camera_heading_deg + 180) % 360 - 180
    assert np.degrees(np.arctan2(x[k], y[k])) == pytest.approx(bearing, abs=1e-6)
    written = {text.get_text() for text in figure.texts}
    assert {"N", "E", "S", "W", "horizon", "17"} <= written


def test_a_row_of_hours_without_any_says_never(tmp_path):
    report = report_with(tmp_path)
    never = replace(report, on_glass=np.zeros_like(report.on_glass), on_glass_at_best=np.zeros_like(report.on_glass_at_best))

    def said(shown):
        hours = next(axes for axes in sun_figure(shown).axes if axes.get_label() == "hours")
        return sum(text.get_text() == "never" for text in hours.texts)

    assert said(never) == said(report) + 1 + bool(report.flags)


@pytest.mark.parametrize("tilt_deg", [0.0, 12.0, -35.0])
def test_the_picture_on_the_sky_is_tilted_with_the_camera(tilt_deg):
    compass, height = np.array([10.0, 150.0, 200.0, 330.0]), np.array([5.0, 40.0, -20.0, 70.0])
    azimuth, elevation = camera_angles(compass, height, 200.0, tilt_deg)
    bearing, back = level_angles(azimuth, elevation, tilt_deg)
    np.testing.assert_allclose((bearing + 200.0) % 360.0, compass, atol=1e-9)
    np.testing.assert_allclose(back, height, atol=1e-9)


def test_the_pictures_outline_lies_where_the_sensor_is_shifted_to(tmp_path):
    path = tmp_path / "flats.toml"
    path.write_text(SCENE.format(more="").replace('format = "36x24"', 'format = "36x24", offset_mm = [1.5, -0.5]'))
    loaded = load_scene(path)
    (plan,) = first_focus(plans_of(loaded))
    report = sun_report(plan, *chosen_sun(loaded.scene, None))
    # 18 mm and the shift of 1.5 mm through a 50, to the operator's right
    assert report.frame_deg[:, 0].max() == pytest.approx(np.degrees(np.arctan(19.5 / 50)), abs=1e-6)
    assert report.frame_deg[:, 0].min() == pytest.approx(-np.degrees(np.arctan(16.5 / 50)), abs=1e-6)


SIDE_FLAG = """
[[box.flag]]
side = "right"
angle_deg = 85
length_mm = {length}
width_mm = 150
"""


def set_to(tmp_path, more, angles):
    """The scene's states with its flags set to other angles."""
    for old, new in angles.items():
        more = more.replace(f"angle_deg = {old}\n", f"angle_deg = {new}\n")
    return plans_of(loaded_with(tmp_path, more))


def test_a_flag_that_no_picture_holds_up_comes_in_as_far_as_a_scene_takes_and_says_so(tmp_path):
    report = report_with(tmp_path, SIDE_FLAG.format(length=30))
    (flag,) = report.flags
    # By hand: at -30 deg its tip is 80 mm aside, 94 mm ahead; the edge of the beam is there at 139 x 18 / 50 + 12.5 = 62.5 mm.
    assert flag.least_deg == -30.0
    assert flag_words(flag) == "right flag in from 85 to -30 deg (as far as flags fold in)"


def test_flags_far_in_leave_the_check_clear_and_do_not_meet(tmp_path, monkeypatch):
    # At 80 and 85 deg they pass each other: the top flag's ends reach 110 mm aside, past the side flag's hinge, but stand above it.
    more = TOP_FLAG.replace("260", "220") + SIDE_FLAG.format(length=120)
    text = SCENE.replace("focal_mm = 50", "focal_mm = 85").replace('name = "50"', 'name = "85"')
    monkeypatch.setitem(globals(), "SCENE", text)
    top, right = report_with(tmp_path, more).flags
    assert sorted([top.meets, right.meets]) in (["", "right flag"], ["", "top flag"])
    plans = set_to(tmp_path, more, {80: top.least_deg, 85: right.least_deg})
    words = {
        check_state(plan, engine_of("coverage"), columns=48, limits=Limits(visible_loss_stops=0.1))[0].word.value for plan in plans
    }
    assert words == {"clear"}
    assert not [note.text for note in plans[0].notes if "overlaps" in note.text]
    less = {80: top.least_deg - (2 if top.meets else 0), 85: right.least_deg - (2 if right.meets else 0)}
    farther = set_to(tmp_path, more, less)
    assert [note.text for note in farther[0].notes if "overlaps" in note.text]


def test_the_first_and_last_minute_on_the_glass_are_those_that_rays_find(tmp_path):
    loaded = loaded_with(tmp_path, TRAY)
    (plan,) = first_focus(plans_of(loaded))
    name, sun = chosen_sun(loaded.scene, None)
    report = sun_report(plan, name, sun)
    mesh, glass = walls(plan.fitted, plan), beam_on_glass(plan, inside=3000)

    def lit(minute):
        width = float(report.path.sky.width_deg[minute])
        return lit_share(glass, mesh, LightPlace(name="sun", direction=report.path.direction[minute], width_deg=width)) > 0

    edges = np.flatnonzero(np.diff(report.on_glass.astype(int)))
    high = [k for k in edges if report.path.up[k] and report.path.up[k + 1]]  # not where it sets
    assert high
    for k in high:
        inside, outside = (k, k + 1) if report.on_glass[k] else (k + 1, k)
        assert not lit(outside)
        assert lit(inside) or lit(2 * inside - outside)  # within a minute: a share too small for rays is not missed


@pytest.mark.parametrize(
    ("scene_day", "day", "may"),
    [
        # the last Sunday in March and in October 2026 are the 29th and the 25th, the first in November is the 1st (any calendar)
        ((2026, 6, 10), (2026, 9, 1), False),
        ((2026, 6, 10), (2026, 12, 5), True),
        ((2026, 12, 5), (2026, 6, 10), True),
        ((2026, 3, 29), (2026, 3, 29), True),
        ((2026, 3, 30), (2026, 3, 30), False),
        ((2026, 11, 10), (2027, 2, 20), False),
        ((2026, 6, 10), (2028, 6, 10), True),
    ],
)
def test_a_day_across_a_change_of_clocks_is_told(scene_day, day, may):
    assert clock_may_differ(dt.date(*scene_day), dt.date(*day)) is may


def test_the_table_says_which_clock_it_goes_by_where_the_day_may_have_another(tmp_path):
    winter, summer = (
        SunAnswer(reports=(report_with(tmp_path, day=dt.date(2026, *day)),), title="Flats") for day in ((12, 21), (9, 1))
    )
    told = " ".join(answer_text(winter).split())
    assert told.count("All times are by UTC-0600, the clock of the scene's own time.") == 1
    assert "Clocks may be put between 18 September 2026 and this day" in told
    assert "Clocks may be put" in winter.cautions[0]
    assert "Clocks" not in answer_text(summer)
    assert not any("Clocks" in caution for caution in summer.cautions)


def flag_of(name, now_deg, least_deg):
    return SimpleNamespace(name=name, now_deg=now_deg, least_deg=least_deg, limit=SimpleNamespace(clear_deg=least_deg))


def test_lenses_that_turn_one_flag_opposite_ways_are_given_one_setting_for_all():
    # One lens asks the right flag out to 47.2, the other lets it in to 27.3: what clears both is the wider.
    reports = [SimpleNamespace(flags=[flag_of("right flag", 30.0, least)]) for least in (47.2, 27.3)]
    assert flag_angles(reports[0].flags[0]) == "right flag out from 30 to 47.2 deg"
    assert flag_angles(reports[1].flags[0]) == "right flag in from 30 to 27.3 deg"
    assert joint_words(reports).endswith("One setting for all these lenses: right flag 47.2 deg.")
    assert joint_words(reports[:1]) == ""
