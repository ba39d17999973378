"""The Python face: values from outside are checked as a file's are, arrays say what the closed forms say, reprs are short."""

import json

import numpy as np
import pytest
import trimesh

from scenes.answers.blocks import Gap, Heading, Lines, NextStep, Note, Paragraph
from scenes.answers.html import answer_html
from scenes.answers.table import Column, Table
from scenes.cli import main
from scenes.registry import questions
from scenes.scene_file.errors import SceneError
from scenes.scene_file.examples import starter_text
from scenes.scene_file.parse import parse_scene
from scenes.show import load
from tests.scenes.questions.compare.made_shoot import make_shoot

FLAG = "box.flag[top flag].angle_deg"


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    path = tmp_path_factory.mktemp("show") / "my-show.toml"
    path.write_text(starter_text())
    return load(path)


def complaint(call):
    with pytest.raises(SceneError) as caught:
        call()
    return str(caught.value)


def test_values_at_key_paths_become_those_of_the_scene(show):
    closer = show.with_values({FLAG: 42, "box.tilt_deg": 3})  # tilt_deg is not written in the starter scene
    assert (closer.loaded.scene.box.flag[0].angle_deg, closer.loaded.scene.box.tilt_deg) == (42, 3)
    assert (show.loaded.scene.box.flag[0].angle_deg, show.loaded.scene.box.tilt_deg) == (50, 0)


def test_a_changed_show_is_the_show_of_a_file_with_that_change(show):
    closer = show.with_values({FLAG: 42, "box.tilt_deg": 3, "box.stage[front tray].opening_mm.width": 130})
    text = starter_text().replace("angle_deg = 50", "angle_deg = 42").replace("[box]\n", "[box]\ntilt_deg = 3\n")
    name = text.index('name = "front tray"')
    text = text[:name] + text[name:].replace("[138, 97]", "[130, 97]", 1)
    assert closer.loaded.scene == parse_scene(text, "s.toml")


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        (FLAG, 9999, "angle_deg = 9999"),
        (FLAG, "42", 'angle_deg = "42"'),
        (FLAG, np.nan, "angle_deg = nan"),
        (FLAG, True, "angle_deg = true"),
    ],
)
def test_a_value_that_a_file_could_not_have_is_refused_in_the_same_sentence(show, path, value, line):
    told = complaint(lambda: show.with_values({path: value}))
    in_file = complaint(lambda: parse_scene(starter_text().replace("angle_deg = 50 ", line + " "), "s.toml"))
    assert told.split(": ", 1)[1] == in_file.split(": ", 1)[1]
    assert told.startswith('my-show.toml, changed: box.flag[1 "top flag"].angle_deg: ')


def test_values_that_contradict_each_other_are_refused_as_in_a_file(show):
    assert "hinge_mm: is missing" in complaint(lambda: show.with_values({"box.hood": None}))
    assert show.with_values({"box.hood": None, "box.flag": None}).loaded.scene.box.hood == ()


def test_a_table_given_as_a_value_is_checked_key_by_key(show):
    assert 'box.hood.at: is no key of this table; did you mean "at_mm"?' in complaint(
        lambda: show.with_values({"box.hood": {"at": 3}})
    )


def test_an_object_that_is_no_toml_value_is_refused_so_that_none_passes_unchecked(show):
    hood = show.loaded.scene.box.hood[0].model_copy(
        update={"depth_mm": -9999.0}
    )  # pydantic does not look into its own models again
    assert "must be given a number, a text, an array or a table, got a " in complaint(lambda: show.with_values({"box.hood": hood}))


@pytest.mark.parametrize("value", [np.float64(42), np.int64(42), np.arange(42, 43)[0], 42])
def test_numbers_of_numpy_are_numbers(show, value):
    assert show.with_values({FLAG: value}).loaded.scene.box.flag[0].angle_deg == 42


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("box.flg.angle_deg", 'box.flg.angle_deg: names no key of box, "flg"; did you mean "flag"?'),
        ("box.flag[bottom].angle_deg", 'box.flag[bottom].angle_deg: names no box.flag of this scene, "bottom"; known: top flag'),
        ("", '"": must name tables and a key, such as box.flag[top flag].angle_deg, got ""'),
        ("box.tilt_deg.right", "box.tilt_deg.right: names right of a value that is no pair, 0.0; write the key alone"),
    ],
)
def test_a_path_that_leads_nowhere_is_told_with_a_way_out(show, path, told):
    assert complaint(lambda: show.with_values({path: 1})) == f"my-show.toml, changed: {told}"


def test_one_of_a_pair_keeps_the_other_even_where_the_pair_is_not_written(show):
    assert show.with_values({"camera.offset_mm.up": 2}).loaded.scene.camera.offset_mm == (0, 2)
    depth = show.with_values({"lens[25].pupil_behind_front_mm.vertical": 60}).loaded.scene.lens[0].pupil_behind_front_mm
    assert (depth.horizontal, depth.vertical) == ((34, 40), (60, 60))


def test_a_changed_show_has_no_hash_of_the_old_file(show):
    assert len(show.beam(at_mm=40).json["scene"]["sha256"]) == 64
    assert show.with_values({FLAG: 42}).beam(at_mm=40).json["scene"]["sha256"] is None


def test_files_that_the_scene_names_are_still_found_from_its_folder(tmp_path):
    trimesh.creation.box((4, 2, 1)).export(tmp_path / "bracket.stl")
    solid = '[[box.solid]]\nname = "bracket"\nfile = "bracket.stl"\nunit = "in"\nat_mm = 200\n\n[[box.flag]]'
    (tmp_path / "s.toml").write_text(starter_text().replace("[[box.flag]]", solid, 1))
    size = load(tmp_path / "s.toml").with_values({FLAG: 42}).box().meshes["bracket"].bounds
    assert np.ptp(size, axis=0) == pytest.approx(np.array([4, 2, 1]) * 25.4)


def test_a_map_is_numpy_with_its_axes_right_and_up(show):
    found = show.with_values({FLAG: -20}).map("25", focus="infinity", f_number=5.6, columns=72)
    assert (found.loss_stops.shape, found.x_mm.shape, found.y_mm.shape) == ((48, 72), (72,), (48,))
    # A 36 mm wide sensor in 72 columns: pixels of 0.5 mm, the first centre half a pixel from the edge.
    assert found.x_mm[[0, -1]] == pytest.approx([-17.75, 17.75])
    assert found.y_mm[[0, -1]] == pytest.approx([11.75, -11.75])
    assert found.loss_stops[0].min() > 0.3  # a top flag in the beam darkens the top of the picture, as on a monitor
    assert found.loss_stops[-1].max() == 0
    assert found.part_names[found.blocked_by[0, 36]] == "top flag"
    lit = found.clear_share > 0
    np.testing.assert_allclose(found.loss_stops[lit], -np.log2(found.clear_share[lit]), atol=1e-5)


def test_a_map_is_judged_by_the_limits_of_its_scene(show):
    losing = show.with_values({FLAG: 11})
    worst = losing.map("25", focus="infinity", f_number=5.6, columns=36).result.blamed.worst.worst_case_stops
    assert 0.1 < worst < 0.9
    for stops, words in ((worst - 0.05, {"shading"}), (worst + 0.05, {"tight", "clear"})):
        told = losing.with_values({"check.visible_loss_stops": stops}).map("25", focus="infinity", f_number=5.6, columns=36).word
        assert told in words


def test_a_state_is_picked_by_key_or_by_lens_focus_and_stop(show):
    for state in show.states:
        assert show.state(state.key).key == state.key
        assert show.state("25", focus=state.focus_mm, f_number=state.f_number).key == state.key
    assert show.state("25", focus="close").focus_mm == 600


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda show: show.map("26"), 'lens: the scene has no lens "26"; did you mean "25"?'),
        (lambda show: show.map("25", f_number=3), "f_number: the scene's [check] has no state at 3; it has 2, 5.6; add it there"),
        (lambda show: show.map("25", columns=0), 'columns: must be a whole number of pixels from 1 to 32768, or "full", got 0'),
        (lambda show: show.beam(), "beam: needs at_mm, such as show.beam(at_mm=...)"),
        (lambda show: show.beam(at=3), 'beam: has no option "at"; did you mean "at_mm"?'),
        (lambda show: show.beam(at_mm=3, lens="26"), 'lens: the scene has no lens "26"; did you mean "25"?'),
        (lambda show: show.ask("bem"), 'ask: there is no question "bem"; did you mean "beam"?'),
    ],
)
def test_what_cannot_be_answered_is_one_sentence_in_pythons_words(show, call, told):
    assert complaint(lambda: call(show)) == told


def test_numbers_that_speak_against_each_other_are_told_and_never_clear(show):
    doubted = show.with_values({"lens[25].pupil_behind_front_mm": -40})
    reply, found = doubted.beam(at_mm=200), doubted.map("25", columns=12)
    fault = "fault: 25: pupil_behind_front_mm = -40 puts the entrance pupil ahead of the front rim"
    assert reply.text.startswith(fault)
    assert reply._repr_html_().startswith(f"<p><b>{fault}")
    assert (reply.answer.exit_status, reply.exit_status) == (0, 1)
    assert any(note.startswith(fault) for note in found.notes)
    assert found.word != "clear"
    assert (show.beam(at_mm=200).faults, show.beam(at_mm=200).exit_status) == ((), 0)


def test_no_repr_is_longer_than_a_line(show):
    found = show.map("25", columns=12)
    beam = show.beam(at_mm=40)
    things = [show, found, beam, beam.table, show.box(), show.states[0], show.loaded]
    texts = [repr(thing) for thing in things]
    assert all("\n" not in text and len(text) < 200 for text in texts), texts
    assert texts[0] == "<Show 'My show, A camera': 25>"
    assert texts[1].startswith("<LossMap 25, infinity, f/2: ")


def test_a_check_is_asked_in_python_as_on_the_command_line(show, tmp_path, capsys):
    reply = show.check(columns=24, focus="infinity", f_number=5.6)
    assert capsys.readouterr().out == ""
    assert [row["verdict"] for row in reply.table.rows] == [state["verdict"] for state in reply.json["states"]] == ["clear"]
    assert reply.table.rows[0]["key"] == "25_inf_f5.6"
    assert reply.json["brimline"] == "check"
    saved = show.check(columns=24, focus="infinity", f_number=5.6, flat=False, solid=False).save(tmp_path / "out")
    out = tmp_path / "out"
    written = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file() and path.name[0] != "."}
    assert set(saved) == written
    tables = {"results-states.csv", "results-states-guides.csv", "results-states-parts.csv"}
    assert {"results.json", "test-plan.txt", "25_inf_f5.6/map.npz", *tables} <= written
    capsys.readouterr()
    main(["check", str(show.loaded.folder / show.loaded.file_name), "--focus", "infinity", "--f-number", "5.6", "--pixels", "24"])
    assert reply.text == capsys.readouterr().out


@pytest.mark.parametrize("question", questions())
def test_every_question_is_a_method_that_names_its_options(show, question):
    assert question in dir(show)
    assert "Options: " in getattr(show, question).__doc__


SUN = """
[[light]]
name = "the sun"
sun = { latitude_deg = 48, longitude_deg = 11, time = 2026-06-21T12:00:00+02:00, camera_heading_deg = 180 }

[check]"""
FREE_HOOD = '\n[[design.free]]\nof = "box.hood.front_mm"\nfrom = [200, 140]\nto = [500, 400]\n'
OPTIONS = {"beam": {"at_mm": 40}, "tolerances": {"count": 8}, "check": {"columns": 24}}


@pytest.mark.slow
@pytest.mark.parametrize("question", questions())
def test_every_question_answers_about_a_changed_show_as_page_table_html_and_json(tmp_path, question):
    free = FREE_HOOD if question == "design" else ""
    (tmp_path / "s.toml").write_text(starter_text().replace("\n[check]", SUN) + free)
    options = OPTIONS.get(question, {})
    if question == "compare":
        stills = make_shoot(tmp_path / "stills", true={"box.ahead_mm": 9}, scene=starter_text(), notes_lens="25", columns=480)
        options = {"shoot": stills / "shoot.toml"}
    reply = load(tmp_path / "s.toml").with_values({FLAG: 42}).ask(question, **options)
    assert (reply.json["brimline"], reply.json["version"], reply.json["scene"]["sha256"]) == (question, 2, None)
    assert json.loads(reply.json_text) == reply.json
    assert "\n" not in repr(reply) + repr(reply.table)
    assert reply.table.rows
    assert reply._repr_html_().startswith('<div class="brimline">')
    assert reply.text.count("\n") > 3


def test_a_misspelt_question_is_no_attribute(show):
    with pytest.raises(AttributeError, match=r'a show has no "beem"; did you mean "beam"\?'):
        show.beem  # noqa: B018 - looking is enough
    assert not hasattr(show, "_repr_png_")


def test_a_reply_is_what_the_command_prints_and_writes(show, tmp_path, capsys):
    path = show.loaded.folder / show.loaded.file_name
    reply = show.beam(at_mm=40, lens="25", focus="infinity")
    argv = ["beam", str(path), "--at", "40", "--lens", "25", "--focus", "infinity"]
    main(argv)
    assert str(reply) == reply.text == capsys.readouterr().out
    main([*argv, "--json"])
    assert reply.json == json.loads(capsys.readouterr().out) == json.loads(reply.json_text)
    assert set(reply.save(tmp_path / "out")) == {path.name for path in (tmp_path / "out").glob("[!.]*")} >= {"beam.json"}
    assert reply.table.rows == reply.json["states"]
    assert len(reply.table) == 2
    assert str(reply.table) in reply.text


def test_the_box_is_closed_meshes_by_name(show):
    meshes = show.box("25").meshes
    assert {"back plate", "rear tray", "mask", "hood", "top flag", "rear tray filter"} <= set(meshes)
    assert all(mesh.is_watertight for mesh in meshes.values())
    # A 190 x 160 x 4 mm plate with a bore of 130 mm across: its volume in closed form.
    assert meshes["back plate"].volume == pytest.approx((190 * 160 - np.pi * 65**2) * 4, rel=2e-3)


class Page:
    """An answer with every kind of block and text that looks like markup."""

    def blocks(self, *, written):
        assert not written
        column = Column(of=lambda row: row, head="<part>\nname", left=True)
        table = Table(
            columns=(column, Column(of=str, key="only_json")), rows=("a & b",), notes_of=lambda _: ("  <i>",), foot=("all",)
        )
        return [Heading("<b>"), Gap(), Paragraph("p<q"), Lines(("1<2", "2")), Note("n<1"), Note("n2"), NextStep("go<"), table]


def test_a_page_becomes_html_with_text_left_as_text():
    html = answer_html(Page())
    for piece in (
        "<h4>&lt;b&gt;</h4>",
        "<p>p&lt;q</p>",
        "<pre>1&lt;2\n2</pre>",
        "<ul><li>n&lt;1</li><li>n2</li></ul>",
        "<b>Next:</b> go&lt;",
    ):
        assert piece in html
    for cell in ("&lt;part&gt;<br>name</th>", "a &amp; b</td>", "&lt;i&gt;</td>", "<tfoot>"):
        assert cell in html
    assert "only_json" not in html
    assert html.count("<tr>") == html.count("</tr>") == 4


def test_a_notebook_shows_the_same_cells_as_the_page(show):
    reply = show.beam(at_mm=40)
    html = reply._repr_html_()
    for cell in reply.text.split("\n")[4].split():
        assert cell in html
    assert reply.table._repr_html_() in html


def test_a_notebook_shows_maps_and_figures_without_pyplot(show):
    found = show.map("25", columns=12)
    for png in (found._repr_png_(), found.plot()._repr_png_(), show.beam(at_mm=40).figures["beam_at_40"]()._repr_png_()):
        assert png.startswith(b"\x89PNG")


def test_a_window_shows_box_and_heatmap(show, monkeypatch):
    pyvista = pytest.importorskip("pyvista")
    drawn = []

    class Window:
        def __init__(self, **options):
            self.options, self.window_size, self.shown = options, options["window_size"], False

        def show(self):
            self.shown = True

    monkeypatch.setattr(pyvista, "Plotter", Window)
    monkeypatch.setattr(pyvista, "OFF_SCREEN", False)
    monkeypatch.setattr("scenes.view3d.window.window_problem", lambda: "")
    monkeypatch.setattr("scenes.view3d.draw.draw", lambda scene, plotter: drawn.append((scene, plotter.shown)))
    window = show.view("25", focus="infinity", f_number=5.6)
    ((scene, shown_before),) = drawn
    assert window.shown
    assert not shown_before
    assert window.options["title"] == "25, infinity, f/5.6"
    assert scene.heatmap.loss_stops.shape[1] >= 100
    assert {"hood", "top flag"} <= {solid.name for solid in scene.solids}


def test_without_a_display_a_window_is_one_sentence(show, monkeypatch):
    monkeypatch.setattr("scenes.view3d.window.window_problem", lambda: "no display")
    assert complaint(lambda: show.view("25")) == "view: no display"
