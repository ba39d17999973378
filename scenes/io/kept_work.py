"""What a run has finished, kept in the user's cache folder in case it is stopped. A piece is there whole or not at all.

A piece is named by all that it was made from, so that it can only ever be taken for the same work by the same program.
"""

from __future__ import annotations

import hashlib
import os
import platform
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from raytrace.jit.host import host_words

PLACE = "BRIMLINE_CACHE"  # in the environment: another folder than the system's own place for caches
ENDING, UNFINISHED = ".kept", ".part"
MOST_BYTES = 4_000_000_000  # of all that is kept; the oldest goes first
LEAST_FREE_BYTES = 1_000_000_000  # of the disk, which stay free
LONGEST_S = 14 * 86400.0
LIBRARIES = (
    "numpy", "scipy", "shapely", "trimesh", "manifold3d", "mapbox-earcut", "embreex", "numba", "llvmlite", "matplotlib", "pillow",
    "pyvista", "vtk",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class KeptWork:
    """A folder of pieces; `trouble` says in a sentence why nothing can be kept there, and is empty where it can."""

    folder: Path
    trouble: str = ""

    def get(self, name: str) -> bytes | None:
        """A piece as it was put; None where it is not there whole."""
        with suppress(OSError):
            path = self._path(name)
            data = path.read_bytes() if _stat(path) else b""  # a pipe would be waited for
            if data[:32] == _checksum(name, data[32:]):
                return data[32:]
        return None

    def put(self, name: str, data: bytes) -> str:
        """Keep a piece; a sentence comes back where that cannot be."""
        if self.trouble:
            return self.trouble
        part = self.folder / f"{secrets.token_hex(8)}{UNFINISHED}"
        try:
            self._make_room(len(data))
            part.write_bytes(_checksum(name, data) + data)
            part.replace(self._path(name))
        except OSError as error:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            return _sentence(self.folder, error.strerror or str(error))
        return ""

    def drop(self, starts: Iterable[str]) -> None:
        """Remove all pieces whose names start so."""
        for start in starts:
            for path in self.folder.glob(f"{start}*{ENDING}"):
                with suppress(OSError):
                    path.unlink()

    def _path(self, name: str) -> Path:
        return self.folder / f"{name}{ENDING}"

    def _make_room(self, count: int) -> None:
        """Remove the oldest pieces until so many bytes more are within bounds; OSError where they can never be."""
        if count > MOST_BYTES or shutil.disk_usage(self.folder).free < LEAST_FREE_BYTES + count:
            raise OSError(0, "the disk is nearly full")
        pieces = sorted((found.st_mtime, found.st_size, path) for path in self.folder.iterdir() if (found := _stat(path)))
        total = sum(size for _, size, _ in pieces) + count
        for changed, size, path in pieces:
            if total > MOST_BYTES or changed < time.time() - LONGEST_S:
                path.unlink(missing_ok=True)
                total -= size


def _checksum(name: str, data: bytes) -> bytes:
    """Of a piece and what it is for, so that one under another's name is none."""
    return hashlib.sha256(f"{name}\n".encode() + data).digest()


def _stat(path: Path) -> os.stat_result | None:
    """Of a file of ours; None where it is none, or has just gone."""
    with suppress(OSError):
        found = path.lstat()
        return found if stat.S_ISREG(found.st_mode) and path.suffix in {ENDING, UNFINISHED} else None
    return None


def kept_work() -> KeptWork:
    """The user's folder of kept work, made where it is not there yet."""
    try:
        folder = _folder()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        why = _why_not(folder)
    except (OSError, RuntimeError) as error:
        return KeptWork(Path(), _sentence(None, getattr(error, "strerror", None) or str(error)))
    return KeptWork(folder, _sentence(folder, why) if why else "")


def _folder() -> Path:
    from platformdirs import user_cache_path

    named = os.environ.get(PLACE)
    folder = Path(named) if named else user_cache_path("brimline", appauthor=False)
    if not folder.is_absolute():  # as where no home folder is known
        raise OSError(0, "no folder for caches is known")
    return folder / "states"


def _why_not(folder: Path) -> str:
    """Why a folder is not used: somebody else could put pieces into it, or we cannot."""
    found = folder.stat()
    if hasattr(os, "getuid") and (found.st_uid != os.getuid() or found.st_mode & 0o022):
        return "others can write there"
    return "" if os.access(folder, os.W_OK) else "it cannot be written"


def _sentence(folder: Path | None, why: str) -> str:
    where = f" in {folder}" if folder is not None else ""
    return f"finished states cannot be kept{where} ({why}): a run that is stopped starts from the beginning"


@cache
def program_digest() -> str:
    """SHA-256 of all that numbers and pictures come from besides a scene: sources, libraries, Python, the kind of processor."""
    root = Path(__file__).parents[2]
    digest = hashlib.sha256(repr((sys.version, sys.platform, platform.machine(), host_words())).encode())
    for name in LIBRARIES:
        digest.update(f"{name} {_version(name)}\n".encode())
    for path in sorted(path for package in ("geometry", "raytrace", "scenes") for path in (root / package).rglob("*.py")):
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "-"
