"""`brimline compare`: stills of the test shoot against what was predicted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded

NOTES_NAME = "shoot.toml"


@click.command("compare")
@scene_argument
@click.option("--shoot", type=click.Path(path_type=Path), help="The crew's notes: which still is which, what was not measured.")
@click.option(
    "--stills",
    type=click.Path(path_type=Path),
    help=f"Write such notes to fill in, {NOTES_NAME} in this folder of stills; never over any that are there.",
)
@output_options
def command(show: Loaded, shoot: Path | None, stills: Path | None, output: Output) -> int:
    """Lay the stills of a test shoot over what SCENE predicts, and fit what was not measured.

    Exit status: 0 as predicted, 1 something differs, a corner or edge cannot be seen or the stills are of another lens,
    2 the input is at fault.
    """
    if (shoot is None) == (stills is None):
        words = "--shoot NOTES compares; --stills FOLDER writes such notes first. Give one of them."
        raise click.UsageError(words, ctx=click.get_current_context())
    if stills is not None:
        return _write_notes(show, stills)
    from scenes.answers.answer import ask
    from scenes.questions.compare.answer import answer

    assert shoot is not None
    return ask(answer(show, shoot=shoot), show, output)


def _write_notes(show: Loaded, folder: Path) -> int:
    from scenes.io.writing import write_new
    from scenes.questions.compare.draft import draft_text

    path, scene_path = folder / NOTES_NAME, str(show.folder / show.file_name)
    write_new(path, draft_text(show.scene, scene_path, path))
    click.echo(f'wrote {path}; answer every "?" in it, then: brimline compare {scene_path} --shoot {path} --out compare')
    return 0
