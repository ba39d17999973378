"""`brimline new`: a commented starter scene."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("new", short_help="Write a commented scene file to start from.")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--design", "for_design", is_flag=True, help="Five lenses and an empty box, for brimline design.")
def command(path: Path, *, for_design: bool) -> int:
    """Write a commented scene file to start from; never over a file that is there."""
    from scenes.io.writing import write_new
    from scenes.scene_file.examples import design_text, starter_text

    write_new(path, design_text() if for_design else starter_text())
    then = "design" if for_design else "check"
    click.echo(f"wrote {path}; put your measures in, then: brimline {then} {path} --out {path.stem}")
    return 0
