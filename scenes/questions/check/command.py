"""`brimline check`: the main job on a scene file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.questions.check.options import run_options

if TYPE_CHECKING:
    from scenes.questions.check.run import Asked


@click.command("check", short_help="Say whether the box darkens the frame: where, how much, which part.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for maps, pictures and results.json; an earlier result there is replaced.",
)
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--f-number", "f_numbers", multiple=True, type=float, metavar="N", help="Only this stop.")
@run_options
def command(
    scene: Path, out: Path | None, lenses: tuple[str, ...], focus: tuple[str, ...], f_numbers: tuple[float, ...], asked: Asked
) -> int:
    """Trace every state of SCENE and say what the box takes: a table here, maps, pictures and results.json in the folder."""
    from scenes.questions.check.run import Job, run_jobs
    from scenes.states.load import load_scene, plans_of
    from scenes.states.select import selected

    loaded = load_scene(scene)
    plans = selected(plans_of(loaded), lenses=lenses, focus=focus, f_numbers=f_numbers)
    return run_jobs([Job(loaded=loaded, plans=plans)], out, asked)
