"""People save, move and lock files where a run is at work: nothing of theirs is lost, and no half result stands for a whole."""

import contextlib
import json
import os
import shutil
import signal
import stat
import tempfile
import time
from pathlib import Path

import pytest

from scenes.io import writing
from scenes.io.folders import folder_lock, folder_swap, kept_files
from scenes.io.folders import result_folder as folders
from scenes.io.folders.kept_files import MANIFEST
from scenes.io.folders.left_results import RESULTS_KEY
from scenes.io.folders.result_folder import result_folder
from scenes.scene_file.errors import SceneError


def write(out, text, command="beam", **more):
    with result_folder(out, command) as staging:
        names = [staging.write(name, content) for name, content in {"page.txt": text, **more}.items()]
        staging.write(f"{command}.json", json.dumps({RESULTS_KEY: command, "files": [*names, f"{command}.json"]}))


def interrupted(out, act):
    """A run in the middle of which somebody does something; what it says."""

    def run():
        with result_folder(out, "beam") as staging:
            staging.write("first.txt", "one")
            act(staging)
            staging.write("beam.json", json.dumps({RESULTS_KEY: "beam", "files": ["beam.json", "first.txt"]}))

    with pytest.raises(SceneError) as caught:
        run()
    return str(caught.value)


def names(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.name != MANIFEST)


def saved(path, text):
    """As editors save: a new file takes the name."""
    beside = path.with_name(path.name + "~")
    beside.write_text(text)
    beside.replace(path)


@pytest.fixture
def out(tmp_path):
    write(tmp_path / "out", "old")
    (tmp_path / "out/mine").mkdir()
    (tmp_path / "out/mine/notes.txt").write_text("first words")
    return tmp_path / "out"


def just_before_the_exchange(monkeypatch, act, *, exchanges=True):
    """Have somebody do something once all is carried over and on the disk, but before the names change."""
    whole = folders.on_disk
    monkeypatch.setattr(folders, "on_disk", lambda folder: (whole(folder), act()))
    if not exchanges:
        monkeypatch.setattr(folder_swap, "exchanged", lambda _a, _b: False)


@pytest.mark.parametrize("exchanges", [True, False])
def test_what_is_saved_while_names_change_is_there_afterwards(out, monkeypatch, exchanges):
    def act():
        saved(out / "mine/notes.txt", "last words")
        (out / "mine/photo.jpg").write_text("of the set")
        saved(out / "page.txt", "old page with a remark")

    just_before_the_exchange(monkeypatch, act, exchanges=exchanges)
    write(out, "new")
    assert (out / "mine/notes.txt").read_text() == "last words"
    assert (out / "mine/photo.jpg").read_text() == "of the set"
    assert (out / "page.txt").read_text() == "new"
    assert (out / "page.yours.txt").read_text() == "old page with a remark"
    assert [path.name for path in out.parent.iterdir()] == ["out"]


def test_where_a_late_file_cannot_be_taken_along_the_old_folder_stays_in_sight(out, monkeypatch, capsys):
    def broken(*_, **__):
        raise PermissionError(13, "Permission denied")

    def act():
        saved(out / "mine/notes.txt", "last words")
        monkeypatch.setattr(kept_files, "_link", broken)

    just_before_the_exchange(monkeypatch, act)
    write(out, "new")
    assert (out / "page.txt").read_text() == "new"
    assert (out.parent / "out-before/mine/notes.txt").read_text() == "last words"
    assert "out-before" in capsys.readouterr().err


def test_a_folder_renamed_under_a_run_ends_it_in_a_sentence_and_no_half_result_appears(tmp_path):
    show = tmp_path / "show"
    show.mkdir()
    said = interrupted(show / "out", lambda _: show.rename(tmp_path / "renamed"))
    assert "was moved or removed while results were being written" in said
    assert not (show / "out").exists()


def test_a_stage_that_somebody_clears_away_gives_no_half_result(tmp_path):
    said = interrupted(tmp_path / "out", lambda staging: shutil.rmtree(staging.folder))
    assert "was moved or removed while results were being written" in said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("take", ["file", "link"])
def test_a_file_or_link_that_takes_the_name_meanwhile_stays_and_the_result_is_beside_it(tmp_path, take):
    other, out = tmp_path / "other", tmp_path / "out"
    other.mkdir()
    (other / "notes.txt").write_text("mine")
    said = interrupted(out, lambda _: out.write_text("mine") if take == "file" else out.symlink_to(other))
    assert f"the new result is in {tmp_path / 'out-2'}" in said
    assert out.is_symlink() if take == "link" else out.read_text() == "mine"
    assert (tmp_path / "out-2/beam.json").exists()
    assert names(other) == ["notes.txt"]
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_file_that_cannot_be_taken_along_costs_neither_it_nor_the_new_result(out, monkeypatch):
    def broken(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(kept_files.os, "link", broken)
    monkeypatch.setattr(kept_files.shutil, "copyfile", broken)
    with pytest.raises(SceneError, match=r"Permission denied; what was there is as it was, and the new result is in .*out-2"):
        write(out, "new")
    assert (out / "page.txt").read_text() == "old"
    assert (out / "mine/notes.txt").read_text() == "first words"
    assert (out.parent / "out-2/page.txt").read_text() == "new"


def test_files_of_people_are_not_read_so_that_one_that_cannot_be_is_no_hindrance(out, monkeypatch):
    real = kept_files.sha256

    def only_ours(path):
        if "mine" in path.parts:
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(kept_files, "sha256", only_ours)
    write(out, "new")
    assert (out / "page.txt").read_text() == "new"
    assert (out / "mine/notes.txt").read_text() == "first words"


@pytest.mark.skipif(os.name == "nt", reason="rights of folders as POSIX has them")
def test_folders_of_people_keep_their_rights(out):
    (out / "mine").chmod(0o700)
    (out / "empty").mkdir(mode=0o750)
    write(out, "new")
    assert stat.S_IMODE((out / "mine").stat().st_mode) == 0o700
    assert stat.S_IMODE((out / "empty").stat().st_mode) == 0o750


@pytest.mark.skipif(os.name == "nt" or os.geteuid() != 0, reason="needs another user")
def test_folders_made_read_only_leave_nothing_about():
    """As somebody who is not root: what is read-only to him he can still clear away, for it is his."""
    with tempfile.TemporaryDirectory() as home:  # pytest's own folders are private
        os.chmod(home, 0o777)  # noqa: PTH101
        assert status_of_somebody_else(Path(home)) == 0


def status_of_somebody_else(tmp_path):
    child = os.fork()
    if not child:
        status = 1
        try:
            os.setgid(65534)
            os.setuid(65534)
            out = tmp_path / "out"
            write(out, "old")
            (out / "mine").mkdir()
            (out / "mine/notes.txt").write_text("mine")
            (out / "mine").chmod(0o555)
            out.chmod(0o555)
            write(out, "new")
            mine = (out / "mine/notes.txt").read_text() == "mine" and (out / "page.txt").read_text() == "new"
            status = 0 if mine and [path.name for path in tmp_path.iterdir()] == ["out"] else 2
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def forge(out, *, sealed):
    manifest = out / MANIFEST
    found = json.loads(manifest.read_text())
    found["beam"]["mine/notes.txt"] = kept_files.sha256(out / "mine/notes.txt")
    manifest.write_text(
        json.dumps(found) if not sealed else kept_files.sealed({k: v for k, v in found.items() if k != kept_files.SEAL})
    )


@pytest.mark.parametrize("sealed", [False, True])
def test_a_file_of_a_person_that_a_forged_manifest_names_stays(out, sealed):
    forge(out, sealed=sealed)
    write(out, "new")
    assert (out / "mine/notes.txt").read_text() == "first words"


def test_a_hand_edited_manifest_counts_for_nothing(out):
    """Its hash put right for a page that a person changed: the page is kept all the same."""
    (out / "page.txt").write_text("with a remark")
    found = json.loads((out / MANIFEST).read_text())
    found["beam"]["page.txt"] = kept_files.sha256(out / "page.txt")
    (out / MANIFEST).write_text(json.dumps(found))
    write(out, "new")
    assert (out / "page.yours.txt").read_text() == "with a remark"


def test_json_nested_without_end_is_no_result_and_ends_no_run(out):
    (out / "mine.json").write_text("[" * 100_000)
    (out / "a.json").write_text("[" * 100_000)
    (out / MANIFEST).write_text("[" * 100_000)
    write(out, "new")
    assert (out / "page.txt").read_text() == "new"


def test_an_old_folder_whose_name_was_taken_before_the_next_run_is_put_back_in_sight(out, capsys):
    """A run was killed between its two renames; somebody then made a folder of that name."""
    out.rename(out.with_name(".out.0123456789ab.old"))
    out.with_name(".out.0123456789ab.partial").mkdir()
    out.mkdir()
    write(out, "new")
    assert (out.parent / "out-before/mine/notes.txt").read_text() == "first words"
    assert "out-before" in capsys.readouterr().err
    assert sorted(path.name for path in out.parent.iterdir()) == ["out", "out-before"]


def test_the_root_of_a_disk_is_refused_before_any_work(tmp_path, monkeypatch):
    monkeypatch.setattr(folders.os.path, "ismount", lambda path: str(path) == str(tmp_path / "disk"))
    (tmp_path / "disk").mkdir()
    with pytest.raises(SceneError, match=r"is the root of a disk.* such as .*disk/results"):
        write(tmp_path / "disk", "new")


@pytest.mark.skipif(os.name == "nt", reason="no open file can be taken away there")
def test_a_lock_file_that_somebody_deletes_does_not_let_the_next_run_clear_away_the_first_ones_work(tmp_path):
    out = tmp_path / "out"
    with result_folder(out, "beam") as staging:
        staging.write("page.txt", "first")
        (tmp_path / ".out.lock").unlink()
        with pytest.raises(SceneError, match="is being written by another run"):
            write(out, "second")
        staging.write("beam.json", json.dumps({RESULTS_KEY: "beam", "files": ["beam.json", "page.txt"]}))
    assert (out / "page.txt").read_text() == "first"


def test_another_disk_put_into_the_folder_is_left_alone(out, monkeypatch):
    """A stick or a folder of another computer, in a folder of results: what clears the old result away would empty it."""
    monkeypatch.setattr(folders.os.path, "ismount", lambda path: str(path) == str(out / "mine"))
    with pytest.raises(SceneError, match=r"holds another disk, .*mine"):
        write(out, "new")


def test_a_folder_without_results_is_refused_before_anything_in_it_is_walked_through(tmp_path, monkeypatch):
    """As a home folder, with everything that a person has."""
    (tmp_path / "home/photos").mkdir(parents=True)

    def walked(_):
        raise AssertionError

    monkeypatch.setattr(folders, "names_in", walked)
    with pytest.raises(SceneError, match="holds other files and no results"):
        write(tmp_path / "home", "new")


def test_files_on_another_disk_stay_there_alone(out, monkeypatch):
    """As where one folder is shown in another: it is no disk of its own, but its files cannot be given a second name."""

    def elsewhere(*_, **__):
        raise OSError(18, "Invalid cross-device link")

    monkeypatch.setattr(kept_files.os, "link", elsewhere)
    with pytest.raises(SceneError, match=r"notes.txt is on another disk; what was there is as it was, and the new result is in"):
        write(out, "new")
    assert (out / "mine/notes.txt").read_text() == "first words"
    assert (out.parent / "out-2/page.txt").read_text() == "new"


def test_a_folder_with_a_name_as_long_as_can_be_is_refused_by_its_own_name(tmp_path):
    with pytest.raises(SceneError) as caught:
        write(tmp_path / ("x" * 240), "new")
    assert str(caught.value).startswith(str(tmp_path / "xxx"))


def test_a_new_file_below_a_file_is_refused_for_what_it_is(tmp_path):
    (tmp_path / "f").touch()
    with pytest.raises(SceneError, match="cannot be written"):
        writing.write_new(tmp_path / "f/x.toml", "text")


@pytest.mark.parametrize(
    "write_again", [lambda path: writing.write_new(path, "text"), lambda path: writing.write_whole(path, b"text")]
)
def test_what_a_killed_run_left_beside_a_file_goes_with_the_next_and_nothing_else(tmp_path, write_again):
    left, fresh, mine = (tmp_path / f".x.toml.{middle}.partial" for middle in ("ab_1cd23", "zz_1cd23", "my notes"))
    for path in (left, fresh, mine):
        path.write_text("half")
    folder = tmp_path / ".x.toml.ab_1cd24.partial"
    folder.mkdir()
    (folder / "x.toml").write_text("half")
    for path in (left, mine, folder):
        os.utime(path, (1e9, 1e9))
    write_again(tmp_path / "x.toml")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([fresh.name, mine.name, "x.toml"])


def test_of_two_saves_one_before_and_one_after_the_names_changed_neither_is_lost(out, monkeypatch):
    whole = folder_swap._on_disk_alone

    def then_saves_again(path):
        whole(path)
        if path == out.parent and (out / "page.txt").read_text() == "new":
            saved(out / "mine/notes.txt", "last words")

    just_before_the_exchange(monkeypatch, lambda: saved(out / "mine/notes.txt", "words between"))
    monkeypatch.setattr(folder_swap, "_on_disk_alone", then_saves_again)
    write(out, "new")
    assert (out / "mine/notes.txt").read_text() == "last words"
    assert (out / "mine/notes.yours.txt").read_text() == "words between"


def test_whoever_saves_without_pause_beside_runs_without_pause_finds_the_last_words(out):
    """An editor that saves every ms by giving a new file the name, and results that take each other's place."""
    child = os.fork()
    if not child:
        status = 1
        try:
            for number in range(10_000):
                with contextlib.suppress(SceneError):  # a save between two of its steps: the result is beside, and it says so
                    write(out, f"run {number}")
        finally:
            os._exit(status)
    until, number, last = time.monotonic() + 3.0, 0, 0
    while time.monotonic() < until:
        number += 1
        with contextlib.suppress(FileNotFoundError):  # where the folder went between two of its steps, an editor tries again
            saved(out / "mine/notes.txt", f"save {number}")
            last = number
    time.sleep(0.3)
    os.kill(child, signal.SIGTERM)  # which ends it at once: nothing here clears up
    assert os.WIFSIGNALED(os.waitpid(child, 0)[1])
    found = [path.read_text() for path in (out / "mine").glob("notes*.txt")]
    assert f"save {last}" in found
    assert (out / "mine/notes.txt").read_text() == f"save {last}"


def test_a_command_by_its_earlier_name_takes_the_place_of_its_own_earlier_result(tmp_path):
    """`builds` is `tolerances`, and its JSON says so: as scripts run it, again and again into one folder."""
    out = tmp_path / "out"
    for text in ("old", "new"):
        with result_folder(out, "builds") as staging:
            staging.write("page.txt", text)
            staging.write("builds.json", json.dumps({RESULTS_KEY: "tolerances", "files": ["builds.json", "page.txt"]}))
    assert names(out) == ["builds.json", "page.txt"]
    assert (out / "page.txt").read_text() == "new"


def test_a_request_to_end_just_as_the_lock_is_taken_leaves_no_lock_file(tmp_path, monkeypatch):
    taken = os.open

    def then_interrupted(path, *more):
        handle = taken(path, *more)
        if str(path).endswith(".lock") and more[0] & os.O_CREAT:
            raise KeyboardInterrupt
        return handle

    monkeypatch.setattr(folder_lock.os, "open", then_interrupted)
    with pytest.raises(KeyboardInterrupt):
        write(tmp_path / "out", "new")
    assert names(tmp_path) == []
