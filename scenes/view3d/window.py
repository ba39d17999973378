"""A window with a state in 3D, to turn and to look into."""

from __future__ import annotations

from typing import Any

from scenes.view3d.content import Scene3D
from scenes.view3d.draw import draw


def open_window(scene: Scene3D, size: tuple[int, int], *, off_screen: bool = False) -> Any:
    """A pyvista plotter with everything of the scene, shown in a window or a notebook; off the screen it is only drawn."""
    import pyvista

    plotter = pyvista.Plotter(off_screen=off_screen or pyvista.OFF_SCREEN, window_size=list(size))
    draw(scene, plotter)
    if not plotter.off_screen:
        plotter.show(auto_close=False)
    return plotter
