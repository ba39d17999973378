"""Whether a piece of TOML that holds a lens alone would do in a scene file."""

from __future__ import annotations

from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.parse import read_model, read_toml
from scenes.scene_file.tables.lens import Lens


def insist_on_lens(text: str, source: str) -> Lens:
    """The first [[lens]] of the text; SceneError, with the lens's own keys, where a scene file would refuse it."""
    try:
        return read_model(Lens, read_toml(text, source)["lens"][0], "", source)
    except SceneError as error:
        raise SceneError([Complaint(one.where, one.problem, None, source) for one in error.complaints]) from None
