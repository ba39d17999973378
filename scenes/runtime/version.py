"""The version of the installed program."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def own_version() -> str:
    """The version of the installed program."""
    try:
        return version("brimline")
    except PackageNotFoundError:
        return "0 (not installed)"
