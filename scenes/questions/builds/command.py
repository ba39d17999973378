"""`brimline builds`: how sure the clear is when lengths and angles come out otherwise than written."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.questions.builds.report import Surety

CLEAR, IN_FRAME = 0, 1
BUILDS = 200  # as in scenes.questions.builds.report, which --help must not load; a test holds them together


@click.command("builds", short_help="Say how sure a clear frame is when measures are off: share of builds, worst build.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--builds", "count", type=click.IntRange(10, 100000), default=BUILDS, show_default=True, help="Builds to try.")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Another seed tries other builds.")
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for tornado charts and builds.json.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table.")
def command(
    scene: Path, count: int, seed: int, lenses: tuple[str, ...], focus: tuple[str, ...], out: Path | None, as_json: bool
) -> int:
    """Say how sure it is that nothing darkens the frame of SCENE, over its [[tolerance]] tables and pupils known by bounds.

    Exit status: 0 every build found is clear, the worst too; 1 one is not; 2 the input is at fault.
    """
    from scenes.io.files import as_json as json_text
    from scenes.questions.builds.report import surety
    from scenes.questions.builds.text import builds_dict, builds_lines
    from scenes.runtime.progress import progress
    from scenes.states.load import load_scene, plans_of
    from scenes.states.select import selected

    loaded = load_scene(scene)
    plans = selected(plans_of(loaded), lenses=lenses, focus=focus)
    with progress(100 * len({plan.lens_name for plan in plans}), "builds") as tick:
        found = surety(loaded, plans, count, seed, tick)
    title = loaded.scene.title
    click.echo(json_text(builds_dict(found, title)) if as_json else "\n".join(builds_lines(found, title)) + "\n", nl=False)
    if out is not None:
        written = write_files(out, found, title)
        click.echo(f"wrote {len(written)} files to {out}", err=as_json)
    return CLEAR if found.worst.worst.clearance_mm > 0 else IN_FRAME


def write_files(out: Path, found: Surety, title: str) -> list[Path]:
    """A chart of the whole set, one of each lens, and the answer as JSON."""
    from scenes.io.files import as_json, write_whole
    from scenes.questions.builds.figure import lens_figure, set_figure
    from scenes.questions.builds.text import builds_dict
    from scenes.sheets.style import figure_png

    files = {"builds.png": figure_png(set_figure(found, title)), "builds.json": as_json(builds_dict(found, title)).encode("utf-8")}
    for lens in found.lenses:
        name = re.sub(r"[^\w.+-]+", "-", lens.lens_name).strip("-.") or "lens"
        files[f"builds-{name}.png"] = figure_png(lens_figure(found, lens, title))
    for name, data in files.items():
        write_whole(out / name, data)
    return [out / name for name in files]
