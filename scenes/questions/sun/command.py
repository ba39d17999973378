"""`brimline sun`: from when to when the sun is in the picture and on the glass, through a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.answers.opened import open_scene
    from scenes.questions.sun.report import SunReport


@click.command("sun", short_help="Say when through a day the sun is in the picture and on the glass.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--light", metavar="NAME", help="Which sun of the scene.  [default: the first]")
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), help="Another day than the scene's own.")
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--target", type=click.Choice(["glass", "lens"]), default="glass", help="Outermost glass (default) or lens front.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for charts, over older ones.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table.")
def command(
    scene: Path,
    light: str | None,
    day: dt.datetime | None,
    lenses: tuple[str, ...],
    focus: tuple[str, ...],
    target: str,
    out: Path | None,
    as_json: bool,
) -> int:
    """Follow the sun of SCENE through its day, by minutes: in the picture, on the glass, and with flags as far in as they go.

    The flags' angles are the smallest that keep clear every focus and stop of the lens, as `brimline flags` and `check` see them.
    """
    from scenes.io.files import as_json as json_text
    from scenes.questions.sun.report import chosen_sun, limits_of, sun_report
    from scenes.questions.sun.text import sun_dict, sun_lines
    from scenes.states.load import plans_of
    from scenes.states.select import first_focus, selected

    loaded = open_scene(scene)
    name, sun = chosen_sun(loaded.scene, light)
    every = plans_of(loaded)
    plans, limits = first_focus(selected(every, lenses=lenses, focus=focus)), limits_of(every)
    date = day.date() if day else None
    reports = [sun_report(plan, name, sun, date, limits=limits[plan.lens_name], target=target) for plan in plans]
    title = loaded.scene.title
    click.echo(json_text(sun_dict(reports, title)) if as_json else "\n".join(sun_lines(reports, title)) + "\n", nl=False)
    if out is not None:
        written = write_charts(out, reports)
        click.echo(f"wrote {len(written)} charts to {out}", err=as_json)
    return 0


def write_charts(out: Path, reports: Sequence[SunReport]) -> list[Path]:
    """A chart for each lens."""
    from scenes.io.files import write_whole
    from scenes.io.pictures import figure_png
    from scenes.questions.sun.figure import sun_figure

    paths = [out / f"sun-{report.key}.png" for report in reports]
    for path, report in zip(paths, reports, strict=True):
        write_whole(path, figure_png(sun_figure(report)))
    return paths
