"""The version of the installed program."""

from __future__ import annotations


def own_version() -> str:
    """The version of the installed program."""
    from importlib.metadata import PackageNotFoundError, version  # here, for it takes long to load

    try:
        return version("brimline")
    except PackageNotFoundError:
        return "0 (not installed)"
