"""`brimline new`, `list` and `schema`: what needs no ray."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click


@click.command("new")
@click.argument("path", type=click.Path(path_type=Path))
def new_command(path: Path) -> int:
    """Write a commented scene to PATH to start from; it runs as it is."""
    from scenes.files import write_new
    from scenes.starter import starter_text

    write_new(path, starter_text())
    click.echo(f"{path} is ready to be changed to your show; then: brimline check {path} --out {path.stem}-results")
    return 0


@click.command("list")
@click.argument("what", type=click.Choice(["formats", "filters", "rods"]))
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def list_command(what: str, as_json: bool) -> int:
    """The catalogue: camera FORMATS, FILTERS or RODS, with where each value is from and how sure it is."""
    from scenes.catalogue import filter_sizes, formats, rods

    held: dict[str, list[dict[str, Any]]] = {
        "formats": [asdict(row) for row in formats().values()],
        "filters": [asdict(row) for row in filter_sizes().values()],
        "rods": [asdict(row) for row in rods().values()],
    }
    rows = held[what]
    if as_json:
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        return 0
    for row in rows:
        click.echo(f"{row['name']:24} {_size(row):34} {row['confidence']:6} {row.get('title', '')}")
        click.echo(click.wrap_text(row["source"], width=100, initial_indent="    ", subsequent_indent="    "))
    return 0


def _size(row: dict[str, Any]) -> str:
    if "spacing_mm" in row:
        return f"dia {row['diameter_mm']:g}, {row['spacing_mm']:g} apart, {row['drop_mm']:g} below axis"
    if row.get("diameter_mm"):
        return f"dia {row['diameter_mm']:g} mm"
    return f"{row['width_mm']:g} x {row['height_mm']:g} mm"


@click.command("schema")
def schema_command() -> int:
    """Print the JSON Schema of scene files, for completion and checks in an editor."""
    from scenes.schema import json_schema

    click.echo(json.dumps(json_schema(), indent=2, ensure_ascii=False))
    return 0
