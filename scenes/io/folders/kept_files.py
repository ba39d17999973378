"""What people have put or changed in a folder of results goes along into the new one: nothing of theirs is replaced."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import stat
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from scenes.io.folders.access import give_access, not_kept
from scenes.io.free_names import ENDS, first_free
from scenes.io.plain_text import plain_text
from scenes.io.reading import was_read

MANIFEST = ".brimline-files.json"  # what each command wrote, as SHA-256 by file name: what differs was changed since
SEAL = "seal"  # of the manifest: a checksum of all else in it
LATER_S = 2.0  # without a manifest, a file later than the JSON that was written last has been changed; coarse clocks allowed for
YOURS, FRESH = "yours", "fresh"
CHANGED, READ = "was changed since it was written; your version is", "was read by this run; it is"


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier result of a command in a folder: the names that it lists, its JSON, and the SHA-256 of what it wrote.

    Nothing but a file whose SHA-256 stands there is the program's, whatever it is called.
    """

    folder: Path
    listed: frozenset[str]
    own_json: str
    written: Mapping[str, str]

    def unchanged(self, name: str) -> bool:
        """Whether a file is what that run wrote, so that it may go. What its JSON does not list is a person's, and not read."""
        if name not in self.listed or name not in self.written or self.needed(name):
            return False
        return self.written[name] == sha256(self.folder / name)

    def needed(self, name: str) -> bool:
        """Whether this run was given the file to read: a scene of an earlier result, say, or a mesh that it names."""
        return was_read(self.folder / name)

    def untold(self, name: str) -> bool:
        """Whether nobody knows of a file of that run if it was changed: copies leave the manifest behind, and clocks go wrong."""
        return not self.written and name in self.listed and not self.needed(name) and not self._later(name)

    def _later(self, name: str) -> bool:
        times = [(self.folder / one).lstat().st_mtime for one in (name, self.own_json)]
        return times[0] > times[1] + LATER_S


Identity = tuple[int, ...]  # of a file as it stands: which, how large, and when it was last written


@dataclass(slots=True)
class Seen:
    """What was found in the old folder, by name, as it was taken, and what it became in the new one.

    And of the new one the names of the result's own files, and all that was made there, by name as it was finished.
    """

    own: frozenset[str] = frozenset()
    taken: dict[str, Identity] = field(default_factory=dict)
    given: dict[str, Identity] = field(default_factory=dict)
    made: dict[str, Identity] = field(default_factory=dict)


def identity(path: Path) -> Identity:
    """Of a file; folders are all alike."""
    found = path.lstat()
    return (0,) if stat.S_ISDIR(found.st_mode) else (found.st_ino, found.st_size, found.st_mtime_ns, found.st_mode)


def sha256(path: Path) -> str:
    """Of a file's content; of a link, a pipe and the like, that it is none; of one that we may not read, that."""
    if path.is_symlink():
        return "link"
    if not path.is_file():
        return "no file"
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except PermissionError:
        return "unreadable"
    except FileNotFoundError:  # its owner took it away just now
        return "no file"


def hashes_in(folder: Path) -> dict[str, dict[str, str]]:
    """What a folder's manifest holds; nothing where it has none that can be read, or one that was edited."""
    try:
        found = json.loads(plain_text(folder / MANIFEST))
        seal = found.pop(SEAL)
        hashes = {str(command): {str(k): str(v) for k, v in files.items()} for command, files in found.items()}
        return hashes if seal == _seal(hashes) else {}
    except (OSError, ValueError, AttributeError, KeyError, RecursionError):
        return {}


def sealed(hashes: Mapping[str, Mapping[str, str]]) -> str:
    """The text of a manifest, with a checksum of its own: one that was edited by hand, or damaged, counts for nothing."""
    return json.dumps({**hashes, SEAL: _seal(hashes)}, indent=1, sort_keys=True) + "\n"


def _seal(hashes: Mapping[str, Mapping[str, str]]) -> dict[str, str]:
    return {"sha256": hashlib.sha256(json.dumps(hashes, sort_keys=True).encode()).hexdigest()}


def write_manifest(stage: Path, command: str, earlier: Earlier) -> None:
    """Note in a finished folder what this command wrote, beside what others wrote into the old one.

    A person's file of which the new result holds a copy under its own name, such as a mesh of the scene, stays theirs.
    """
    own = {name: sha256(stage / name) for name in names_in(stage) if not (stage / name).is_dir() and name != MANIFEST}
    own = {name: sha for name, sha in own.items() if sha256(earlier.folder / name) != sha or earlier.unchanged(name)}
    (stage / MANIFEST).write_text(sealed({**hashes_in(earlier.folder), command: own}), encoding="utf-8", newline="\n")


def carry_over(stage: Path, earlier: Earlier, inputs: str | None, seen: Seen) -> list[str]:
    """Put into the finished folder what is not the earlier result's own; a sentence for each file that stood in a new one's way.

    A changed file keeps its name if it lies under the folder `inputs`, and the new one goes beside it; else the other way round.
    """
    told: list[str] = []
    moved: dict[str, Path] = {}

    def carry(name: str, path: Path) -> None:
        seen.taken[name] = identity(path)
        if path.is_dir() and not path.is_symlink():
            if not any(path.iterdir()):
                folder_for(stage, name.split("/"), moved, told).mkdir(parents=True, exist_ok=True)
        elif not earlier.unchanged(name):
            *folders, last = name.split("/")
            new = folder_for(stage, folders, moved, told) / last
            if earlier.untold(name) and not os.path.lexists(new):
                told.extend(_set_aside(path, new, name))
            else:
                keeps_name = inputs is not None and name.startswith(f"{inputs}/")
                told.extend(carried(path, new, name, keeps_name=keeps_name, why=READ if earlier.needed(name) else CHANGED))
                seen.given[name] = identity(new)

    for name in names_in(earlier.folder):
        path = earlier.folder / name
        with unless_gone(path):
            if name != MANIFEST:
                carry(name, path)
    return [*told, *give_rights(earlier.folder, moved)]


@contextmanager
def unless_gone(path: Path) -> Iterator[None]:
    """Go on without a file that its owner has taken away meanwhile."""
    try:
        yield
    except FileNotFoundError:
        if os.path.lexists(path):
            raise


def give_rights(folder: Path, moved: Mapping[str, Path]) -> list[str]:
    """Folders' rights and times as they were, the innermost first: a private one stays private. What to say of it."""
    lost: dict[str, list[str]] = {}
    for name, new in sorted(moved.items(), reverse=True):
        with unless_gone(folder / name):
            if new.is_dir():
                with suppress(OSError):
                    shutil.copystat(folder / name, new)
                lost[name] = give_access(folder / name, new)
    return not_kept(lost)


def folder_for(stage: Path, names: Sequence[str], moved: dict[str, Path], told: list[str]) -> Path:
    """Where a folder of the earlier result goes; under another name where the new result has a file of that name."""
    at = stage
    for number in range(1, len(names) + 1):
        said = "/".join(names[:number])
        if said not in moved:
            moved[said] = at / names[number - 1]
            if os.path.lexists(moved[said]) and (moved[said].is_symlink() or not moved[said].is_dir()):
                moved[said] = _free_name(moved[said])
                told.append(f"{said} is a file of the new result; your folder of that name is kept as {moved[said].name} beside it")
        at = moved[said]
    return at


def _free_name(path: Path) -> Path:
    return first_free(path.with_name(f"{path.stem}.{YOURS}{end}{path.suffix}") for end in ENDS)


def carried(path: Path, new: Path, name: str, *, keeps_name: bool, why: str = CHANGED, moves: bool = False) -> list[str]:
    """Give a file its name in the new folder, or one beside it where the new result has a file of that name; what to say of it.

    `moves` says that the folder where it lies is about to go.
    """
    new.parent.mkdir(parents=True, exist_ok=True)
    if not os.path.lexists(new):
        return _link(path, new, name, moves=moves)
    if not path.is_symlink() and new.is_file() and path.is_file() and sha256(path) == sha256(new):
        return []
    if keeps_name:
        beside = _name_beside(path, new, FRESH, new)
        new.replace(beside)
        lost = _link(path, new, name)
        return [f"{name} was changed since it was written and stays as it is; the new one is {beside.name} beside it", *lost]
    beside = _name_beside(path, new, YOURS, path)
    beside.unlink(missing_ok=True)
    return [f"{name} {why} kept as {beside.name} beside the new one", *_link(path, beside, name, moves=moves)]


def _set_aside(path: Path, new: Path, name: str) -> list[str]:
    """Keep a file that the new result lacks under a name that says so: under its own it would pass for a part of that."""
    beside = _name_beside(path, new, YOURS, path)
    beside.unlink(missing_ok=True)
    new.parent.mkdir(parents=True, exist_ok=True)
    lost = _link(path, beside, name)
    return [f"{name} is of an earlier result and may have been changed since; it is kept as {beside.name}", *lost]


def _name_beside(path: Path, new: Path, word: str, content: Path) -> Path:
    """A name beside the new file, with a word before its ending, that neither folder has for anything but this content."""
    stem, ending = (new.name, "") if new.is_dir() else (new.stem, new.suffix)  # what follows a dot in a folder's name is no ending
    number, made = 1, f"{stem}.{word}{ending}"
    while any(_other(folder / made, content) for folder in (path.parent, new.parent)):
        number += 1
        made = f"{stem}.{word}-{number}{ending}"
    return new.with_name(made)


def _other(path: Path, content: Path) -> bool:
    return os.path.lexists(path) and (not path.is_file() or sha256(path) != sha256(content))


def _link(path: Path, new: Path, name: str, *, moves: bool = False) -> list[str]:
    """The same file under a second name, which costs nothing and keeps all that it is; a copy where that cannot be. What to say.

    One that moves takes the name in one step instead: no half copy is left where people see it.

    Not one from another disk that is put in here: with the old folder its own files there would go.
    """
    try:
        os.link(path, new, follow_symlinks=False)
    except (OSError, NotImplementedError) as error:
        if getattr(error, "errno", None) == errno.EXDEV:
            raise OSError(errno.EXDEV, f"{path} is on another disk") from None
        if moves:
            path.replace(new)
            return []
        shutil.copyfile(path, new, follow_symlinks=False)
        with suppress(OSError):
            shutil.copystat(path, new, follow_symlinks=False)
        if not path.is_symlink():
            return not_kept({name: give_access(path, new)})
    return []


def names_in(folder: Path) -> Iterator[str]:
    """Relative names of all that lies in a folder, links not followed, sorted."""
    found: list[str] = []
    for root, folders, files in os.walk(folder):
        found += [Path(root, name).relative_to(folder).as_posix() for name in (*folders, *files)]
    return iter(sorted(found))
