"""Files that a scene names, for a scene that is written into another folder: copies that lie beside it, under names inside."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import PurePosixPath, PureWindowsPath

from scenes.io.free_names import ENDS
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import table_path


def named_files(scene: Scene) -> Iterator[tuple[str, str]]:
    """Key path and name of every file that a scene names."""
    for k, lens in enumerate(scene.lens):
        if lens.prescription is not None:
            yield f"{table_path(scene, ('lens', k))}.prescription", lens.prescription
    for k, mask in enumerate(scene.box.mask):
        if mask.outline is not None:
            yield f"{table_path(scene, ('box', 'mask', k))}.outline", mask.outline
    for k, solid in enumerate(scene.box.solid):
        yield f"{table_path(scene, ('box', 'solid', k))}.file", solid.file


def moved_files(named: Mapping[str, str], own: re.Pattern[str]) -> dict[str, str]:
    """Of names by their key paths those that differ in the new folder, where names like `own` are the result's."""
    copies = copied_names(named.values(), own)
    return {path: copies[name] for path, name in named.items() if copies[name] != name}


def copied_names(names: Iterable[str], own: re.Pattern[str]) -> dict[str, str]:
    """The name of each copy by the name in the scene: no two files share one, and none has one of the result's own."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for name in sorted(dict.fromkeys(names), key=lambda one: _inside(one) != one):  # names that stay have the first choice
        inside = PurePosixPath(_inside(name))
        free = (inside.with_name(f"{inside.stem}{end}{inside.suffix}").as_posix() for end in ENDS)
        found[name] = next(one for one in free if one.casefold() not in taken and not own.fullmatch(one.casefold()))
        taken.add(found[name].casefold())
    return found


def _inside(name: str) -> str:
    """The name under which a copy lies in the folder: its own, or its last part where that would lead out, on Windows too."""
    path, windows = PurePosixPath(name), PureWindowsPath(name)
    if windows.drive or windows.root or "\\" in name or ".." in windows.parts or name.startswith("~"):
        return windows.name
    return path.as_posix()
