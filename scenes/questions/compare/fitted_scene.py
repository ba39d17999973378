"""The scene file with fitted values in place of the nominal ones; comments and order stay, each value says where it comes from."""

from __future__ import annotations

from scenes.io.rewritten_scene import rewritten
from scenes.questions.compare.verdict import Comparison
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.scene import Scene


def fitted_text(text: str, scene: Scene, found: Comparison) -> str:
    """The text of the scene file with every value that the stills tell; the same text where they tell none."""
    rows = zip(found.notes.unknowns, found.values, found.sigmas, found.told, strict=True)
    values = {item.path: (round(float(value), 2), float(sigma)) for item, value, sigma, told in rows if told}
    source = f"fitted to the stills of {found.notes.file_name}, standard error"
    comments = {path: f"{source} {plain(round(sigma, 3))}" for path, (_, sigma) in values.items()}
    return rewritten(text, scene, {path: value for path, (value, _) in values.items()}, comments)
