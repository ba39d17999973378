"""`brimline widest`: from which focal length on a family of lenses clears the box, and which lenses of the scene do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from scenes.answers.completion import names_of
from scenes.answers.options import Output, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("widest")
@scene_argument
@click.option(
    "--like",
    metavar="NAME",
    help="Lens of the scene that the family follows.  [default: the widest]",
    shell_complete=names_of("lens"),
)
@click.option(
    "--pupil", default="worse", metavar="HOW", help="mm behind the front, or 40..52, or held, scaled, worse.  [default: worse]"
)
@click.option("--front", default="held", metavar="HOW", help="Front diameter: mm, or held, scaled.  [default: held]")
@click.option("--front-to-sensor", "length", default="held", metavar="HOW", help="mm, or held, scaled.  [default: held]")
@click.option("--from", "from_mm", type=click.FloatRange(2, 2000), metavar="MM", help="Shortest focal length.  [default: a third]")
@click.option("--to", "to_mm", type=click.FloatRange(2, 2000), metavar="MM", help="Longest focal length.  [default: six times]")
@click.option(
    "--add-stage", "added_mm", type=click.FloatRange(0.5, 200), metavar="MM", help="Depth of a stage more.  [default: as the last]"
)
@click.option("--no-lenses", is_flag=True, help="Leave out the scene's own lenses.")
@output_options
def command(show: Loaded, output: Output, **options: Any) -> int:
    """Find the widest lens that clears the box of SCENE as set, with the mask out, with a stage more, with the flags off.

    Focal length is swept, at each focus and stop of [check]; what else such a lens measures is stated (mm), held as in the lens
    that it follows, scaled with focal length, or the worse of these two. Then the scene's own lenses in the same setups.

    Exit status: 0 done, whatever clears; 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.widest.answer import answer

    return ask(answer(show, **options), show, output)
