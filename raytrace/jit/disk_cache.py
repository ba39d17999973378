"""Machine code on disk that is never run unless it is whole and of the very sources and types asked for; else it is made anew."""

from __future__ import annotations

import atexit
import hashlib
import os
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any, cast

import numba
from numba.core.caching import FunctionCache, IndexDataCacheFile

from raytrace.jit.start_early import FOLDER

_elsewhere: list[Path] = []


def kept_in_temporary_folder() -> Path | None:
    """The temporary folder that compiled code is kept in, where neither the program's own folder nor the user's can be written."""
    return _elsewhere[0] if _elsewhere else None


def disk_cache(function: Callable[..., Any]) -> SourceCache:
    """Where a kernel's machine code is kept, which can be written now."""
    try:
        return SourceCache(function)
    except (RuntimeError, OSError):  # numba has found no folder that it could write
        folder = _temporary_folder()
        os.environ[FOLDER] = str(folder)  # for the processes that this one starts
        numba.config.CACHE_DIR = str(folder)  # type: ignore[attr-defined]
        return SourceCache(function)


def _temporary_folder() -> Path:
    if not _elsewhere:
        _elsewhere.append(_own_folder() or _passing_folder())
    return _elsewhere[0]


def _own_folder() -> Path | None:
    """A folder of this user's among the temporary ones that later runs find again; None where its name is somebody else's."""
    if not hasattr(os, "getuid"):
        return None
    path = Path(tempfile.gettempdir()) / f"brimline-kernels-{os.getuid()}"
    with suppress(OSError):
        path.mkdir(mode=0o700, exist_ok=True)
        found = path.lstat()
        if stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o022 and os.access(path, os.W_OK):
            return path
    return None


def _passing_folder() -> Path:
    path = Path(tempfile.mkdtemp(prefix="brimline-kernels-"))
    atexit.register(shutil.rmtree, path, ignore_errors=True)
    return path


class CheckedFile(IndexDataCacheFile):
    """numba's index and data files; each data file is named by what it is for, and starts with a checksum of that and of itself.

    So no mix of two runs, no cut or damaged file and no leftover of other sources is ever taken for machine code.
    """

    def save(self, key: Any, data: Any) -> None:
        """Keep machine code; the run goes on without where the disk is full or has become read-only."""
        with suppress(OSError):
            base = cast("Any", self)
            content, name = base._dump(data), self._name_of(key)
            with base._open_for_write(base._data_path(name)) as stream:
                stream.write(_checksum(key, content) + content)
            self._list(key)
            self._clear(set(self._load_index().values()))

    def _list(self, key: Any) -> None:
        """See that the index names the machine code."""
        index, base = self._load_index(), cast("Any", self)
        if key not in index:
            base._save_index({**index, key: self._name_of(key)})

    def _name_of(self, key: Any) -> str:
        return str(self._data_name_pattern.replace("{number:d}", hashlib.sha256(repr(key).encode()).hexdigest()[:32]))

    def _clear(self, names: set[str]) -> None:
        """Remove machine code of other sources."""
        first, _, last = self._data_name_pattern.partition("{number:d}")
        for path in Path(self._cache_path).glob("*.nbc"):
            if path.name.startswith(first) and path.name.endswith(last) and path.name not in names:
                path.unlink(missing_ok=True)

    def holds(self, key: Any) -> bool:
        """Whether the machine code is there, whole."""
        return self._content(key) is not None

    def load(self, key: Any) -> Any:
        """The machine code as it was kept; None where it is not there whole."""
        content = self._content(key)
        if content is None:
            return None
        with suppress(Exception):  # of another numba's classes, say: then it is compiled anew
            found = _unpickled(content)
            with suppress(OSError):
                self._list(key)
            return found
        return None

    def _content(self, key: Any) -> bytes | None:
        with suppress(OSError):
            found = Path(self._cache_path, self._name_of(key)).read_bytes()
            if found[:32] == _checksum(key, found[32:]):
                return found[32:]
        return None

    def _load_index(self) -> dict[Any, str]:
        with suppress(Exception):  # cut or damaged: as good as none
            return dict(super()._load_index())  # type: ignore[no-untyped-call]
        return {}


def _unpickled(content: bytes) -> Any:
    import pickle

    return pickle.loads(content)


def _checksum(key: Any, content: bytes) -> bytes:
    return hashlib.sha256(repr(key).encode() + b"\0" + content).digest()


class SourceCache(FunctionCache):
    """Compiled code on disk that is made anew when any source of it changes: numba itself looks at the kernel's module alone."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        self._sources = folder_of(function)
        kept: Any = self._cache_file
        made: Any = CheckedFile
        self._cache_file = made(kept._cache_path, self._impl.filename_base, kept._source_stamp)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """What lies on disk, without loading half a second's worth of registries first, which only compiling asks for."""
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]

    @contextmanager
    def _guard_against_spurious_io_errors(self) -> Iterator[None]:
        """Go on, and compile, where what lies on disk cannot be read, rebuilt or written."""
        with suppress(OSError, ValueError, KeyError, AttributeError, ImportError):
            yield

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        return (*super()._index_key(sig, codegen), sources_digest(self._sources))  # type: ignore[no-untyped-call]

    def is_whole(self) -> bool:
        """Whether machine code made from the sources as they are lies on disk."""
        digest = sources_digest(self._sources)
        kept: Any = self._cache_file
        return any(digest in key and kept.holds(key) for key in kept._load_index())


def folder_of(function: Callable[..., Any]) -> Path:
    """The folder of a function's module."""
    return Path(function.__code__.co_filename).parent


@cache
def sources_digest(folder: Path) -> str:
    """Of the modules beside a kernel, those of the room `tables` next to them, which they read, and how all are compiled."""
    folders = (folder, folder.parent / "tables", Path(__file__).parent)
    sources = [path for one in folders for path in sorted(one.glob("*.py"))]
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()
