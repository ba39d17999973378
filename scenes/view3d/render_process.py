"""Draws pictures in a process of its own, so that a machine without OpenGL loses a picture and not the run.

`python -m scenes.view3d.render_process` reads a file name from each line, draws FOLDER/N.npz as FOLDER/N.png and says so in a
line of JSON, until its input closes. With `--window` it only tries whether a window can be opened.
"""

from __future__ import annotations

import json
import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

SIZE = "size"
FIRST_WINDOW = 16, 16  # px
COMPRESSION = 3  # level 6 takes half as long again for a twentieth less
OPENED = "opened"
TRY_WINDOW = "--window"


def main(argv: list[str]) -> int:
    """Exit status 0 where everything asked for was done."""
    if argv == [TRY_WINDOW]:
        return _try_window()
    _load()
    for line in sys.stdin:
        sys.stdout.write(json.dumps({"why": _drawn(Path(line.rstrip("\n")))}) + "\n")
        sys.stdout.flush()
    return 0


def _load() -> None:
    """Load the libraries and open a first window before a picture is asked for; what fails now is told when one is."""
    with suppress(Exception):
        import pyvista

        import_module("scenes.view3d.draw")
        pyvista.Plotter(off_screen=True, window_size=list(FIRST_WINDOW)).close()


def _drawn(source: Path) -> str:
    """Draw one file; empty, or in a sentence why not."""
    try:
        with np.load(source, allow_pickle=False) as arrays:
            picture({name: arrays[name] for name in arrays.files}, source.with_suffix(".png"))
    except Exception as error:  # noqa: BLE001 - whatever one picture's trouble is, the others must come
        return " ".join(f"{type(error).__name__}: {error}".split())
    return ""


def picture(arrays: dict[str, NDArray[Any]], path: Path) -> None:
    """Draw packed arrays into a PNG file."""
    import pyvista
    from imagecodecs import png_encode

    from scenes.view3d.content_file import unpacked
    from scenes.view3d.draw import draw

    width, height = (int(n) for n in arrays.pop(SIZE))
    plotter = pyvista.Plotter(off_screen=True, window_size=[width, height])
    try:
        draw(unpacked(arrays), plotter)
        plotter.render()  # before the screenshot, which may else show the view as it was before the camera was set
        path.write_bytes(png_encode(np.asarray(plotter.screenshot(None, return_img=True)), level=COMPRESSION))
    finally:
        plotter.close()


def _try_window() -> int:
    from vtkmodules import vtkRenderingOpenGL2
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    del vtkRenderingOpenGL2  # its import gives the window its maker
    window = vtkRenderWindow()
    window.SetSize(16, 16)
    window.Render()
    able = bool(window.SupportsOpenGL())
    sys.stdout.write(OPENED if able else "")
    return int(not able)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
