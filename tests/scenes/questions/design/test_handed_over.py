"""What people are handed where nothing fits, when they stop on the way, and in a design's own file."""

import io
import json
import os
import signal
import time
import tomllib

import trimesh

from scenes.cli import main
from scenes.questions.design import designer as designer_module
from scenes.questions.design import figure as figure_module
from scenes.questions.design import places as places_module
from scenes.questions.design import report as report_module
from scenes.questions.design.answer import DesignAnswer, designs_json
from scenes.questions.design.contradictions import WayOut
from scenes.questions.design.report import design_report
from scenes.questions.design.scene_files import scene_files
from scenes.questions.design.text import answer_words, next_words, size_words
from scenes.runtime import progress as progress_module
from scenes.runtime.progress import progress
from scenes.states.load import load_scene
from tests.scenes.questions.design.made import FREE_FRONT, designed, half_mm, hood, lens, scene, written

LENS = lens("20", 20, 2.0, 40)
BACK = "back = { width_mm = 150, height_mm = 130, thickness_mm = 4, bore_mm = 118 }   # ours\n"
PLACES = FREE_FRONT + '[[design.free]]\nof = "box.hood.at_mm"\nchoose = [10, 20]\n'


def tight(room_mm, rear):
    """A hood of a fixed rear that has no room for all that is asked."""
    return scene(LENS, hood(rear=rear), design=f'small = ["front_area"]\n[design.want]\nroom_mm = {room_mm}')


def test_the_box_told_with_part_of_a_wish_is_that_of_a_second_run_with_so_much(tmp_path):
    # the rear leaves 0.45 mm beside the 2.5 mm of a fixed pupil, so 0.4 mm of the 1 mm that is asked for besides
    rear = 2 * half_mm(18, 20, 2.0, 40, 20, 2.5 + 0.45)
    report = designed(tmp_path, tight(1, (rear, 240)))
    assert not report.shown
    way: WayOut = next(one for one in report.contradiction.ways if one.wishes[0].key == "room:")
    assert way.words == "0.4 mm in place of 1"
    again = designed(tmp_path, tight(0.4, (rear, 240))).shown[0].design
    bare = designed(tmp_path, tight(0, (rear, 240))).shown[0].design
    assert size_words(way.design) == size_words(again) != size_words(bare)


def test_a_part_in_the_way_that_is_not_free_is_named_as_what_to_change(tmp_path):
    report = designed(tmp_path, scene(LENS, BACK.replace("118", "60") + hood(rear=(170, 130))))
    assert not report.shown
    words = next_words(report)
    assert words.startswith("back plate stands in the way and is not free: make it larger, bring the box nearer")
    free = scene(LENS, hood(rear=(170, 130)), FREE_FRONT.replace("[420, 320]", "[150, 100]"))
    assert next_words(designed(tmp_path, free)) == "change the scene's [design] as above, and ask again."


def test_a_value_set_in_a_table_of_one_line_is_marked_at_the_end_of_the_line(tmp_path):
    free = FREE_FRONT + '[[design.free]]\nof = "box.back.width_mm"\nfrom = 140\nto = 200\n'
    path = written(tmp_path, scene(LENS, BACK + hood(at=6, depth=40, rear=(170, 130)), free))
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 0
    (line,) = [one for one in (tmp_path / "out" / "design-1.toml").read_text().splitlines() if one.startswith("back")]
    assert line.endswith(("} # set by brimline design; ours", "}   # set by brimline design; ours"))
    assert "140" in line


def test_stopped_before_anything_is_found_says_so_in_one_sentence(tmp_path, monkeypatch, capsys):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(designer_module, "placed", stop)
    assert main(["design", str(written(tmp_path, scene(LENS, hood())))]) == 130
    assert "stopped before any box was found: there is nothing to hand over" in capsys.readouterr().err


def test_stopped_while_contradictions_are_looked_for_says_that_no_box_fits_and_what_stands_in_the_way(tmp_path, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(report_module, "contradiction", stop)
    report = designed(tmp_path, scene(LENS, BACK.replace("118", "60") + hood(rear=(170, 130))))
    assert answer_words(report).startswith("No box does all that is asked. Stopped on the way:")
    assert next_words(report).startswith("back plate stands in the way and is not free: make it larger")


def test_stopped_while_further_choices_are_tried_hands_over_the_best_so_far(tmp_path, monkeypatch):
    own, asked = designer_module.placed, []

    def stop_at_the_second(*given, **more):
        asked.append(given)
        if len(asked) > 1:
            raise KeyboardInterrupt
        return own(*given, **more)

    monkeypatch.setattr(designer_module, "placed", stop_at_the_second)
    report = designed(tmp_path, scene(LENS, hood(rear=(170, 130)), PLACES))
    assert report.stopped
    assert report.shown[0].design.pick == {"box.hood.at_mm": 10}
    assert answer_words(report).startswith("The smallest found box is ")


def test_stopped_while_places_are_tried_hands_over_the_best_place_so_far(tmp_path, monkeypatch):
    own, asked = places_module.solve, []

    def stop_at_the_third(*given, **more):
        asked.append(given)
        if len(asked) > 2:
            raise KeyboardInterrupt
        return own(*given, **more)

    monkeypatch.setattr(places_module, "solve", stop_at_the_third)
    place = FREE_FRONT + '[[design.free]]\nof = "box.hood.at_mm"\nfrom = 6\nto = 20\n'
    report = designed(tmp_path, scene(LENS, hood(rear=(170, 130)), place))
    assert report.stopped
    assert len(report.shown) == 1
    assert answer_words(report).startswith("The smallest found box is ")


def test_of_a_search_that_was_stopped_no_design_is_said_to_be_proven_the_smallest(tmp_path, monkeypatch):
    def stop(*_, **__):
        raise KeyboardInterrupt

    text = scene(LENS, hood(rear=(170, 130)))
    assert DesignAnswer(report=designed(tmp_path, text)).data()["designs"][0]["proven_smallest"]
    monkeypatch.setattr(report_module, "prices", stop)
    report = designed(tmp_path, text)
    assert report.stopped
    assert not DesignAnswer(report=report).data()["designs"][0]["proven_smallest"]
    assert not json.loads(designs_json(report))["designs"][0]["proven_smallest"]


def test_what_is_found_by_ctrl_c_is_written_however_long_that_takes(tmp_path, monkeypatch, capsys):
    def stop(*_, **__):
        os.kill(os.getpid(), signal.SIGTERM)  # SIGINT may be ignored, as in the background
        time.sleep(5)  # where the signal comes in
        yield

    def slow(*given):
        time.sleep(0.8)
        return own(*given)

    own = figure_module.level_cut
    monkeypatch.setattr(report_module, "prices", stop)
    monkeypatch.setattr(figure_module, "level_cut", slow)
    path = written(tmp_path, scene(LENS, hood(rear=(170, 130))))
    assert main(["design", str(path), "--out", str(tmp_path / "out")]) == 0
    assert "Stopped on the way: this is the best so far" in " ".join(capsys.readouterr().out.split())
    assert (tmp_path / "out" / "design-1.png").exists()
    assert (tmp_path / "out" / "design-1.toml").exists()


def test_a_pipe_hears_what_is_being_tried_while_a_design_is_looked_for(tmp_path, monkeypatch):
    now = iter(range(0, 10**9, 7))  # each look at the clock 7 s later
    monkeypatch.setattr(progress_module.time, "monotonic", lambda: float(next(now)))
    log = io.StringIO()
    with progress(1, "design", log) as tick:
        design_report(load_scene(written(tmp_path, scene(LENS, hood(rear=(170, 130)), PLACES))), tick)
    lines = log.getvalue().splitlines()
    assert any("gone by (trying choices 1 of 2, box.hood.at_mm = 10)" in line for line in lines)
    assert any("gone by (trying choices 2 of 2, box.hood.at_mm = 20)" in line for line in lines)


TOO_TIGHT = scene(LENS, hood(rear=(170, 130)), FREE_FRONT.replace("[420, 320]", "[150, 100]"))


def test_a_pipe_hears_that_nothing_fits_and_what_is_in_the_way_long_before_it_is_worked_out_why(tmp_path, monkeypatch):
    now = iter(range(0, 10**9, 7))
    monkeypatch.setattr(progress_module.time, "monotonic", lambda: float(next(now)))
    log = io.StringIO()
    with progress(1, "design", log) as tick:
        report = design_report(load_scene(written(tmp_path, TOO_TIGHT)), tick)
    assert not report.shown
    said = "(no box does all that is asked: 20, infinity, f/2: hood in the way; looking for why, Ctrl-C ends that; "
    assert any(said in line for line in log.getvalue().splitlines())


def test_stopped_before_it_is_known_why_nothing_fits_the_next_step_is_one_that_can_be_taken(tmp_path, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(report_module, "contradiction", stop)
    report = designed(tmp_path, TOO_TIGHT)
    assert [held.part for held in report.contradiction.blocked] == ["hood"]
    assert next_words(report).startswith("give the parts in the way, above, more freedom in [design] or leave out the lens")


def bracket(name, folder):
    return f'\n[[box.solid]]\nname = "{name}"\nfile = "{folder}/bracket.stl"\nunit = "mm"\n'


def with_brackets(tmp_path, names=("one", "two")):
    """A scene with two meshes of one name in two folders, and their bytes."""
    for folder, side in (("a", 20.0), ("b", 25.0)):
        (tmp_path / folder).mkdir()
        trimesh.creation.box((20, side, 10)).apply_translation((20 * side, 300, 50)).export(tmp_path / folder / "bracket.stl")
    (tmp_path / "scenes").mkdir()
    text = scene(LENS, hood(rear=(170, 130)) + bracket(names[0], "../a") + bracket(names[1], "../b"))
    return written(tmp_path / "scenes", text), [(tmp_path / folder / "bracket.stl").read_bytes() for folder in "ab"]


def test_designs_are_handed_over_as_the_scene_was_when_read_though_its_files_are_saved_anew_meanwhile(tmp_path):
    path, meshes = with_brackets(tmp_path)
    report = design_report(load_scene(path))
    path.write_text("[half saved")
    for folder in "ab":
        (tmp_path / folder / "bracket.stl").unlink()
    found = dict(scene_files(report))
    assert 'title = "To be built"' in found["design-1.toml"].decode()
    assert meshes[0] in found.values()


def test_two_files_of_one_name_from_two_folders_are_both_copied_and_each_is_named(tmp_path):
    path, meshes = with_brackets(tmp_path)
    found = dict(scene_files(design_report(load_scene(path))))
    named = [solid["file"] for solid in tomllib.loads(found["design-1.toml"].decode())["box"]["solid"]]
    assert [found[name] for name in named] == meshes


def test_parts_named_by_numbers_that_are_not_their_places_keep_their_own_files(tmp_path):
    """A bracket called "2" that stands first: the design named the files of the two the other way round."""
    path, meshes = with_brackets(tmp_path, names=("2", "1"))
    found = dict(scene_files(design_report(load_scene(path))))
    named = [solid["file"] for solid in tomllib.loads(found["design-1.toml"].decode())["box"]["solid"]]
    assert [found[name] for name in named] == meshes
