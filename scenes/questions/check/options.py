"""Options that every command which traces a show shares."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from scenes.answers.options import format_option

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


def run_options(command: Callable[..., int]) -> Callable[..., int]:
    """Add the options; the command gets them as `asked`."""

    @click.option("--engine", type=click.Choice(WAYS), default=WAYS[0], show_default=True, help="Way of computing.")
    @click.option(
        "--device",
        type=click.Choice(DEVICES),
        default=DEVICES[0],
        show_default=True,
        help="Where the coverage way makes its maps; gpu needs the extra `gpu`.",
    )
    @click.option("--pixels", type=Pixels(), help="Width of the maps; `full` for every pixel.  [default: the way's own]")
    @format_option("png", "svg", "pdf", "tiff")
    @click.option("--no-3d", is_flag=True, help="Leave the 3D pictures out.")
    @click.option("--no-pictures", is_flag=True, help="Leave all pictures out.")
    @click.option(
        "--threads",
        type=click.IntRange(1, 256),
        default=os.cpu_count() or 1,
        help="Cores to use, by threads and, where there are many states, by processes; the result does not depend on it.",
    )
    @click.option("--parts", is_flag=True, help="Also tell of every part its clearance and room; some ten seconds a state.")
    @click.option(
        "--no-range", is_flag=True, help="Leave out what lies between the states: each lens from infinity to its nearest focus."
    )
    @click.option("--verbose", "-v", is_flag=True, help="Also list every state and frame guide, with what comes nearest.")
    @click.option("--quiet", "-q", is_flag=True, help="Print the first line, the answer, alone.")
    @click.option("--fresh", is_flag=True, help="Compute every state, also those that a run that was stopped had finished.")
    @click.option("--prove", is_flag=True, help="Also prove what is called clear: planes between light and parts, in proof.json.")
    @click.option("--json", "as_json", is_flag=True, help="Print results.json instead of the table.")
    @wraps(command)
    def with_options(
        *args: Any,
        engine: str,
        device: str,
        pixels: int | str | None,
        formats: tuple[str, ...],
        no_3d: bool,
        no_pictures: bool,
        threads: int,
        parts: bool,
        no_range: bool,
        verbose: bool,
        quiet: bool,
        prove: bool,
        as_json: bool,
        fresh: bool,
        **more: Any,
    ) -> int:
        from scenes.questions.check.run import ANSWER, EVERY_STATE, OVERVIEW, Asked
        from scenes.runtime.engines import device_trouble

        if trouble := device_trouble(engine, device):
            raise click.UsageError(f"{trouble}.", ctx=click.get_current_context())
        asked = Asked(
            engine=engine,
            device=device,
            columns=pixels,
            formats=tuple(dict.fromkeys(formats)),
            flat=not no_pictures,
            solid=not (no_3d or no_pictures),
            threads=threads,
            parts=parts,
            between=not no_range,
            detail=ANSWER if quiet else EVERY_STATE if verbose else OVERVIEW,
            prove=prove,
            as_json=as_json,
            fresh=fresh,
        )
        return command(*args, asked=asked, **more)

    return with_options
