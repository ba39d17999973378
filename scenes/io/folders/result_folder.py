"""Folders of results, filled out of sight and put in their place whole; people's files in them stay."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
from numpy.typing import NDArray

from scenes.io.folders.access import give_access, not_kept, share
from scenes.io.folders.begun_stage import note_begun
from scenes.io.folders.ended_runs import tidy
from scenes.io.folders.folder_lock import BusyError, around_at_work, held, lock_of, locked
from scenes.io.folders.folder_swap import BEGUN, PARTIAL, beside, on_disk, put_in_place, removed
from scenes.io.folders.kept_files import Earlier, Seen, carry_over, hashes_in, names_in, write_manifest
from scenes.io.folders.late_files import bring_along, late_in
from scenes.io.folders.left_results import files_written, holds_results, left_by, results_in, results_name
from scenes.io.folders.old_folder import OldFolder, cleared
from scenes.io.folders.swap_note import write_note
from scenes.io.folders.undisturbed import placed, undisturbed
from scenes.io.reading import from_home
from scenes.io.refusal import refusal
from scenes.io.writing import is_full, write_npz
from scenes.registry import own_name

INPUTS = "scene"  # the folder of scene files in the demo's results, which people go on to work on
AT_WORK = "is being written by another run; wait for it to end, or name another folder"
LINKS_IN_A_RING = "its links lead nowhere"

_taken: set[Path] = set()  # real paths of the folders whose locks this process holds while it works for them


@dataclass(frozen=True, slots=True)
class Staging:
    """A folder being filled out of sight; it appears under its real name once it is complete."""

    folder: Path

    def path_for(self, name: str) -> Path:
        """Where a file of that relative name is to be written, its folder made; ValueError for a name that leads out of it."""
        _insist_on(self.folder)
        path = self.folder / name
        if not Path(os.path.normpath(path)).is_relative_to(os.path.normpath(self.folder)):
            raise ValueError(f"{name}: leads out of the folder of results, where nothing is written")
        path.parent.mkdir(parents=True, exist_ok=True)
        note_begun(self.folder, [name])
        return path

    def write(self, name: str, data: bytes | str) -> str:
        """Write one file; its relative name comes back."""
        self.path_for(name).write_bytes(data.encode(errors="backslashreplace") if isinstance(data, str) else data)
        return name

    def write_arrays(self, name: str, arrays: Mapping[str, NDArray[Any]]) -> str:
        """Write arrays as .npz; its relative name comes back."""
        with self.path_for(name).open("wb") as stream:
            write_npz(stream, arrays)
        return name

    def remove(self, name: str) -> None:
        """Take away what was written for a state that failed half-way."""
        shutil.rmtree(self.folder / name, ignore_errors=True)

    def names(self) -> tuple[str, ...]:
        """Relative names of all files written so far, sorted."""
        return tuple(sorted(str(path.relative_to(self.folder).as_posix()) for path in self.folder.rglob("*") if path.is_file()))


def _insist_on(stage: Path) -> None:
    """Refuse to go on in a folder that is not there any more: what is written from now on would stand for a whole result."""
    if not stage.is_dir():
        raise refusal(str(stage), "was moved or removed while results were being written into it; run again and leave it alone")


@contextmanager
def result_folder(target: Path, command: str) -> Iterator[Staging]:
    """A staging folder that replaces `target` when the block ends well, and vanishes when it does not.

    An earlier result of the same command under that name stays until then, and none of its files outlives it that nobody changed.
    Whatever else lies there, people's files and other commands' results, is carried over; a folder without results is refused
    before any work is done, and so is one that another run is at work on.
    """
    real = _usable(target, command)
    with nullcontext() if real in _taken else _alone(real, target):
        real = _usable(target, command)
        stage = real.parent / f".{real.name}.{secrets.token_hex(6)}{PARTIAL}"
        try:  # the folder is made in here, so that a signal at any moment finds it cleared away
            _make_folder(stage, real, target)
            with held(stage):
                yield Staging(stage)
                _insist_on(stage)
                _in_place(stage, real, target, command)
        except OSError as error:
            if not is_full(error):
                raise
            raise refusal(str(target), f"cannot be written: {error.strerror}; what was there is as it was") from None
        finally:
            removed(stage)
            with suppress(OSError):  # a name too long is none
                stage.with_suffix(BEGUN).unlink()


@contextmanager
def taken(target: Path, command: str) -> Iterator[None]:
    """Refuse a folder of results that cannot be had before the work for it is begun, and let no other run into it meanwhile."""
    real = _usable(target, command)
    with _alone(real, target):
        _taken.add(real)
        try:
            yield
        finally:
            _taken.discard(real)


def _in_place(stage: Path, real: Path, target: Path, command: str) -> None:
    """The finished folder at its name; where that cannot be had, beside it, for what was computed is not to be lost."""
    try:
        _swap(stage, real, target, command)
    except OSError as error:
        if is_full(error):
            raise
        why, place = error.strerror or str(error), ""
        with suppress(OSError):
            place = f", and the new result is in {beside(stage, real)}"
        raise refusal(str(target), f"cannot be replaced: {why}; what was there is as it was{place}") from None


@contextmanager
def _alone(real: Path, target: Path) -> Iterator[None]:
    """Let no second run into a folder; what it says is about the folder as the user named it."""
    lock = locked(lock_of(real))
    try:
        real.parent.mkdir(parents=True, exist_ok=True)
        lock.__enter__()
    except BusyError:
        raise refusal(str(target), AT_WORK) from None
    except OSError as error:
        raise refusal(str(target), f"cannot be written: {error.strerror}") from None
    try:
        other = around_at_work(real)
        if other is not None:
            raise refusal(str(target), f"cannot be written while another run writes in {other}; wait for it to end")
        _say(_tidied(real, target))
        yield
    finally:
        lock.__exit__(None, None, None)


def _tidied(real: Path, target: Path) -> list[str]:
    try:
        return tidy(real)
    except BusyError:  # though nobody holds its lock: somebody took the file away
        raise refusal(str(target), AT_WORK) from None


def _make_folder(stage: Path, real: Path, target: Path) -> None:
    """A folder to fill, from the start as closed as the one that it is to replace, so that what is written there is as well."""
    try:
        stage.mkdir(parents=True)
    except OSError as error:
        raise refusal(str(target), f"cannot be written: {error.strerror}") from None
    with suppress(OSError):  # it is told once the folder is in its place
        if real.is_dir():
            share(real, stage, more=0o700)


def _usable(target: Path, command: str) -> Path:
    """The folder's real path; refused where replacing it could cost somebody their files."""
    try:
        real = from_home(target).resolve()
        real.exists()
    except (OSError, RuntimeError) as error:  # links that lead to each other, a name too long, a home that is not known
        raise refusal(str(target), f"cannot be used: {getattr(error, 'strerror', None) or LINKS_IN_A_RING}") from None
    if real.is_symlink():  # from Python 3.13 on a ring of links is left as it is
        raise refusal(str(target), f"cannot be used: {LINKS_IN_A_RING}")
    if real.exists() and not real.is_dir():
        raise refusal(str(target), "is a file; results need a folder")
    if os.path.ismount(real):  # as a folder that a container is lent: no other can take its place
        raise refusal(str(target), f"is the root of a disk, which stays; name a folder on it, such as {target / 'results'}")
    if real.exists() and Path.cwd().resolve().is_relative_to(real):
        raise refusal(
            str(target), "is the folder you are working in; name a folder of its own for the results, such as --out results"
        )
    if real.exists() and any(real.iterdir()) and not holds_results(real):
        raise refusal(str(target), "holds other files and no results; name a new or empty folder")
    inner = next((name for name in names_in(real) if os.path.ismount(real / name)), None)  # a walk through all of it: only now
    if inner is not None:
        raise refusal(str(target), f"holds another disk, {inner}, whose files are not to be moved; name another folder")
    whose = left_by(results_in(real, results_name(command))) if real.exists() else ""
    if whose not in {"", command, own_name(command)}:
        raise refusal(
            str(target),
            f"holds results of `brimline {whose}`, which those of `brimline {command}` would replace; "
            "name another folder, or move this one away first",
        )
    return real


def _swap(stage: Path, real: Path, target: Path, command: str) -> None:
    """Put the finished folder in place of the old one; whatever interrupts it, one of the two stands there whole."""
    if real.is_symlink() or (real.exists() and not real.is_dir()):
        raise OSError(errno.ENOTDIR, "something else has taken its name meanwhile")
    seen = Seen(own=frozenset(names_in(stage)))
    earlier = Earlier(real, files_written(real, command), results_name(command), hashes_in(real).get(command, {}))
    write_manifest(stage, command, earlier)
    told: list[str] = []
    if real.exists():
        told = carry_over(stage, earlier, INPUTS if command == "demo" else None, seen)
        told += not_kept({str(real): give_access(real, stage)})
        note_begun(stage, names_in(stage))
    on_disk(stage)
    with undisturbed():  # until all that was saved in the old folder meanwhile is in the new one, and told
        told += put_in_place(
            stage, real, lambda noted: write_note(noted, stage, seen), lambda old, noted: _let_go(old, noted, real, seen)
        )
        placed.append(target)
        _say(told)


def _let_go(old: Path, noted: Path, real: Path, seen: Seen) -> list[str]:
    return cleared(
        OldFolder(
            folder=old,
            target=real,
            noted=noted,
            late=lambda folder: late_in(folder, real, seen),
            bring=lambda folder: bring_along(folder, real, seen),
        )
    )


def _say(sentences: Sequence[str]) -> None:
    for sentence in sentences:
        click.echo(f"note: {sentence}", err=True)
