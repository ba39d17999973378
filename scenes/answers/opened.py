"""Faults that leave the light of a show in doubt: every command tells them, and none ends with status 0 while one stands.

The one rule for them is `scenes.states.judgement.doubts`, by which `check` calls no such state clear.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.states.load import Loaded

DOUBTED = "brimline.doubted"  # in click's meta: the exit status is then 1, whatever the command answers


def open_scene(path: Path) -> Loaded:
    """The scene at a path; its contradictions go to stderr, a line each, before anything is worked out."""
    from scenes.states.load import load_scene

    loaded = load_scene(path)
    tell(contradictions_of(loaded))
    return loaded


def contradictions_of(loaded: Loaded) -> tuple[str, ...]:
    """A line for each fault by which numbers of a scene speak against each other."""
    from scenes.rig.contradictions import contradiction_notes
    from scenes.states.state import pixel_grid

    scene, grid = loaded.scene, pixel_grid(loaded.scene.camera)
    notes = dict.fromkeys(note for lens in scene.lens for note in contradiction_notes(scene, lens, grid))
    return tuple(f"fault: {note.part}: {note.text}" for note in notes)


def fault_lines(states: Iterable[object]) -> tuple[str, ...]:
    """A line for each fault that leaves the light of some of these states in doubt; a label of a state has none."""
    from scenes.states.judgement import doubts
    from scenes.states.state import State

    notes = dict.fromkeys((note.part, note.text) for state in states if isinstance(state, State) for note in doubts(state))
    return tuple(f"fault: {part}: {text}" for part, text in notes)


def tell(faults: Iterable[str]) -> None:
    """Faults on stderr, a line each; the command then ends with 1 at least."""
    for sentence in faults:
        click.echo(sentence, err=True)
        click.get_current_context().meta[DOUBTED] = True
