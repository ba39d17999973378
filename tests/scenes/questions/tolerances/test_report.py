"""How sure a show is, against sums by hand: one opening in front of a pupil, square-on, with a box that stands off centre.

A rectangular opening at z takes the beam from W / 2 on, where the beam of a picture of half width w reaches w / f (z + p) + f / 2N
to either side (similar triangles; p is the pupil's depth, f / N its diameter). Here that is 18 / 24 (21 + 40) + 24 / 6 = 49.75 mm.
Beams are made up to 0.02 mm larger than they are, never smaller. Room is the distance in space from the beam's side, which leans
18 / 24 = 3 / 4 against the axis: 4 / 5 of what is left in the plane of the opening. How deep a part is in is told in that plane.
"""

import json
import re

import numpy as np
import pytest

from scenes.answers.answer import answer_text
from scenes.cli import main
from scenes.questions.tolerances.answer import TolerancesAnswer
from scenes.questions.tolerances.command import command
from scenes.questions.tolerances.figure import NOTHING_MOVES, Chart, chart_figure
from scenes.questions.tolerances.inputs import built, inputs_of
from scenes.questions.tolerances.report import BUILDS, surety
from scenes.questions.tolerances.text import fixed_words, next_step, percent, summary, worst_words
from scenes.scene_file.errors import SceneError
from scenes.show import load
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene, plans_of


def answer_of(found, title=""):
    return TolerancesAnswer(found=found, title=title, states=())


IN_SPACE = 4 / 5
BEAM_MM = 18 / 24 * (21 + 40) + 24 / 6
EXACT_MM = 0.025

SCENE = """
brimline = 1
title = "one opening"

[camera]
width_mm = 36.0
height_mm = 24.0

[[lens]]
name = "24"
focal_mm = 24
f_number = 3.0
front_diameter_mm = 60
pupil_behind_front_mm = {pupil}
{more}

[box]
mount = "clamp"
offset_mm = [2.0, 0.0]

[[box.mask]]
name = "plate"
at_mm = 20
thickness_mm = 1
opening_mm = [{width}, 130]
"""
WIDTH = 2 * (BEAM_MM + 2.0 + 0.3)  # 0.3 mm of room at the left, where the box has moved the opening's edge inward


def tolerance(of, **amounts):
    return f"[[tolerance]]\nof = '{of}'\n" + "".join(f"{key} = {value}\n" for key, value in amounts.items())


def loaded(tmp_path, *tables, pupil="40", width=WIDTH, more=""):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(pupil=pupil, width=width, more=more) + "\n" + "\n".join(tables), encoding="utf-8")
    return load_scene(path)


def found_in(tmp_path, *tables, count=100, **changes):
    scene = loaded(tmp_path, *tables, **changes)
    return surety(scene, plans_of(scene), count)


def test_the_room_as_written_is_that_of_similar_triangles(tmp_path):
    found = found_in(tmp_path, tolerance("box.mask.opening_mm.width", plus_minus=0.1))
    (lens,) = found.lenses
    assert lens.nominal.clearance_mm == pytest.approx(0.3 * IN_SPACE, abs=EXACT_MM)
    assert "left" in lens.nominal.nearest.where


def test_the_room_as_written_is_the_one_that_a_check_finds(tmp_path):
    scene = loaded(tmp_path, tolerance("box.tilt_deg", plus_minus=0.2))
    plans = plans_of(scene)
    (lens,) = surety(scene, plans, 10).lenses
    assert lens.nominal.clearance_mm == pytest.approx(judge_state(plans[0], margin=False).room_mm, abs=0.005)


def test_the_clear_share_of_one_even_measure_is_the_part_of_it_that_leaves_room(tmp_path):
    # Room 0.3 + u, u even on -0.5 .. 0.5 (half the width's +/- 1): above 0 for 0.8 of it.
    found = found_in(tmp_path, tolerance("box.mask[plate].opening_mm.width", plus_minus=1))
    assert found.clear_share == pytest.approx(0.8, abs=0.04)
    assert found.lenses[0].spread.share_range[0] < 0.8 < found.lenses[0].spread.share_range[1]


def test_the_worst_build_is_the_sum_of_what_closes_the_same_side(tmp_path):
    # The opening 0.5 narrower at the left, the box 0.4 farther right: 0.3 - 0.5 - 0.4. The pupil 2 mm deeper: 18 / 24 * 2 less.
    tables = (tolerance("box.mask.opening_mm.width", plus_minus=1), tolerance("box.offset_mm.right", plus=0.4))
    found = found_in(tmp_path, *tables, pupil="[38, 42]")
    (lens,) = found.lenses
    assert lens.worst.clearance_mm == pytest.approx(0.3 - 0.5 - 0.4 - 1.5, abs=EXACT_MM)
    assert "left" in lens.worst.nearest.where
    assert lens.worst.values == {
        "box.mask[plate].opening_mm.width": pytest.approx(WIDTH - 1),
        "box.offset_mm.right": pytest.approx(2.4),
        "lens[24].pupil_behind_front_mm": pytest.approx(42),
    }


def test_what_each_measure_does_alone_is_told_the_largest_first(tmp_path):
    tables = (tolerance("box.mask.opening_mm.width", plus_minus=1), tolerance("box.ahead_mm", plus_minus=1))
    found = found_in(tmp_path, *tables, pupil="[38, 42]")
    # A mm ahead, or of pupil depth, is 18 / 24 mm of the beam's half width; what brings the part in is told in its plane.
    into, out = (lambda by: 0.3 - by - 0.3 * IN_SPACE), (lambda by: by * IN_SPACE)
    assert [
        (e.name.rpartition(".")[2], round(e.at_low - e.nominal, 2), round(e.at_high - e.nominal, 2)) for e in found.effects
    ] == [
        ("pupil_behind_front_mm", pytest.approx(out(1.5), abs=0.03), pytest.approx(into(1.5), abs=0.03)),
        ("ahead_mm", pytest.approx(out(0.75), abs=0.03), pytest.approx(into(0.75), abs=0.03)),
        ("width", pytest.approx(into(0.5), abs=0.03), pytest.approx(out(0.5), abs=0.03)),
    ]
    assert found.least_sure == "lens[24].pupil_behind_front_mm"


def test_a_part_that_stands_well_clear_as_written_is_found_where_its_own_tolerance_brings_it_in(tmp_path):
    # A second plate at z = 30 .. 31: beam 18 / 24 * 71 + 4 = 57.25; 3 mm of room, its width +/- 8: 3 - 4 at the worst.
    front = f'[[box.mask]]\nname = "front"\nat_mm = 30\nthickness_mm = 1\nopening_mm = [{2 * (57.25 + 2 + 3)}, 150]'
    found = found_in(tmp_path, front, tolerance("box.mask[front].opening_mm.width", plus_minus=8))
    (lens,) = found.lenses
    assert (lens.nominal.nearest.part, lens.worst.nearest.part) == ("plate", "front")
    assert lens.worst.clearance_mm == pytest.approx(3 - 4, abs=EXACT_MM)
    assert found.clear_share == pytest.approx(7 / 8, abs=0.04)  # 3 + u, u even on -4 .. 4


def test_the_worst_of_many_measures_is_found_on_a_part_that_none_of_them_alone_brings_near(tmp_path):
    # A second plate 31 mm ahead: 12 / 24 (31 + 40) + 4 = 39.5 mm of beam; a sensor 0.5 mm off centre adds 0.5 / 24 (31 + 40).
    # As written 0.3 mm is left at the first. Here 1.2 mm more than that; 1 mm of offset and 0.5 mm of edge make it -0.3 mm.
    shift_mm = 0.5 / 24 * (31 + 40)
    far = f'[[box.mask]]\nname = "far"\nat_mm = 30\nthickness_mm = 1\nopening_mm = [300, {2 * (39.5 + shift_mm + 1.2)}]\n'
    moving = {"box.offset_mm.up": 1.0, "box.mask[far].opening_mm.height": 1.0, "camera.offset_mm.up": 0.5}
    idle = {"box.mask[plate].opening_mm": 0.1, "box.mask[far].opening_mm.width": 0.1, "box.offset_mm.right": 0.05}
    tables = [tolerance(of, plus_minus=by) for of, by in (idle | moving).items()]
    (lens,) = found_in(tmp_path, far, *tables, count=20).lenses
    assert len(lens.inputs) == 7
    assert (lens.nominal.nearest.part, lens.worst.nearest.part) == ("plate", "far")
    assert lens.worst.clearance_mm == pytest.approx(-0.3, abs=EXACT_MM)


def test_a_wide_turn_is_worst_between_its_ends(tmp_path):
    # A square opening turned by 90 degrees is itself again. On the way its edges come to W / 2 of the middle, and the beam's far
    # corner lies 18 / 24 (31 + 40) + 2 mm of offset and 12 / 24 (31 + 40) mm from there, with 4 mm of pupil around it.
    square = '[[box.mask]]\nname = "square"\nat_mm = 30\nthickness_mm = 1\nopening_mm = [126, 126]\n'
    moving = tolerance("box.mask[square].turn_deg", plus=90)
    (lens,) = found_in(tmp_path, square, moving, count=20, width=200).lenses
    assert not lens.always
    assert lens.worst.clearance_mm == pytest.approx(63 - np.hypot(53.25 + 2, 35.5) - 4, abs=0.1)


def test_a_show_is_settled_where_no_build_can_be_otherwise(tmp_path):
    table = tolerance("box.ahead_mm", plus_minus=0.5)
    wide, narrow = found_in(tmp_path, table, width=WIDTH + 8), found_in(tmp_path, table, width=WIDTH - 8)
    assert (wide.always, wide.clear_share, wide.lenses[0].spread) == (True, 1.0, None)
    assert (narrow.always, narrow.clear_share, narrow.lenses[0].spread) == (False, 0.0, None)
    told = "Every build within the tolerances stays out of frame with the 24; the worst leaves +3.1 mm"  # 4/5
    assert summary(wide).startswith(told)
    assert summary(narrow) == "No build stays out of frame with the 24."


def test_all_lenses_stand_on_one_and_the_same_build(tmp_path):
    # Two lenses alike, each with its own plate: clear together where both widths, each on its own, are: 0.8 * 0.6.
    more = """[[lens]]
name = "24 B"
focal_mm = 24
f_number = 3.0
front_diameter_mm = 60
pupil_behind_front_mm = 40"""
    other = f'lenses = ["24"]\n[[box.mask]]\nname = "other"\nlenses = ["24 B"]\nat_mm = 20\nopening_mm = [{WIDTH - 0.4}, 130]\n'
    found = found_in(tmp_path, other, tolerance("box.mask[each].opening_mm.width", plus_minus=1), more=more, count=400)
    shares = {lens.lens_name: lens.clear_share for lens in found.lenses}
    assert shares == {"24": pytest.approx(0.8, abs=0.03), "24 B": pytest.approx(0.6, abs=0.03)}
    assert found.clear_share == pytest.approx(0.48, abs=0.08)
    assert [len(lens.inputs) for lens in found.lenses] == [1, 1]


def test_a_lens_with_a_place_of_its_own_for_the_box_moves_with_the_box_too(tmp_path):
    scene = loaded(tmp_path, tolerance("box.offset_mm.right", plus_minus=0.4), more="box = { offset_mm = [3.0, 1.0] }").scene
    items = inputs_of(scene)
    moved = built(scene, items, {"box.offset_mm.right": 2.4})
    assert moved.box.offset_mm == pytest.approx((2.4, 0.0))
    assert moved.lens[0].box.offset_mm == pytest.approx((3.4, 1.0))


def test_a_walking_pupil_moves_as_a_whole(tmp_path):
    walk = "pupil_walk = [[0, 40.0, 1.0, 1.0], [40, 42.0, 1.0, 1.0]]"
    scene = loaded(tmp_path, tolerance("lens.pupil_walk", plus_minus=1), more=walk).scene
    (item,) = inputs_of(scene)
    assert (item.path, item.nominal) == ("lens[24].pupil_walk", 40.0)
    assert [row[1] for row in built(scene, [item], {item.path: 41.0}).lens[0].pupil_walk] == [41.0, 43.0]


def test_the_two_pupils_of_an_anamorphic_lens_come_out_each_on_its_own(tmp_path):
    pupil = "{ horizontal = [38, 42], vertical = 90 }"
    scene = loaded(
        tmp_path, tolerance("lens.pupil_behind_front_mm.vertical", plus_minus=2), pupil=pupil, more="squeeze = 1.5"
    ).scene
    items = inputs_of(scene)
    assert [(item.path.rpartition(".")[2], item.tolerance.ends) for item in items] == [
        ("vertical", (88, 92)),
        ("horizontal", (38, 42)),
    ]
    depth = built(scene, items, {items[0].path: 91.0, items[1].path: 39.0}).lens[0].pupil_behind_front_mm
    assert (depth.horizontal, depth.vertical) == ((39, 39), (91, 91))


def test_the_same_scene_and_seed_give_the_same_bytes(tmp_path):
    tables = (tolerance("box.mask.opening_mm.width", plus_minus=1), tolerance("box.ahead_mm", plus_minus=0.3))
    one, two = (json.dumps(answer_of(found_in(tmp_path, *tables, count=20)).data()) for _ in range(2))
    assert one == two


def test_a_scene_without_tolerances_is_told_how_to_give_one(tmp_path):
    with pytest.raises(SceneError, match=r"tolerance: the scene gives none; add a table \[\[tolerance\]\] with lines such as"):
        found_in(tmp_path)


def test_the_table_says_share_interval_least_sure_and_worst_build_in_100_columns(tmp_path):
    tables = (tolerance("box.mask.opening_mm.width", plus_minus=1), tolerance("box.offset_mm.right", plus=0.4))
    found = found_in(tmp_path, *tables)
    lines = answer_text(answer_of(found, "x" * 200)).splitlines()
    assert max(map(len, lines)) <= 100
    assert "least sure: opening width of the plate" in summary(found)
    # 0.3 + u - v, u even on -0.5 .. 0.5, v even on 0 .. 0.4: clear where u > v - 0.3, on the mean for 0.8 - 0.2.
    assert found.clear_share == pytest.approx(0.6, abs=0.05)
    words = worst_words(found.lenses[0])
    assert words.startswith(("the plate stands 0.6", "the plate stands 0.5"))
    assert "offset of the box to the right 2.4 mm (+0.4)" in words
    assert next_step(found).startswith("give the plate 0.6 mm more room, or know the opening width of the plate better than")


def test_builds_that_are_clear_only_if_a_fixed_pupil_stands_still_are_told_apart(tmp_path):
    # 4/5 of the 0.3 mm as written less 0.02 on each side at the worst; the opening 6 mm wider leaves 4/5 of 3.28
    width = tolerance("box.mask.opening_mm.width", plus_minus=0.04)
    found = found_in(tmp_path, width)
    assert found.always
    told = "`check` would call the worst build tight with 24: room 0.22 mm, less than the 2.5 mm a fixed pupil can be out by."
    assert fixed_words(found) == told
    assert told in " ".join(answer_text(answer_of(found)).split())
    assert answer_of(found).data()["summary"].endswith(told)
    assert next_step(found).startswith("confirm on the test shoot")
    assert fixed_words(found_in(tmp_path, width, width=WIDTH + 6)) == ""


@pytest.mark.parametrize("off", [0.04, 1.0, 0.3])
def test_builds_never_say_clear_of_what_check_calls_tight(tmp_path, off):
    # The room is 0.24 mm of 2.5 asked for: tight in check at its best.
    page = " ".join(answer_text(answer_of(found_in(tmp_path, tolerance("box.mask.opening_mm.width", plus_minus=off)))).split())
    assert re.findall(r"\b[Cc]lear\b", page.replace("less than the clear of `check`, which asks for room as well", "")) == []


def test_a_share_is_never_rounded_to_all_or_nothing():
    assert [percent(share) for share in (0.0, 0.0001, 0.5, 0.992, 0.9999, 1.0)] == ["0", "0.1", "50", "99.2", "99.9", "100"]


def test_the_command_prints_writes_and_exits_by_the_worst_build(tmp_path, capsys):
    loaded(tmp_path, tolerance("box.mask.opening_mm.width", plus_minus=1))
    out = tmp_path / "out"
    assert main(["tolerances", str(tmp_path / "scene.toml"), "--builds", "20", "--out", str(out)]) == 1
    assert "Out of frame with the 24 in" in capsys.readouterr().out
    written = {path.name for path in out.glob("[!.]*") if path.suffix != ".csv"}
    assert written == {"tolerances-24.png", "tolerances.json", "tolerances.png"}
    data = json.loads((out / "tolerances.json").read_text(encoding="utf-8"))
    assert data["lenses"][0]["worst"]["room_mm"] == pytest.approx(-0.2, abs=EXACT_MM)
    loaded(tmp_path, tolerance("box.mask.opening_mm.width", plus_minus=0.2))
    assert main(["tolerances", str(tmp_path / "scene.toml"), "--builds", "20", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["set"]["clear_share"] == 1.0


def test_a_check_says_that_its_verdict_is_for_the_box_as_written(tmp_path, capsys):
    check = ["check", str(tmp_path / "scene.toml"), "--pixels", "16", "--no-pictures", "--threads", "1"]
    loaded(tmp_path, tolerance("box.ahead_mm", plus_minus=5), width=WIDTH + 6)
    assert main(check) == 0
    said = " ".join(capsys.readouterr().out.split())
    drawn = "That is the box as drawn: the scene gives 1 tolerance, and `brimline tolerances` says how sure it is within them."
    assert drawn in said
    loaded(tmp_path, width=WIDTH + 6)
    assert main(check) == 0
    assert "as drawn" not in capsys.readouterr().out


def test_the_earlier_name_of_the_command_works_as_before_for_scripts_and_is_not_listed(tmp_path, capsys):
    loaded(tmp_path, tolerance("box.mask.opening_mm.width", plus_minus=1))
    scene, out = str(tmp_path / "scene.toml"), tmp_path / "out"
    told = {}
    for name in ("builds", "tolerances"):
        assert main([name, scene, "--builds", "20", "--json"]) == 1
        told[name] = json.loads(capsys.readouterr().out)
    assert told["builds"] == told["tolerances"]
    assert told["builds"]["brimline"] == "tolerances"
    assert main(["builds", scene, "--builds", "20", "--out", str(out)]) == 1
    assert {path.name for path in out.glob("[!.]*") if path.suffix != ".csv"} == {"builds-24.png", "builds.json", "builds.png"}
    capsys.readouterr()
    main(["--help"])
    assert "builds " not in capsys.readouterr().out.replace("share of builds", "")
    show = load(scene)
    assert "builds" not in dir(show)
    main(["schema", "builds"])
    assert json.loads(capsys.readouterr().out)["title"] == "brimline tolerances --json"
    reply = show.builds(count=20)
    assert reply.json == show.tolerances(count=20).json
    assert "builds.json" in reply.save(tmp_path / "saved")


def test_the_help_says_how_many_builds_are_tried():
    assert next(option for option in command.params if option.name == "count").default == BUILDS


def test_more_inputs_than_corners_find_the_same_worst(tmp_path):
    """Seven inputs, of which two count: past six not every corner is tried."""
    idle = [tolerance(f"box.mask.{key}", plus_minus=0.01) for key in ("corner_mm", "tilt_deg", "turn_deg")]
    idle[0] = tolerance("box.mask.opening_mm.height", plus_minus=0.01)
    both = (tolerance("box.mask.opening_mm.width", plus_minus=1), tolerance("box.offset_mm", plus_minus=0.4))
    more = (tolerance("box.tilt_deg", plus_minus=0.01),)
    (lens,) = found_in(tmp_path, *both, *idle, *more, count=10).lenses
    assert len(lens.inputs) == 7
    assert lens.worst.clearance_mm == pytest.approx(0.3 - 0.5 - 0.4, abs=0.05)
    assert np.isfinite(lens.worst.clearance_mm)


def test_a_page_without_bars_says_so_on_a_scale_that_shows_where_the_beam_begins():
    chart = Chart(head="h", words="w", effects=(), inputs=(), nominal_mm=-93.9, worst_mm=-93.9, answers_mm=None)
    figure = chart_figure(chart, "t")
    low, high = figure.axes[0].get_xlim()
    assert low < -93.9 < 0.0 < high
    assert any(NOTHING_MOVES in text.get_text() for text in figure.texts)
    assert not any("bar" in text.get_text() for text in figure.texts)  # the key tells of what is drawn alone
