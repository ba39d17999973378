"""Single files that go out, written whole or not at all, and their data as bytes or text."""

from __future__ import annotations

import errno
import io
import json
import os
import tempfile
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from scenes.io.folders.folder_swap import PARTIAL, clear_leftovers
from scenes.io.refusal import refusal

COMPRESSION = 3  # of maps and pictures: level 6 takes three times as long for a fifth less
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


def is_full(error: BaseException) -> bool:
    """Whether an error is that of a full disk: nothing further can be written, and no part of a result stands for the whole."""
    return isinstance(error, OSError) and error.errno in FULL


def write_whole(path: Path, data: bytes) -> None:
    """A file written whole or not at all, over one of that name that was there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    clear_leftovers(path)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=PARTIAL)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        with suppress(OSError):  # a drive that knows no rights, as one of another system or over the network
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
        raise refusal(str(path), "is there already; give another name, or move it away first") from None
    except OSError as error:
        raise refusal(str(path), f"cannot be written: {error.strerror}") from None


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


def write_npz(stream: BinaryIO, arrays: Mapping[str, NDArray[Any]]) -> None:
    """Write arrays as .npz, the same bytes whenever they are the same arrays."""
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=COMPRESSION) as archive:
        for key, array in arrays.items():
            with archive.open(f"{key}.npy", "w", force_zip64=True) as member:
                np.lib.format.write_array(member, np.asanyarray(array), allow_pickle=False)


def npz_bytes(arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """Arrays as the bytes of an .npz file."""
    stream = io.BytesIO()
    write_npz(stream, arrays)
    return stream.getvalue()


def as_json(data: Any, *, for_file: bool = False) -> str:
    """JSON text: keys in their given order, no NaN or infinity. ASCII alone where it is printed; letters as they are in a file."""
    return json.dumps(data, indent=2, ensure_ascii=not for_file, allow_nan=False) + "\n"
