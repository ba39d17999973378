"""`brimline design`: the smallest box that is clear with every lens."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


NONE_YET = "stopped before any box was found: there is nothing to hand over; fewer choices or free measures take less time"


@click.command("design")
@scene_argument
@output_options
def command(show: Loaded, output: Output) -> int:
    """Find the smallest box for the lenses of SCENE, as its [design] asks: what is free, what is wanted, what is to be small.

    Says what holds each measure and what each wish costs. --out writes each design as a scene file that `brimline check` takes as
    it is, and two sheets. Ctrl-C hands over the best box so far. `brimline new my-box.toml --design` writes a scene to start from.

    Exit status: 0 a box was found and is clear in every state, 1 no box does all that is asked, 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.design.answer import answer
    from scenes.runtime.progress import progress

    with progress(1, "design") as tick:
        try:
            found = answer(show, tick=tick)
        except KeyboardInterrupt:
            click.echo(f"\n{NONE_YET}", err=True)
            raise
    return ask(found, show, output)
