"""`brimline check`: the main job on a scene file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Wanted, scene_argument_of_notes, state_options
from scenes.questions.check.options import run_options

if TYPE_CHECKING:
    from scenes.questions.check.run import Asked
    from scenes.states.load import Loaded


@click.command("check")
@scene_argument_of_notes
@click.option(
    "--out",
    "-o",
    type=click.Path(path_type=Path),
    help="Folder for maps, pictures and results.json; an earlier result there is replaced.",
)
@state_options
@run_options
def command(show: Loaded, out: Path | None, wanted: Wanted, asked: Asked) -> int:
    """Trace every state of SCENE and say what the box takes: a table here, maps, pictures and results.json in the folder."""
    from scenes.questions.check.run import Job, answered, run_jobs

    return answered(run_jobs([Job(loaded=show, plans=wanted.of(show))], out, asked), out, asked)
