"""Faults that leave the light of a show in doubt: every command tells them, and none ends with status 0 while one stands.

The one rule for them is `scenes.states.judgement.doubts`, by which `check` calls no such state clear. Numbers that look like a slip
and may be meant (`scenes.states.judgement.slips`) are told the same way, and change no status.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from geometry.body import Kind
    from geometry.notes import Note
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
    from scenes.cautions.contradictions import contradiction_notes
    from scenes.states.state import pixel_grid

    scene, grid = loaded.scene, pixel_grid(loaded.scene.camera)
    notes = dict.fromkeys(note for lens in scene.lens for note in contradiction_notes(scene, lens, grid))
    return tuple(f"fault: {note.part}: {note.text}" for note in notes)


def fault_lines(states: Iterable[object], moved: Collection[Kind] = (), *, every: bool = False) -> tuple[str, ...]:
    """A line for each fault that leaves the light of some of these states in doubt; a label of a state has none.

    moved: kinds of parts that an answer sets anew: where two of them stand in each other's way now is not told.
    every: all faults of the box, for what is to be built.
    """
    from geometry.notes import largest_of_each
    from scenes.states.judgement import doubts, faults
    from scenes.states.state import State

    found: list[Note] = []
    for state in states:
        if isinstance(state, State):
            names = [part.name for part in state.box.parts if part.kind in moved]
            found += [note for note in (faults if every else doubts)(state) if not _is_between(note, names)]
    return tuple(f"fault: {note.part}: {note.text}" for note in largest_of_each(found))


def _is_between(note: Note, names: Collection[str]) -> bool:
    """Whether a note tells that two of these parts take up the same room."""
    return note.part in names and any(note.text.startswith(f"overlaps {other} by ") for other in names)


def slip_lines(states: Iterable[object]) -> tuple[str, ...]:
    """A line for each number that looks like a slip of what these states rest on; a label of a state has none."""
    from geometry.notes import largest_of_each
    from scenes.states.judgement import slips
    from scenes.states.state import State

    notes = largest_of_each(note for state in states if isinstance(state, State) for note in slips(state))
    return tuple(f"caution: {note.part}: {note.text}" for note in notes)


def tell(faults: Iterable[str]) -> None:
    """Faults on stderr, a line each; the command then ends with 1 at least."""
    for sentence in faults:
        click.echo(sentence, err=True)
        click.get_current_context().meta[DOUBTED] = True
