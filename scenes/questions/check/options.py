"""Options that every command which traces a show shares."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any

import click

from scenes.answers.options import format_option

if TYPE_CHECKING:
    from scenes.questions.check.run import Asked

WAYS = ("coverage", "reference", "mesh")
DEVICES = ("cpu", "gpu")
FULL = "full"


class Pixels(click.ParamType[int | str]):
    """A map width in pixels, or `full`."""

    name = "WIDTH"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int | str:
        """The number of columns, or the word."""
        if value == FULL:
            return FULL
        if str(value).isdecimal() and 1 <= int(value) <= 32768:
            return int(value)
        return self.fail(f'must be a whole number of pixels from 1 to 32768, or "{FULL}", got "{value}"', param, ctx)


OPTIONS: dict[str, Callable[[Callable[..., int]], Callable[..., int]]] = {  # by the name of their value
    "engine": click.option("--engine", type=click.Choice(WAYS), default=WAYS[0], show_default=True, help="Way of computing."),
    "device": click.option(
        "--device",
        type=click.Choice(DEVICES),
        default=DEVICES[0],
        show_default=True,
        help="Where the coverage way makes its maps; gpu needs the extra `gpu`.",
    ),
    "pixels": click.option("--pixels", type=Pixels(), help="Width of the maps; `full` for every pixel.  [default: the way's own]"),
    "formats": format_option("png", "svg", "pdf", "tiff", "exr"),
    "all_3d": click.option("--all-3d", is_flag=True, help="3D pictures of every state, not only of each lens's worst."),
    "no_3d": click.option("--no-3d", is_flag=True, help="Leave the 3D pictures out."),
    "no_pictures": click.option("--no-pictures", is_flag=True, help="Leave all pictures out."),
    "threads": click.option(
        "--threads",
        type=click.IntRange(1, 256),
        default=os.cpu_count() or 1,
        help="Cores to use, by threads and, where there are many states, by processes; the result does not depend on it.",
    ),
    "parts": click.option(
        "--parts", is_flag=True, help="Also tell of every part its clearance and room; some ten seconds a state."
    ),
    "no_range": click.option(
        "--no-range", is_flag=True, help="Leave out what lies between the states: each lens from infinity to its nearest focus."
    ),
    "verbose": click.option(
        "--verbose", "-v", is_flag=True, help="Also list every state and frame guide, with what comes nearest."
    ),
    "quiet": click.option("--quiet", "-q", is_flag=True, help="Print the first line, the answer, alone."),
    "fresh": click.option(
        "--fresh", is_flag=True, help="Compute every state, also those that a run that was stopped had finished."
    ),
    "prove": click.option(
        "--prove", is_flag=True, help="Also prove what is called clear: planes between light and parts, in proof.json."
    ),
    "as_json": click.option("--json", "as_json", is_flag=True, help="Print results.json instead of the table."),
}


def run_options(command: Callable[..., int]) -> Callable[..., int]:
    """Add the options; the command gets them as `asked`."""

    @wraps(command)
    def with_options(*args: Any, **values: Any) -> int:
        own = {name: values.pop(name) for name in OPTIONS}
        return command(*args, asked=_asked(**own), **values)

    wrapped: Callable[..., int] = with_options
    for option in reversed(OPTIONS.values()):
        wrapped = option(wrapped)
    return wrapped


def _asked(
    *,
    engine: str,
    device: str,
    pixels: int | str | None,
    no_3d: bool,
    no_pictures: bool,
    all_3d: bool,
    no_range: bool,
    verbose: bool,
    quiet: bool,
    **same: Any,
) -> Asked:
    """What the options' values ask for; those in `same` as they are."""
    from scenes.io.pictures import exr_trouble
    from scenes.questions.check.run import ANSWER, EVERY_STATE, OVERVIEW, Asked
    from scenes.runtime.engines import device_trouble

    if trouble := device_trouble(engine, device) or exr_trouble(same["formats"]):
        raise click.UsageError(f"{trouble}.", ctx=click.get_current_context())
    if all_3d and (no_3d or no_pictures):
        other = "--no-3d" if no_3d else "--no-pictures"
        both = f"--all-3d asks for 3D pictures and {other} for none; leave one out."
        raise click.UsageError(both, ctx=click.get_current_context())
    return Asked(
        engine=engine,
        device=device,
        columns=pixels,
        flat=not no_pictures,
        solid=not (no_3d or no_pictures),
        all_3d=all_3d,
        between=not no_range,
        detail=ANSWER if quiet else EVERY_STATE if verbose else OVERVIEW,
        **same,
    )
