"""What people save into a folder of results in the moment in which a new one takes its place: it goes along too."""

from __future__ import annotations

import os
from pathlib import Path

from scenes.io.folders.kept_files import MANIFEST, Seen, carried, folder_for, give_rights, identity, names_in, unless_gone


def late_in(old: Path, target: Path, seen: Seen) -> list[str]:
    """Names of what was saved in the old folder since it was seen; none in a finished one that never came to take its place."""
    found: list[str] = []
    for name in names_in(old):
        with unless_gone(old / name):
            is_seen = identity(old / name) in {seen.taken.get(name), seen.made.get(name)}
            if name != MANIFEST and not is_seen and not _same(old / name, target / name):
                found.append(name)
    return found


def bring_along(old: Path, target: Path, seen: Seen) -> list[str]:
    """Put into the new folder what was saved in the old one since it was seen; a sentence for each file in a new one's way.

    It is seen from then on: what is saved under its name after that takes its place. OSError where something cannot be brought
    along.
    """
    told: list[str] = []
    moved: dict[str, Path] = {}
    earlier = set(seen.taken)
    for name in late_in(old, target, seen):
        path = old / name
        *folders, last = name.split("/")
        new = folder_for(target, folders, moved, told) / last
        with unless_gone(path):
            found = identity(path)
            if path.is_dir() and not path.is_symlink():
                new.mkdir(parents=True, exist_ok=True)
                moved[name] = new
            elif not _same(path, new):
                if name not in seen.own and os.path.lexists(new) and identity(new) == seen.given.get(name):
                    new.unlink()  # the version that was carried over, and not one that was saved here since
                told += carried(path, new, name, keeps_name=False, moves=True)
                if os.path.lexists(new) and identity(new) == found:
                    seen.given[name] = found
            seen.taken[name] = found
    return [*told, *give_rights(old, {name: new for name, new in moved.items() if name not in earlier})]


def _same(path: Path, new: Path) -> bool:
    return os.path.lexists(new) and os.path.samestat(path.lstat(), new.lstat())
