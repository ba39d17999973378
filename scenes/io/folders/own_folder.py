"""Folders of our own among the temporary ones. What a run that was killed has left there goes with the next that needs one."""

from __future__ import annotations

import os
import re
import stat
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import cache
from pathlib import Path

from scenes.io.folders.folder_lock import BusyError, is_held, locked
from scenes.io.folders.folder_swap import removed

PREFIX, LOCK = "brimline-work-", "in-use.lock"
OURS = re.compile(rf"{PREFIX}[a-z0-9_]{{8}}")  # as `tempfile` names them
TRIES = 5


@contextmanager
def own_folder() -> Iterator[Path]:
    """A folder that nobody else may open, gone with the block. A lock in it tells other runs that its process lives."""
    with ExitStack() as holding:
        folder = _locked_folder(holding)
        if is_held(folder / LOCK):  # else there are no locks on this drive, by which to tell whom a folder belongs to
            _clear_once(folder.parent)
        yield folder


def _locked_folder(holding: ExitStack) -> Path:
    """Another one where a run that clears up came between the folder and its lock."""
    for _ in range(TRIES):
        folder = Path(holding.enter_context(tempfile.TemporaryDirectory(prefix=PREFIX, ignore_cleanup_errors=True)))
        with suppress(FileNotFoundError, BusyError):
            holding.enter_context(locked(folder / LOCK))
            return folder
    raise BusyError(f"folders in {tempfile.gettempdir()} are taken away as soon as they are made")


@cache
def _clear_once(place: Path) -> None:
    clear_left(place)


def clear_left(place: Path) -> None:
    """Remove what runs of this user that live no more have left in a folder: only what holds a lock that nobody has, or nothing."""
    with suppress(OSError):
        for entry in list(os.scandir(place)):
            if OURS.fullmatch(entry.name) and _is_private(entry.stat(follow_symlinks=False)):
                _cleared(Path(entry))


def _is_private(found: os.stat_result) -> bool:
    """Whether it is a folder of this user's that nobody else can put anything into, as it was made."""
    if not hasattr(os, "getuid"):  # on Windows each user has temporary folders of their own
        return stat.S_ISDIR(found.st_mode)
    return stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o077


def _cleared(folder: Path) -> None:
    with suppress(OSError):  # another run has it, or clears it away just now
        if not (folder / LOCK).exists():
            folder.rmdir()  # an empty one alone: its run ended before it had the lock, or finds it gone and makes another
            return
        with locked(folder / LOCK):
            removed(folder)
