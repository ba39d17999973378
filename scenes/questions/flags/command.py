"""`brimline flags`: how far in each flag may come, and how far it must to cut a light."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, output_options, scene_argument, state_options

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("flags")
@scene_argument
@state_options
@click.option("--changes", is_flag=True, help="For lights that no setting keeps off: the least changes that would. Takes longer.")
@output_options
def command(show: Loaded, wanted: Wanted, changes: bool, output: Output) -> int:
    """Say how far in each flag of SCENE may come and keep the frame clear, and how far it must to keep lights off the glass.

    Exit status: 0 no flag, as it is set, costs more than the visible loss; 1 one does; 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.flags.answer import answer

    return ask(answer(show, changes=changes, wanted=wanted), show, output)
