"""Files that come in: scene text, drawings and meshes, each read whole or refused in a sentence."""

from __future__ import annotations

import stat
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

from scenes.io.half_saved import is_half_saved
from scenes.io.refusal import refusal
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.resources import DrawnOutline, MeshArrays

LARGEST_TEXT = 4_000_000  # bytes; a scene is a few thousand, and reading a film by mistake should not fill the memory
LARGEST_DRAWING = 20_000_000
LARGEST_MESH = 250_000_000  # a million triangles as text

_read: set[Path] = set()  # real paths of all that came in, whole


def read_text(path: Path) -> str:
    """Text of a file; a SceneError with one sentence where that cannot be."""
    return _decoded(read_bytes(path, LARGEST_TEXT), path)


def was_read(path: Path) -> bool:
    """Whether this process has read a file as input: no result that it writes may take that away."""
    return not path.is_symlink() and path.resolve() in _read


def read_own_text(name: str) -> str:
    """Text of a file that comes with the program, by its name in this package."""
    return files("scenes").joinpath(*name.split("/")).read_text(encoding="utf-8")


def read_bytes(path: Path, largest: int = LARGEST_MESH) -> bytes:
    """Bytes of a file; a SceneError with one sentence where that cannot be."""
    try:
        if path.is_dir():
            raise refusal(str(path), f"is a folder, a file is needed{_file_inside(path)}")
        if not stat.S_ISREG(path.stat().st_mode):  # a pipe would be waited for, a device would never end
            raise refusal(str(path), "is a pipe or a device; name a file")
        with path.open("rb") as stream:
            data = stream.read(largest + 1)
        if len(data) > largest:
            raise refusal(str(path), f"must be at most {largest // 1_000_000} MB, found {path.stat().st_size / 1e6:.0f} MB")
        _read.add(path.resolve())
        return data
    except SceneError:
        raise
    except FileNotFoundError:
        raise refusal(str(path), _missing(path)) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a null in it
        raise refusal(str(path), f"cannot be read: {getattr(error, 'strerror', None) or error}") from None


def from_home(path: Path) -> Path:
    """The path with "~" at its beginning as the home folder; "~mask.dxf", as programs name earlier versions, is nobody's home."""
    try:
        return path.expanduser()
    except RuntimeError:
        return path


def file_names(folder: Path) -> list[str]:
    """Names of the files in a folder, in their order; a SceneError where it is none."""
    try:
        return sorted(entry.name for entry in folder.iterdir() if entry.is_file())
    except FileNotFoundError:
        raise refusal(str(folder), _missing(folder)) from None
    except NotADirectoryError:
        raise refusal(str(folder), "is a file; name the folder that it is in") from None
    except OSError as error:
        raise refusal(str(folder), f"cannot be read: {error.strerror}") from None


def _file_inside(folder: Path) -> str:
    """The scene that a folder holds, as a guess at what was meant."""
    scenes = sorted(scene for scene in folder.glob("*.toml") if scene.is_file())
    return f'; did you mean "{scenes[0]}"?' if scenes else ""


def _decoded(data: bytes, path: Path) -> str:
    if b"\0" in data:
        raise refusal(
            str(path), "must be a text file, found a binary one, such as a picture or an office document; name the .toml file"
        )
    if is_half_saved(data):
        raise refusal(
            str(path),
            f"ends in the middle of a line after {len(data)} bytes, as a file does that was saved or copied by half: what stood "
            "behind is gone; see whether it is whole, and end its last line",
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
    if path.is_symlink():
        return f"cannot be found: it is a link, and {path.resolve()} is not there"
    near = nearest(path.name, [entry.name for entry in path.parent.iterdir() if entry.exists()])
    return "cannot be found" + (f'; did you mean "{near}"?' if near else f" in {path.parent.resolve()}")


def read_mesh(path: Path) -> MeshArrays:
    """A mesh from STL, OBJ, PLY, 3MF or GLB, every body of the file together; a SceneError where that cannot be."""
    return _mesh(path, lambda: read_bytes(path, LARGEST_MESH))


def _mesh(path: Path, read: Callable[[], bytes]) -> MeshArrays:
    from scenes.io.meshes.arrays import MESH_KINDS, mesh_arrays

    kind = path.suffix.lower().removeprefix(".")
    if kind not in MESH_KINDS:
        raise refusal(str(path), f"must be one of {', '.join(MESH_KINDS)}, found {path.suffix or 'no ending'}")
    return mesh_arrays(read(), kind, str(path))


@dataclass(frozen=True, slots=True)
class Folder:
    """Where the files that a scene names are looked for: the scene's own folder. Each is read once, by the name in the scene."""

    path: Path
    contents: dict[str, bytes] = field(default_factory=dict, repr=False, compare=False)

    def find(self, name: str) -> Path:
        """Path of a file named in the scene."""
        return self.path / from_home(Path(name))

    def data(self, name: str, largest: int = LARGEST_MESH) -> bytes:
        """Bytes of a file named in the scene, as they were when it was first read: people go on working on their files."""
        if name not in self.contents:
            self.contents[name] = read_bytes(self.find(name), largest)
        return self.contents[name]

    def text(self, name: str) -> str:
        """Text of a file named in the scene."""
        return _decoded(self.data(name, LARGEST_TEXT), self.find(name))

    def mesh(self, name: str) -> MeshArrays:
        """Mesh of a file named in the scene."""
        return _mesh(self.find(name), lambda: self.data(name, LARGEST_MESH))

    def outline(self, name: str) -> DrawnOutline:
        """Outline of a drawing named in the scene."""
        from scenes.io.dxf.outline import read_outline

        path = self.find(name)
        return read_outline(self.data(name, LARGEST_DRAWING), source=str(path))
