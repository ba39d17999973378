"""Each design as a scene file that `check` takes as it is: the scene's own text with the design's values, comments kept."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import PurePosixPath
from typing import Any

from scenes.answers.answer import Files
from scenes.io.free_names import ENDS
from scenes.io.rewritten_scene import rewritten, tables_text
from scenes.questions.design.masks import text_with_masks, with_masks
from scenes.questions.design.picks import rounded
from scenes.questions.design.report import Report, Shown
from scenes.questions.design.text import size_words
from scenes.questions.design.trays import text_with_trays, with_trays
from scenes.scene_file.tables.design import MASKS, TRAYS
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import table_path
from scenes.states.load import Loaded

HELD = "set by brimline design"
DESIGN_NAME = re.compile(r"design(-\d+)?\.(toml|json|png|svg|pdf)")


def scene_files(report: Report) -> Files:
    """A scene for each design, and copies of the files that the scenes name, under names inside the folder."""
    named = dict(_named(report.loaded.scene))
    for number, shown in enumerate(report.shown, 1):
        yield f"design-{number}.toml", design_text(report.loaded, shown, number, named).encode()
    for name, copy in _copies(named.values()).items():
        yield copy, report.loaded.files.data(name)


def design_text(loaded: Loaded, shown: Shown, number: int, named: dict[str, str]) -> str:
    """The text of one design."""
    file_name = loaded.file_name
    own = loaded.text if loaded.sha256 else tables_text(loaded.tables)
    pick = shown.design.pick
    if TRAYS in pick:
        own, loaded = text_with_trays(own, loaded, pick[TRAYS]), with_trays(loaded, pick[TRAYS])
    if MASKS in pick:
        own, loaded = text_with_masks(own, loaded, pick[MASKS]), with_masks(loaded, pick[MASKS])
    values: dict[str, Any] = rounded(shown.design.values)
    copies = _copies(named.values())
    moved = {path: copies[name] for path, name in named.items() if copies[name] != name}
    head = f"# Design {number} of {file_name}: {size_words(shown.design)}. Made by `brimline design`.\n\n"
    return head + rewritten(own, loaded.scene, {**values, **moved}, dict.fromkeys(values, HELD))


def _named(scene: Scene) -> Iterator[tuple[str, str]]:
    """Key path and name of every file that a scene names."""
    for k, lens in enumerate(scene.lens):
        if lens.prescription is not None:
            yield f"{table_path(scene, ('lens', k))}.prescription", lens.prescription
    for k, mask in enumerate(scene.box.mask):
        if mask.outline is not None:
            yield f"{table_path(scene, ('box', 'mask', k))}.outline", mask.outline
    for k, solid in enumerate(scene.box.solid):
        yield f"{table_path(scene, ('box', 'solid', k))}.file", solid.file


def _copies(names: Iterable[str]) -> dict[str, str]:
    """The name of each copy by the name in the scene: no two files share one, and none has that of a design."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for name in sorted(dict.fromkeys(names), key=lambda one: _inside(one) != one):  # names that stay have the first choice
        inside = PurePosixPath(_inside(name))
        free = (inside.with_name(f"{inside.stem}{end}{inside.suffix}").as_posix() for end in ENDS)
        found[name] = next(one for one in free if one.casefold() not in taken and not DESIGN_NAME.fullmatch(one.casefold()))
        taken.add(found[name].casefold())
    return found


def _inside(name: str) -> str:
    """The name under which a copy lies in the folder: its own, or its last part where that would lead out."""
    path = PurePosixPath(name)
    leads_out = path.is_absolute() or ".." in path.parts or name.startswith("~")
    return path.name if leads_out else path.as_posix()
