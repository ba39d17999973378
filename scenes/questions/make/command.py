"""`brimline make`: the workshop's folder for a box."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, focus_options, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("make")
@scene_argument
@focus_options
@output_options
def command(show: Loaded, wanted: Wanted, output: Output) -> int:
    """Write what a workshop needs to make the box of SCENE, as its [make] says: any scene does, or one that design wrote.

    --out gets each part as STL, 3MF and STEP, flats to cut and bend as DXF and SVG, sheets of stock with all flats on them,
    dimensioned drawings, cut list and bill of materials. The page says what the box weighs and pulls with each lens, how its rods
    bend, and every default that was taken.

    Exit status: 0 every state is clear, as drawn and with the rods bent; 1 one is not; 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.make.answer import answer
    from scenes.runtime.progress import progress

    with progress(2, "make") as tick:
        found = answer(show, wanted=wanted, tick=tick)
    return ask(found, show, output)
