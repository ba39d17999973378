"""What hangs on Linux has another way on macOS and Windows, which is forced here: no such machine runs these tests."""

import ast
import ctypes
import errno
import os
import re
import sys
from functools import partial
from pathlib import Path, PureWindowsPath
from types import SimpleNamespace

import pytest

from raytrace.jit import disk_cache
from scenes.io.file_names import LONGEST_BYTES, file_name, file_names
from scenes.io.folders import folder_lock, folder_swap, kept_files
from scenes.io.folders.folder_lock import BusyError, locked
from scenes.io.folders.left_results import RESULTS_KEY
from scenes.io.folders.result_folder import Staging, result_folder
from scenes.io.named_files import copied_names
from scenes.io.writing import as_json
from scenes.runtime import worker_pool
from scenes.runtime.progress import silent
from scenes.runtime.worker_pool import Worker, no_aside
from scenes.scene_file.errors import SceneError
from scenes.view3d.render import offscreen_windows
from tests.scenes import sharing_made

ROOT = Path(__file__).parents[3]


def write(out, text):
    with result_folder(out, "beam") as staging:
        staging.write("page.txt", text)
        staging.write("beam.json", as_json({RESULTS_KEY: "beam", "files": ["beam.json", "page.txt"]}))


class Msvcrt:
    """Locks as Windows has them: PermissionError where another handle holds the byte (msvcrt.locking, LK_NBLCK)."""

    LK_NBLCK = 2

    def __init__(self):
        self.held = {}

    def locking(self, handle, mode, count):
        assert (mode, count) == (self.LK_NBLCK, 1)
        place = os.fstat(handle).st_ino
        if self.held.get(place, handle) != handle:
            raise PermissionError(errno.EACCES, "Permission denied")
        self.held[place] = handle


def test_the_lock_of_windows_lets_no_second_run_in_and_goes_with_its_file(tmp_path, monkeypatch):
    monkeypatch.setattr(folder_lock, "WINDOWS", True)
    monkeypatch.setitem(sys.modules, "msvcrt", Msvcrt())
    lock = tmp_path / ".out.lock"
    with locked(lock), pytest.raises(BusyError), locked(lock):
        pass
    assert not lock.exists()


def test_where_windows_keeps_a_lock_file_open_elsewhere_it_stays_and_nothing_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr(folder_lock, "WINDOWS", True)
    monkeypatch.setitem(sys.modules, "msvcrt", Msvcrt())
    monkeypatch.setattr(Path, "unlink", lambda *_, **__: (_ for _ in ()).throw(PermissionError(13, "in use")))
    with locked(tmp_path / ".out.lock"):
        pass
    assert (tmp_path / ".out.lock").exists()


def test_windows_puts_results_in_place_by_two_renames(tmp_path, monkeypatch):
    def no_library(name, **_):
        raise TypeError(f"argument of type {type(name).__name__!r} is not iterable")  # what ctypes.CDLL(None) says on Windows

    monkeypatch.setattr(folder_swap.sys, "platform", "win32")
    monkeypatch.setattr(ctypes, "CDLL", no_library)
    write(tmp_path / "out", "old")
    write(tmp_path / "out", "new")
    assert (tmp_path / "out/page.txt").read_text() == "new"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_another_program_looks_into_for_a_moment_is_renamed_after_it(tmp_path, monkeypatch):
    monkeypatch.setattr(folder_swap, "WINDOWS", True)
    monkeypatch.setattr(folder_swap, "WAITS_S", (0.0,) * 5)
    monkeypatch.setattr(folder_swap, "exchanged", lambda *_: False)
    replace, refusals = Path.replace, [PermissionError(13, "in use")] * 3

    def sometimes(self, new):
        if refusals:
            raise refusals.pop()
        return replace(self, new)

    monkeypatch.setattr(Path, "replace", sometimes)
    write(tmp_path / "out", "old")
    refusals += [PermissionError(13, "in use")] * 3
    write(tmp_path / "out", "new")
    assert (tmp_path / "out/page.txt").read_text() == "new"


def test_a_folder_that_stays_in_use_leaves_the_old_result_and_says_so(tmp_path, monkeypatch):
    write(tmp_path / "out", "old")
    monkeypatch.setattr(folder_swap, "WINDOWS", True)
    monkeypatch.setattr(folder_swap, "WAITS_S", (0.0,))
    monkeypatch.setattr(folder_swap, "exchanged", lambda *_: False)
    monkeypatch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(PermissionError(13, "in use")))
    with pytest.raises(SceneError, match="cannot be replaced: in use; what was there is as it was"):
        write(tmp_path / "out", "new")
    monkeypatch.undo()
    assert (tmp_path / "out/page.txt").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_macos_exchanges_two_names_by_its_own_call(tmp_path, monkeypatch):
    called = []
    library = SimpleNamespace(renamex_np=lambda *arguments: called.append(arguments) or 0)
    monkeypatch.setattr(folder_swap.sys, "platform", "darwin")
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: library)
    assert folder_swap.exchanged(tmp_path / "a", tmp_path / "b")
    assert called == [(os.fsencode(tmp_path / "a"), os.fsencode(tmp_path / "b"), 2)]  # RENAME_SWAP of renamex_np(2)


def test_files_on_a_system_without_second_names_are_copied(tmp_path, monkeypatch):
    def no_links(*_, **__):
        raise NotImplementedError

    monkeypatch.setattr(kept_files.os, "link", no_links)
    write(tmp_path / "out", "old")
    (tmp_path / "out/mine.txt").write_text("mine")
    write(tmp_path / "out", "new")
    assert (tmp_path / "out/mine.txt").read_text() == "mine"


@pytest.mark.parametrize("words", ["con", "AUX", "nul.txt", "com1", "LPT9", "Com¹", "prn.tar.gz"])
def test_no_file_is_named_as_a_device_of_windows(words):
    assert file_name(words, "flag").startswith("_")


@pytest.mark.parametrize(
    ("words", "made"),
    [
        ("a.", "a"),
        ("a. ", "a"),
        ("..", "flag"),
        ('a<b>:"|?*c', "a-b-c"),
        ("a\\b/c", "a-b-c"),
        ("console", "console"),
        ("com0x", "com0x"),
    ],
)
def test_a_name_ends_in_no_dot_and_holds_nothing_that_a_file_system_minds(words, made):
    assert file_name(words, "flag") == made


def test_two_ways_to_write_one_letter_make_two_names_where_macos_sees_one():
    names = file_names(["é", "e\u0301"], "flag")
    assert set(names.values()) == {"é_1", "é_2"}


def test_a_long_name_in_wide_letters_leaves_room_for_what_follows_it():
    names = file_names([f"{'𝟘' * 58}{end}" for end in ("aa", "bb")], "flag")
    assert len(set(names.values())) == 2
    assert all(len(name.encode()) <= LONGEST_BYTES + 2 for name in names.values())


def calls_of(method):
    """Where scenes call a method of that name, and with which keywords."""
    trees = [(path, ast.parse(path.read_text(encoding="utf-8"))) for path in sorted((ROOT / "scenes").rglob("*.py"))]
    calls = [(path, node) for path, tree in trees for node in ast.walk(tree) if isinstance(node, ast.Call)]
    named = [(path, node) for path, node in calls if isinstance(node.func, ast.Attribute) and node.func.attr == method]
    return [(path.name, {keyword.arg for keyword in node.keywords}) for path, node in named]


def test_every_text_is_utf8_with_the_same_line_ends_whatever_the_system():
    assert len(calls_of("write_text")) >= 2
    assert [call for call in calls_of("write_text") if not {"newline", "encoding"} <= call[1]] == []
    assert [call for call in calls_of("read_text") if "encoding" not in call[1]] == []


def test_without_user_numbers_kernels_go_to_a_folder_that_goes_with_the_program(monkeypatch):
    monkeypatch.delattr(os, "getuid")
    assert disk_cache._own_folder() is None


def test_where_the_system_does_not_tell_its_memory_some_is_taken_for_granted(monkeypatch):
    monkeypatch.delattr(os, "sysconf")
    assert worker_pool.memory_bytes() == worker_pool.UNKNOWN_MEMORY


@pytest.mark.parametrize("system", ["darwin", "win32"])
def test_other_systems_draw_in_the_one_kind_of_window_that_they_have(monkeypatch, system):
    monkeypatch.setattr(sys, "platform", system)
    assert offscreen_windows() == ("",)


def test_a_worker_starts_without_process_groups(monkeypatch):
    monkeypatch.setattr(worker_pool.sys, "platform", "win32")
    worker = Worker(partial(no_aside, True))
    try:
        assert worker.call(sharing_made.pid_of_maker, silent) != os.getpid()
    finally:
        worker.end()


def test_copies_of_named_files_never_keep_a_name_that_leads_out_on_windows():
    """Drives, roots and backslashes as Windows reads them: PureWindowsPath is the outside word on where such a name would lie."""
    names = [
        "C:/lenses/40.toml",
        "..\\lenses\\41.toml",
        "C:42.toml",
        "\\\\server\\share\\m.stl",
        "lenses\\43.toml",
        "lenses/40.toml",
    ]
    copies = copied_names(names, re.compile("results"))
    assert copies["lenses/40.toml"] == "lenses/40.toml"
    assert [copies[name] for name in names[:5]] == ["40.toml", "41.toml", "42.toml", "m.stl", "43.toml"]
    assert not any(PureWindowsPath(copy).drive or ".." in PureWindowsPath(copy).parts for copy in copies.values())


def test_nothing_is_written_outside_of_a_folder_of_results(tmp_path):
    staging = Staging(folder=tmp_path / "results")
    staging.folder.mkdir()
    with pytest.raises(ValueError, match="leads out of the folder"):
        staging.path_for("../elsewhere.toml")
