"""The command as a person meets it: what it prints, where, and with which exit status."""

import contextlib
import ctypes
import importlib
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
import weakref
from pathlib import Path

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from scenes import cli
from scenes.cli import COMMANDS, main
from scenes.scene_file.errors import ItemError
from scenes.states.load import load_scene, plans_of
from scenes.view3d.render import RenderReport

HEAVY = ("numpy", "scipy", "trimesh", "pyvista", "matplotlib", "numba", "pydantic", "shapely", "ezdxf")
SMALL = """
brimline = 1
title = "One lens"
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "20"
focal_mm = 20
f_number = 4
front_diameter_mm = 80
pupil_behind_front_mm = 40
[box]
[box.hood]
at_mm = 10
depth_mm = 50
rear_mm = [160, 110]
front_mm = [250, 180]
[[box.flag]]
side = "right"
angle_deg = {angle}
length_mm = 100
width_mm = 200
"""
QUICK = ("--engine", "reference", "--pixels", "6", "--no-pictures", "--threads", "1")


@pytest.fixture
def scene(tmp_path):
    def write(angle=75, text=SMALL, name="show.toml"):
        path = tmp_path / name
        path.write_text(text.replace("{angle}", str(angle)))
        return path

    return write


def run(capsys, *argv):
    status = main([str(word) for word in argv])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.mark.parametrize("argv", [["--help"], ["--version"], *[[name, "--help"] for name in COMMANDS]])
def test_help_needs_no_heavy_library(argv):
    code = f"import sys; from scenes.cli import main; s = main({argv!r}); print(s, sorted(set({HEAVY!r}) & set(sys.modules)))"
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    assert ended.stdout.splitlines()[-1] == "0 []"


def test_every_command_is_listed_with_what_it_is_for(capsys):
    status, out, _ = run(capsys, "--help")
    assert status == 0
    assert all(name in out for name in COMMANDS)


def test_a_misspelt_command_gets_the_nearest_one(capsys):
    status, out, err = run(capsys, "chekc", "x.toml")
    assert (status, out) == (2, "")
    assert err == 'error: There is no command "chekc"; did you mean "check"? See `brimline --help`.\n'


def test_a_box_out_of_the_way_gives_status_0(capsys, scene, tmp_path):
    status, out, err = run(capsys, "check", scene(), "--out", tmp_path / "out", *QUICK)
    assert (status, err) == (0, "")
    assert "is clear: the box stays out of the frame." in out
    assert "no substitute for the test shoot" in out
    assert json.loads((tmp_path / "out/results.json").read_text())["verdict"] == "clear"


def test_a_flag_in_the_frame_gives_status_1_and_says_what_to_open(capsys, scene, tmp_path):
    status, out, _ = run(capsys, "check", scene(angle=-20), "--out", tmp_path / "out", *QUICK)
    assert status == 1
    assert re.search(r"open the right flag to \d+ degrees \(by \d+\)", out)


def test_json_is_the_file_itself(capsys, scene, tmp_path):
    _, out, _ = run(capsys, "check", scene(), "--out", tmp_path / "out", "--json", *QUICK)
    assert out == (tmp_path / "out/results.json").read_text()


def test_without_a_folder_the_table_is_all(capsys, scene, tmp_path):
    status, out, _ = run(capsys, "check", scene(), *QUICK)
    assert (status, [path.name for path in tmp_path.iterdir()]) == (0, ["show.toml"])
    assert out.startswith("20, infinity, f/4 is clear")


FOUR_STOPS = SMALL + "[check]\nf_numbers = [4, 5.6, 8, 11]\n"


def files_by_threads(capsys, path, out, counts, *options):
    """Bytes of every file that a run leaves on so many threads; on more than one with processes beside this one."""
    left = []
    for threads in counts:
        assert run(capsys, "check", path, "--out", out / threads, "--engine", "reference", "--threads", threads, *options)[0] == 1
        left.append(
            {
                p.relative_to(out / threads).as_posix(): p.read_bytes()
                for p in (out / threads).rglob("*")
                if p.is_file() and not p.name.startswith(".")
            }
        )
    return left


def test_the_same_bytes_come_from_any_number_of_threads(capsys, scene, tmp_path):
    one, two = files_by_threads(capsys, scene(angle=20, text=FOUR_STOPS), tmp_path, "12", "--pixels", "12", "--no-pictures")
    assert {name.rpartition("/")[2] for name in one if not name.endswith(".csv")} == {"results.json", "map.npz", "test-plan.txt"}
    assert sum(not name.endswith(".csv") for name in one) == 6
    assert one == two


@pytest.mark.slow
def test_pictures_too_are_the_same_bytes_on_any_number_of_threads(capsys, scene, tmp_path):
    one, two, four = files_by_threads(capsys, scene(angle=20, text=FOUR_STOPS), tmp_path, "124", "--pixels", "40")
    assert {"20_inf_f11/map.png", "20_inf_f4/cut-top.png", "sheet-1.png"} <= set(one)
    assert one == two == four


def test_all_faults_of_a_scene_come_at_once_each_on_a_line(capsys, scene):
    bad = SMALL.replace("focal_mm = 20", "focal_mm = -20").replace("depth_mm", "dpeth_mm")
    status, out, err = run(capsys, "check", scene(text=bad), *QUICK)
    assert (status, out) == (2, "")
    assert all(line.startswith("error: show.toml:") for line in err.splitlines())
    assert "focal_mm" in err
    assert 'did you mean "depth_mm"' in err


def test_a_file_that_a_scene_names_is_complained_about_where_it_is_named(capsys, scene):
    text = SMALL + '[[box.solid]]\nfile = "no.stl"\nat_mm = 20\n'
    status, _, err = run(capsys, "check", scene(text=text), *QUICK)
    assert status == 2
    assert "box.solid" in err
    assert "no.stl" in err


@pytest.mark.parametrize(
    ("option", "words"),
    [
        (("--lens", "21"), 'the scene has no lens "21"'),
        (("--focus", "350"), "has no state at 350; it has infinity"),
        (("--focus", "near"), 'must be a distance in mm, "infinity" or "close"'),
        (("--f-number", "2"), "has no state at 2; it has 4"),
        (("--pixels", "wide"), "must be a whole number of pixels"),
        (("--engine", "magic"), "magic"),
        (("--sharp",), "--sharp"),
    ],
)
def test_an_option_that_fits_nothing_is_told_with_what_there_is(capsys, scene, option, words):
    status, out, err = run(capsys, "check", scene(), *QUICK, *option)
    assert (status, out) == (2, "")
    assert words in err


def test_options_pick_states(capsys, scene):
    status, out, _ = run(capsys, "check", scene(), *QUICK, "--lens", "20", "--focus", "infinity", "--f-number", "4")
    assert status == 0
    assert "20, infinity, f/4" in out


def test_ctrl_c_leaves_no_half_files(capsys, scene, tmp_path, monkeypatch):
    path = scene()

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("scenes.verdicts.check.check_state", interrupted)
    status, out, err = run(capsys, "check", path, "--out", tmp_path / "out", *QUICK)
    assert (status, out, [p.name for p in tmp_path.iterdir()]) == (130, "", ["show.toml"])
    assert "nothing was left half written" in err


def test_a_request_to_end_leaves_no_half_files_either(scene, tmp_path):
    argv = [
        sys.executable,
        "-m",
        "scenes.cli",
        "check",
        scene(angle=20),
        "--out",
        tmp_path / "out",
        "--engine",
        "reference",
        "--no-3d",
    ]
    with subprocess.Popen(argv, cwd=Path(__file__).parents[2], stderr=subprocess.PIPE, text=True) as child:
        while child.poll() is None and not list(tmp_path.glob(".out.*.partial")):
            time.sleep(0.02)
        child.terminate()
        assert "nothing was left half written" in child.stderr.read()
    assert (child.returncode, [path.name for path in tmp_path.iterdir()]) == (130, ["show.toml"])


@pytest.mark.skipif(cli.ALARM is None, reason="signals that come again are not known here")
def test_a_request_to_end_that_meets_the_compiler_calling_back_is_not_lost():
    """Python drops what is raised in a function that C calls (ctypes, "Callback functions")."""
    code = "def ask():\n    os.kill(os.getpid(), signal.SIGTERM)\n    sum(range(1000))"
    names = {"os": os, "signal": signal}
    exec(compile(code, f"{os.sep}llvmlite{os.sep}binding.py", "exec"), names)
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT, cli.ALARM)}

    def work():
        ctypes.CFUNCTYPE(None)(names["ask"])()
        time.sleep(5)

    cli._end_as_by_ctrl_c()
    try:
        with pytest.raises(KeyboardInterrupt):
            work()
    finally:
        cli._handle_as(before)


@pytest.mark.skipif(cli.ALARM is None, reason="signals that come again are not known here")
def test_a_request_to_end_that_something_swallows_comes_again_but_not_into_the_clearing_up(monkeypatch):
    monkeypatch.setattr(cli, "SWALLOWED_S", 0.02)
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT, cli.ALARM)}
    cleared = []

    def work():
        with contextlib.suppress(BaseException):
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(5)
        try:
            time.sleep(5)
        finally:
            time.sleep(0.2)
            with contextlib.suppress(KeyError):  # an error handled within the clearing up
                try:
                    raise KeyError
                finally:
                    time.sleep(0.1)
            cleared.append(True)

    cli._end_as_by_ctrl_c()
    try:
        with pytest.raises(KeyboardInterrupt):
            work()
    finally:
        cli._handle_as(before)
    assert cleared == [True]


ENDLESS = """
import sys
from concurrent.futures import ThreadPoolExecutor
from scenes import cli
import scenes.verdicts.check

def endless():
    while True:
        sum(range(1000))

def work(*_, **__):
    with ThreadPoolExecutor(1) as pool:
        pool.submit(endless)
        print("begun", flush=True)
        pool.submit(endless).result()

scenes.verdicts.check.check_state = work
cli.HELD_UP_S = 0.5
sys.exit(cli.main())
"""


@pytest.mark.skipif(cli.ALARM is None, reason="signals that come again are not known here")
def test_a_request_to_end_ends_a_run_whose_thread_has_no_end(scene, tmp_path):
    """`with` waits for the threads of a pool, and so does Python at its end (concurrent.futures, "ThreadPoolExecutor")."""
    argv = [sys.executable, "-c", ENDLESS, "check", scene(), "--out", tmp_path / "out", *QUICK]
    with subprocess.Popen(argv, cwd=Path(__file__).parents[2], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
        assert child.stdout.readline() == "begun\n"
        child.terminate()
        try:
            _, err = child.communicate(timeout=30)
        finally:
            child.kill()
    assert child.returncode == 130
    assert "nothing was left half written" in err
    assert [path.name for path in tmp_path.iterdir()] == ["show.toml"]


@pytest.mark.skipif(cli.ALARM is None, reason="signals that come again are not known here")
@pytest.mark.parametrize("kind", ["weak reference", "__del__"])
def test_a_request_to_end_waits_where_python_takes_an_object_away_and_would_drop_it(kind, capfd):
    """Python, "Data model", __del__: exceptions are ignored, and a warning is printed; weakref.ref: likewise for its callback."""
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT, cli.ALARM)}

    def ask():
        os.kill(os.getpid(), signal.SIGTERM)
        sum(range(1000))

    class Last:
        def __del__(self):
            ask()

    def work():
        if kind == "__del__":
            Last()
        else:
            names = {"ask": ask, "weakref": weakref}
            text = "class Told: pass\ntold = Told()\nheld = weakref.ref(told, lambda _: ask())\ndel told"
            exec(compile(text, weakref.__file__, "exec"), names)
        time.sleep(5)

    cli._end_as_by_ctrl_c()
    try:
        with pytest.raises(KeyboardInterrupt):
            work()
    finally:
        cli._handle_as(before)
    assert "ignored" not in capfd.readouterr().err


def test_a_request_to_end_that_comes_while_a_run_says_how_it_ended_prints_no_traceback(scene, monkeypatch):
    def told_late(_):
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(1)

    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr(cli, "_complain", told_late)
    assert main(["check", str(scene(text="["))]) == 130
    assert signal.getsignal(signal.SIGTERM) is before


def test_a_request_to_end_that_comes_while_handlers_are_put_back_is_not_raised():
    before = {signal.SIGTERM: signal.getsignal(signal.SIGTERM)}
    cli._end_as_by_ctrl_c()
    cli._has_ended.set()
    try:
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(0.01)
    finally:
        cli._handle_as(before)


def test_a_fault_of_the_program_is_one_sentence_and_status_70(capsys, scene, monkeypatch):
    def broken(*_, **__):
        raise KeyError("lost")

    monkeypatch.setattr("scenes.states.load._built", broken)
    monkeypatch.delenv("BRIMLINE_TRACEBACK", raising=False)
    status, out, err = run(capsys, "check", scene(), *QUICK)
    assert (status, out, err.count("\n")) == (70, "", 1)
    assert "please report it, with the scene file" in err
    monkeypatch.setenv("BRIMLINE_TRACEBACK", "1")
    assert "Traceback" in run(capsys, "check", scene(), *QUICK)[2]


@pytest.mark.parametrize(
    "error",
    [
        MemoryError(),
        OSError(12, "Cannot allocate memory"),
        ImportError("libx.so: failed to map segment from shared object"),
    ],
)
def test_too_little_memory_is_no_fault_of_the_program(capsys, scene, monkeypatch, error):
    def fails(*_, **__):
        raise error

    monkeypatch.setattr("scenes.states.load._built", fails)
    assert run(capsys, "check", scene(), *QUICK) == (
        2, "", "error: not enough memory; ask for smaller maps with --pixels, such as --pixels 1024\n",
    )  # fmt: skip


def test_a_part_that_cannot_be_built_is_no_fault_of_the_program(capsys, scene, monkeypatch):
    def fails(*_, **__):
        raise ItemError(None, "flag: length must be above 0 mm, found -1")

    monkeypatch.setattr("scenes.states.load._built", fails)  # as other commands meet it, without the scene's lines
    status, _, err = run(capsys, "check", scene(), *QUICK)
    assert (status, err) == (2, "error: flag: length must be above 0 mm, found -1\n")


def test_when_no_state_could_be_computed_nobody_is_sent_to_pictures(capsys, scene, tmp_path, monkeypatch):
    def fails(*_, **__):
        raise ValueError("no such light")

    monkeypatch.setattr("scenes.verdicts.check.check_state", fails)
    status, out, _ = run(capsys, "check", scene(), "--out", tmp_path / "out", *QUICK)
    assert status == 2
    assert "no maps and no pictures were written" in out
    assert "Pictures" not in out


def test_without_pictures_none_are_promised(capsys, scene, tmp_path):
    assert (
        f"Maps and results.json, no pictures, are in {tmp_path / 'out'}"
        in run(capsys, "check", scene(), "--out", tmp_path / "out", *QUICK)[1]
    )


def test_a_filter_smaller_than_its_opening_gives_status_1_and_a_fault(capsys, scene):
    stage = "[box.stage]\nat_mm = 2\ndepth_mm = 6\nopening_mm = [150, 120]\nfilter = { width_mm = 100, height_mm = 130 }\n"
    status, out, _ = run(capsys, "check", scene(text=SMALL + stage), *QUICK)
    assert status == 1
    assert "fault: stage 1 filter: does not cover the opening" in out
    assert out.startswith("The box has 1 fault and cannot be used as it stands.")


def test_a_missing_scene_is_one_sentence(capsys, tmp_path):
    status, _, err = run(capsys, "check", tmp_path / "no.toml")
    assert status == 2
    assert err.count("\n") == 1


def test_new_writes_a_scene_that_plans_and_never_over_another(capsys, tmp_path):
    path = tmp_path / "mine.toml"
    assert run(capsys, "new", path)[0] == 0
    assert run(capsys, "new", path)[0] == 2
    assert next(plan.key for plan in plans_of(load_scene(path))) == "25_inf_f2"


@pytest.mark.parametrize(("what", "name"), [("formats", "65-5perf"), ("filters", "4x5.65"), ("rods", "rods-15")])
def test_list_gives_the_catalogue_with_sources(capsys, what, name):
    assert name in run(capsys, "list", what)[1]
    rows = json.loads(run(capsys, "list", what, "--json")[1])[what]
    assert name in {row["name"] for row in rows}
    assert all(row["source"] for row in rows)


def test_the_schema_is_json(capsys):
    assert json.loads(run(capsys, "schema")[1])["title"].startswith("Brimline scene file")


def test_output_that_nobody_reads_on_is_no_trouble():
    command = [sys.executable, "-m", "scenes.cli", "list", "formats"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=Path(__file__).parents[2]) as child:
        child.stdout.close()
        assert child.stderr.read() == b""


@pytest.mark.slow
def test_the_demo_leaves_a_folder_to_look_at(capsys, tmp_path):
    status, out, _ = run(capsys, "demo", "--out", tmp_path / "demo", "--pixels", "64", "--no-3d")
    index = json.loads((tmp_path / "demo/results.json").read_text())
    assert status == 0
    words = {entry["verdict"] for show in ("65-5perf", "36x24") for entry in states(tmp_path / "demo" / show)}
    assert {"clear", "tight", "in frame"} <= words
    assert len(index["shows"]) == 2
    assert "no substitute for the test shoot" in out


def states(folder):
    return json.loads((folder / "results.json").read_text())["states"]


def test_view_writes_the_picture_where_there_is_no_window(capsys, scene, tmp_path):
    picture = tmp_path / "box.png"
    status, out, err = run(capsys, "view", scene(text=SMALL), "--out", picture)
    if "no OpenGL" in err:
        assert (status, picture.exists()) == (2, False)
        pytest.skip(err)
    assert (status, out) == (0, "")
    assert err.splitlines()[-1].startswith(f"wrote {picture}: ")
    assert picture.read_bytes()[16:24] == (1600).to_bytes(4, "big") + (1000).to_bytes(4, "big")  # a PNG's width and height


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems always have a display")
def test_view_without_a_display_is_one_sentence_that_names_the_way_out(capsys, scene, monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "PYVISTA_OFF_SCREEN"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.delitem(sys.modules, "pyvista", raising=False)
    monkeypatch.setattr("scenes.questions.check.one_state.check_state", None)  # nothing is traced for a window that cannot be
    status, out, err = run(capsys, "view", scene(text=SMALL))
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("error: view: a window needs a display and this machine has none; `brimline view SCENE --out FILE.png` ")


def test_view_opens_the_state_that_options_pick(capsys, scene, monkeypatch):
    opened = []
    monkeypatch.setattr("scenes.view3d.window.window_problem", lambda: "")
    monkeypatch.setattr("scenes.view3d.window.open_window", opened.append)
    status, _, err = run(capsys, "view", scene(text=SMALL), "--from", "front")
    assert (status, len(opened), str(opened[0].view)) == (0, 1, "front")
    assert err.splitlines()[-1] == f"showed: {opened[0].title[0]}."


def test_view_says_that_there_are_more_states_and_how_to_see_them(capsys, scene, monkeypatch):
    monkeypatch.setattr("scenes.view3d.window.window_problem", lambda: "")
    monkeypatch.setattr("scenes.view3d.window.open_window", lambda _: None)
    status, _, err = run(capsys, "view", scene(text=f"{SMALL}[check]\nf_numbers = [4, 8]\n"))
    assert status == 0
    assert err.endswith("f/4. It is the first of 2 states; to see another, add --lens, --focus or --f-number.\n")


def test_view_replaces_its_own_picture_and_none_that_somebody_has_drawn_on(capsys, scene, tmp_path, monkeypatch):
    picture, link = tmp_path / "photo.png", tmp_path / "link.png"

    def drawn(jobs):
        figure = io.BytesIO()
        Image.new("RGB", (3, 2)).save(figure, "PNG")
        jobs[0][1].write_bytes(figure.getvalue())
        return RenderReport(written=(jobs[0][1],), failed=(), problem="")

    monkeypatch.setattr("scenes.questions.check.one_state.traced_in_3d", lambda *_: None)
    monkeypatch.setattr("scenes.view3d.render.render_batch", drawn)
    Image.new("RGB", (4, 4)).save(picture)
    before = picture.read_bytes()
    status, _, err = run(capsys, "view", scene(text=SMALL), "--out", picture)
    assert (status, picture.read_bytes()) == (2, before)
    assert "is there already and is not as `brimline view` drew it; give another name" in err
    picture.unlink()
    link.symlink_to(picture)
    for _ in range(2):  # a new picture, then over it
        assert run(capsys, "view", scene(text=SMALL), "--out", link)[0] == 0
    assert link.is_symlink()
    with Image.open(picture) as found:
        found.load()
        assert found.size == (3, 2)
        assert found.text["Software"].startswith("brimline ")
        found.putpixel((1, 1), (255, 0, 0))
        notes = PngInfo()
        notes.add_text("Software", found.text["Software"])  # as programs do that keep what they do not know
        found.save(picture, pnginfo=notes)
    drawn_on = picture.read_bytes()
    assert run(capsys, "view", scene(text=SMALL), "--out", link)[0] == 2
    assert picture.read_bytes() == drawn_on


def test_view_writes_no_file_that_is_no_png(capsys, scene, tmp_path):
    status, _, err = run(capsys, "view", scene(text=SMALL), "--out", tmp_path / "box.jpg")
    assert (status, err.count("\n")) == (2, 1)
    assert err.startswith("error: --out must name a .png file, got ")


DOUBTED = SMALL.replace("pupil_behind_front_mm = 40", "pupil_behind_front_mm = -40")


@pytest.mark.parametrize("argv", [["flags"], ["beam", "--at", "20"], ["check", *QUICK, "--out"]], ids=lambda argv: argv[0])
def test_numbers_that_speak_against_each_other_are_told_by_every_command_and_end_it_with_1(scene, tmp_path, capsys, argv):
    rest = [tmp_path / "out"] if argv[-1] == "--out" else []
    status, out, err = run(capsys, argv[0], scene(text=DOUBTED), *argv[1:], *rest)
    assert status == 1
    told = " ".join((out + err).split())
    assert "fault: 20: pupil_behind_front_mm = -40 puts the entrance pupil ahead of the front rim" in told


def test_a_request_to_end_that_a_library_makes_an_error_of_is_still_one(monkeypatch, capsys):
    def being_loaded(*_, **__):
        try:
            os.kill(os.getpid(), signal.SIGTERM)
        except KeyboardInterrupt:
            raise ImportError("initialization failed") from None

    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr("scenes.cli.brimline.main", being_loaded)
    assert main(["check", "x.toml"]) == 130
    assert capsys.readouterr().err == "\nstopped; nothing was left half written\n"
    assert signal.getsignal(signal.SIGTERM) is before  # one that comes while Python ends prints nothing


CATCHES_ALL = """
import os, signal
try:
    os.kill(os.getpid(), signal.SIGTERM)
    loaded = sum(range(1000)) > 0  # the interrupt would have come by here
except BaseException:
    loaded = False
"""


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="timers as Unix has them")
def test_a_request_to_end_waits_until_a_library_is_loaded_whole_and_then_ends_the_run(tmp_path, monkeypatch):
    (tmp_path / "catches_all.py").write_text(CATCHES_ALL)
    monkeypatch.syspath_prepend(tmp_path)
    ends = []

    def loading(*_, **__):
        ends.append(importlib.import_module("catches_all").loaded)
        time.sleep(5)
        ends.append("went on")

    monkeypatch.setattr("scenes.cli.brimline.main", loading)
    assert main(["check", "x.toml"]) == 130
    assert ends == [True]
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)
