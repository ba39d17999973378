"""An old folder of results cleared away, name by name, so that nothing goes with it that a program at work in it saves there.

A program whose working folder it is still saves by short names into it after a new result has its place. Each file is first moved
out of its reach and looked at there; a folder goes by `rmdir`, which fails where something was saved meanwhile. So what is saved
before that goes along into the new result, and saving after it fails, which the program is told.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from scenes.io.folders.folder_swap import GOING, OLD, READY, WINDOWS, in_sight, open_up, removed, removed_if_empty
from scenes.io.folders.kept_files import names_in
from scenes.io.writing import is_full

LONGEST_S = 5.0  # of a program that saves without pause: then the old folder stays in sight
TRIES = 200  # to empty one folder, before what else is new in it is looked at
LEFT = "what is left of the folder before"


@dataclass(frozen=True, slots=True, kw_only=True)
class OldFolder:
    """One whose name a new result has: where it lies, and the note beside it.

    `late` names what was saved in it since, or in what was moved out of it, and `bring` takes that along.
    """

    folder: Path
    target: Path
    noted: Path
    late: Callable[[Path], Sequence[str]]
    bring: Callable[[Path], Sequence[str]]


def cleared(old: OldFolder) -> list[str]:
    """Clear it away; what to say of what was saved in it since. Where it cannot be cleared away it stays in sight.

    Killed at any step, the next run finds the folder, what was moved out of it, and the note, and goes on from there.
    """
    told: list[str] = []
    folder, going = _as_ready(old.folder), old.folder.with_suffix(GOING)
    until_s = time.monotonic() + LONGEST_S
    while folder.exists() or going.exists():
        try:
            stuck = _round(old, folder, going, told)
        except OSError as error:
            return _kept(old, told, f"something was saved in {old.target} just now that cannot be taken along ({error.strerror})")
        if stuck and WINDOWS:  # a program that looks into a file there holds it: the next run tries again
            return _once_each(told)
        if stuck:
            name, why = next(iter(stuck.items()))
            return _kept(old, told, f"{name} in {old.target} cannot be removed ({why})")
        if folder.exists() and time.monotonic() > until_s:
            return _kept(old, told, f"a program that works in {old.target} keeps saving into the old folder")
    with suppress(OSError):
        old.noted.unlink(missing_ok=True)
    return _once_each(told)


def _as_ready(folder: Path) -> Path:
    """Under the ending by which the next run never puts it back whole: from now on it is not."""
    if folder.suffix == OLD:
        with suppress(OSError):
            return folder.replace(folder.with_suffix(READY))
    return folder


def _round(old: OldFolder, folder: Path, going: Path, told: list[str]) -> dict[str, str]:
    """Take along what is new, move the rest out and look at that again; the files that cannot be moved, and why."""
    stuck: dict[str, str] = {}
    if folder.exists() and folder != going:
        folders = [folder, *(folder / name for name in names_in(folder) if _is_a_folder(folder / name))]
        told += old.bring(going) if going.exists() else []  # moved out by a run that was killed
        told += old.bring(folder)
        for one in folders:
            open_up(one)
        if not _has_places(going, [one.relative_to(folder) for one in folders]):
            return _unlinked(old, folder, folders)
        for one in reversed(folders):  # names are sorted: what lies in a folder comes after it
            within = one.relative_to(folder)
            lost = _emptied(one, going / within)
            stuck |= {(within / name).as_posix(): why for name, why in lost.items()}
    told += old.bring(going) if going.exists() else []
    removed(going)
    return stuck


def _has_places(going: Path, folders: Sequence[Path]) -> bool:
    """Make folders to move files to; False on a full disk."""
    try:
        for within in folders:
            (going / within).mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        if not is_full(error):
            raise
        return False
    return True


def _unlinked(old: OldFolder, folder: Path, folders: Sequence[Path]) -> dict[str, str]:
    """Remove in its place what was not saved just now: nobody saves anything on a full disk. Files that cannot be, and why."""
    stuck: dict[str, str] = {}
    late = set(old.late(folder))
    for one in reversed(folders):
        for entry in _entries(one):
            name = Path(entry).relative_to(folder).as_posix()
            if name not in late and not entry.is_dir(follow_symlinks=False):
                try:
                    Path(entry).unlink(missing_ok=True)
                except OSError as error:
                    stuck[name] = error.strerror or str(error)
        with suppress(OSError):
            one.rmdir()
    return stuck


def _emptied(folder: Path, place: Path) -> dict[str, str]:
    """Move a folder's files to a place and remove the folder, again while files come; those that cannot be moved, and why."""
    stuck: dict[str, str] = {}
    for _ in range(TRIES):
        _files_moved(folder, place, stuck)
        try:
            folder.rmdir()
        except FileNotFoundError:
            break
        except OSError as error:
            if error.errno not in {errno.ENOTEMPTY, errno.EEXIST}:
                stuck["."] = error.strerror or str(error)
            if stuck or any(entry.is_dir(follow_symlinks=False) for entry in _entries(folder)):
                break
        else:
            break
    return stuck


def _files_moved(folder: Path, place: Path, stuck: dict[str, str]) -> None:
    for entry in _entries(folder):
        if entry.is_dir(follow_symlinks=False):
            continue
        try:
            Path(entry).replace(place / entry.name)
        except FileNotFoundError:  # its owner took it away just now
            continue
        except OSError as error:
            stuck[entry.name] = error.strerror or str(error)


def _entries(folder: Path) -> list[os.DirEntry[str]]:
    with suppress(FileNotFoundError), os.scandir(folder) as found:
        return list(found)
    return []


def _kept(old: OldFolder, told: Sequence[str], why: str) -> list[str]:
    """What is left of it put beside the new result, where people see it."""
    places: list[str] = []
    for path in (old.folder.with_suffix(ending) for ending in (GOING, READY, OLD)):
        if path.exists() and not (path.suffix == GOING and removed_if_empty(path)):
            try:
                places.append(in_sight(path, old.target, LEFT))
            except OSError:  # where it is it stays
                places.append(f"{LEFT} is kept as {path}")
    with suppress(OSError):
        old.noted.unlink(missing_ok=True)
    return [*_once_each(told), f"{why}; {' and '.join(places)}"]


def _is_a_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _once_each(told: Sequence[str]) -> list[str]:
    """What was brought along twice on its way is said once."""
    return list(dict.fromkeys(told))
