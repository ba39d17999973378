"""`brimline masks`: the tightest cut-out for each lens, the set of masks that serves them all, and files to cut them from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from scenes.answers.options import Output, lens_option, output_options, scene_argument
from scenes.questions.masks.wanted import CORNER_MM, MARGIN_MM

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("masks")
@scene_argument
@click.option("--masks", type=click.IntRange(1, 99), metavar="K", help="Masks to cut.  [default: as many as now]")
@click.option(
    "--margin",
    "margin_mm",
    type=click.FloatRange(0, 50),
    help=f"Room round the beam, mm.  [default: what check calls clear, {MARGIN_MM:g} or more]",
)
@click.option(
    "--corner", "corner_mm", type=click.FloatRange(0, 50), default=CORNER_MM, show_default=True, help="Least inside radius, mm."
)
@click.option("--at", "at_mm", type=float, metavar="MM", help="Where the masks stand, ahead of the back plate.  [default: as now]")
@lens_option
@click.option("--split-anamorphic", is_flag=True, help="Anamorphic and spherical lenses share no mask.")
@click.option(
    "--also-empty/--as-fitted",
    default=True,
    show_default="also empty",
    help="Cut for empty trays too, each filter in or out; or tighter, for the filters fitted only.",
)
@output_options
def command(show: Loaded, output: Output, **options: Any) -> int:
    """Find the tightest cut-out for each lens of SCENE at its mask's place, over every guide, zoom, focus and stop.

    Then the K masks that serve all lenses with the least excess opening, each as DXF and SVG (mm, layers CUT and ENGRAVE) and on
    a page at true size. A drawing can be given to a mask of the scene as its `outline`.
    """
    from scenes.answers.answer import ask
    from scenes.questions.masks.answer import answer

    return ask(answer(show, **options), show, output)
