"""What people save into a folder of results in the moment in which a new one takes its place: it goes along too."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping
from pathlib import Path

from scenes.io.kept_files import MANIFEST, carried, folder_for, names_in

Identity = tuple[int, ...]  # of a file as it stands: which, how large, and when it was last written


def identities(folder: Path) -> dict[str, Identity]:
    """What lies in a folder, by relative name; taken before anything of it is carried over."""
    return {name: _identity(folder / name) for name in names_in(folder)}


def _identity(path: Path) -> Identity:
    found = path.lstat()
    return (0,) if path.is_dir() and not path.is_symlink() else (found.st_ino, found.st_size, found.st_mtime_ns, found.st_mode)


def bring_along(old: Path, target: Path, before: Mapping[str, Identity], own: Collection[str]) -> list[str]:
    """Put into the new folder what was saved in the old one since `before`; a sentence for each file in a new one's way.

    `own` are the names of the new result. OSError where something cannot be brought along.
    """
    told: list[str] = []
    moved: dict[str, Path] = {}
    for name in names_in(old):
        path = old / name
        if name == MANIFEST or _identity(path) == before.get(name):
            continue
        *folders, last = name.split("/")
        new = folder_for(target, folders, moved, told) / last
        if path.is_dir() and not path.is_symlink():
            new.mkdir(parents=True, exist_ok=True)
        elif not _same(path, new):
            if name not in own:  # an earlier version of it has been carried over
                new.unlink(missing_ok=True)
            told += carried(path, new, name, keeps_name=False)
    return told


def _same(path: Path, new: Path) -> bool:
    return os.path.lexists(new) and os.path.samestat(path.lstat(), new.lstat())
