"""`brimline plan`: the test shoot, to print and to take along."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, output_options, scene_argument, state_options

if TYPE_CHECKING:
    from scenes.states.load import Loaded

PAPERS = ("a4", "letter")


@click.command("plan")
@scene_argument
@state_options
@click.option("--paper", type=click.Choice(PAPERS), default=PAPERS[0], show_default=True, help="Paper of the PDF and the stickers.")
@click.option("--labels", metavar="WxH", help="Size of one sticker in mm, such as 63.5x38.1.  [default: the paper's usual sheet]")
@click.option("--text", "as_text", is_flag=True, help="Print the plan as plain text, the most doubtful shot first.")
@click.option(
    "--threads",
    type=click.IntRange(1, 256),
    default=os.cpu_count() or 1,
    help="Cores to use; the result does not depend on it.",
)
@output_options
def command(show: Loaded, wanted: Wanted, paper: str, labels: str | None, as_text: bool, threads: int, output: Output) -> int:
    """Plan the test shoot of SCENE: what to measure, fit and shoot, in the order of least work, and what to expect.

    With --out: plan.html for a tablet, plan.pdf with boxes to tick and blanks to fill in, labels.pdf for sticker sheets, plan.json.

    Exit status: 0 every state is clear or tight, 1 a part darkens the frame or the box has a fault, 2 the input is at fault or a
    state could not be computed.
    """
    from scenes.answers.answer import ask
    from scenes.questions.plan.answer import answer

    return ask(answer(show, wanted=wanted, paper=paper, labels=labels, as_text=as_text, threads=threads), show, output)
