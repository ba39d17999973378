"""Say what the box in front of a lens does to the picture: `show = brimline.load("my-show.toml")`, then ask `show`.

docs/python.md shows how. What this module gives is loaded when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scenes.replies import Box3D, LossMap, Reply, TableView
    from scenes.scene_file.errors import SceneError
    from scenes.show import Show, load

__all__ = ["Box3D", "LossMap", "Reply", "SceneError", "Show", "TableView", "load"]
PLACES = {"SceneError": "scenes.scene_file.errors", "Show": "scenes.show", "load": "scenes.show"}  # the others: scenes.replies


def __getattr__(name: str) -> Any:
    if name == "__version__":
        return import_module("scenes.runtime.version").own_version()
    if name not in __all__:
        raise AttributeError(f'brimline has no "{name}"; it has {", ".join(__all__)}')
    return getattr(import_module(PLACES.get(name, "scenes.replies")), name)


def __dir__() -> list[str]:
    return [*__all__, "__doc__", "__version__"]
