"""A finished folder in the place of an old one: at every moment one of the two stands there whole, power cuts included."""

from __future__ import annotations

import ctypes
import os
import shutil
import sys
import time
from contextlib import suppress
from pathlib import Path

AT_FDCWD, RENAME_EXCHANGE = -100, 2  # Linux, renameat2(2)
RENAME_SWAP = 2  # macOS, renamex_np(2)
WINDOWS = os.name == "nt"
WAITS_S = (0.05, 0.1, 0.2, 0.4, 0.8)
PARTIAL, OLD = ".partial", ".old"


def put_in_place(stage: Path, target: Path) -> None:
    """The folder `stage` at the name `target`; what stood there is gone, or lies at a hidden name until `tidy` clears it."""
    _on_disk(stage)
    if not target.exists():
        _renamed(stage, target)
    elif not exchanged(stage, target):
        _by_two_renames(stage, target)
    _on_disk_alone(target.parent)
    shutil.rmtree(stage, ignore_errors=True)


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


def _by_two_renames(stage: Path, target: Path) -> None:
    """Where there is no exchange: for a moment the name is empty, and the next run puts the old folder back (`tidy`)."""
    old = stage.with_name(stage.name.removesuffix(PARTIAL) + OLD)
    _renamed(target, old)
    try:
        _renamed(stage, target)
    except BaseException:
        _renamed(old, target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _renamed(path: Path, new: Path) -> None:
    """Rename a folder; on Windows again after a moment, for programs that look at new files there hold them up."""
    for wait_s in WAITS_S if WINDOWS else ():
        with suppress(PermissionError):
            path.replace(new)
            return
        time.sleep(wait_s)
    path.replace(new)


def tidy(target: Path) -> None:
    """Clear away what runs left beside the folder that were ended half-way; nobody else may be at work there.

    An old folder whose name has stayed empty goes back to it.
    """
    left = [path for path in target.parent.glob(f".{_escaped(target.name)}.*") if _is_ours(path, target)]
    for path in sorted(left):
        if path.suffix == OLD and not target.exists():
            path.replace(target)
        else:
            shutil.rmtree(path, ignore_errors=True)


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
