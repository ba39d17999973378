"""Options that questions share: said once, with one help text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from inspect import cleandoc
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scenes.answers.completion import names_of

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

FAULTY = "The exit status is 1 while a fault leaves the light in doubt, such as a part that stands in a filter."
ROOM_MM = 2.5  # left round a beam where nobody says more: as much as a pupil that is not measured may be wrong (clear_rule.WALK_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which states of a scene a question is asked of; all where a list is empty."""

    lenses: tuple[str, ...] = ()
    focus: tuple[str, ...] = ()
    f_numbers: tuple[float, ...] = ()

    def of(self, show: Loaded) -> tuple[State, ...]:
        """The states; SceneError where there is none such."""
        from scenes.states.load import wanted_states

        return wanted_states(show, lenses=self.lenses, focus=self.focus, f_numbers=self.f_numbers)


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """How the answer is given."""

    out: Path | None
    as_json: bool
    formats: tuple[str, ...] = ("png",)


def scene_argument(command: Callable[..., int]) -> Callable[..., int]:
    """Add SCENE; the command gets the loaded scene as `show`. Faults that leave its light in doubt are told with the answer."""

    @click.argument("scene", type=click.Path(path_type=Path))
    @wraps(command)
    def with_scene(*args: Any, scene: Path, **more: Any) -> int:
        from scenes.answers.opened import open_scene

        return command(*args, show=open_scene(scene), **more)

    with_scene.__doc__ = f"{cleandoc(command.__doc__ or '')}\n\n{FAULTY}"
    return with_scene


def lens_option(command: Callable[..., int]) -> Callable[..., int]:
    """Add --lens; the command gets `lenses`."""
    words = "Only this lens; may be given more than once."
    return click.option("--lens", "lenses", multiple=True, metavar="NAME", help=words, shell_complete=names_of("lens"))(command)


def _focus_option(command: Callable[..., int]) -> Callable[..., int]:
    words = 'Only this focus: mm from the image plane, "infinity" or "close".'
    return click.option("--focus", multiple=True, metavar="MM", help=words)(command)


def focus_options(command: Callable[..., int]) -> Callable[..., int]:
    """Add --lens and --focus, for questions asked at the widest stop; the command gets them as `wanted`."""

    @lens_option
    @_focus_option
    @wraps(command)
    def with_states(*args: Any, lenses: tuple[str, ...], focus: tuple[str, ...], **more: Any) -> int:
        return command(*args, wanted=Wanted(lenses=lenses, focus=focus), **more)

    return with_states


def state_options(command: Callable[..., int]) -> Callable[..., int]:
    """Add --lens, --focus and --f-number; the command gets them as `wanted`."""

    @lens_option
    @_focus_option
    @click.option("--f-number", "f_numbers", multiple=True, type=float, metavar="N", help="Only this stop.")
    @wraps(command)
    def with_states(*args: Any, lenses: tuple[str, ...], focus: tuple[str, ...], f_numbers: tuple[float, ...], **more: Any) -> int:
        return command(*args, wanted=Wanted(lenses=lenses, focus=focus, f_numbers=f_numbers), **more)

    return with_states


def target_option(command: Callable[..., int]) -> Callable[..., int]:
    """Add --target; the command gets `target`, "glass" or "lens"."""
    kinds = click.Choice(["glass", "lens"])
    return click.option("--target", type=kinds, default="glass", help="Outermost glass (default) or lens front.")(command)


def format_option(*formats: str) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """Add --format; the command gets `formats`, each once."""
    words = f"Pictures as {', '.join(formats[:-1])} or {formats[-1]}; may be given more than once.  [default: png]"
    return click.option(
        "--format", "formats", type=click.Choice(formats), multiple=True, default=("png",), help=words, callback=_each_once
    )


def _each_once(_context: click.Context, _option: click.Parameter, values: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(values))


def output_options(command: Callable[..., int]) -> Callable[..., int]:
    """Add --out (-o) and --json; the command gets them as `output`, and the folder is its own before it begins."""

    @click.option("--out", "-o", type=click.Path(path_type=Path, file_okay=False), help="Folder for pictures, files and the JSON.")
    @click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the page.")
    @format_option("png", "svg", "pdf")
    @wraps(command)
    def with_output(*args: Any, out: Path | None, as_json: bool, formats: tuple[str, ...], **more: Any) -> int:
        output = Output(out=out, as_json=as_json, formats=formats)
        if out is None:
            return command(*args, output=output, **more)
        from scenes.io.folders.result_folder import taken

        with taken(out, click.get_current_context().info_name or ""):
            return command(*args, output=output, **more)

    return with_output
