"""One run at a time to a folder: a lock that the operating system takes off a process that has ended, however it ended."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

WINDOWS = os.name == "nt"


class BusyError(OSError):
    """Another process holds the lock."""


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock that this file stands for; BusyError at once where another process does. The file goes with the lock.

    A person's own file of that name is held and stays; where one has a link, a folder or a pipe there, OSError says so.
    """
    handle, is_new = None, False
    try:
        handle, is_new = _open(path)
        yield
    finally:
        if handle is None:  # interrupted on the way to it, or somebody else's
            _drop_free(path)
        else:
            _give_up(path, handle, is_new=is_new)


def _drop_free(path: Path) -> None:
    with suppress(OSError):
        if _is_lock(path) and not is_held(path):
            path.unlink()


def _is_lock(path: Path, *, is_new: bool = False) -> bool:
    """Whether it is an empty file, which this run has made or one of the same user's may have left. Others' files stay."""
    found = path.lstat()
    is_own = is_new or WINDOWS or found.st_uid == os.getuid()  # some network drives give a new file to another user
    return is_own and stat.S_ISREG(found.st_mode) and found.st_size == 0


def _give_up(path: Path, handle: int, *, is_new: bool) -> None:
    is_ours = False
    try:
        with suppress(FileNotFoundError):
            is_ours = _is_at(handle, path) and _is_lock(path, is_new=is_new)
            if is_ours and not WINDOWS:  # while it is still held: nobody else's file is taken away. On Windows no open file can be
                path.unlink()
    finally:
        os.close(handle)
    if is_ours and WINDOWS:
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
        # To look at: nothing is written there, and a pipe is not waited for.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0))
    except OSError:
        return False
    try:
        _take(handle)
    except BusyError:
        return True
    finally:
        os.close(handle)
    return False


def _open(path: Path) -> tuple[int, bool]:
    """An open file at that path whose lock is ours, and whether it was made for that.

    Again where the one that was opened has been taken away meanwhile.
    """
    while True:
        handle, is_new = _opened(path)
        try:
            _take(handle)
            if _is_at(handle, path):
                return handle, is_new
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _opened(path: Path) -> tuple[int, bool]:
    how = os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
    with suppress(FileExistsError):
        return os.open(path, how | os.O_EXCL, 0o666), True
    _insist_on_plain(path)
    return os.open(path, how, 0o666), False


def _insist_on_plain(path: Path) -> None:
    with suppress(FileNotFoundError):
        if not stat.S_ISREG(path.lstat().st_mode):
            found = "a link" if path.is_symlink() else "a folder" if path.is_dir() else "no plain file"
            raise OSError(errno.EEXIST, f"beside it {path.name}, which is {found}, has the name of its lock; give one another name")


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
        return os.path.samestat(os.fstat(handle), path.lstat())
    return False
