"""A program whose working folder is a folder of results saves there by short names, whatever takes the folder's place meanwhile.

A name relative to a working folder goes on to mean the same folder after that has got another name (POSIX.1-2017, path resolution),
and a file cannot be made in a folder that was removed (rmdir(2): ENOENT). So each save either is in the new result, or was refused.
"""

import contextlib
import errno
import json
import os
import signal
import sys
import time
from pathlib import Path

import pytest

from scenes.io.folders import folder_swap, old_folder
from scenes.io.folders import result_folder as folders
from scenes.io.folders.left_results import RESULTS_KEY
from scenes.io.folders.result_folder import result_folder

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="fork, kill -9 and files by the folder's handle as Linux has them")
STEPS = {"os.rename", "os.remove", "os.rmdir", "os.link", "os.scandir", "shutil.rmtree", "ctypes.dlsym"}  # PEP 578
PLACES = ("", "mine/")


def write(out, text):
    with result_folder(out, "beam") as staging:
        names = [staging.write(name, text) for name in ("page.txt", "18/map.txt")]
        staging.write("beam.json", json.dumps({RESULTS_KEY: "beam", "files": [*names, "beam.json"]}))


@pytest.fixture
def out(tmp_path):
    return filled(tmp_path / "out")


def filled(out):
    write(out, "old")
    (out / "mine/empty").mkdir(parents=True)
    (out / "mine/notes.txt").write_text("first words")
    return out


class Saver:
    """Saves a new file, a new version of another, and a folder, by the handles of the folders that it works in."""

    def __init__(self, out):
        self.handles = {place: os.open(out / place, os.O_RDONLY) for place in PLACES}

    def save(self, number):
        """Names, below the folder of results, of what could be saved."""
        saved = []
        for place, handle in self.handles.items():
            with contextlib.suppress(FileNotFoundError):
                self._file(handle, f"note_{number}.txt", f"words {number}")
                saved.append(f"{place}note_{number}.txt")
            with contextlib.suppress(FileNotFoundError):  # as editors save: a new file takes the name
                self._file(handle, "notes.txt~", f"last words {number}")
                os.rename("notes.txt~", "notes.txt", src_dir_fd=handle, dst_dir_fd=handle)
                saved.append(f"{place}notes.txt")
            with contextlib.suppress(FileNotFoundError):
                os.mkdir(f"set_{number}", dir_fd=handle)
                saved.append(f"{place}set_{number}")
        return saved

    def _file(self, handle, name, text):
        with os.fdopen(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644, dir_fd=handle), "w") as stream:
            stream.write(text)


def saves_at(out, number, log, *, ends, exchanges):
    """A run in which somebody saves before a step on the disk, counted from when its result is whole, and which ends or goes on.

    Whether it had so many steps.
    """
    child = os.fork()
    if child:
        os.waitpid(child, 0)
        return log.exists()
    with contextlib.suppress(BaseException):
        whole, steps, saver = folders.on_disk, [], Saver(out)

        def begins(stage):
            whole(stage)
            steps.append(0)

        def step(event, _):
            if steps and event in STEPS:
                steps[0] += 1
                if steps[0] == number:
                    log.write_text("\n".join(saver.save(number)))
                    if ends:
                        os.kill(os.getpid(), signal.SIGKILL)

        folders.on_disk = begins
        if not exchanges:
            folder_swap.exchanged = lambda *_: False
        sys.addaudithook(step)
        write(out, "new")
    os._exit(0)


@pytest.mark.parametrize(("ends", "exchanges"), [(True, True), (False, True), (True, False)])
def test_what_is_saved_from_within_at_any_step_is_in_the_new_result_or_was_refused(tmp_path, monkeypatch, ends, exchanges):
    monkeypatch.setattr(folder_swap.os, "fsync", lambda _: None)  # which a kill does not need, and takes most of the time
    number, refused = 0, 0
    while True:
        number += 1
        out, log = filled(tmp_path / f"{number}/out"), tmp_path / f"{number}.log"
        if not saves_at(out, number, log, ends=ends, exchanges=exchanges):
            break
        if ends:
            write(out, "next")
        saved = log.read_text().split()
        refused += len(saved) < 3 * len(PLACES)
        for name in saved:
            assert (out / name).exists(), (number, name)
            if name.endswith("notes.txt"):
                kept = {path.read_text() for path in (out / name).parent.glob("notes*.txt")}
                assert f"last words {number}" in kept, (number, name)
        assert (out / "page.txt").read_text() == ("next" if ends else "new"), number
        assert [path.name for path in out.parent.iterdir()] == ["out"], number
    assert number > 25
    assert refused  # in the last steps, once the old folder is gone


def test_a_program_that_goes_on_saving_from_within_loses_nothing(out, monkeypatch):
    """Of saves that no error was told of: with each run its working folder is another's, and it goes there."""
    monkeypatch.setattr(folder_swap.os, "fsync", lambda _: None)  # which takes long for thousands of files
    log, runs = out.parent / "saved.txt", 5
    child = os.fork()
    if not child:
        number = 0
        with log.open("w") as stream:
            while True:
                with contextlib.suppress(FileNotFoundError):
                    os.chdir(out)
                    for _ in range(50):
                        number += 1
                        Path(f"note_{number}.txt").write_text("words")
                        stream.write(f"note_{number}.txt\n")
                        stream.flush()
                        time.sleep(0.001)
    try:
        for number in range(runs):
            write(out, f"run {number}")
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    lost = [name for name in log.read_text().splitlines() if not (out / name).exists()]
    assert lost == []
    assert sorted(path.name for path in out.parent.iterdir()) == ["out", "saved.txt"]


def test_where_a_program_saves_without_pause_the_old_folder_stays_in_sight(out, monkeypatch, capsys):
    moved, handle, saved = old_folder._files_moved, os.open(out, os.O_RDONLY), []

    def then_saves(*given):
        moved(*given)
        name = f"note_{len(saved)}.txt"
        with contextlib.suppress(FileNotFoundError):
            os.close(os.open(name, os.O_WRONLY | os.O_CREAT, 0o644, dir_fd=handle))
            saved.append(name)

    monkeypatch.setattr(old_folder, "_files_moved", then_saves)
    monkeypatch.setattr(old_folder, "TRIES", 3)
    monkeypatch.setattr(old_folder, "LONGEST_S", -1.0)
    write(out, "new")
    os.close(handle)
    before = out.with_name("out-before")
    assert saved
    assert all((out / name).exists() or (before / name).exists() for name in saved)
    told = f"keeps saving into the old folder; what is left of the folder before is kept as {before}"
    assert told in capsys.readouterr().err
    assert sorted(path.name for path in out.parent.iterdir()) == ["out", "out-before"]


def test_a_file_that_cannot_be_removed_is_told_and_stays_in_sight(out, monkeypatch, capsys):
    """As one made immutable (chattr +i): no name of it can be changed, nor a second one given (ioctl_iflags(2))."""

    def refused(function):
        def call(path, *more, **named):
            if Path(path).name == "notes.txt":
                raise PermissionError(errno.EPERM, "Operation not permitted")
            return function(path, *more, **named)

        return call

    for owner, name in ((os, "link"), (os, "unlink"), (Path, "replace")):
        monkeypatch.setattr(owner, name, refused(getattr(owner, name)))
    write(out, "new")
    monkeypatch.undo()
    assert (out / "page.txt").read_text() == "new"
    assert (out / "mine/notes.txt").read_text() == "first words"
    said = capsys.readouterr().err
    assert "mine/notes.txt in " in said
    assert "cannot be removed (Operation not permitted)" in said
    assert f"what is left of the folder before is kept as {out.parent / 'out-before'}" in said
    assert [path.name for path in (out.parent / "out-before").rglob("*") if path.is_file()] == ["notes.txt"]
    assert sorted(path.name for path in out.parent.iterdir()) == ["out", "out-before"]


def test_what_somebody_has_saved_in_a_folder_that_was_being_filled_stays_in_sight(out, capsys):
    """As an earlier version left it, which had gone on to empty an old folder under that name."""
    left = out.with_name(".out.0123456789ab.partial")
    left.mkdir()
    (left / "note_7.txt").write_text("words")
    os.link(out / "mine/notes.txt", left / "notes.txt")
    write(out, "new")
    assert [path.name for path in (out.parent / "out-before").iterdir()] == ["note_7.txt"]
    assert "what was saved there and is not the run's own is kept as" in capsys.readouterr().err
    assert sorted(path.name for path in out.parent.iterdir()) == ["out", "out-before"]


@pytest.mark.parametrize("foreign", [True, False])
def test_of_a_run_that_was_killed_as_it_filled_a_folder_nothing_but_its_own_files_goes(out, foreign):
    child = os.fork()
    if not child:
        with result_folder(out, "beam") as staging:
            staging.write("page.txt", "half")
            staging.path_for("18/map.txt").write_text("half")
            if foreign:
                (staging.folder / "18/note.txt").write_text("words")
            os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)
    write(out, "new")
    assert (out / "page.txt").read_text() == "new"
    assert sorted(path.name for path in out.parent.iterdir()) == (["out", "out-before"] if foreign else ["out"])
    if foreign:
        assert [path.name for path in (out.parent / "out-before").rglob("*") if path.is_file()] == ["note.txt"]
