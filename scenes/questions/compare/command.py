"""`brimline compare`: stills of the test shoot against what was predicted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("compare")
@scene_argument
@click.option(
    "--shoot",
    required=True,
    type=click.Path(path_type=Path),
    help="The crew's notes: which still is which state, what was not measured.",
)
@output_options
def command(show: Loaded, shoot: Path, output: Output) -> int:
    """Lay the stills of a test shoot over what SCENE predicts, and fit what was not measured.

    Exit status: 0 as predicted, 1 something differs or the stills are of another lens, 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.compare.answer import answer

    return ask(answer(show, shoot=shoot), show, output)
