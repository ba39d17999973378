"""`brimline lens`: lens metadata of open standards, or a table of measures, as a [[lens]] for a scene file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import click

from scenes.scene_file.messages import plain

MM = click.FloatRange(min=0.0, min_open=True)
Command = TypeVar("Command", bound=Callable[..., Any])
CONFIRMABLE = ("half_field_deg", "pupil_behind_front_mm")


def _mm(name: str, words: str) -> Callable[[Command], Command]:
    return click.option(name, type=MM, help=words)


@click.command("lens", short_help="Turn lens metadata or measures into a [[lens]] for a scene.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--name", help="Name of the lens in the scene.  [default: the first file's name]")
@click.option("--f-number", type=MM, help="The lens's widest stop; metadata has only the stop that was set.")
@_mm("--front-diameter-mm", "Outside of the barrel at the front; no standard holds it.")
@_mm("--front-to-sensor-mm", "Front rim to image plane at infinity; no standard holds it.")
@click.option(
    "--front-travel-mm",
    type=float,
    help="How far the front rim has moved toward the scene at the nearest focus; 0 if it stands still.",
)
@_mm("--front-glass-mm", "Clear opening of the front ring.")
@_mm("--close-focus-mm", "Nearest focus, from the image plane.")
@_mm("--width-mm", "Width of the picture that you record.  [default: the samples' active area]")
@_mm("--height-mm", "Height of the picture that you record.")
@click.option("--squeeze", type=click.FloatRange(min=1.0), help="Squeeze of an anamorphic lens, where the files do not have it.")
@click.option("--no-distortion", is_flag=True, help="The lens has no visible distortion; without it, the files have to state it.")
@click.option("--pupil-in-mm", is_flag=True, help="The files' entrancePupilOffset is in mm, against its standard.")
@click.option("--focus-in-mm", is_flag=True, help="The files' focusDistance is in mm, against its standard.")
@click.option(
    "--confirmed",
    multiple=True,
    type=click.Choice(CONFIRMABLE),
    help="You have checked this, although other numbers speak against it.",
)
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), help="File to write instead of the screen; never over one that is there."
)
def command(files: tuple[Path, ...], name: str | None, out: Path | None, pupil_in_mm: bool, focus_in_mm: bool, **given: Any) -> int:
    """Turn FILES into a [[lens]] with a row for each focus, and list what to check.

    FILES: OpenTrackIO samples or clips (JSON), OpenEXR frames, or tables (CSV) with the columns focus_mm, pupil_behind_front_mm,
    half_field_deg and so on. Whatever is missing and could make the beam too narrow is asked for, not assumed.
    """
    from scenes.cautions.doubtful_numbers import doubtful_row_words
    from scenes.io.writing import write_new
    from scenes.lens_data.files import readings_of, shown_name
    from scenes.lens_data.given import Given
    from scenes.lens_data.rows import asked_words, lens_table
    from scenes.lens_data.toml_text import lens_text
    from scenes.scene_file.lens_fragment import insist_on_lens

    readings = [reading for path in files for reading in readings_of(path, pupil_in_mm=pupil_in_mm, focus_in_mm=focus_in_mm)]
    table = lens_table(readings, Given(name=name or files[0].stem, **given))
    names = [shown_name(path) for path in files]
    lens = insist_on_lens(lens_text(table, names), " and ".join(names))
    table = replace(table, cautions=(*table.cautions, *doubtful_row_words(lens)))
    text = lens_text(table, names)
    if out is None:
        click.echo(text, nl=False)
    else:
        write_new(out, text)
        click.echo(f"wrote {out}: {_counted(len(table.rows))}; put it into your scene file")
    for words in asked_words(table):
        click.echo(f"check: {words}", err=True)
    return 0


def _counted(rows: int) -> str:
    return f"a lens with {plain(rows)} row{'' if rows == 1 else 's'}"
