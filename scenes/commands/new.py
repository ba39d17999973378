"""`brimline new`: a commented starter scene."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("new", short_help="Write a commented scene file to start from.")
@click.argument("path", type=click.Path(path_type=Path))
def command(path: Path) -> int:
    """Write a commented scene file to start from; never over a file that is there."""
    from scenes.io.files import write_new
    from scenes.scene_file.examples import starter_text

    write_new(path, starter_text())
    click.echo(f"wrote {path}; put your measures in, then: brimline check {path} --out {path.stem}")
    return 0
