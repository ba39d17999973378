"""A finished folder in the place of an old one: at every moment one of the two stands there whole, power cuts included."""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from scenes.io.folder_lock import BusyError, is_held
from scenes.io.free_names import ENDS, first_free

AT_FDCWD, RENAME_EXCHANGE = -100, 2  # Linux, renameat2(2)
RENAME_SWAP = 2  # macOS, renamex_np(2)
WINDOWS = os.name == "nt"
WAITS_S = (0.05, 0.1, 0.2, 0.4, 0.8)
PARTIAL, OLD = ".partial", ".old"
BEFORE = "before"
WRITTEN_S = 60.0  # far longer than a file is written


def put_in_place(stage: Path, target: Path, bring: Callable[[Path], list[str]]) -> list[str]:
    """The folder `stage` at the name `target`; what stood there is gone, or lies at a hidden name until `tidy` clears it.

    `bring` takes along what was saved in the old folder until then; where it cannot, that folder stays in sight. What to say of it.
    """
    _on_disk(stage)
    if not target.exists():
        _renamed(stage, target)
        _on_disk_alone(target.parent)
        return []
    old = stage if exchanged(stage, target) else _by_two_renames(stage, target)
    _on_disk_alone(target.parent)
    try:
        told = bring(old)
    except OSError as error:
        return [f"something was saved in {target} just now that cannot be taken along ({error.strerror}); {_in_sight(old, target)}"]
    removed(old)
    return told


def _in_sight(old: Path, target: Path) -> str:
    place = free_beside(target, BEFORE)
    _renamed(old, place)
    return f"what was in the folder before is kept as {place}"


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
    _open_up(folder)
    for root, folders, _ in os.walk(folder):
        for name in folders:
            _open_up(Path(root, name))
    shutil.rmtree(folder, ignore_errors=True)


def _is_a_folder(path: Path) -> bool:
    with suppress(OSError):  # a name too long is none
        return path.is_dir() and not path.is_symlink()
    return False


def _open_up(folder: Path) -> None:
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
    old = stage.with_name(stage.name.removesuffix(PARTIAL) + OLD)
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


def tidy(target: Path) -> list[str]:
    """Clear away what runs left beside the folder that were ended half-way; what to say of it. BusyError where one is at work.

    An old folder whose name has stayed empty goes back to it; where somebody has taken the name since, it stays in sight.
    """
    left = sorted(path for path in target.parent.glob(f".{_escaped(target.name)}.*") if _is_ours(path, target))
    if any(is_held(path) for path in left):
        raise BusyError("a run is at work")
    return [told for path in left if (told := _tidied(path, target, left))]


def _tidied(path: Path, target: Path, left: Sequence[Path]) -> str:
    if path.suffix != OLD or (target.exists() and path.with_suffix(PARTIAL) not in left):
        removed(path)
        return ""
    if target.exists():  # the run ended between its two renames: all that people had in the folder is in the old one alone
        return f"a run into {target} was ended as it put its result there; {_in_sight(path, target)}"
    path.replace(target)
    return ""


def clear_leftovers(path: Path) -> None:
    """Clear away what runs left beside a file that were ended as they wrote it; not what somebody may be writing now."""
    begun = re.compile(rf"\.{re.escape(path.name)}\.[a-z0-9_]{{8}}{re.escape(PARTIAL)}")  # as `tempfile` names them
    with suppress(OSError):
        for entry in os.scandir(path.parent):
            if begun.fullmatch(entry.name) and time.time() - entry.stat(follow_symlinks=False).st_mtime > WRITTEN_S:
                removed(Path(entry)) if entry.is_dir(follow_symlinks=False) else Path(entry).unlink(missing_ok=True)


def _escaped(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)


def _is_ours(path: Path, target: Path) -> bool:
    middle = path.name.removeprefix(f".{target.name}.").rpartition(".")[0]
    is_hex = len(middle) == 12 and set(middle) <= set("0123456789abcdef")
    return path.suffix in {PARTIAL, OLD} and is_hex and path.is_dir() and not path.is_symlink()


def _on_disk(folder: Path) -> None:
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
