"""The only module that opens files: scene text, drawings and meshes in; results out, whole or not at all."""

from __future__ import annotations

import errno
import io
import json
import os
import secrets
import shutil
import stat
import tempfile
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import click
import numpy as np
from numpy.typing import NDArray

from geometry.outline import Freeform
from scenes.io.folder_lock import BusyError, around_at_work, held, lock_of, locked
from scenes.io.folder_swap import PARTIAL, beside, clear_leftovers, put_in_place, removed, tidy
from scenes.io.kept_files import Earlier, Seen, carry_over, hashes_in, names_in, write_manifest
from scenes.io.late_files import bring_along
from scenes.io.left_results import files_written, holds_results, left_by, results_in, results_name
from scenes.registry import own_name
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.resources import MeshArrays

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LARGEST_TEXT = 4_000_000  # bytes; a scene is a few thousand, and reading a film by mistake should not fill the memory
INPUTS = "scene"  # the folder of scene files in the demo's results, which people go on to work on
PRINT_DPI = 200
COMPRESSION = 3  # of maps and pictures: level 6 takes three times as long for a fifth less
AT_WORK = "is being written by another run; wait for it to end, or name another folder"
LINKS_IN_A_RING = "its links lead nowhere"
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
LARGEST_DRAWING = 20_000_000
LARGEST_MESH = 250_000_000  # five million triangles of an STL


def is_full(error: BaseException) -> bool:
    """Whether an error is that of a full disk: nothing further can be written, and no part of a result stands for the whole."""
    return isinstance(error, OSError) and error.errno in FULL


def _refusal(where: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=where)])


def read_text(path: Path) -> str:
    """Text of a file; a SceneError with one sentence where that cannot be."""
    return _decoded(read_bytes(path, LARGEST_TEXT), path)


def read_own_text(name: str) -> str:
    """Text of a file that comes with the program, by its name in this package."""
    return files("scenes").joinpath(*name.split("/")).read_text(encoding="utf-8")


def read_bytes(path: Path, largest: int = LARGEST_MESH) -> bytes:
    """Bytes of a file; a SceneError with one sentence where that cannot be."""
    try:
        if path.is_dir():
            raise _refusal(str(path), f"is a folder, a file is needed{_file_inside(path)}")
        if not stat.S_ISREG(path.stat().st_mode):  # a pipe would be waited for, a device would never end
            raise _refusal(str(path), "is a pipe or a device; name a file")
        with path.open("rb") as stream:
            data = stream.read(largest + 1)
        if len(data) > largest:
            raise _refusal(str(path), f"must be at most {largest // 1_000_000} MB, found {path.stat().st_size / 1e6:.0f} MB")
        return data
    except SceneError:
        raise
    except FileNotFoundError:
        raise _refusal(str(path), _missing(path)) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a null in it
        raise _refusal(str(path), f"cannot be read: {getattr(error, 'strerror', None) or error}") from None


def file_names(folder: Path) -> list[str]:
    """Names of the files in a folder, in their order; a SceneError where it is none."""
    try:
        return sorted(entry.name for entry in folder.iterdir() if entry.is_file())
    except FileNotFoundError:
        raise _refusal(str(folder), _missing(folder)) from None
    except NotADirectoryError:
        raise _refusal(str(folder), "is a file; name the folder that it is in") from None
    except OSError as error:
        raise _refusal(str(folder), f"cannot be read: {error.strerror}") from None


def _file_inside(folder: Path) -> str:
    """The scene that a folder holds, as a guess at what was meant."""
    scenes = sorted(folder.glob("*.toml"))
    return f'; did you mean "{scenes[0]}"?' if scenes else ""


def _decoded(data: bytes, path: Path) -> str:
    if b"\0" in data:
        raise _refusal(
            str(path), "must be a text file, found a binary one, such as a picture or an office document; name the .toml file"
        )
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SceneError(
            [Complaint(where="", problem="must be UTF-8 text; save it as UTF-8", line=line, source=str(path))]
        ) from None


def _missing(path: Path) -> str:
    from scenes.scene_file.messages import nearest

    if not path.parent.is_dir():
        return f"cannot be found: there is no folder {path.parent}"
    near = nearest(path.name, [entry.name for entry in path.parent.iterdir()])
    return "cannot be found" + (f'; did you mean "{near}"?' if near else f" in {path.parent.resolve()}")


def read_mesh(path: Path) -> MeshArrays:
    """A mesh from STL, OBJ, PLY, 3MF or GLB, every body of the file together; a SceneError where that cannot be."""
    from scenes.io.mesh_arrays import MESH_KINDS, mesh_arrays

    kind = path.suffix.lower().removeprefix(".")
    if kind not in MESH_KINDS:
        raise _refusal(str(path), f"must be one of {', '.join(MESH_KINDS)}, found {path.suffix or 'no ending'}")
    return mesh_arrays(read_bytes(path, LARGEST_MESH), kind, str(path))


@dataclass(frozen=True, slots=True)
class Folder:
    """Where the files that a scene names are looked for: the scene's own folder."""

    path: Path

    def find(self, name: str) -> Path:
        """Path of a file named in the scene."""
        return self.path / Path(name).expanduser()

    def text(self, name: str) -> str:
        """Text of a file named in the scene."""
        return read_text(self.find(name))

    def mesh(self, name: str) -> MeshArrays:
        """Mesh of a file named in the scene."""
        return read_mesh(self.find(name))

    def outline(self, name: str) -> Freeform:
        """Outline of a drawing named in the scene."""
        from scenes.io.dxf_outline import read_outline

        path = self.find(name)
        return read_outline(read_bytes(path, LARGEST_DRAWING), source=str(path))


def write_whole(path: Path, data: bytes) -> None:
    """A file written whole or not at all, over one of that name that was there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    clear_leftovers(path)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=PARTIAL)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(temporary).chmod(0o666 & ~_umask())
        Path(temporary).replace(path)
    except BaseException:  # Ctrl-C included: no half file stays behind
        Path(temporary).unlink(missing_ok=True)
        raise


def write_new(path: Path, text: str) -> None:
    """A text file that must not be there yet; a SceneError if it is."""
    try:
        if os.path.lexists(path):
            raise FileExistsError
        if not path.parent.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
        clear_leftovers(path)
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=f".{path.name}.", suffix=PARTIAL) as folder:
            whole = Path(folder) / path.name
            whole.write_text(text, encoding="utf-8", newline="")
            _name_once(whole, path)
    except FileExistsError:
        raise _refusal(str(path), "is there already; give another name, or move it away first") from None
    except OSError as error:
        raise _refusal(str(path), f"cannot be written: {error.strerror}") from None


def _name_once(whole: Path, path: Path) -> None:
    """Give a finished file a name that nobody else has taken meanwhile: FileExistsError if somebody has."""
    try:
        os.link(whole, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without second names: the look and the move are two steps there
        if os.path.lexists(path):
            raise FileExistsError from None
        whole.replace(path)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


@dataclass(frozen=True, slots=True)
class Staging:
    """A folder being filled out of sight; it appears under its real name once it is complete."""

    folder: Path

    def path_for(self, name: str) -> Path:
        """Where a file of that relative name is to be written, its folder made."""
        _insist_on(self.folder)
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def write(self, name: str, data: bytes | str) -> str:
        """Write one file; its relative name comes back."""
        self.path_for(name).write_bytes(data.encode(errors="backslashreplace") if isinstance(data, str) else data)
        return name

    def write_arrays(self, name: str, arrays: Mapping[str, NDArray[Any]]) -> str:
        """Write arrays as .npz; its relative name comes back."""
        with self.path_for(name).open("wb") as stream:
            _write_npz(stream, arrays)
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
        raise _refusal(str(stage), "was moved or removed while results were being written into it; run again and leave it alone")


def _write_npz(stream: BinaryIO, arrays: Mapping[str, NDArray[Any]]) -> None:
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=COMPRESSION) as archive:
        for key, array in arrays.items():
            with archive.open(f"{key}.npy", "w", force_zip64=True) as member:
                np.lib.format.write_array(member, np.asanyarray(array), allow_pickle=False)


def figure_png(figure: Figure, dpi: int = PRINT_DPI) -> bytes:
    """The figure as PNG bytes; needs no display."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=dpi, pil_kwargs={"compress_level": COMPRESSION})
    return stream.getvalue()


def npz_bytes(arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """Arrays as the bytes of an .npz file."""
    stream = io.BytesIO()
    _write_npz(stream, arrays)
    return stream.getvalue()


@contextmanager
def result_folder(target: Path, command: str) -> Iterator[Staging]:
    """A staging folder that replaces `target` when the block ends well, and vanishes when it does not.

    An earlier result of the same command under that name stays until then, and none of its files outlives it that nobody changed.
    Whatever else lies there, people's files and other commands' results, is carried over; a folder without results is refused
    before any work is done, and so is one that another run is at work on.
    """
    real = _usable(target, command)
    with _alone(real, target):
        real = _usable(target, command)
        stage = real.parent / f".{real.name}.{secrets.token_hex(6)}{PARTIAL}"
        try:  # the folder is made in here, so that a signal at any moment finds it cleared away
            _make_folder(stage, target)
            with held(stage):
                yield Staging(stage)
                _insist_on(stage)
                _in_place(stage, real, target, command)
        except OSError as error:
            if not is_full(error):
                raise
            raise _refusal(str(target), f"cannot be written: {error.strerror}; what was there is as it was") from None
        finally:
            removed(stage)


def _in_place(stage: Path, real: Path, target: Path, command: str) -> None:
    """The finished folder at its name; where that cannot be had, beside it, for what was computed is not to be lost."""
    try:
        _swap(stage, real, command)
    except OSError as error:
        if is_full(error):
            raise
        why, place = error.strerror or str(error), ""
        with suppress(OSError):
            place = f", and the new result is in {beside(stage, real)}"
        raise _refusal(str(target), f"cannot be replaced: {why}; what was there is as it was{place}") from None


@contextmanager
def _alone(real: Path, target: Path) -> Iterator[None]:
    """Let no second run into a folder; what it says is about the folder as the user named it."""
    lock = locked(lock_of(real))
    try:
        real.parent.mkdir(parents=True, exist_ok=True)
        lock.__enter__()
    except BusyError:
        raise _refusal(str(target), AT_WORK) from None
    except OSError as error:
        raise _refusal(str(target), f"cannot be written: {error.strerror}") from None
    try:
        other = around_at_work(real)
        if other is not None:
            raise _refusal(str(target), f"cannot be written while another run writes in {other}; wait for it to end")
        _say(_tidied(real, target))
        yield
    finally:
        lock.__exit__(None, None, None)


def _tidied(real: Path, target: Path) -> list[str]:
    try:
        return tidy(real)
    except BusyError:  # though nobody holds its lock: somebody took the file away
        raise _refusal(str(target), AT_WORK) from None


def _make_folder(stage: Path, target: Path) -> None:
    try:
        stage.mkdir(parents=True)
    except OSError as error:
        raise _refusal(str(target), f"cannot be written: {error.strerror}") from None


def _usable(target: Path, command: str) -> Path:
    """The folder's real path; refused where replacing it could cost somebody their files."""
    try:
        real = target.expanduser().resolve()
        real.exists()
    except (OSError, RuntimeError) as error:  # links that lead to each other, a name too long, a home that is not known
        raise _refusal(str(target), f"cannot be used: {getattr(error, 'strerror', None) or LINKS_IN_A_RING}") from None
    if real.is_symlink():  # from Python 3.13 on a ring of links is left as it is
        raise _refusal(str(target), f"cannot be used: {LINKS_IN_A_RING}")
    if real.exists() and not real.is_dir():
        raise _refusal(str(target), "is a file; results need a folder")
    if os.path.ismount(real):  # as a folder that a container is lent: no other can take its place
        raise _refusal(str(target), f"is the root of a disk, which stays; name a folder on it, such as {target / 'results'}")
    if real.exists() and Path.cwd().resolve().is_relative_to(real):
        raise _refusal(
            str(target), "is the folder you are working in; name a folder of its own for the results, such as --out results"
        )
    if real.exists() and any(real.iterdir()) and not holds_results(real):
        raise _refusal(str(target), "holds other files and no results; name a new or empty folder")
    inner = next((name for name in names_in(real) if os.path.ismount(real / name)), None)  # a walk through all of it: only now
    if inner is not None:
        raise _refusal(str(target), f"holds another disk, {inner}, whose files are not to be moved; name another folder")
    whose = left_by(results_in(real, results_name(command))) if real.exists() else ""
    if whose not in {"", command, own_name(command)}:
        raise _refusal(
            str(target),
            f"holds results of `brimline {whose}`, which those of `brimline {command}` would replace; "
            "name another folder, or move this one away first",
        )
    return real


def _swap(stage: Path, target: Path, command: str) -> None:
    """Put the finished folder in place of the old one; whatever interrupts it, one of the two stands there whole."""
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise OSError(errno.ENOTDIR, "something else has taken its name meanwhile")
    own, seen = frozenset(names_in(stage)), Seen()
    write_manifest(stage, command, target)
    told: list[str] = []
    if target.exists():
        written = hashes_in(target).get(command, {})
        earlier = Earlier(target, files_written(target, command), results_name(command), written)
        told = carry_over(stage, earlier, INPUTS if command == "demo" else None, seen)
        shutil.copymode(target, stage)
    _say([*told, *put_in_place(stage, target, lambda old: bring_along(old, target, seen, own))])


def _say(sentences: Sequence[str]) -> None:
    for sentence in sentences:
        click.echo(f"note: {sentence}", err=True)


def as_json(data: Any, *, for_file: bool = False) -> str:
    """JSON text: keys in their given order, no NaN or infinity. ASCII alone where it is printed; letters as they are in a file."""
    return json.dumps(data, indent=2, ensure_ascii=not for_file, allow_nan=False) + "\n"
