"""The scene file with fitted values in place of the nominal ones; comments and order stay, each value says where it comes from."""

from __future__ import annotations

import re

from scenes.answers.answer import Files
from scenes.io.named_files import copied_names, moved_files, named_files
from scenes.io.rewritten_scene import rewritten
from scenes.questions.compare.verdict import Comparison
from scenes.scene_file.messages import plain
from scenes.states.load import Loaded

FITTED = "fitted.toml"
OWN_NAME = re.compile(r"(fitted|next-shoot)\.toml|(compare|fit)\.json|compare\.html")


def fitted_files(show: Loaded, found: Comparison) -> Files:
    """The fitted scene, and copies of the files that it names: it does not lie where the scene does."""
    named = dict(named_files(show.scene))
    yield FITTED, fitted_text(show, found, moved_files(named, OWN_NAME)).encode()
    for name, copy in copied_names(named.values(), OWN_NAME).items():
        yield copy, show.files.data(name)


def fitted_text(show: Loaded, found: Comparison, moved: dict[str, str]) -> str:
    """The text of the scene file with every value that the stills tell, and the names of files that were moved."""
    rows = zip(found.notes.unknowns, found.values, found.sigmas, found.told, strict=True)
    values = {item.path: (round(float(value), 2), float(sigma)) for item, value, sigma, told in rows if told}
    source = f"fitted to the stills of {found.notes.file_name}, standard error"
    comments = {path: f"{source} {plain(round(sigma, 3))}" for path, (_, sigma) in values.items()}
    return rewritten(show.text, show.scene, {**{path: value for path, (value, _) in values.items()}, **moved}, comments)
