"""`brimline ghosts`: where lights ghost in the filters, and which tilt sends the ghosts out of the frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, focus_options, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("ghosts")
@scene_argument
@focus_options
@click.option("--grid", is_flag=True, help="Nine places in the picture instead of the scene's own lights.")
@output_options
def command(show: Loaded, wanted: Wanted, grid: bool, output: Output) -> int:
    """Say where the lights of SCENE ghost in its filters, how strong and how soft, and which tilt sends them out of the frame.

    Without a light in the picture, nine places of the picture stand in. The answer for each lens, zoom and focus is at the widest
    stop that the scene's [check] asks for.
    """
    from scenes.answers.answer import ask
    from scenes.questions.ghosts.answer import answer

    return ask(answer(show, grid=grid, wanted=wanted), show, output)
