"""Whose results lie in a folder, by the JSON that every run leaves there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from scenes.io.plain_text import plain_text

RESULTS_NAME = "results.json"
RESULTS_KEY = "brimline"  # in the JSON of every answer: the command that left it
OLD_RESULTS_KEY = "brimline_results"  # of version 1


def results_name(command: str) -> str:
    """The JSON file that a command leaves in its folder, which lists all its files."""
    return RESULTS_NAME if command in {"check", "demo"} else f"{command}.json"


def left_by(results: Mapping[str, Any]) -> str:
    """The command that left these results; empty where there are none."""
    if OLD_RESULTS_KEY in results:
        return str(results.get("command") or ("demo" if "shows" in results else "check"))
    return str(results.get(RESULTS_KEY, ""))


def results_in(folder: Path, name: str) -> dict[str, Any]:
    """What a JSON file says that a run left in a folder; empty where no run did."""
    try:
        found = json.loads(plain_text(folder / name))
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) and (isinstance(found.get(RESULTS_KEY), str) or OLD_RESULTS_KEY in found) else {}


def holds_results(folder: Path) -> bool:
    """Whether some run has left results in a folder."""
    return any(results_in(folder, path.name) for path in folder.glob("*.json"))


def files_written(folder: Path, command: str) -> frozenset[str]:
    """Names of the files that an earlier run of a command left in a folder, by its JSON; none where no such run did."""
    name = results_name(command)
    found = results_in(folder, name)
    files = found.get("files", [])
    return frozenset([*(map(str, files) if isinstance(files, list) else ()), name]) if found else frozenset()
