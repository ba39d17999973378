"""`brimline view`: one state in 3D, in a window or as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.answers.options import Wanted, scene_argument, state_options

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State
    from scenes.view3d.content import Scene3D


@click.command("view")
@scene_argument
@state_options
@click.option(
    "--from",
    "view",
    type=click.Choice(["beside", "front", "section"]),
    default="beside",
    show_default=True,
    help="Where to look from; section cuts the box open.",
)
@click.option("--out", "-o", type=click.Path(path_type=Path, dir_okay=False), help="Write this picture (.png); no window.")
def command(show: Loaded, wanted: Wanted, view: str, out: Path | None) -> int:
    """Look at a state of SCENE in 3D: the box, the beam, and the heatmap in the picture plane.

    Without options it is the scene's first state.

    Exit status: 0 shown or written, 2 the input is at fault or this machine cannot show it.
    """
    from scenes.answers.opened import fault_lines, slip_lines, tell
    from scenes.io.pictures import own_picture
    from scenes.questions.check.one_state import traced_in_3d
    from scenes.states.names import state_words
    from scenes.view3d.content import View
    from scenes.view3d.window import insist_on_window, open_window

    if out is None:
        insist_on_window()  # tracing takes seconds
    elif out.suffix.lower() != ".png":
        raise click.UsageError(f'--out must name a .png file, got "{out}".', ctx=click.get_current_context())
    else:
        own_picture(out)  # before seconds are spent on it
    states = wanted.of(show)
    tell(fault_lines(states[:1]))
    for sentence in slip_lines(states[:1]):
        click.echo(sentence, err=True)
    scene = traced_in_3d(states[0], View(view))
    if out is None:
        open_window(scene)
    else:
        _write(scene, out)
    click.echo(f"{'wrote ' + str(out) if out else 'showed'}: {state_words(states[0])}.{_others(states)}", err=True)
    return 0


def _write(scene: Scene3D, out: Path) -> None:
    """The picture; SceneError where it cannot be drawn."""
    from scenes.io.folders.own_folder import own_folder
    from scenes.io.pictures import own_picture, signed
    from scenes.io.reading import read_bytes
    from scenes.io.writing import write_whole
    from scenes.scene_file.errors import Complaint, SceneError
    from scenes.view3d.render import render_batch
    from scenes.view3d.window import WINDOW_PX

    with own_folder() as folder:
        drawn = folder / "view.png"
        report = render_batch([(scene, drawn, WINDOW_PX)])
        problem = report.problem or next((why for _, why in report.failed), "")
        if problem:
            raise SceneError([Complaint(where="", problem=problem, source=str(out))])
        write_whole(own_picture(out), signed(read_bytes(drawn)))


def _others(states: tuple[State, ...]) -> str:
    if len(states) == 1:
        return ""
    return f" It is the first of {len(states)} states; to see another, add --lens, --focus or --f-number."
