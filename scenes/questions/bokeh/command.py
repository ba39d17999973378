"""`brimline bokeh`: out-of-focus highlights through lens and box."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, output_options, scene_argument, state_options

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("bokeh")
@scene_argument
@click.option("--ahead", metavar="MM", help='Where the highlights stand: mm ahead of the lens front, or "infinity".')
@state_options
@output_options
def command(show: Loaded, ahead: str | None, wanted: Wanted, output: Output) -> int:
    """Draw highlights that are out of focus as SCENE's lenses and box show them, across the frame, box off and on.

    Exit status: 0 every highlight is whole, 1 the box bites into one, 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.bokeh.answer import answer

    return ask(answer(show, ahead_mm=_ahead_mm(ahead), wanted=wanted), show, output)


def _ahead_mm(ahead: str | None) -> float | None:
    from scenes.scene_file.errors import Complaint, SceneError

    if ahead is None:
        return None
    try:
        value = float("inf") if ahead.strip().lower() == "infinity" else float(ahead)
    except ValueError:
        value = 0.0
    if not value > 0.0:
        problem = f'must be mm ahead of the lens front, more than 0, or "infinity", found "{ahead}"; write --ahead 2000'
        raise SceneError([Complaint(where="", problem=problem, source="--ahead")])
    return value
