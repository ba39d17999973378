"""`brimline leaks`: where stray light gets in, how much, and what closes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, output_options, scene_argument, state_options, target_option

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("leaks")
@scene_argument
@state_options
@target_option
@click.option("--columns", default=1024, show_default=True, type=click.IntRange(16, 8192), help="Width of the leak picture.")
@click.option("--no-3d", is_flag=True, help="Leave the 3D pictures out.")
@output_options
def command(show: Loaded, wanted: Wanted, target: str, columns: int, no_3d: bool, output: Output) -> int:
    """Measure stray light for one state of each lens: the first of its states that fits the options.

    What is advised keeps clear every focus and stop of the lenses asked for, as `brimline flags` and `brimline check` see them.
    """
    from scenes.answers.answer import ask
    from scenes.questions.leaks.answer import answer

    found = answer(show, target=target, columns=columns, solid=not no_3d, wanted=wanted)
    return ask(found, show, output)
