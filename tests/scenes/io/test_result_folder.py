"""Nobody's work is lost by a run that is killed, repeated or started twice."""

import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from scenes.io.folders import folder_swap
from scenes.io.folders.ended_runs import tidy
from scenes.io.folders.kept_files import MANIFEST
from scenes.io.folders.left_results import RESULTS_KEY, RESULTS_NAME
from scenes.io.folders.result_folder import result_folder
from scenes.scene_file.errors import SceneError

ROOT = Path(__file__).parents[3]
COUNT = 12
RUN = """
import json, sys
from pathlib import Path
from scenes.io.folders.result_folder import result_folder
out, word, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
while True:
    with result_folder(out, "beam") as staging:
        names = [staging.write(f"{k % 4}/{k}.txt", word) for k in range(count)]
        staging.write("beam.json", json.dumps({"brimline": "beam", "word": word, "files": [*names, "beam.json"]}))
    print("done", flush=True)
    if sys.argv[4:] == ["once"]:
        break
"""


def write(out, text, command="beam", **more):
    with result_folder(out, command) as staging:
        names = [staging.write(name, content) for name, content in {"page.txt": text, **more}.items()]
        staging.write(f"{command}.json", json.dumps({RESULTS_KEY: command, "files": [*names, f"{command}.json"]}))


def names(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.name != MANIFEST)


def started(out, word, *more):
    command = [sys.executable, "-c", RUN, str(out), word, str(COUNT), *more]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)


def whole(out):
    """The word of a result that is there whole."""
    found = json.loads((out / "beam.json").read_text())
    assert {(out / name).read_text() for name in found["files"] if name != "beam.json"} == {found["word"]}
    assert len(found["files"]) == COUNT + 1
    assert (out / "mine/notes.txt").read_text() == "ask about the flag"
    return found["word"]


def kill_at_random(out, tries, seed=20261):
    """Runs that go on and on, killed at random moments: the words of the results found, each checked to be whole."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(tries):
        child = started(out, f"run {number}")
        assert child.stdout.readline() or number  # the first swap is done
        time.sleep(rng.uniform(0, 0.05))
        child.kill()
        child.wait()
        child.stdout.close()
        found.append(whole(out))
    return found


@pytest.mark.skipif(sys.platform != "linux", reason="kill -9 and the exchange of two names as Linux has them")
def test_a_run_killed_at_any_moment_leaves_a_whole_result_and_the_next_clears_up_after_it(tmp_path):
    out = tmp_path / "out"
    assert started(out, "first", "once").communicate()[0] == "done\n"
    (out / "mine").mkdir()
    (out / "mine/notes.txt").write_text("ask about the flag")
    kill_at_random(out, int(os.environ.get("BRIMLINE_KILLS", "6")))
    assert started(out, "last", "once").communicate()[0] == "done\n"
    assert whole(out) == "last"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("exchanges", [True, False])
def test_every_step_of_the_swap_can_be_the_last(tmp_path, monkeypatch, exchanges):
    """Where names can be exchanged, one of the two results is there at once, else once the next run has tidied."""
    if not exchanges:
        monkeypatch.setattr(folder_swap, "exchanged", lambda _a, _b: False)
    out = tmp_path / "out"
    write(out, "old")
    replace = Path.replace
    for last in range(3):
        calls = []

        def ends(self, target, calls=calls, last=last):
            calls.append(self)
            if len(calls) > last:
                os._exit(9)
            return replace(self, target)

        child = os.fork()
        if not child:
            Path.replace = ends
            write(out, "new")
            os._exit(0)
        os.waitpid(child, 0)
        if not exchanges:
            tidy(out)
        assert (out / "page.txt").read_text() in {"old", "new"}
        assert (out / "beam.json").exists()


def test_a_second_run_into_a_folder_is_refused_at_once_and_the_first_goes_on(tmp_path):
    out = tmp_path / "out"
    with result_folder(out, "beam") as staging:
        with pytest.raises(SceneError, match="is being written by another run; wait for it to end, or name another folder"):
            write(out, "second")
        staging.write("beam.json", json.dumps({RESULTS_KEY: "beam", "files": ["beam.json"]}))
    assert names(tmp_path) == ["out", "out/beam.json"]


def test_the_lock_of_a_process_that_was_killed_holds_nobody_up(tmp_path):
    waiting = RUN.replace("names =", "print('in', flush=True); sys.stdin.read(); names =")
    command, pipe = [sys.executable, "-c", waiting, str(tmp_path / "out"), "x", "1"], subprocess.PIPE
    child = subprocess.Popen(command, cwd=ROOT, stdout=pipe, stdin=pipe, text=True)
    assert child.stdout.readline() == "in\n"
    with pytest.raises(SceneError, match="another run"):
        write(tmp_path / "out", "mine")
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    child.stdin.close()
    write(tmp_path / "out", "mine")
    assert names(tmp_path) == ["out", "out/beam.json", "out/page.txt"]


def test_a_file_that_a_person_changed_is_kept_beside_the_new_one_and_said(tmp_path, capsys):
    out = tmp_path / "out"
    write(out, "old", **{"18/map.txt": "old map"})
    (out / "page.txt").write_text("old, with my notes")
    write(out, "new", **{"18/map.txt": "new map"})
    assert capsys.readouterr().err == (
        "note: page.txt was changed since it was written; your version is kept as page.yours.txt beside the new one\n"
    )
    assert names(out) == ["18", "18/map.txt", "beam.json", "page.txt", "page.yours.txt"]
    assert [(out / name).read_text() for name in ("page.txt", "page.yours.txt")] == ["new", "old, with my notes"]
    (out / "page.txt").write_text("new, with my notes")
    write(out, "newer")
    assert (out / "page.yours-2.txt").read_text() == "new, with my notes"
    assert (out / "page.yours.txt").read_text() == "old, with my notes"


def test_a_changed_file_that_no_new_one_replaces_stays_under_its_name(tmp_path, capsys):
    out = tmp_path / "out"
    write(out, "old", **{"18/map.txt": "old map", "24/map.txt": "old map"})
    (out / "18/map.txt").write_text("mine")
    write(out, "new")
    assert names(out) == ["18", "18/map.txt", "beam.json", "page.txt"]
    assert capsys.readouterr().err == ""


def test_a_persons_own_file_of_a_name_that_a_later_run_writes_is_kept(tmp_path):
    out = tmp_path / "out"
    write(out, "old")
    (out / "plan.txt").write_text("mine")
    write(out, "new", **{"plan.txt": "the program's"})
    assert [(out / name).read_text() for name in ("plan.txt", "plan.yours.txt")] == ["the program's", "mine"]


def test_in_results_of_earlier_versions_a_file_later_than_their_json_counts_as_changed(tmp_path):
    out = tmp_path / "out"
    write(out, "old", **{"a.txt": "old", "b.txt": "old"})
    (out / MANIFEST).unlink()
    then = time.time() + 60
    for name in ("page.txt", "a.txt"):
        (out / name).write_text("mine")
        os.utime(out / name, (then, then))
    write(out, "new")
    assert names(out) == ["a.txt", "b.yours.txt", "beam.json", "beam.yours.json", "page.txt", "page.yours.txt"]


def test_without_its_manifest_a_file_that_the_new_result_lacks_is_kept_though_it_looks_older_than_its_run(tmp_path, capsys):
    """An edit with the time of another machine, or one copied back with its own: nobody can tell it from a file of the old run."""
    out = tmp_path / "out"
    write(out, "old", **{"flats/second.dxf": "old", "flats/third.dxf": "old"})
    (out / MANIFEST).unlink()
    (out / "flats/second.dxf").write_text("mine")
    os.utime(out / "flats/second.dxf", (1e9, 1e9))
    write(out, "new")
    assert names(out / "flats") == ["second.yours.dxf", "third.yours.dxf"]
    assert (out / "flats/second.yours.dxf").read_text() == "mine"
    assert "flats/second.dxf is of an earlier result" in capsys.readouterr().err


@pytest.mark.parametrize("manifest", [None, "{cut sho"])
def test_in_a_copy_without_its_manifest_a_changed_file_is_kept_though_all_times_are_alike(tmp_path, manifest):
    # a copy of all but hidden files, as file managers and `cp -r old/* new` make it, has the time of the copy on every file
    out = tmp_path / "out"
    write(out, "old", **{"b.txt": "same"})
    (out / "page.txt").write_text("old, with my notes")
    (out / MANIFEST).unlink()
    if manifest is not None:
        (out / MANIFEST).write_text(manifest)
    for path in out.iterdir():
        os.utime(path, (1e9, 1e9))
    write(out, "new", **{"b.txt": "same"})
    assert [(out / name).read_text() for name in ("page.txt", "page.yours.txt")] == ["new", "old, with my notes"]
    assert not (out / "b.yours.txt").exists()


def test_links_and_empty_folders_stay_what_they_are(tmp_path):
    out = tmp_path / "out"
    write(out, "old")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere/big.txt").write_text("big")
    (out / "link").symlink_to("../elsewhere")
    (out / "broken").symlink_to("gone")
    (out / "empty/inside").mkdir(parents=True)
    write(out, "new")
    assert (out / "link").readlink() == Path("../elsewhere")
    assert (out / "broken").readlink() == Path("gone")
    assert (out / "empty/inside").is_dir()
    assert (tmp_path / "elsewhere/big.txt").read_text() == "big"


def test_the_demo_leaves_edited_scene_files_as_they_are(tmp_path, capsys):
    out = tmp_path / "demo-out"
    for text in ("first", "second", "second"):
        with result_folder(out, "demo") as staging:
            staging.write("scene/demo.toml", text)
            listed = ["scene/demo.toml", RESULTS_NAME]
            staging.write(RESULTS_NAME, json.dumps({RESULTS_KEY: "demo", "files": listed}))
        (out / "scene/demo.toml").write_text("mine")
    assert names(out / "scene") == ["demo.fresh.toml", "demo.toml"]
    assert (out / "scene/demo.toml").read_text() == "mine"
    assert (out / "scene/demo.fresh.toml").read_text() == "second"
    assert (
        "demo.toml was changed since it was written and stays as it is; the new one is demo.fresh.toml" in capsys.readouterr().err
    )


def test_a_full_disk_leaves_the_old_result_and_says_so_with_the_folders_name(tmp_path):
    out = tmp_path / "out"
    write(out, "old")

    def fills():
        with result_folder(out, "beam") as staging:
            staging.write("page.txt", "new")
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(SceneError, match="out: cannot be written: No space left on device; what was there is as it was"):
        fills()
    assert (out / "page.txt").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("made", ["page.txt", "later.txt"])
def test_a_persons_folder_of_the_name_of_a_new_file_costs_neither(tmp_path, capsys, made):
    out = tmp_path / "out"
    write(out, "old")
    (out / made).unlink(missing_ok=True)
    (out / made / "inside").mkdir(parents=True)
    (out / made / "inside/notes.txt").write_text("mine")
    (out / made / "empty").mkdir()
    write(out, "new", **{"later.txt": "new"})
    beside = made.replace(".", ".yours.")
    assert (out / made).read_text() == "new"
    assert (out / beside / "inside/notes.txt").read_text() == "mine"
    assert (out / beside / "empty").is_dir()
    assert f"{made} is a file of the new result; your folder of that name is kept as {beside}" in capsys.readouterr().err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes")
def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(tmp_path):
    out = tmp_path / "out"
    write(out, "old")
    (out / "page.txt").unlink()
    os.mkfifo(out / "page.txt")
    signal.alarm(20)
    write(out, "new")
    signal.alarm(0)
    assert (out / "page.txt").read_text() == "new"
    assert (out / "page.yours.txt").is_fifo()


def test_a_file_that_an_edited_result_lists_as_its_own_stays(tmp_path):
    out = tmp_path / "out"
    write(out, "old")
    (out / "notes.txt").write_text("mine")
    (out / "beam.json").write_text(json.dumps({RESULTS_KEY: "beam", "files": ["page.txt", "notes.txt"]}))
    write(out, "new")
    assert (out / "notes.txt").read_text() == "mine"


def test_links_that_lead_to_each_other_are_refused_in_a_sentence(tmp_path):
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(SceneError, match=r"cannot be (used|written)"):
        write(tmp_path / "a", "new")


@pytest.mark.parametrize(("first", "second"), [("r", "r/inner"), ("r/inner", "r"), ("r/a/b", "r"), ("r", "r/a/b")])
def test_a_run_into_a_folder_within_one_that_is_being_written_is_refused_for_its_result_would_go_with_the_old_one(
    tmp_path, first, second
):
    write(tmp_path / "r", "old")
    write(tmp_path / first, "old")
    with result_folder(tmp_path / first, "beam"):
        with pytest.raises(SceneError, match="cannot be written while another run writes in"):
            write(tmp_path / second, "new")
        write(tmp_path / "beside", "new")
    write(tmp_path / second, "new")
    assert (tmp_path / second / "page.txt").read_text() == "new"
