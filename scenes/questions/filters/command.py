"""`brimline filters`: which glass each stage needs, which sizes do, and what density, gradations and close-up lenses add."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from scenes.answers.options import ROOM_MM, Output, lens_option, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("filters")
@scene_argument
@click.option(
    "--margin", "margin_mm", type=click.FloatRange(0, 50), default=ROOM_MM, show_default=True, help="Room a size must leave, mm."
)
@click.option(
    "--add-stage", "added_mm", type=click.FloatRange(0.5, 200), metavar="MM", help="Depth of a stage more.  [default: as the last]"
)
@click.option(
    "--close-up", "close_ups", multiple=True, type=click.FloatRange(-10, 20), metavar="D", help="Try this power; again to add."
)
@lens_option
@output_options
def command(show: Loaded, output: Output, **options: Any) -> int:
    """Find the glass that each stage of SCENE needs with each lens, upright and turned, and the catalogue sizes that do.

    Then the corner loss of densities, the edge of graduated filters, close-up lenses, a stage more, and the height of the box.
    """
    from scenes.answers.answer import ask
    from scenes.questions.filters.answer import answer

    return ask(answer(show, **options), show, output)
