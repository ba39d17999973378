"""A folder that a run was ended in as it filled it: only what that run is known to have put there is taken away."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from scenes.io.folders.folder_swap import BEGUN, NOTE, PARTIAL, removed_if_empty
from scenes.io.folders.kept_files import MANIFEST, hashes_in, identity, names_in, sha256
from scenes.io.folders.swap_note import read_note


def note_begun(stage: Path, names: Iterable[str]) -> None:
    """Note beside a folder that is being filled what is about to be written there, or has been carried over."""
    if stage.suffix == PARTIAL:
        with stage.with_suffix(BEGUN).open("a", encoding="utf-8", errors="surrogateescape", newline="\n") as stream:
            stream.writelines(f"{name}\n" for name in names)


def cleared_of_own(stage: Path, target: Path) -> bool:
    """Remove a begun folder; False where something stays in it that the run is not known to have put there.

    Known is what stands in its list, its manifest or the note beside it, and what was carried over from `target`: the same file, or
    a copy of it.
    """
    begun, written = _begun(stage), {(name, sha) for files in hashes_in(stage).values() for name, sha in files.items()}
    noted = read_note(stage.with_suffix(NOTE))
    made = {} if noted is None else noted[0].made
    carried = set(_marks(target))
    for name in names_in(stage):
        path = stage / name
        with suppress(OSError):
            if _is_a_folder(path) or name == MANIFEST:
                continue
            is_known = name in begun or _is_temporary(path.name) or not carried.isdisjoint(_marks_of(path))
            is_known = is_known or identity(path) == made.get(name)
            if is_known or (name, sha256(path)) in written or _is_copy(path, target / name):
                path.unlink()
    if [name for name in names_in(stage) if not _is_a_folder(stage / name)] == [MANIFEST]:
        (stage / MANIFEST).unlink(missing_ok=True)  # last, for the next run goes by it where this one is ended
    return removed_if_empty(stage)


def _is_a_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _begun(stage: Path) -> set[str]:
    with suppress(OSError):
        return set(stage.with_suffix(BEGUN).read_text(encoding="utf-8", errors="surrogateescape").splitlines())
    return set()


def _is_temporary(name: str) -> bool:
    """Whether it is a single file of the program's that was ended as it was written."""
    return name.startswith(".") and name.endswith(PARTIAL)


def _marks(folder: Path) -> Iterator[tuple[int, ...]]:
    for name in names_in(folder):
        with suppress(OSError):
            yield from _marks_of(folder / name)


def _marks_of(path: Path) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """What a second name of a file and a copy with its time have in common with it."""
    found = path.lstat()
    return (found.st_dev, found.st_ino), (found.st_size, found.st_mtime_ns, found.st_mode)


def _is_copy(path: Path, other: Path) -> bool:
    if path.is_symlink() or not path.is_file() or not other.is_file() or path.stat().st_size != other.stat().st_size:
        return False
    return sha256(path) == sha256(other)
