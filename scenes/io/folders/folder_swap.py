"""A finished folder in the place of an old one: at every moment one of the two stands there whole, power cuts included."""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from scenes.io.free_names import ENDS, first_free

AT_FDCWD, RENAME_EXCHANGE = -100, 2  # Linux, renameat2(2)
RENAME_SWAP = 2  # macOS, renamex_np(2)
WINDOWS = os.name == "nt"
WAITS_S = (0.05, 0.1, 0.2, 0.4, 0.8)
PARTIAL, READY, OLD, NOTE = ".partial", ".ready", ".old", ".seen"
BEGUN = ".begun"  # beside a folder that is being filled: the names of what the run puts there
GOING = ".going"  # what has been moved out of an old folder to be looked at, and goes
BEFORE = "before"
WRITTEN_S = 60.0  # far longer than a file is written


def put_in_place(stage: Path, target: Path, note: Callable[[Path], None], clear: Callable[[Path, Path], list[str]]) -> list[str]:
    """The folder `stage`, which is on the disk, at the name `target`; what to say of it.

    What stood there has another ending then than a stage, and what `note` wrote lies beside it, so that the next run never takes it
    for one. `clear` is given both, to take along what was saved there meanwhile and to clear it away.
    """
    if not target.exists():
        _renamed(stage, target)
        _on_disk_alone(target.parent)
        return []
    noted = stage.with_suffix(NOTE)
    old = _taken_place(stage, target, noted, note)
    _on_disk_alone(target.parent)
    return clear(old, noted)


def _taken_place(stage: Path, target: Path, noted: Path, note: Callable[[Path], None]) -> Path:
    """Where the old folder lies once the stage has its name; where that fails, all is as it was."""
    ready = stage.with_suffix(READY)
    try:
        note(noted)
        _renamed(stage, ready)
        _on_disk_alone(target.parent)
        return ready if exchanged(ready, target) else _by_two_renames(ready, target)
    except OSError:  # and nothing else: after an interruption nobody knows which of the two lies there
        if _is_a_folder(ready):
            _renamed(ready, stage)
        noted.unlink(missing_ok=True)
        raise


def in_sight(old: Path, target: Path, what: str = "what was in the folder before") -> str:
    """Put an old folder beside the new one, where people see it; in words."""
    place = free_beside(target, BEFORE)
    _renamed(old, place)
    return f"{what} is kept as {place}"


def free_beside(target: Path, word: str) -> Path:
    """A name beside a folder that nothing has yet: its own, and a word."""
    return first_free(target.with_name(f"{target.name}-{word}{end}") for end in ENDS)


def beside(stage: Path, target: Path) -> Path:
    """A finished folder under the target's name and a number, where the name itself cannot be had; OSError where none can."""
    place = first_free(target.with_name(f"{target.name}{end}") for end in ENDS[1:])
    _renamed(stage, place)
    return place


def removed(folder: Path) -> None:
    """Remove a folder of ours with all that is in it, folders made read-only too."""
    if not _is_a_folder(folder):
        return
    open_up(folder)
    for root, folders, _ in os.walk(folder):
        for name in folders:
            open_up(Path(root, name))
    shutil.rmtree(folder, ignore_errors=True)


def removed_if_empty(folder: Path) -> bool:
    """Remove a folder in which no file lies, and the folders in it; whether it is gone."""
    for root, _, _ in os.walk(folder, topdown=False):
        with suppress(OSError):
            open_up(Path(root))
            Path(root).rmdir()
    return not os.path.lexists(folder)


def _is_a_folder(path: Path) -> bool:
    with suppress(OSError):  # a name too long is none
        return path.is_dir() and not path.is_symlink()
    return False


def open_up(folder: Path) -> None:
    """Have its owner be able to empty a folder that was made read-only."""
    with suppress(OSError):
        if not folder.is_symlink() and folder.stat().st_mode & 0o700 != 0o700:
            folder.chmod(0o700)


def exchanged(a: Path, b: Path) -> bool:
    """Whether two names were exchanged in one step, which the file system either does or leaves; False where it cannot."""
    if sys.platform not in {"linux", "darwin"}:
        return False
    with suppress(OSError, AttributeError):
        libc = ctypes.CDLL(None, use_errno=True)
        if sys.platform == "linux":
            return bool(libc.renameat2(AT_FDCWD, os.fsencode(a), AT_FDCWD, os.fsencode(b), RENAME_EXCHANGE) == 0)
        return bool(libc.renamex_np(os.fsencode(a), os.fsencode(b), RENAME_SWAP) == 0)
    return False


def _by_two_renames(stage: Path, target: Path) -> Path:
    """Where there is no exchange: for a moment the name is empty, and the next run would put the old folder back. Where it lies."""
    old = stage.with_suffix(OLD)
    _renamed(target, old)
    try:
        _renamed(stage, target)
    except BaseException:
        _renamed(old, target)
        raise
    return old


def _renamed(path: Path, new: Path) -> None:
    """Rename a folder; on Windows again after a moment, for programs that look at new files there hold them up."""
    for wait_s in WAITS_S if WINDOWS else ():
        with suppress(PermissionError):
            path.replace(new)
            return
        time.sleep(wait_s)
    path.replace(new)


def clear_leftovers(path: Path) -> None:
    """Clear away what runs left beside a file that were ended as they wrote it; not what somebody may be writing now."""
    begun = re.compile(rf"\.{re.escape(path.name)}\.[a-z0-9_]{{8}}{re.escape(PARTIAL)}")  # as `tempfile` names them
    with suppress(OSError):
        for entry in os.scandir(path.parent):
            if begun.fullmatch(entry.name) and time.time() - entry.stat(follow_symlinks=False).st_mtime > WRITTEN_S:
                removed(Path(entry)) if entry.is_dir(follow_symlinks=False) else Path(entry).unlink(missing_ok=True)


def on_disk(folder: Path) -> None:
    """Have a folder's content written to the disk itself, before its name says that it is there."""
    for root, _, files in os.walk(folder):
        for name in files:
            _on_disk_alone(Path(root, name))
        _on_disk_alone(Path(root))


def _on_disk_alone(path: Path) -> None:
    with suppress(OSError):  # folders cannot be opened on Windows, and some file systems know no such thing
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            return
        handle = os.open(path, os.O_RDWR if WINDOWS else os.O_RDONLY)  # there only what was opened to write is sent to the disk
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
