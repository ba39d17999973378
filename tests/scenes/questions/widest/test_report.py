"""The widest lens: limits against similar triangles, setups against moved planes, the answer put back into the scene."""

import json
import math

import pytest
from click.testing import CliRunner
from scipy.optimize import brentq

from scenes.answers.answer import answer_data, answer_text
from scenes.questions.widest.answer import answer
from scenes.questions.widest.command import command
from scenes.questions.widest.figure import widest_figure
from scenes.questions.widest.lens_family import Measures, Rule, assumed, family_of, family_states, relatives
from scenes.questions.widest.report import ROUND_MM, Fate, Wanted, widest_report
from scenes.questions.widest.scene_lenses import catalogue
from scenes.questions.widest.setups import AS_SET, Setup
from scenes.questions.widest.text import answer_words, next_step
from scenes.questions.widest.wanted import wanted_of
from scenes.registry import COMMANDS
from scenes.runtime.engines import engine_of
from scenes.runtime.page import WIDTH
from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import Resources
from scenes.states.clear_rule import Word
from scenes.states.load import Loaded, load_scene, plans_of
from scenes.states.select import widest_stops
from scenes.verdicts.check import run_check

SCENE = """
brimline = 1
title = "one opening"

[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [360, 240]
offset_mm = [1.0, 0.5]

[[lens]]
name = "25"
confirmed = ["focal_mm"]             # its name stays while its focal length is varied
focal_mm = {focal}
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = 40
{lenses}
[box]
mount = "clamp"
ahead_mm = 3
{flag}
[[box.mask]]
name = "plate"
at_mm = 57
opening_mm = [150, 110]
corner_mm = {corner}
outer_mm = [600, 600]

[check]
f_numbers = [2.0]
focus_mm = {focus}
"""
FLAG = """
[[box.flag]]
side = "right"
angle_deg = 0
hinge_mm = 62
at_mm = 60
length_mm = 20
width_mm = 300
"""
LONGER = """
[[lens]]
name = "60"
focal_mm = 60
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = 60
"""
HALF_MM, FAR_MM, CORNER_MM = (75.0, 55.0), 61.0, 20.0  # of the opening; its front face: 3 + 57 + 1 mm of plate


def loaded(*, focal=25, corner=CORNER_MM, flag="", lenses="", focus='["infinity"]', opening="[150, 110]", name="25"):
    text = SCENE.format(focal=focal, corner=corner, flag=flag, lenses=lenses, focus=focus).replace("[150, 110]", opening)
    text = text.replace('name = "25"', f"name = '{name}'")
    return Loaded(scene=parse_scene(text, source="s.toml"), resources=Resources(), file_name="s.toml", sha256="")


def limits(scene, setup=AS_SET, **measures):
    report = widest_report(scene, Wanted(measures=Measures(**measures)))
    return next(one for one in report.setups if one.setup == setup).states


def in_space_mm(focal_mm, depth_mm):
    """The same as a distance in space: each side of the beam leans against the axis by what the picture leans that way."""
    grown, pupil = (FAR_MM + depth_mm(focal_mm)) / focal_mm, focal_mm / 2.0 / 2.0
    x, y = grown * 19.0, grown * 12.5
    past = [max(at - (half - CORNER_MM), 0.0) for at, half in ((x, HALF_MM[0]), (y, HALF_MM[1]))]
    found = [
        (HALF_MM[0] - x - pupil) / math.hypot(1.0, 19.0 / focal_mm),
        (HALF_MM[1] - y - pupil) / math.hypot(1.0, 12.5 / focal_mm),
    ]
    if min(past) > 0:
        away = math.hypot(*past)
        lean = (19.0 * past[0] + 12.5 * past[1]) / away / focal_mm
        found.append((CORNER_MM - pupil - away) / math.hypot(1.0, lean))
    return min(found)


def room_mm(focal_mm, depth_mm, *, corner_mm=CORNER_MM, far_mm=FAR_MM, scale=1.0):
    """Room of the beam in the opening: a rectangle x z / f from the axis, rounded by the pupil f / 2N, in a rounded rectangle.

    Geometry (similar triangles; design section 4, "Beam"). The farthest corner of the picture lies 19 mm right, 12.5 mm up.
    """
    grown = (far_mm + depth_mm(focal_mm)) / focal_mm
    x, y = (grown * (offset + half * scale) for offset, half in ((1.0, 18.0), (0.5, 12.0)))
    pupil = focal_mm / 2.0 / 2.0
    past = [max(at - (half - corner_mm), 0.0) for at, half in ((x, HALF_MM[0]), (y, HALF_MM[1]))]
    round_room = corner_mm - pupil - math.hypot(*past) if min(past) > 0 else math.inf
    return min(HALF_MM[0] - x - pupil, HALF_MM[1] - y - pupil, round_room)


def closed_form(depth_mm, **more):
    return brentq(lambda focal_mm: room_mm(focal_mm, depth_mm, **more), 9.0, 60.0)


def held(_):
    return 40.0


def scaled(focal_mm):
    return 40.0 * focal_mm / 25


@pytest.mark.parametrize("corner", [20.0, 6.0])  # one touches with its round corner, one with its right side
def test_a_square_on_opening_is_touched_where_similar_triangles_say(corner):
    (state,) = limits(loaded(corner=corner), pupil=Rule.HELD)
    exact = closed_form(held, corner_mm=corner)
    assert exact - 0.01 <= state.touch.focal_mm <= exact + ROUND_MM + 0.02  # rounded up, the beam at most 0.02 mm too wide
    assert state.touch.met.part == "plate"
    assert state.touch.met.where.startswith(("right", "top right"))  # the right side touches all along, up to its corner


def test_clearing_asks_for_two_percent_of_the_frame_more_and_for_the_room_of_a_fixed_pupil():
    (state,) = limits(loaded(), pupil=Rule.HELD)
    by_pupil = brentq(lambda focal_mm: in_space_mm(focal_mm, held) - 2.5, 9.0, 60.0)
    exact = max(closed_form(held, scale=1.02), by_pupil)
    assert exact == by_pupil
    assert exact - 0.01 <= state.clear.focal_mm <= exact + ROUND_MM + 0.02


@pytest.mark.parametrize(("last_deg", "by"), [(40.0, "frame"), (32.59, "walk"), (20.0, "pupil")])
def test_a_walk_asks_for_no_room_as_far_as_it_reaches_and_the_check_agrees(last_deg, by):
    # the corner lies hypot(18, 12) = 21.63 out: the walk reaches nine tenths of its tangent from 19.47 / tan(last) mm on
    # and its sizes are a flat pupil's in the corner, some 35.5 deg out, drawn straight on from the axis: cos 35.5 = 0.814
    walk = f"pupil_walk = [[0, 40, 1, 1], [{last_deg}, 40, {1 - 0.186 * last_deg / 35.5:.4f}, 1]]"
    (state,) = limits(loaded(lenses=walk), pupil=Rule.HELD)
    exact = {
        "frame": closed_form(held, scale=1.02),
        "walk": 0.9 * math.hypot(18, 12) / math.tan(math.radians(last_deg)),
        "pupil": brentq(lambda focal_mm: in_space_mm(focal_mm, held) - 2.5, 9.0, 60.0),
    }[by]
    assert state.clear.focal_mm == pytest.approx(exact + ROUND_MM / 2, abs=0.15)
    for focal, is_clear in ((state.clear.focal_mm, True), (state.clear.focal_mm - 0.2, False)):
        (found,) = run_check(plans_of(loaded(focal=focal, lenses=walk)), engine_of("coverage"), columns=60).states
        assert (found.word is Word.CLEAR) == is_clear


def test_a_pupil_that_scales_touches_where_similar_triangles_say():
    (state,) = limits(loaded(), pupil=Rule.SCALED)
    exact = closed_form(scaled)
    assert exact - 0.01 <= state.touch.focal_mm <= exact + ROUND_MM + 0.02


@pytest.mark.parametrize("focal", [20, 35])  # the limit lies on either side of the lens that the family follows
def test_the_worse_of_two_pupils_counts(focal):
    scene = loaded(focal=focal)
    found = {rule: limits(scene, pupil=rule)[0].touch.focal_mm for rule in Rule}
    assert found[Rule.WORSE] == max(found[Rule.HELD], found[Rule.SCALED])
    assert found[Rule.HELD] != found[Rule.SCALED]


def test_the_far_end_of_a_stated_interval_counts():
    (state,) = limits(loaded(), pupil_mm=(30.0, 44.0))
    exact = closed_form(lambda _: 44.0)
    assert exact - 0.01 <= state.touch.focal_mm <= exact + ROUND_MM + 0.02


def test_a_stage_more_moves_the_opening_on_by_its_depth():
    (state,) = limits(loaded(), Setup(added=True), pupil=Rule.HELD)
    exact = closed_form(held, far_mm=FAR_MM + 8.0)  # 8 mm: a usual tray, common practice
    assert exact - 0.01 <= state.touch.focal_mm <= exact + ROUND_MM + 0.02


def test_a_tray_of_another_lens_says_nothing_of_a_stage_more():
    # It ends 70 mm ahead of the back plate, beyond the opening, which moves on by 8 mm all the same: the "25" has no tray itself.
    tray = '[[box.stage]]\nat_mm = 50\ndepth_mm = 20\nopening_mm = [300, 300]\nlenses = ["60"]\n'
    report = widest_report(loaded(lenses=LONGER, flag=tray), Wanted(measures=Measures(pupil=Rule.HELD), added_mm=8.0))
    (state,) = next(one for one in report.setups if one.setup == Setup(added=True)).states
    exact = closed_form(held, far_mm=FAR_MM + 8.0)
    assert exact - 0.01 <= state.touch.focal_mm <= exact + ROUND_MM + 0.02


def test_with_the_mask_out_nothing_stands_in_the_way():
    (state,) = limits(loaded(), Setup(masked=False))
    assert state.clear.fate is Fate.ALL
    assert state.clear.met is None


def test_with_the_flags_off_the_next_part_bites():
    scene = loaded(flag=FLAG)
    (on,), (off,) = limits(scene, pupil=Rule.HELD), limits(scene, Setup(flagged=False), pupil=Rule.HELD)
    assert (on.touch.met.part, off.touch.met.part) == ("right flag", "plate")
    assert off.touch.focal_mm == limits(loaded(), pupil=Rule.HELD)[0].touch.focal_mm
    exact = brentq(lambda focal_mm: 19.0 * (3 + 60 + 20 + 40) / focal_mm + focal_mm / 4 - 62.0, 30.0, 60.0)  # similar triangles
    assert exact - 0.01 <= on.touch.focal_mm <= exact + ROUND_MM + 0.05


def test_a_flag_that_stands_in_the_way_is_not_said_to_be_out_of_it():
    """A flag 20 mm from the axis, and a tray of 40 x 30 mm behind it: no lens up to 14 mm gets past either, mask or no mask."""
    tray = '[[box.stage]]\nname = "tray"\nat_mm = 40\ndepth_mm = 8\nopening_mm = [40, 30]\n'
    scene = loaded(flag=tray + FLAG.replace("hinge_mm = 62", "hinge_mm = 20"), opening="[400, 400]")
    told = next_step(widest_report(scene, Wanted(measures=Measures(pupil_mm=(40.0, 40.0)), to_mm=14.0)))
    assert told == (
        "the right flag stands in the way of a wider lens, and with mask out, flags off the tray still does: both have to move."
    )


def test_the_few_focal_lengths_that_clear_are_found_between_those_tried():
    # A pupil that scales from 40 mm at 32 mm: half the beam is (61 + 40 f / 32) 19 / f + f / 4, least at some 68 mm, and 2.5 mm
    # of room along a slope of 0.28; 58 and 78 mm, which are tried, ask for a third of a mm more than 68 does.
    need = (61 / 68 + 40 / 32) * 19 + 68 / 4 + 2.5 * math.hypot(1, 19 / 68)
    scene = loaded(focal=32, corner=0, opening=f"[{2 * need + 0.4:.3f}, 400]")
    (state,) = limits(scene, pupil=Rule.SCALED)
    assert state.clear.fate is Fate.FOUND
    assert 58.0 < state.clear.focal_mm < 68.0


def test_a_box_that_none_of_the_family_clears_is_told_as_that():
    scene = loaded()
    report = widest_report(scene, Wanted(measures=Measures(pupil_mm=(40.0, 40.0)), to_mm=14.0))
    assert report.setups[0].clear.clear.fate is Fate.NONE
    assert "none at infinity, f/2 (always in: plate, top right corner)" in answer_words(report)


def test_the_answer_put_into_the_scene_is_clear_and_a_shorter_lens_is_not():
    near = '["infinity", 500]'
    states = limits(loaded(focus=near), pupil=Rule.HELD)
    for place, state in enumerate(states):
        for focal, wanted in (
            (state.clear.focal_mm, {Word.CLEAR}),
            (state.touch.focal_mm - 0.4, {Word.SHADING, Word.IN_FRAME, Word.TIGHT}),
        ):
            plans = plans_of(loaded(focal=focal, focus=near))[place : place + 1]
            assert run_check(plans, engine_of("coverage"), columns=60).states[0].word in wanted


def test_the_scene_s_own_lenses_are_judged_as_the_check_judges_them():
    scene = loaded(focal=20, lenses=LONGER)
    fits = catalogue(scene, widest_stops(plans_of(scene)), 8.0)
    check = run_check(widest_stops(plans_of(scene)), engine_of("coverage"), columns=60)
    assert [one.lens.name for one in fits] == ["25", "60"]
    assert [one.fits[0].word for one in fits] == [state.word for state in check.states]
    assert {one.fits[0].word for one in fits} == {Word.IN_FRAME, Word.CLEAR}


def test_measures_are_held_scaled_or_stated_and_said_so():
    scene = loaded()
    grid = plans_of(scene)[0].grid
    family = family_of(scene.scene, Resources(), None, Measures(pupil=Rule.SCALED, front=Rule.SCALED, length_mm=140.0), grid)
    (lens,) = relatives(family, 50.0)
    assert (lens.front_diameter_mm, lens.front_to_sensor_mm) == (220.0, 140.0)
    assert lens.pupil_behind_front_mm.horizontal == (80.0, 80.0)
    assert "scaled with focal length" in assumed(family)[0]
    assert "140 mm, as stated" in assumed(family)[2]


def stated_fields(*rows):
    """What is assumed of a lens's field that rows (focal, focus, tangent by that of the focal length) state."""
    lines = "".join(
        f"[[lens.state]]\nfocal_mm = {f}\nfocus_mm = {d}\nhalf_field_deg = {math.degrees(math.atan(18.0 / f * share)):.5f}\n"
        for f, d, share in rows
    )
    scene = loaded(lenses=lines)
    family = family_of(scene.scene, Resources(), None, Measures(), plans_of(scene)[0].grid)
    return family.field, [sentence for sentence in assumed(family) if sentence.startswith("field")]


def test_a_field_stated_wider_than_the_focal_length_says_is_used():
    # the tangent of a thin lens's half field at infinity is 18 / f
    field, (words,) = stated_fields((25, '"infinity"', 1.04))
    assert field.wider == pytest.approx(1.04, abs=1e-5)
    assert words == 'field: up to 4.0 % wider than the focal length says, as in the "25"\'s rows'


def test_a_field_stated_narrower_is_used_and_said_so():
    field, (words,) = stated_fields((25, '"infinity"', 0.94))
    assert (field.wider, field.narrower) == (1.0, pytest.approx(0.94, abs=1e-5))
    assert words.startswith('field: up to 6.0 % narrower than the focal length says, where the "25"\'s rows measure it so')


@pytest.mark.parametrize("share", [0.93, 1.06])
def test_at_its_own_focal_length_the_family_sees_what_its_lens_measures_close_up(share):
    # the tangent of the half field is 18 / f times the share at infinity, and close up as the row states it
    row = f"[[lens.state]]\nfocus_mm = 600\nhalf_field_deg = {math.degrees(math.atan(18.0 / 25 * share)):.5f}\n"
    scene = loaded(lenses=row, focus='["infinity", 600]')
    grid = plans_of(scene)[0].grid
    family = family_of(scene.scene, Resources(), None, Measures(), grid)
    (near,) = family_states(family, grid, 25.0, 600.0, 2.0)
    assert 18.0 / near.field_focal_mm == pytest.approx(18.0 / 25 * share, rel=1e-5)
    (checked,) = next(plan for plan in plans_of(scene) if plan.focus_mm == 600).variants
    assert near.field_focal_mm == pytest.approx(checked.field_focal_mm, rel=1e-9)


def test_the_headline_does_not_contradict_check_of_the_measured_lens():
    row = f"[[lens.state]]\nfocus_mm = 600\nhalf_field_deg = {math.degrees(math.atan(18.0 / 25 * 0.93)):.5f}\n"
    scene = loaded(focal=25, lenses=row, focus='["infinity", 600]')
    for found in (answer(scene), answer(loaded(focal=14), pupil="held")):
        (own,) = (one for one in found.fits if one.lens.name == "25")
        words = answer_words(found.report, found.fits)
        (now,) = (one for one in found.report.setups if one.setup == AS_SET)
        said = all(state.clear.focal_mm <= own.lens.focal_mm for state in now.states)
        assert said == (own.fits[0].word is Word.CLEAR) or "The 25 itself" in words


def test_a_field_stated_wider_at_the_long_end_of_a_zoom_is_left_out_and_said_so():
    field, (words,) = stated_fields((25, '"infinity"', 1.0), (50, '"infinity"', 1.1))
    assert (field.wider, field.longer) == (pytest.approx(1.0, abs=1e-5), pytest.approx(1.1, abs=1e-5))
    assert "rows at longer focal lengths state it up to 10.0 % wider than those say, which is left out" in words


def test_a_field_stated_nearer_than_four_focal_lengths_is_left_out_and_said_so():
    # D = f (2 + m + 1/m) is least, 4 f, at life size: 180 mm is nearer than 4 x 50, not than 4 x 25
    field, words = stated_fields(*((f, d, 1.0) for f in (25, 50) for d in ('"infinity"', 180)))
    assert field.unheld_mm == (180.0,)
    assert any('what the "25"\'s rows state at 180 mm is left out' in sentence for sentence in words)


def test_the_table_fits_its_columns_and_begins_with_the_answer():
    scene = loaded(flag=FLAG, lenses=LONGER)
    found = answer(scene)
    lines = answer_text(found).splitlines()
    assert lines[lines.index("Widest: one opening") + 1].startswith("This box as set clears ")
    assert max(map(len, lines)) <= WIDTH
    data = json.loads(json.dumps(answer_data(found, scene), allow_nan=False))
    assert data["setups"][0]["states"][0]["bites"]["part"] == "right flag"
    assert data["setups"][0]["states"][0]["focus_mm"] == "infinity"
    assert [one["lens"] for one in data["lenses"]] == ["25", "60"]
    assert {one["setups"][0]["state"] for one in data["lenses"]} == {state["key"] for state in data["states"]}
    assert data["next_step"] in " ".join(" ".join(lines).split())


def test_the_chart_shows_the_limits_of_every_setup():
    scene = loaded(flag=FLAG)
    report = widest_report(scene, Wanted())
    (axes,) = (axes for axes in widest_figure(report, (), "t").axes if axes.get_label() == "limits")
    ends = {round(bar.get_x() + bar.get_width(), 1) for bar in axes.patches}
    assert {round(one.touch.touch.focal_mm, 1) for one in report.setups if one.touch.touch.fate is Fate.FOUND} <= ends
    assert "[mm]" in axes.get_xlabel()


def test_the_command_writes_a_chart_and_says_what_is_wrong_with_an_option(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(SCENE.format(focal=25, corner=20, flag="", lenses="", focus='["infinity"]'), encoding="utf-8")
    done = CliRunner().invoke(command, [str(path), "--no-lenses", "--out", str(tmp_path / "out")], standalone_mode=False)
    assert done.return_value == 0
    assert sorted(file.name for file in (tmp_path / "out").glob("[!.]*") if file.suffix != ".csv") == ["widest.json", "widest.png"]
    with pytest.raises(SceneError, match='--front: must be mm, or held, scaled, worse, found "wide"'):
        wanted_of(front="wide")
    assert load_scene(path).scene.title == "one opening"
    assert COMMANDS["widest"][0] == "scenes.questions.widest.command"


def test_setups_that_change_nothing_are_named_in_one_line_and_their_rows_left_out():
    found = answer(loaded(flag=FLAG.replace("hinge_mm = 62", "hinge_mm = 200")))
    lines = answer_text(found).splitlines()
    assert "No different from the box as set: flags off." in lines
    assert "No different from stage more (8 mm): stage more (8 mm), flags off." in lines
    heads = [row.words for row in found.setups_table().rows if not row.words.startswith("  ")]
    assert heads == ["as set", "mask out", "stage more (8 mm)", "mask out, flags off"]
    assert len(found.data()["setups"]) == 6


@pytest.mark.parametrize("name", ["25 $_{$", "$25$"])
def test_names_with_signs_of_formulas_are_drawn_as_they_are(name):
    scene = loaded(name=name, flag=FLAG.replace("side =", f"name = '{name}'\nside ="))
    figure = widest_figure(widest_report(scene, Wanted()), (), name)
    figure.draw_without_rendering()
    (axes,) = (axes for axes in figure.axes if axes.get_label() == "limits")
    assert axes.get_xlabel().endswith(f"family of the {name}")
    assert not any(text.get_parse_math() for text in (*axes.texts, axes.xaxis.label))
