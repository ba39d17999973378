"""Pictures from the child process, and sentences where there can be none."""

import io
import sys
from pathlib import Path

import numpy as np
import pytest

from scenes.runtime.child_process import StopSwitch, child_environment
from scenes.view3d import render
from scenes.view3d.content import Heatmap, Line, Place, RayFate, RayPath, Scene3D, Solid, View
from scenes.view3d.content import Label as Words
from scenes.view3d.render import ChildGone, ChildKilled, Drawers, Job, offscreen_windows, render_batch
from scenes.view3d.render_process import main as child_main

SIZE = (1200, 750)
ORANGE, BLUE = (0.9, 0.5, 0.1), (0.2, 0.4, 0.9)


def cube(name, centre, colour, opacity):
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=np.float64) * 20 + centre
    quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    faces = np.array([[q[0], q[1], q[2]] for q in quads] + [[q[0], q[2], q[3]] for q in quads])
    edges = np.array([[corners[0], corners[1]], [corners[0], corners[2]]])
    return Solid(name=name, kind="flag", vertices_mm=corners, faces=faces, edges_mm=edges, colour=colour, opacity=opacity)


def lopsided(view=View.BESIDE):
    """An orange cube at the operator's right and a blue one at his left, before a heatmap that is dark at the right."""
    right, up = np.meshgrid(np.linspace(-90, 90, 7), np.linspace(60, -60, 5))
    corners = np.stack([-right, up, np.full(right.shape, 120.0)], axis=-1)
    loss = np.zeros((4, 6))
    loss[:, -1] = 9.0
    table = np.linspace([255, 255, 0], [0, 0, 255], 32).astype(np.uint8)
    rays = (
        RayPath(points_mm=np.array([[0, 0, -30], [60, 40, 120.0]]), fate=RayFate.CLEAR),
        RayPath(points_mm=np.array([[0, 0, -30], [-20, 10, 20.0]]), fate=RayFate.BLOCKED, stopped_by="orange"),
    )
    return Scene3D(
        view=view, title=("$a$ cube", "é 24 mm"), note="note",
        solids=(cube("orange", [-40, 0, 20], ORANGE, 0.5), cube("blue", [40, 0, 20], BLUE, 0.5)),
        rays=rays, lines=(Line(points_mm=np.array([[0, 0, 0], [0, 50, 0.0]]), colour=(0, 0, 0), dashed=True),),
        labels=(Words(text="orange", anchor_mm=np.array([-40, 20, 0.0])), Words(text="x", anchor_mm=np.zeros(3), place=Place.HERE)),
        heatmap=Heatmap(
            loss_stops=loss, corners_mm=corners, colour_table=table, dark_colour=(0, 0, 0),
            unlit_colour=(0.7, 0.7, 0.7), full_stops=3.0,
        ),
    )  # fmt: skip


def near(image, colour, slack=30):
    return (np.abs(image.astype(int) - np.round(np.array(colour) * 255)) <= slack).all(axis=-1)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pictures")
    paths = [folder / "first.png", folder / "second.png"]
    report = render_batch([(lopsided(), path, SIZE) for path in paths])
    if report.problem:
        pytest.skip(report.problem)
    return report, paths


def read(path):
    from matplotlib.image import imread

    return np.round(imread(path)[..., :3] * 255).astype(np.uint8)


@pytest.mark.slow
def test_two_pictures_of_one_scene_come_from_one_batch_and_are_the_same(drawn):
    report, paths = drawn
    assert (report.written, report.failed) == (tuple(paths), ())
    np.testing.assert_array_equal(read(paths[0]), read(paths[1]))
    assert read(paths[0]).shape == (SIZE[1], SIZE[0], 3)


@pytest.mark.slow
def test_translucent_parts_rays_and_heatmap_all_leave_their_colours(drawn):
    # Depth peeling together with multi-samples loses every translucent thing without a word (pyvista issues 4867 and 2592).
    image = read(drawn[1][0])
    assert near(image, (1, 1, 0), 2).sum() > 5000  # the heatmap's very yellow: no light falls on it
    assert near(image, (0, 0, 0), 2).sum() > 500
    assert near(image, (0.0, 0.447, 0.698), 45).sum() > 50  # clear ray
    assert near(image, (0.835, 0.369, 0.0), 45).sum() > 50  # stopped ray
    hue = image[120:600].astype(int)  # without title and scale
    assert ((hue[..., 2] - hue[..., 0] > 60) & (hue[..., 2] > 150)).sum() > 20000  # blue cube over white
    assert ((hue[..., 0] - hue[..., 2] > 60) & (hue[..., 1] < 170) & (hue[..., 0] > 150)).sum() > 10000  # orange cube over white


@pytest.mark.slow
def test_what_is_at_the_operators_right_is_drawn_right_of_what_is_at_his_left(drawn):
    image = read(drawn[1][0])[120:600]
    dark, bright = near(image, (0, 0, 0), 2), near(image, (1, 1, 0), 2)
    assert np.nonzero(dark)[1].mean() > np.nonzero(bright)[1].mean() + 50


@pytest.mark.slow
def test_a_driver_that_crashes_costs_the_pictures_and_nothing_else(tmp_path, monkeypatch):
    if render.offscreen_windows() == render.OTHER_SYSTEMS or "vtkOSOpenGLRenderWindow" in render.offscreen_windows():
        pytest.skip("this machine has the kind of window that is to be missing")
    # libc is there and OSMesa is not: the library check passes, and the window then takes the child down.
    monkeypatch.setattr(render, "WINDOWS", (("libc.so.6", "vtkOSOpenGLRenderWindow"),))
    report = render_batch([(lopsided(), tmp_path / "a.png", (64, 48))])
    assert report.problem == render.NO_OPENGL
    assert list(tmp_path.iterdir()) == []


def test_without_any_opengl_library_a_sentence_names_the_packages(tmp_path, monkeypatch):
    def missing(name):
        raise OSError(name)

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(render.ctypes, "CDLL", missing)
    assert offscreen_windows() == ()
    report = render_batch([(lopsided(), tmp_path / "a.png", SIZE)])
    assert (report.written, report.failed, list(tmp_path.iterdir())) == ((), (), [])
    # Packages of Debian 12 that hold libEGL.so.1, its Mesa driver and the software rasteriser.
    assert all(package in report.problem for package in ("libegl1", "libegl-mesa0", "libgl1-mesa-dri"))
    assert "\n" not in report.problem


def test_without_the_drawing_library_a_sentence_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(render, "find_spec", lambda name: None)  # noqa: ARG005
    assert "pip install pyvista" in render_batch([(lopsided(), tmp_path / "a.png", SIZE)]).problem


class FakeChild:
    """A process that draws, fails or dies at each picture as told; its starts and ends are counted."""

    def __init__(self, fates):
        self.fates, self.starts, self.ended, self.is_worn = fates, [], 0, False

    def __call__(self, window, stop):  # noqa: ARG002
        self.starts.append(window)
        return self

    def draw(self, scene, path, size):  # noqa: ARG002
        fate = self.fates.pop(0)
        if fate == "dies":
            raise ChildGone("drawing stopped with status -11")
        if fate == "killed":
            raise ChildKilled("ended from outside")
        if fate == "draws":
            path.write_bytes(b"png")
        return "" if fate == "draws" else fate

    def end(self):
        self.ended += 1


def jobs_in(folder: Path, count: int) -> list[Job]:
    return [(lopsided(), folder / f"{n}.png", SIZE) for n in range(count)]


def test_pictures_after_a_crash_are_drawn_by_a_second_process(tmp_path, monkeypatch):
    child = FakeChild(["draws", "dies", "draws", "too large"])
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one",))
    with Drawers(child_of=child) as drawers:
        report = drawers.draw(jobs_in(tmp_path, 4))
    assert report.written == (tmp_path / "0.png", tmp_path / "2.png")
    assert report.failed == ((tmp_path / "1.png", "drawing stopped with status -11"), (tmp_path / "3.png", "too large"))
    assert (child.starts, child.ended) == (["one", "one"], 2)


def test_one_process_draws_what_is_asked_one_after_the_other_and_ends_with_the_block(tmp_path, monkeypatch):
    child = FakeChild(["draws"] * 4)
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one",))
    with Drawers(child_of=child) as drawers:
        for job in jobs_in(tmp_path, 4):
            assert drawers.draw([job]).written == (job[1],)
        assert (child.starts, child.ended) == (["one"], 0)
    assert child.ended == 1


def test_a_process_that_was_started_early_draws_the_first_picture_and_few_pictures_start_no_other(tmp_path, monkeypatch):
    asked = []

    class Watched(FakeChild):
        def draw(self, scene, path, size):
            asked.append([drawers.worth_another(waiting) for waiting in (1, render.PICTURES_PER_START, 10)])
            return super().draw(scene, path, size)

    child = Watched(["draws"] * 2)
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one", "two"))
    with Drawers(child_of=child) as drawers:
        drawers.start_early()
        assert (child.starts, drawers.worth_another(1)) == (["one"], True)
        drawers.draw(jobs_in(tmp_path, 2))
    assert (child.starts, child.ended, asked) == (["one"], 1, [[False, False, True]] * 2)


def test_a_worn_process_is_followed_by_a_new_one(tmp_path, monkeypatch):
    child = FakeChild(["draws"] * 2)
    child.is_worn = True
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one",))
    with Drawers(child_of=child) as drawers:
        drawers.draw(jobs_in(tmp_path, 2))
        assert (child.starts, child.ended) == (["one", "one"], 2)


def test_where_the_first_kind_of_window_crashes_the_second_is_tried_and_kept(tmp_path, monkeypatch):
    child = FakeChild(["dies", "draws", "dies", "draws"])
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one", "two"))
    with Drawers(child_of=child) as drawers:
        report = drawers.draw(jobs_in(tmp_path, 3))
    assert report.written == (tmp_path / "0.png", tmp_path / "2.png")
    assert child.starts == ["one", "two", "two"]


def test_where_no_kind_of_window_draws_it_is_said_once_and_nothing_further_is_started(tmp_path, monkeypatch):
    child = FakeChild(["dies", "dies"])
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one", "two"))
    with Drawers(child_of=child) as drawers:
        assert [drawers.draw([job]).problem for job in jobs_in(tmp_path, 3)] == [render.NO_OPENGL] * 3
    assert child.starts == ["one", "two"]


def test_a_picture_whose_process_is_ended_from_outside_is_drawn_by_another(tmp_path, monkeypatch):
    child = FakeChild(["killed", "draws", "killed", "draws"])
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one", "two"))
    with Drawers(child_of=child) as drawers:
        report = drawers.draw(jobs_in(tmp_path, 2))
    assert report == render.RenderReport(written=(tmp_path / "0.png", tmp_path / "1.png"))
    assert child.starts == ["one"] * 3


def test_processes_ended_from_outside_are_not_taken_for_want_of_opengl(tmp_path, monkeypatch):
    child = FakeChild(["killed", "killed", "draws"])
    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one",))
    with Drawers(child_of=child) as drawers:
        report = drawers.draw(jobs_in(tmp_path, 2))
    assert report == render.RenderReport(written=(tmp_path / "1.png",), failed=((tmp_path / "0.png", "ended from outside"),))


@pytest.mark.skipif(sys.platform == "win32", reason="processes end with a signal on other systems")
def test_a_drawing_process_that_is_killed_says_that_it_was_ended_from_outside(tmp_path):
    child, (job,) = render.RenderChild("no window needed", StopSwitch()), jobs_in(tmp_path, 1)
    child._process.kill()
    with pytest.raises(ChildKilled, match=r"ended from outside, as happens where memory runs out; run it again"):
        child.draw(*job)
    child.end()
    assert list(tmp_path.iterdir()) == []


def test_a_process_that_hangs_is_given_up(tmp_path, monkeypatch):
    monkeypatch.setattr(render, "START_S", 0.05)
    monkeypatch.setattr(render, "PICTURE_S", 0.05)
    child, (job,) = render.RenderChild("no window needed", StopSwitch()), jobs_in(tmp_path, 1)
    with pytest.raises(ChildGone, match=r"drawing took longer than 0 s"):
        child.draw(*job)
    child.end()
    assert list(tmp_path.iterdir()) == []


def test_a_stop_ends_the_process_that_draws_and_no_other_is_started(tmp_path, monkeypatch):
    stop, starts = StopSwitch(), []

    class Stopped(FakeChild):
        def draw(self, scene, path, size):  # noqa: ARG002
            stop.stop()
            raise ChildGone

    def child(window, stop):  # noqa: ARG001
        starts.append(window)
        return Stopped([])

    monkeypatch.setattr(render, "offscreen_windows", lambda: ("one", "two"))
    with Drawers(child_of=child, stop=stop) as drawers:
        assert drawers.draw(jobs_in(tmp_path, 2)) == render.RenderReport()
    assert starts == ["one"]


def test_a_stop_kills_a_drawing_process(tmp_path):
    stop, (job,) = StopSwitch(), jobs_in(tmp_path, 1)
    child = render.RenderChild("no window needed", stop)
    stop.stop()
    with pytest.raises(ChildGone):
        child.draw(*job)
    child.end()


def test_no_pictures_start_no_process(monkeypatch):
    monkeypatch.setattr(render, "RenderChild", None)
    assert render_batch([]) == render.RenderReport()


def test_the_child_imports_this_project_and_knows_its_window_before_the_library_looks_for_one():
    environment = child_environment({"PYTHONPATH": "/elsewhere", "HOME": "/h"}, "vtkEGLRenderWindow")
    root = Path(render.__file__).parents[2]
    assert environment["PYTHONPATH"].split(":")[0] == str(root) or sys.platform == "win32"
    assert environment["VTK_DEFAULT_OPENGL_WINDOW"] == "vtkEGLRenderWindow"
    assert environment["HOME"] == "/h"
    assert environment["ALLOW_PLOTTING"] == "true"  # pyvista.system_supports_plotting asks no program then


def test_one_unreadable_picture_does_not_keep_the_child_from_the_next(tmp_path, capsys, monkeypatch):
    paths = [tmp_path / "0.npz", tmp_path / "1.npz"]
    for path in paths:
        path.write_bytes(b"no archive")
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{path}\n" for path in paths)))
    assert child_main([]) == 0
    told = capsys.readouterr().out.splitlines()
    assert [line.startswith('{"why": "') for line in told] == [True, True]
    assert '{"why": ""}' not in told
