"""What people save while a new result takes its place is kept, at whatever moment the run is ended, and nothing is left about."""

import contextlib
import errno
import json
import os
import shutil
import signal
import sys

import pytest

from scenes.cli import main
from scenes.io.folders import folder_swap, kept_files, old_folder, undisturbed
from scenes.io.folders import result_folder as folders
from scenes.io.folders.kept_files import MANIFEST
from scenes.io.folders.left_results import RESULTS_KEY
from scenes.io.folders.result_folder import result_folder

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="fork, kill -9 and the exchange of two names as Linux has them")
STEPS = {"open", "os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.link", "os.scandir", "ctypes.dlsym"}  # PEP 578


def write(out, text):
    with result_folder(out, "beam") as staging:
        names = [staging.write(name, text) for name in ("page.txt", "18/map.txt")]
        staging.write("beam.json", json.dumps({RESULTS_KEY: "beam", "files": [*names, "beam.json"]}))


def saved(path, text):
    """As editors save: a new file takes the name."""
    beside = path.with_name(path.name + "~")
    beside.write_text(text)
    beside.replace(path)


@pytest.fixture(autouse=True)
def _ctrl_c_is_heard():
    """In the background a shell has Ctrl-C ignored, which these tests are not about."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.fixture
def out(tmp_path):
    return filled(tmp_path / "out")


def filled(out):
    write(out, "old")
    (out / "mine/empty").mkdir(parents=True)
    (out / "mine/notes.txt").write_text("first words")
    (out / "mine/list.txt").write_text("as it was")
    return out


def late(out):
    saved(out / "mine/notes.txt", "last words")
    saved(out / "page.txt", "old page with a remark")
    (out / "photo.jpg").write_text("of the set")


def ended_at(out, number, *, exchanges=True):
    """A run killed before a step on the disk, counted from when its result is whole and somebody has saved; whether it was."""
    child = os.fork()
    if child:
        return os.WIFSIGNALED(os.waitpid(child, 0)[1])
    with contextlib.suppress(BaseException):
        whole, steps = folders.on_disk, []

        def begins(stage):
            whole(stage)
            late(out)
            steps.append(0)

        def step(event, _):
            if steps and event in STEPS:
                steps[0] += 1
                if steps[0] == number:
                    os.kill(os.getpid(), signal.SIGKILL)

        folders.on_disk = begins
        if not exchanges:
            folder_swap.exchanged = lambda *_: False
        sys.addaudithook(step)
        write(out, "new")
    os._exit(0)


def no_links(*_, **__):
    raise PermissionError(errno.EPERM, "Operation not permitted")


@pytest.mark.parametrize("exchanges", [True, False])
@pytest.mark.parametrize("links", [True, False])
def test_what_is_saved_while_names_change_outlives_a_kill_at_any_step(tmp_path, monkeypatch, exchanges, links):
    if not links:
        monkeypatch.setattr(kept_files.os, "link", no_links)
    monkeypatch.setattr(folder_swap.os, "fsync", lambda _: None)  # which a kill does not need, and takes most of the time
    number = 0
    while True:
        number += 1
        out = filled(tmp_path / f"{number}/out")
        was_killed = ended_at(out, number, exchanges=exchanges)
        write(out, "next")
        assert (out / "mine/notes.txt").read_text() == "last words", number
        assert (out / "photo.jpg").read_text() == "of the set", number
        assert (out / "page.txt").read_text() == "next", number
        assert (out / "page.yours.txt").read_text() == "old page with a remark", number
        assert sorted(path.name for path in (out / "mine").iterdir()) == ["empty", "list.txt", "notes.txt"], number
        assert [path.name for path in out.parent.iterdir()] == ["out"], number
        if not was_killed:
            break
    assert number > 20


def killed_after_the_exchange(out):
    """A run that ends right behind the exchange, where nothing has been taken along yet."""
    child = os.fork()
    if not child:
        with contextlib.suppress(BaseException):
            exchanged = folder_swap.exchanged

            def then_killed(*names):
                late(out)
                if exchanged(*names):
                    os.kill(os.getpid(), signal.SIGKILL)

            folder_swap.exchanged = then_killed
            write(out, "new")
        os._exit(0)
    assert os.WIFSIGNALED(os.waitpid(child, 0)[1])
    assert (out / "page.txt").read_text() == "new"
    assert (out / "mine/notes.txt").read_text() == "first words"


def test_what_a_person_does_between_a_kill_and_the_next_run_stands(out):
    killed_after_the_exchange(out)
    (out / "mine/list.txt").unlink()
    saved(out / "mine/notes.txt", "words after it")
    write(out, "next")
    assert not (out / "mine/list.txt").exists()
    assert (out / "mine/notes.txt").read_text() == "words after it"
    assert (out / "mine/notes.yours.txt").read_text() == "last words"
    assert [path.name for path in out.parent.iterdir()] == ["out"]


@pytest.mark.parametrize("note", ["lost", "damaged"])
def test_an_old_folder_of_which_nothing_is_known_stays_in_sight(out, capsys, note):
    killed_after_the_exchange(out)
    (noted,) = out.parent.glob(".out.*.seen")
    noted.unlink() if note == "lost" else noted.write_text('{"folder": 1, "own": [')
    write(out, "next")
    assert (out.parent / "out-before/mine/notes.txt").read_text() == "last words"
    assert f"what was in the folder before is kept as {out.parent / 'out-before'}" in capsys.readouterr().err
    assert sorted(path.name for path in out.parent.iterdir()) == ["out", "out-before"]


@pytest.mark.parametrize("since", ["moved away", "deleted"])
def test_an_old_folder_whose_new_result_has_gone_stays_in_sight(out, since):
    killed_after_the_exchange(out)
    out.rename(out.with_name("final")) if since == "moved away" else shutil.rmtree(out)
    write(out, "next")
    assert (out.parent / "out-before/mine/notes.txt").read_text() == "last words"
    assert not (out / "mine").exists()
    assert not [path.name for path in out.parent.iterdir() if path.name.startswith(".")]


def test_the_note_of_what_was_seen_is_closed_to_others(out):
    killed_after_the_exchange(out)
    (noted,) = out.parent.glob(".out.*.seen")
    assert noted.stat().st_mode & 0o077 == 0


def then_asked_to_end(monkeypatch, out, number):
    """Somebody saves, the names change, and right then the run is asked to end."""
    exchanged = folder_swap.exchanged

    def asked(*names):
        late(out)
        done = exchanged(*names)
        signal.raise_signal(number)
        return done

    monkeypatch.setattr(folder_swap, "exchanged", asked)


def test_ctrl_c_in_a_notebook_waits_until_late_files_are_in_the_new_result(out, monkeypatch, capsys):
    then_asked_to_end(monkeypatch, out, signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        write(out, "new")
    assert (out / "page.txt").read_text() == "new"
    assert (out / "mine/notes.txt").read_text() == "last words"
    assert "your version is kept as page.yours.txt" in capsys.readouterr().err
    assert [path.name for path in out.parent.iterdir()] == ["out"]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_request_to_end_once_names_have_changed_says_where_the_new_result_is(tmp_path, monkeypatch, capsys, number):
    scene, out = tmp_path / "scene.toml", tmp_path / "out"
    argv = ["beam", str(scene), "--at", "20", "--out", str(out)]
    assert main(["new", str(scene)]) == 0
    assert main(argv) in {0, 1}
    (out / "mine").mkdir()
    (out / "mine/notes.txt").write_text("first words")
    then_asked_to_end(monkeypatch, out, number)
    assert main(argv) == 130
    assert capsys.readouterr().err.endswith(f"\nstopped; the new result is in {out} already, whole\n")
    assert (out / "mine/notes.txt").read_text() == "last words"
    assert MANIFEST in {path.name for path in out.iterdir()}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "scene.toml"]


def test_a_request_to_end_is_heard_once_and_after_the_block():
    before, told = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}, []

    def work():
        with undisturbed.undisturbed():
            for _ in range(2):
                signal.raise_signal(signal.SIGINT)
            told.append("through")

    with pytest.raises(KeyboardInterrupt):
        work()
    assert told == ["through"]
    assert {number: signal.getsignal(number) for number in before} == before


def test_a_request_to_end_that_is_ignored_stays_so():
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with undisturbed.undisturbed():
            assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


def test_a_request_to_end_while_the_old_folder_is_cleared_away_leaves_nothing_of_it(out, monkeypatch):
    moved, asked = old_folder._files_moved, []

    def asked_once(*given):
        if not asked:
            asked.append(given)
            signal.raise_signal(signal.SIGINT)
        moved(*given)

    monkeypatch.setattr(old_folder, "_files_moved", asked_once)
    with pytest.raises(KeyboardInterrupt):
        write(out, "new")
    assert (out / "page.txt").read_text() == "new"
    assert [path.name for path in out.parent.iterdir()] == ["out"]


def test_names_that_no_encoding_knows_are_noted_too(out):
    name = os.fsdecode(b"mine/\xff\xfe.txt")
    (out / name).write_text("mine")
    killed_after_the_exchange(out)
    write(out, "next")
    assert (out / name).read_text() == "mine"
    assert [path.name for path in out.parent.iterdir()] == ["out"]
