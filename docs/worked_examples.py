"""Commands run on the scene that `brimline new` writes, for their pages: what they print, and a picture that they make."""

from __future__ import annotations

import io
import logging
import os
import shutil
import tempfile
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from scenes.cli import main as brimline

SCENE = "my-show.toml"
RUNS = {  # command: its options on the page, and the picture of the folder that --out names
    "new": ("", ""),
    "check": ("", ""),
    "beam": ("--at 46 --out beam", "*.png"),
    "masks": ("--out masks", "masks.png"),
    "filters": ("--out filters", "filter-sizes.png"),
    "widest": ("--out widest", "widest.png"),
    "tolerances": ("--out tolerances", "*.png"),
    "flags": ("--focus close --out flags", "flag-top-flag.png"),
    "leaks": ("--focus infinity --f-number 2 --no-3d --out leaks", "*/sky.png"),
    "ghosts": ("--focus infinity --out ghosts", "*.png"),
    "bokeh": ("--focus close --out bokeh", "*.png"),
    "plan": ("", ""),
}
ENDED_WELL = (None, 0, 1)  # a part that darkens the frame is an answer too


@dataclass(frozen=True, slots=True)
class Example:
    """What was typed, what was printed, and the name of the picture beside the page; empty where there is none."""

    typed: str
    printed: str
    picture: str


def examples(pages: Path) -> dict[str, Example]:
    """Every command of RUNS run in one folder, in order; pictures are put beside the pages."""
    logging.getLogger("ezdxf").setLevel(logging.WARNING)  # the builder shows what libraries log
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        return {name: _example(name, *run, pages) for name, run in RUNS.items()}


def _example(name: str, options: str, picture: str, pages: Path) -> Example:
    typed = " ".join(word for word in (name, SCENE, options) if word)
    printed, beside = io.StringIO(), io.StringIO()
    with patch.dict(os.environ, {"NO_COLOR": "1"}), redirect_stdout(printed), redirect_stderr(beside):
        status = brimline(typed.split())
    if status not in ENDED_WELL:
        raise RuntimeError(f"brimline {typed} ended with {status}: {printed.getvalue()}{beside.getvalue()}")
    kept = ""
    if picture:
        made = min(Path(options.rsplit(maxsplit=1)[-1]).glob(picture))
        kept = f"{name}{made.suffix}"
        shutil.copyfile(made, pages / kept)
    return Example(typed, printed.getvalue().rstrip("\n"), kept)
