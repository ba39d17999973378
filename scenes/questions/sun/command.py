"""`brimline sun`: from when to when the sun is in the picture and on the glass, through a day."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import click

from scenes.answers.completion import names_of
from scenes.answers.options import Output, Wanted, focus_options, output_options, scene_argument, target_option

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("sun")
@scene_argument
@click.option("--light", metavar="NAME", help="Which sun of the scene.  [default: the first]", shell_complete=names_of("light"))
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), help="Another day than the scene's own.")
@focus_options
@target_option
@output_options
def command(show: Loaded, light: str | None, day: dt.datetime | None, wanted: Wanted, target: str, output: Output) -> int:
    """Follow the sun of SCENE through its day, by minutes: in the picture, on the glass, and with flags as far in as they go.

    The flags' angles are the smallest that keep clear every focus and stop of the lens, as `brimline flags` and `check` see them.
    """
    from scenes.answers.answer import ask
    from scenes.questions.sun.answer import answer

    found = answer(show, light=light, day=day.date() if day else None, target=target, wanted=wanted)
    return ask(found, show, output)
