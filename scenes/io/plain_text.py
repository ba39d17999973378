"""Text of files that are plain ones: reading from a pipe would wait for whoever may write into it, which may be nobody."""

from __future__ import annotations

from pathlib import Path


def plain_text(path: Path) -> str:
    """The text of a plain file; FileNotFoundError of anything else."""
    if not path.is_file():
        raise FileNotFoundError(path)
    return path.read_text(encoding="utf-8")
