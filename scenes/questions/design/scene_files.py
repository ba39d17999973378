"""Each design as a scene file that `check` takes as it is: the scene's own text with the design's values, comments kept."""

from __future__ import annotations

import re
from typing import Any

from scenes.answers.answer import Files
from scenes.io.named_files import copied_names, moved_files, named_files
from scenes.io.rewritten_scene import rewritten, tables_text
from scenes.questions.design.masks import text_with_masks, with_masks
from scenes.questions.design.picks import rounded
from scenes.questions.design.report import Report, Shown
from scenes.questions.design.text import size_words
from scenes.questions.design.trays import text_with_trays, with_trays
from scenes.scene_file.tables.design import MASKS, TRAYS
from scenes.states.load import Loaded

HELD = "set by brimline design"
DESIGN_NAME = re.compile(r"design(-\d+)?\.(toml|json|png|svg|pdf)")


def scene_files(report: Report) -> Files:
    """A scene for each design, and copies of the files that the scenes name, under names inside the folder."""
    named = dict(named_files(report.loaded.scene))
    for number, shown in enumerate(report.shown, 1):
        yield f"design-{number}.toml", design_text(report.loaded, shown, number, named).encode()
    for name, copy in copied_names(named.values(), DESIGN_NAME).items():
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
    head = f"# Design {number} of {file_name}: {size_words(shown.design)}. Made by `brimline design`.\n\n"
    return head + rewritten(own, loaded.scene, {**values, **moved_files(named, DESIGN_NAME)}, dict.fromkeys(values, HELD))
