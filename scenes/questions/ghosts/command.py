"""`brimline ghosts`: where lights ghost in the filters, and which tilt sends the ghosts out of the frame."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.answers.opened import open_scene
    from scenes.questions.ghosts.text import GhostReport


@click.command("ghosts", short_help="Say where lights ghost in the filters, and which tilt helps.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--grid", is_flag=True, help="Nine places in the picture instead of the scene's own lights.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for charts, over older ones.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table.")
def command(scene: Path, lenses: tuple[str, ...], focus: tuple[str, ...], grid: bool, out: Path | None, as_json: bool) -> int:
    """Say where the lights of SCENE ghost in its filters, how strong and how soft, and which tilt sends them out of the frame.

    Without a light in the picture, nine places of the picture stand in. The answer for each lens, zoom and focus is at the widest
    stop that the scene's [check] asks for.
    """
    from scenes.io.files import as_json as json_text
    from scenes.questions.ghosts.text import ghost_report, ghosts_dict, ghosts_lines, set_answer
    from scenes.states.load import plans_of
    from scenes.states.select import selected, widest_stops

    loaded = open_scene(scene)
    plans = widest_stops(selected(plans_of(loaded), lenses=lenses, focus=focus))
    reports = [ghost_report(plan, with_grid=grid) for plan in plans]
    title, reflectance = loaded.scene.title, loaded.scene.camera.sensor_reflectance
    for_all = set_answer(reports)
    lines = ghosts_lines(reports, title, for_all)
    click.echo(json_text(ghosts_dict(reports, title, reflectance, for_all)) if as_json else "\n".join(lines) + "\n", nl=False)
    if out is not None:
        written = write_charts(out, reports)
        click.echo(f"wrote {len(written)} charts to {out}", err=as_json)
    return 0


def write_charts(out: Path, reports: Sequence[GhostReport]) -> list[Path]:
    """A chart for each state that has filters."""
    from scenes.io.files import write_whole
    from scenes.io.pictures import figure_png
    from scenes.questions.ghosts.figure import ghost_figure

    paths = []
    for report in reports:
        if report.filters:
            paths.append(out / f"ghosts-{report.key}.png")
            write_whole(paths[-1], figure_png(ghost_figure(report)))
    return paths
