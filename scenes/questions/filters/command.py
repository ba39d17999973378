"""`brimline filters`: which glass each stage needs, which sizes do, and what density, gradations and close-up lenses add."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.questions.filters.text import FilterReport
    from scenes.states.load import Loaded

ROOM_MM = 2.5  # as in scenes.questions.filters.sizes, which --help must not load; a test holds them together


@click.command("filters", short_help="Which filter size each stage needs, and what filters do to the corners.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--margin", type=click.FloatRange(0, 50), default=ROOM_MM, show_default=True, help="Room a size must leave, mm.")
@click.option("--add-stage", type=click.FloatRange(0.5, 200), metavar="MM", help="Depth of a stage more.  [default: as the last]")
@click.option(
    "--close-up", "close_ups", multiple=True, type=click.FloatRange(-10, 20), metavar="D", help="Try this power; again to add."
)
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for pictures and the JSON.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table.")
def command(
    scene: Path,
    margin: float,
    add_stage: float | None,
    close_ups: tuple[float, ...],
    lenses: tuple[str, ...],
    out: Path | None,
    as_json: bool,
) -> int:
    """Find the glass that each stage of SCENE needs with each lens, upright and turned, and the catalogue sizes that do.

    Then the corner loss of densities, the edge of graduated filters, close-up lenses, a stage more, and the height of the box.
    """
    from scenes.io.files import as_json as json_text
    from scenes.questions.filters.text import filters_dict, filters_lines
    from scenes.states.load import load_scene

    loaded = load_scene(scene)
    report = filter_report(loaded, lenses, margin_mm=margin, added_mm=add_stage, close_up=close_ups)
    title = loaded.scene.title
    text = json_text(filters_dict(report, title))
    click.echo(text if as_json else "\n".join(filters_lines(report, title)) + "\n", nl=False)
    if out is not None:
        written = write_filters(out, report, title, text)
        click.echo(f"wrote {len(written)} files to {out}", err=as_json)
    return 0


def filter_report(
    loaded: Loaded, names: Sequence[str], *, margin_mm: float, added_mm: float | None = None, close_up: Sequence[float] = ()
) -> FilterReport:
    """Everything for the named lenses of a scene."""
    from scenes.changes.stages import added_depth_mm, with_stage_added
    from scenes.questions.filters.costs import close_up_costs, costs_of, costs_without_close_ups, rod_answer, standings
    from scenes.questions.filters.effects import close_ups, corner_losses, graded_answers
    from scenes.questions.filters.sizes import stage_answers
    from scenes.questions.filters.text import FilterReport
    from scenes.states.full_range import focus_note, ranged_lenses

    ranged = ranged_lenses(loaded, names)
    lenses, now = [one.lens for one in ranged], standings(ranged)
    depth_mm = added_mm or added_depth_mm(loaded.scene)
    return FilterReport(
        margin_mm=margin_mm,
        stages=stage_answers(loaded, ranged),
        corners=corner_losses(ranged),
        graded=graded_answers(loaded, lenses),
        close_ups=close_ups(loaded, ranged, close_up),
        close_up_costs=close_up_costs(loaded, ranged, now, close_up) if close_up else costs_without_close_ups(ranged, now),
        close_ups_tried=bool(close_up),
        added_mm=depth_mm,
        added=tuple(
            cost for lens in lenses for cost in costs_of(loaded, [lens], now, with_stage_added(loaded.scene, depth_mm, lens))
        ),
        rods=rod_answer(loaded, lenses, now),
        notes=tuple(note for note in map(focus_note, lenses) if note),
    )


def write_filters(out: Path, report: FilterReport, title: str, text: str) -> list[Path]:
    """A picture of the beams in each stage, one of the graduated edges, and the answer as JSON."""
    from scenes.io.files import write_whole
    from scenes.questions.filters.figure import graded_figure, stages_figure
    from scenes.sheets.style import figure_png

    files = {"filters.json": text.encode("utf-8")}
    if report.stages:
        files["filter-sizes.png"] = figure_png(stages_figure(report, title))
    if report.graded:
        files["graduated.png"] = figure_png(graded_figure(report, title))
    for name, data in files.items():
        write_whole(out / name, data)
    return [out / name for name in files]
