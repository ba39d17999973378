"""A run that was stopped leaves its finished states to the next, which says so and writes the same bytes as one that was not."""

import os
import pickle
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import pytest

from raytrace.jit import disk_cache
from scenes.cli import main
from scenes.io.folders.result_folder import Staging
from scenes.io.kept_work import PLACE, kept_work
from scenes.questions.check.kept_states import Keeping, keeping_of, name_of
from scenes.questions.check.one_state import StateRequest
from scenes.questions.check.run import state_once
from scenes.states.clear_rule import Limits
from scenes.states.load import changed, load_scene, plans_of
from tests.scenes.check_made import plan, wall_on_the_right

ROOT = Path(__file__).parents[4]
SCENE = """
brimline = 1
title = "Four stops"
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
[[box.solid]]
name = "bracket"
file = "bracket.stl"
unit = "mm"
at_mm = -200
[check]
f_numbers = [4, 5.6, 8, 11]
"""
QUICK = ["--engine", "reference", "--pixels", "6", "--no-pictures", "--threads", "1"]
DRAWN = ["--engine", "reference", "--pixels", "6", "--threads", "2"]


@pytest.fixture
def scene(tmp_path):
    import trimesh

    trimesh.creation.box(extents=(30, 40, 50)).export(tmp_path / "bracket.stl")
    path = tmp_path / "four.toml"
    path.write_text(SCENE)
    return path


def kept():
    return sorted(kept_work().folder.glob("*.kept"))


def files_of(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def killed(scene, out, options, count, how=signal.SIGKILL):
    """A run that is ended once so many pieces are kept."""
    command = [sys.executable, "-m", "scenes.cli", "check", str(scene), "--out", str(out), *options]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:
        while child.poll() is None and len(kept()) < count:
            time.sleep(0.002)
        child.send_signal(how)
    assert child.returncode in {-how, 130}, "the run was over before it could be stopped"


@pytest.mark.skipif(sys.platform == "win32", reason="signals as Unix has them")
@pytest.mark.parametrize(
    ("options", "how"),
    [
        (QUICK, "SIGKILL"),
        pytest.param(QUICK, "SIGTERM", marks=pytest.mark.slow),
        pytest.param(DRAWN, "SIGKILL", marks=pytest.mark.slow),
    ],
)
def test_a_run_stopped_half_way_leaves_its_states_to_the_next_which_writes_the_same_bytes(scene, tmp_path, capsys, options, how):
    killed(scene, tmp_path / "out", options, 2, getattr(signal, how))
    count = len([path for path in kept() if "-" not in path.stem])
    assert count >= 2
    assert not (tmp_path / "out").exists()
    assert main(["check", str(scene), "--out", str(tmp_path / "out"), *options]) in {0, 1}
    assert f"note: {count} of 4 states taken from an earlier run that was stopped; --fresh computes" in capsys.readouterr().err
    assert kept() == []
    assert main(["check", str(scene), "--out", str(tmp_path / "fresh"), "--fresh", *options]) in {0, 1}
    assert "taken from" not in capsys.readouterr().err
    assert files_of(tmp_path / "out") == files_of(tmp_path / "fresh")


def request(folder, **more):
    if folder:
        folder.mkdir(exist_ok=True)
    staging = Staging(folder) if folder else None
    limits = Limits(visible_loss_stops=0.1)
    asked = StateRequest(
        engine="reference", device="cpu", columns=12, limits=limits, threads=1, rooms=False, staging=staging, solid=True
    )
    return replace(asked, **more)


def once(tmp_path, name, state=None, **more):
    keeping = Keeping(kept_work(), "this program", **more)
    return state_once(state or plan(wall_on_the_right(20.0)), request(tmp_path / name), keeping)


def test_a_state_is_taken_with_its_files_and_what_is_still_to_be_drawn(tmp_path):
    first, second = once(tmp_path, "a"), once(tmp_path, "b")
    assert (first.kept.taken, second.kept.taken) == (False, True)
    assert second.check == first.check
    assert files_of(tmp_path / "a") == files_of(tmp_path / "b")
    assert [path.relative_to(tmp_path / "b").as_posix() for _, path, _ in second.views] == [
        "20_inf_f4/box.png",
        "20_inf_f4/section.png",
    ]
    assert not once(tmp_path, "c", fresh=True).kept.taken


@pytest.mark.parametrize("damage", [lambda data: data[: len(data) // 2], lambda data: data[:-9] + b"\0" * 9])
def test_a_damaged_state_is_computed_anew(tmp_path, damage):
    once(tmp_path, "a")
    (path,) = kept()
    path.write_bytes(damage(path.read_bytes()))
    assert not once(tmp_path, "b").kept.taken
    assert once(tmp_path, "c").kept.taken


class Evil:
    def __reduce__(self):
        return os.system, ("touch pwned",)


class OwnFunction:
    def __reduce__(self):
        return disk_cache._passing_folder, ()  # it makes a folder


@pytest.mark.parametrize("evil", [Evil(), OwnFunction()])
def test_a_file_that_somebody_has_put_among_the_states_runs_nothing(tmp_path, monkeypatch, evil):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "empty"))
    name = once(tmp_path, "a").kept.name
    kept_work().put(name, pickle.dumps((evil, None, (), {})))
    assert not once(tmp_path, "b").kept.taken
    assert not (tmp_path / "pwned").exists()
    assert not list((tmp_path / "empty").iterdir())


def test_anything_that_a_result_comes_from_gives_it_another_name(scene, tmp_path):
    import trimesh

    def names(loaded, asked, program="this"):
        return {name_of(state, asked, program) for state in plans_of(loaded)}

    loaded = load_scene(scene)
    asked = request(tmp_path)
    found = [names(loaded, asked), names(loaded, asked, "another")]
    found.append(names(changed(loaded, {"camera.width_mm": 36.1}), asked))
    found.append(names(changed(loaded, {"lens[20].pupil_behind_front_mm": 40.000001}), asked))
    found += [names(loaded, request(None)), names(loaded, replace(asked, columns=13)), names(loaded, replace(asked, rooms=True))]
    found += [names(loaded, replace(asked, engine="mesh")), names(loaded, replace(asked, solid=False))]
    trimesh.creation.box(extents=(30, 40, 50.001)).export(tmp_path / "bracket.stl")
    found.append(names(load_scene(scene), asked))
    assert len(set().union(*found)) == 4 * len(found)
    trimesh.creation.box(extents=(30, 40, 50)).export(tmp_path / "bracket.stl")
    same = replace(asked, threads=2, folder="36x24", staging=Staging(tmp_path / "elsewhere"))
    assert names(load_scene(scene), same) == found[0]


def test_a_place_that_cannot_be_written_is_one_sentence_and_the_run_goes_on(scene, tmp_path, capsys, monkeypatch):
    (tmp_path / "file").touch()
    monkeypatch.setenv(PLACE, str(tmp_path / "file"))
    assert main(["check", str(scene), "--out", str(tmp_path / "out"), *QUICK]) in {0, 1}
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("note: finished states cannot be kept (")
    assert (tmp_path / "out/results.json").exists()


@pytest.mark.skipif(os.name == "nt", reason="places for caches as Unix has them")
@pytest.mark.parametrize("home", ["unwritable", pytest.param("unset", marks=pytest.mark.slow)])
def test_without_a_home_folder_a_run_ends_well_and_says_no_more_than_a_sentence(scene, tmp_path, home):
    (tmp_path / "file").touch()
    env = {name: value for name, value in os.environ.items() if name not in {PLACE, "HOME", "XDG_CACHE_HOME", "MPLCONFIGDIR"}}
    if home == "unwritable":
        env |= {"HOME": str(tmp_path / "file/home")}
    else:
        env |= {"XDG_CACHE_HOME": str(tmp_path / "cache")}  # else a place in the home of whoever runs the tests
    command = [sys.executable, "-m", "scenes.cli", "check", str(scene), "--out", str(tmp_path / "out")]
    options = ["--engine", "reference", "--pixels", "6", "--no-3d", "--threads", "1", "--lens", "20"]
    ended = subprocess.run([*command, *options], env=env, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ended.returncode in {0, 1}, ended.stderr
    assert len(ended.stderr.splitlines()) == (home == "unwritable"), ended.stderr
    assert (tmp_path / "out/20_inf_f4/map.png").exists()


def test_a_single_state_is_not_worth_keeping():
    assert keeping_of(1, fresh=False) is None
    assert keeping_of(2, fresh=False) is not None
