"""A window with a state in 3D, to turn and to look into."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib.util import find_spec
from typing import Any

from scenes.scene_file.errors import Complaint, SceneError
from scenes.view3d.content import Scene3D
from scenes.view3d.render import INSTALL, NO_LIBRARY_HERE, START_S, run_child
from scenes.view3d.render_process import OPENED, TRY_WINDOW

WINDOW_PX = (1600, 1000)
NO_DISPLAY = "a window needs a display and this machine has none; `brimline view SCENE --out FILE.png` writes the picture instead"
NO_WINDOW = (
    "a window could not be opened here; `brimline view SCENE --out FILE.png` writes the picture instead, or install OpenGL; "
    f"{INSTALL} libgl1 libglx-mesa0"
)


def open_window(scene: Scene3D, size: tuple[int, int] = WINDOW_PX) -> Any:
    """Show a scene until its window is closed, or in a notebook's cell; the pyvista plotter comes back.

    SceneError where there can be no window. Where pyvista is told to stay off the screen it only draws.
    """
    insist_on_window()
    import pyvista

    from scenes.view3d.draw import draw

    plotter = pyvista.Plotter(
        off_screen=pyvista.OFF_SCREEN, window_size=list(size), title=scene.title[0] if scene.title else "Brimline"
    )
    draw(scene, plotter)
    if not pyvista.OFF_SCREEN:
        plotter.show()
    return plotter


def insist_on_window() -> None:
    """SceneError where no window can be opened: before anything is traced for it."""
    if problem := window_problem():
        raise SceneError([Complaint(where="", problem=problem, source="view")])


def window_problem() -> str:
    """Why no window can be opened here, in a sentence; empty where one can. Tried in a child process, which may crash."""
    if find_spec("pyvista") is None:
        return NO_LIBRARY_HERE
    if _stays_off_screen():
        return ""
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return NO_DISPLAY
    try:
        ended = run_child([TRY_WINDOW], "", START_S)
    except subprocess.TimeoutExpired:
        return NO_WINDOW
    return "" if ended.returncode == 0 and OPENED in ended.stdout else NO_WINDOW


def _stays_off_screen() -> bool:
    """Whether pyvista was told to, by its variable or, once it is loaded, by its flag."""
    loaded = sys.modules.get("pyvista")
    return os.environ.get("PYVISTA_OFF_SCREEN", "").lower() == "true" if loaded is None else bool(loaded.OFF_SCREEN)
