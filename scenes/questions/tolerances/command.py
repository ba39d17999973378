"""`brimline tolerances`: how sure the box stays out of frame when lengths and angles differ from the drawing."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Output, Wanted, focus_options, output_options, scene_argument

if TYPE_CHECKING:
    from scenes.states.load import Loaded


@click.command("tolerances")
@scene_argument
@click.option("--builds", "count", type=click.IntRange(10, 100000), default=200, show_default=True, help="Builds to try.")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Another seed tries other builds.")
@focus_options
@output_options
def command(show: Loaded, count: int, seed: int, wanted: Wanted, output: Output) -> int:
    """Say how sure it is that nothing darkens the frame of SCENE, over its [[tolerance]] tables and pupils known by bounds.

    Exit status: 0 every build found stays out of frame, the worst too; 1 one does not; 2 the input is at fault.
    """
    from scenes.answers.answer import ask
    from scenes.questions.tolerances.answer import answer
    from scenes.registry import ALIASES
    from scenes.runtime.progress import progress

    lenses = {state.lens_name for state in wanted.of(show)}
    with progress(100 * len(lenses), "builds") as tick:
        found = answer(show, wanted=wanted, count=count, seed=seed, tick=tick)
    called = click.get_current_context().info_name or found.stem
    return ask(replace(found, stem=called) if called in ALIASES else found, show, output)
