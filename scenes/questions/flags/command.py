"""`brimline flags`: how far in each flag may come, and how far it must to cut a light."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.changes.flag_angles import FlagSummary
    from scenes.questions.flags.changes import Mending
    from scenes.questions.flags.lights import LightAnswer
    from scenes.states.state import State

CLEAR, IN_FRAME = 0, 1


@click.command("flags", short_help="Say how far in each flag may come, and how far it must to cut a light.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be given more than once.")
@click.option("--focus", multiple=True, metavar="MM", help='Only this focus: mm from the image plane, "infinity" or "close".')
@click.option("--f-number", "f_numbers", multiple=True, type=float, metavar="N", help="Only this stop.")
@click.option("--changes", is_flag=True, help="For lights that no setting keeps off: the least changes that would. Takes longer.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for a picture of each flag, over older ones.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table.")
def command(
    scene: Path,
    lenses: tuple[str, ...],
    focus: tuple[str, ...],
    f_numbers: tuple[float, ...],
    changes: bool,
    out: Path | None,
    as_json: bool,
) -> int:
    """Say how far in each flag of SCENE may come and keep the frame clear, and how far it must to keep lights off the glass.

    Exit status: 0 no flag, as it is set, costs more than the visible loss; 1 one does; 2 the input is at fault.
    """
    from scenes.answers.opened import open_scene
    from scenes.changes.flag_angles import clear_angles, flag_states, joint_loss, summaries
    from scenes.changes.flag_collisions import Crowd
    from scenes.io.files import as_json as json_text
    from scenes.questions.flags.lights import Grounds, light_answers, light_fates
    from scenes.questions.flags.lights_text import light_dict, lights_lines
    from scenes.questions.flags.text import caution_lines, flags_dict, flags_lines, joint_lines, together_lines
    from scenes.runtime.progress import progress
    from scenes.states.load import plans_of
    from scenes.states.select import selected
    from scenes.states.stray import stray_lights

    loaded = open_scene(scene)
    plans = selected(plans_of(loaded), lenses=lenses, focus=focus, f_numbers=f_numbers)
    title, visible = loaded.scene.title, loaded.scene.check.visible_loss_stops
    with progress(2 * len(plans), "flags") as tick:
        worked = list(flag_states(plans, tick))
        states = [state for _, found in worked for state in found]
        flags = summaries(states)
        joint = joint_loss([work for work, _ in worked], flags)
        grounds = Grounds()
        fates = list(light_fates(grounds, stray_lights(loaded.scene), states, flags, tick))
    crowd = Crowd(plans)
    lights = light_answers(loaded.scene, fates, flags, crowd.met)
    met = crowd.met(clear_angles(flags))
    mending = mended_by(plans, lights) if changes else None
    if as_json:
        data = flags_dict(flags, title, visible, joint, met) | {"lights": [light_dict(light, mending) for light in lights]}
        click.echo(json_text(data), nl=False)
    else:
        tables = [*flags_lines(flags, title, visible), *joint_lines(joint, visible), *together_lines(met)]
        click.echo("\n".join([*tables, *lights_lines(lights, mending), "", *caution_lines()]))
    if out is not None:
        written = write_pictures(out, flags, lights, title, visible)
        click.echo(f"wrote {len(written)} pictures to {out}", err=as_json)
    return IN_FRAME if any(flag.darkens for flag in flags) else CLEAR


def mended_by(plans: Sequence[State], lights: Sequence[LightAnswer]) -> tuple[Mending, ...]:
    """The least changes for every light that no setting of the flags keeps off."""
    from scenes.questions.flags.changes import Workshop

    shop = Workshop(plans)
    return tuple(shop.mend(light.light, skip=[fate.plan.key for fate in light.in_picture]) for light in lights if light.is_open)


def write_pictures(
    out: Path, flags: Sequence[FlagSummary], lights: Sequence[LightAnswer], title: str, visible_stops: float
) -> list[Path]:
    """A picture for each flag."""
    from scenes.io.file_names import file_names
    from scenes.io.files import write_whole
    from scenes.io.pictures import figure_png
    from scenes.questions.flags.figure import flag_figure, flag_picture

    paths, names = [], file_names([flag.name for flag in flags], "flag")
    for flag in flags:
        windows = [(light.light.name, window) for light in lights for window in light.windows if window.flag.name == flag.name]
        paths.append(out / f"flag-{names[flag.name]}.png")
        write_whole(paths[-1], figure_png(flag_figure(flag_picture(flag, windows, visible_stops), title)))
    return paths
