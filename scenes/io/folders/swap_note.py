"""What is noted beside a folder of results while a new one takes its place: the next run goes by it where this one was killed."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from scenes.io.folders.kept_files import Identity, Seen, identity, names_in
from scenes.io.plain_text import plain_text


def write_note(path: Path, stage: Path, seen: Seen) -> None:
    """Note, on the disk itself, what was seen in the old folder and what lies in the finished one: all else was saved since."""
    seen.made = {name: identity(stage / name) for name in names_in(stage)}
    noted = {
        "folder": stage.stat().st_ino,
        "own": sorted(seen.own),
        "taken": seen.taken,
        "given": seen.given,
        "made": seen.made,
    }
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)  # it names files of folders that may be private
    with os.fdopen(handle, "w", encoding="ascii", newline="\n") as stream:
        json.dump(noted, stream)
        stream.flush()
        os.fsync(stream.fileno())


def read_note(path: Path) -> tuple[Seen, int] | None:
    """What was seen, and the number of the folder that was to take the name; None where nothing can be read."""
    try:
        noted = json.loads(plain_text(path))
        seen = Seen(
            own=frozenset(map(str, noted["own"])),
            taken=_identities(noted["taken"]),
            given=_identities(noted["given"]),
            made=_identities(noted["made"]),
        )
        return seen, int(noted["folder"])
    except (OSError, ValueError, TypeError, AttributeError, KeyError, RecursionError):
        return None


def _identities(noted: Mapping[str, Any]) -> dict[str, Identity]:
    return {name: tuple(map(int, numbers)) for name, numbers in noted.items()}
