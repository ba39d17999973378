"""`brimline beam`: the beam's section where `at_mm` of the scene lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, output_options, scene_argument, state_options

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("beam")
@scene_argument
@click.option("--at", "at_mm", type=float, required=True, metavar="MM", help="Ahead of the back plate's rear face, as at_mm is.")
@state_options
@output_options
def command(show: Loaded, at_mm: float, wanted: Wanted, output: Output) -> int:
    """Outline the beam of SCENE in the plane MM ahead of the back plate: all guides, all states, through the glass before it.

    Exit status: 0 no part in this plane is in the beam, 1 one is, 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.beam.answer import answer

    return ask(answer(show, at_mm=at_mm, wanted=wanted), show, output)
