"""`brimline bokeh`: out-of-focus highlights through lens and box."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scenes.questions.bokeh.report import StateBokeh

WHOLE, BITTEN = 0, 1


@click.command("bokeh", short_help="Show how the box bites into out-of-focus highlights, and what it takes on the axis.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--ahead", "ahead", metavar="MM", help='Where the highlights stand: mm ahead of the lens front, or "infinity".')
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--f-number", "f_numbers", multiple=True, type=float, metavar="N", help="Only this stop.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of a table, every place of the frame in it.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for a page of pictures for each state.")
def command(
    scene: Path, ahead: str | None, lenses: tuple[str, ...], focus: tuple[str, ...], f_numbers: tuple[float, ...], as_json: bool,
    out: Path | None,
) -> int:  # fmt: skip
    """Draw highlights that are out of focus as SCENE's lenses and box show them, across the frame, box off and on.

    Exit status: 0 every highlight is whole, 1 the box bites into one, 2 the input is at fault.
    """
    from scenes.questions.bokeh.report import SEEN_SHARE, as_data, bokeh_of, table
    from scenes.states.load import load_scene, plans_of
    from scenes.states.select import selected

    plans = selected(plans_of(load_scene(scene)), lenses=lenses, focus=focus, f_numbers=f_numbers)
    states = bokeh_of(plans, _ahead_mm(ahead))
    lines = table(states, len(plans) - len(states))
    click.echo(json.dumps(as_data(states), indent=1, allow_nan=False) if as_json else "\n".join(lines))
    if out is not None:
        _write(out, states)
    return BITTEN if any(state.blurs.lost_share.max() >= SEEN_SHARE for state in states) else WHOLE


def _ahead_mm(ahead: str | None) -> float | None:
    from scenes.scene_file.errors import Complaint, SceneError

    if ahead is None:
        return None
    try:
        value = float("inf") if ahead.strip().lower() == "infinity" else float(ahead)
    except ValueError:
        value = 0.0
    if not value > 0.0:
        problem = f'must be mm ahead of the lens front, more than 0, or "infinity", found "{ahead}"; write --ahead 2000'
        raise SceneError([Complaint(where="", problem=problem, source="--ahead")])
    return value


def _write(out: Path, states: Sequence[StateBokeh]) -> None:
    from scenes.io.files import write_whole
    from scenes.questions.bokeh.figure import bokeh_figure
    from scenes.sheets.style import figure_png

    for state in states:
        write_whole(out / f"bokeh_{state.plan.key}.png", figure_png(bokeh_figure(state)))
    click.echo(f"{len(states)} pages written to {out}", err=True)
