"""Opens a scene for a command: numbers that speak against each other are told beside its answer, and end it with status 1."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.states.load import Loaded

DOUBTED = "brimline.doubted"  # in click's meta: the exit status is then 1, whatever the command answers


def open_scene(path: Path) -> Loaded:
    """The scene at a path; its contradictions go to stderr, a line each."""
    from scenes.states.load import load_scene

    loaded = load_scene(path)
    for sentence in contradictions_of(loaded):
        click.echo(sentence, err=True)
        click.get_current_context().meta[DOUBTED] = True
    return loaded


def contradictions_of(loaded: Loaded) -> tuple[str, ...]:
    """A line for each fault by which numbers of a scene speak against each other."""
    from scenes.rig.contradictions import contradiction_notes
    from scenes.states.state import pixel_grid

    scene, grid = loaded.scene, pixel_grid(loaded.scene.camera)
    notes = dict.fromkeys(note for lens in scene.lens for note in contradiction_notes(scene, lens, grid))
    return tuple(f"fault: {note.part}: {note.text}" for note in notes)
