"""One run at a time to a folder: a lock that the operating system takes off a process that has ended, however it ended."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

WINDOWS = os.name == "nt"


class BusyError(OSError):
    """Another process holds the lock."""


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock that this file stands for; BusyError at once where another process does. The file goes with the lock."""
    handle = None
    try:
        handle = _open(path)
        yield
    finally:
        if handle is None:  # interrupted on the way to it, or somebody else's
            _drop_free(path)
        else:
            _give_up(path, handle)


def _drop_free(path: Path) -> None:
    with suppress(OSError):
        if not is_held(path):
            path.unlink()


def _give_up(path: Path, handle: int) -> None:
    try:
        if not WINDOWS:  # while it is still held: nobody else's file is taken away. On Windows no open file can be
            path.unlink(missing_ok=True)
    finally:
        os.close(handle)
    if WINDOWS:
        with suppress(OSError):
            path.unlink()


def lock_of(folder: Path) -> Path:
    """The file that stands for the lock of a folder, beside it."""
    return folder.parent / f".{folder.name}.lock"


def around_at_work(folder: Path) -> Path | None:
    """A folder around this one, or in it, that another run is writing: what it writes takes the place of all that is in it."""
    around = (outer for outer in folder.parents if outer.name and is_held(lock_of(outer)))
    return next(around, None) or next((lock.parent for lock in folder.rglob(".*.lock") if is_held(lock)), None)


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Hold a folder that is being filled, in case somebody deletes the lock file; where folders cannot be held, go on without."""
    handle = None
    with suppress(OSError):  # on Windows no folder can be opened
        handle = os.open(folder, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0))
        _take(handle)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def is_held(path: Path) -> bool:
    """Whether another process, or another part of this one, holds the lock of a file or folder."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0))  # to look at: nothing is written there
    except OSError:
        return False
    try:
        _take(handle)
    except BusyError:
        return True
    finally:
        os.close(handle)
    return False


def _open(path: Path) -> int:
    """An open file at that path whose lock is ours; again where the one that was opened has been taken away meanwhile."""
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o666)
        try:
            _take(handle)
            if _is_at(handle, path):
                return handle
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _take(handle: int) -> None:
    try:
        if WINDOWS:
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        raise BusyError("locked by another process") from None
    except OSError:  # a file system that knows no locks, such as some network drives: no worse than without
        return


def _is_at(handle: int, path: Path) -> bool:
    with suppress(FileNotFoundError):
        return os.path.samestat(os.fstat(handle), path.stat())
    return False
