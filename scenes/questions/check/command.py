"""`brimline check`: the main job on a scene file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Wanted, state_options
from scenes.questions.check.options import run_options

if TYPE_CHECKING:
    from scenes.questions.check.run import Asked


@click.command("check")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option(
    "--out",
    "-o",
    type=click.Path(path_type=Path),
    help="Folder for maps, pictures and results.json; an earlier result there is replaced.",
)
@state_options
@run_options
def command(scene: Path, out: Path | None, wanted: Wanted, asked: Asked) -> int:
    """Trace every state of SCENE and say what the box takes: a table here, maps, pictures and results.json in the folder."""
    from scenes.questions.check.run import check_file

    return check_file(scene, wanted, out, asked)
