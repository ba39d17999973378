"""Temporary folders of runs that were killed go with the next run, and nobody else's do."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from scenes.io.folders import folder_lock, own_folder

ROOT = Path(__file__).parents[3]
RUN = """
import sys
from scenes.io.folders.own_folder import own_folder
with own_folder() as folder:
    (folder / "0.npz").write_bytes(b"a scene")
    print(folder, flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    own_folder._clear_once.cache_clear()
    return tmp_path


def running(place):
    """A run that has a folder and waits, and the folder."""
    environment = {**os.environ, "TMPDIR": str(place), "TEMP": str(place)}
    pipe = subprocess.PIPE
    child = subprocess.Popen([sys.executable, "-c", RUN], cwd=ROOT, env=environment, stdin=pipe, stdout=pipe, text=True)
    return child, Path(child.stdout.readline().strip())


def ended(child, *, kill):
    child.kill() if kill else child.stdin.close()
    child.wait()
    child.stdin.close()
    child.stdout.close()


def test_a_folder_of_a_run_that_was_killed_goes_with_the_next_and_that_of_one_that_lives_stays(place):
    (lives, its), (dies, left) = running(place), running(place)
    ended(dies, kill=True)
    assert (left / "0.npz").exists()
    with own_folder.own_folder() as folder:
        assert {path.name for path in place.iterdir()} == {folder.name, its.name}
        assert (its / "0.npz").exists()
    ended(lives, kill=False)
    assert list(place.iterdir()) == []


def left_by_a_killed_run(place):
    folder = place / f"{own_folder.PREFIX}ab_1cd23"
    folder.mkdir(mode=0o700)
    (folder / own_folder.LOCK).touch()
    (folder / "0.npz").write_bytes(b"a scene")
    return folder


def test_one_that_was_killed_before_it_had_the_lock_leaves_an_empty_folder_that_goes_too(place):
    (place / f"{own_folder.PREFIX}ab_1cd23").mkdir(mode=0o700)
    with own_folder.own_folder():
        pass
    assert list(place.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="users as POSIX has them")
@pytest.mark.parametrize("whose", ["another user's", "open to others", "a link", "another name", "without a lock"])
def test_what_may_be_somebody_elses_stays(place, monkeypatch, whose):
    folder = left_by_a_killed_run(place)
    if whose == "another user's":
        own = os.getuid()
        monkeypatch.setattr(own_folder.os, "getuid", lambda: own + 1)
    elif whose == "open to others":
        folder.chmod(0o770)
    elif whose == "a link":
        folder = folder.rename(place / "mine")
        (place / f"{own_folder.PREFIX}ab_1cd23").symlink_to(folder)
    elif whose == "another name":
        folder = folder.rename(place / f"{own_folder.PREFIX}notes")
    else:
        (folder / own_folder.LOCK).unlink()
    with own_folder.own_folder():
        pass
    assert (folder / "0.npz").exists()


def test_on_a_drive_without_locks_nothing_is_taken_for_left(place, monkeypatch):
    folder = left_by_a_killed_run(place)
    monkeypatch.setattr(folder_lock, "_take", lambda _: None)
    with own_folder.own_folder():
        pass
    assert (folder / "0.npz").exists()


def test_a_run_that_another_clears_away_before_it_has_the_lock_makes_another_folder(place, monkeypatch):
    taken, gone = own_folder.locked, []

    def then_late(path):
        if not gone:
            gone.append(path.parent)
            own_folder.clear_left(place)
        return taken(path)

    monkeypatch.setattr(own_folder, "locked", then_late)
    with own_folder.own_folder() as folder:
        assert folder.is_dir()
        assert not gone[0].exists()
    assert list(place.iterdir()) == []


def test_no_temporary_folder_is_made_without_a_lock():
    """But beside a file, where the next run that writes it clears up."""
    files = sorted((ROOT / "scenes").rglob("*.py"))
    made = [path.name for path in files if "TemporaryDirectory(" in path.read_text(encoding="utf-8")]
    assert made == ["own_folder.py", "writing.py"]
