"""What runs left beside a folder of results that were ended as they filled it or put it in its place, cleared away by the next."""

from __future__ import annotations

import errno
from collections.abc import Sequence
from pathlib import Path

from scenes.io.folders.begun_stage import cleared_of_own
from scenes.io.folders.folder_lock import BusyError, is_held
from scenes.io.folders.folder_swap import BEGUN, GOING, NOTE, OLD, PARTIAL, READY, in_sight
from scenes.io.folders.late_files import bring_along, late_in
from scenes.io.folders.old_folder import OldFolder, cleared
from scenes.io.folders.swap_note import read_note

NOTED = {NOTE: (OLD, READY, GOING), BEGUN: (PARTIAL,)}  # what a note beside them is about
STRANGE = "what was saved there and is not the run's own"


def tidy(target: Path) -> list[str]:
    """Clear away what runs left beside the folder that were ended half-way; what to say of it. BusyError where one is at work.

    An old folder whose name has stayed empty goes back to it. From one that a new result has taken the place of, what was saved
    there since it was last looked at goes along first; where that cannot be told or taken along, the folder stays in sight.
    """
    left = sorted(path for path in target.parent.glob(f".{_escaped(target.name)}.*") if _is_ours(path, target))
    if any(is_held(path) for path in left) or (left and is_held(target)):
        raise BusyError("a run is at work")
    told: list[str] = []
    for endings in ((OLD, READY), (GOING,)):  # with an old folder goes what was moved out of it
        told += [said for path in left if path.suffix in endings and path.exists() for said in _settled(path, target, left)]
    for path in left:
        if path.suffix == PARTIAL and not cleared_of_own(path, target):
            told.append(f"a run into {target} was ended as it filled a folder; {in_sight(path, target, STRANGE)}")
    for path in left:
        if path.suffix in NOTED and not any(path.with_suffix(ending).exists() for ending in NOTED[path.suffix]):
            path.unlink(missing_ok=True)
    return told


def _settled(path: Path, target: Path, left: Sequence[Path]) -> list[str]:
    """An old folder, or a finished one that it did not come to be exchanged with, cleared away; what to say of it."""
    if path.suffix == OLD and not target.exists():
        path.replace(target)
        return []
    noted = read_note(path.with_suffix(NOTE))
    never_placed = path.suffix == OLD and any(path.with_suffix(ending) in left for ending in (READY, PARTIAL))
    if noted is None or never_placed:  # between its two renames: all that people had in the folder is in the old one alone
        return [_put_in_sight(path, target)]
    seen, number = noted

    def bring(folder: Path) -> list[str]:
        if not late_in(folder, target, seen):
            return []
        if not target.is_dir() or target.stat().st_ino != number:
            raise FileNotFoundError(errno.ENOENT, "the new result has been moved away since")
        return bring_along(folder, target, seen)

    try:
        if not target.is_dir() or target.stat().st_ino != number:
            bring(path)
    except OSError:
        return [_put_in_sight(path, target)]

    def late(folder: Path) -> list[str]:
        return late_in(folder, target, seen)

    return cleared(OldFolder(folder=path, target=target, noted=path.with_suffix(NOTE), late=late, bring=bring))


def _put_in_sight(path: Path, target: Path) -> str:
    return f"a run into {target} was ended as it put its result there; {in_sight(path, target)}"


def _escaped(name: str) -> str:
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)


def _is_ours(path: Path, target: Path) -> bool:
    middle = path.name.removeprefix(f".{target.name}.").rpartition(".")[0]
    if len(middle) != 12 or not set(middle) <= set("0123456789abcdef") or path.is_symlink():
        return False
    return path.is_dir() if path.suffix in {PARTIAL, READY, OLD, GOING} else path.suffix in NOTED and path.is_file()
