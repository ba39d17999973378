"""`brimline list`: the catalogue, each value with its source."""

from __future__ import annotations

import click

WHAT = ("formats", "filters", "rods")


@click.command("list", short_help="List camera formats, filter sizes or rods.")
@click.argument("what", type=click.Choice(WHAT))
@click.option("--json", "in_json", is_flag=True, help="Print JSON instead.")
def command(what: str, in_json: bool) -> int:
    """List the catalogue: sizes in mm, and how sure they are. Sources stand in the --json form."""
    from scenes.io.files import as_json
    from scenes.scene_file.catalogue import filter_sizes, formats, rods

    tables = {"formats": formats, "filters": filter_sizes, "rods": rods}
    rows = catalogue_rows(tables[what]().values())
    text = as_json({what: rows}) if in_json else "".join(f"{line}\n" for line in catalogue_lines(rows))
    click.echo(text, nl=False)
    return 0


def catalogue_rows(values: object) -> list[dict[str, object]]:
    """Catalogue values as plain tables, without keys that do not apply."""
    from dataclasses import asdict

    assert hasattr(values, "__iter__")
    return [{key: cell for key, cell in asdict(value).items() if cell is not None} for value in values]


def catalogue_lines(rows: list[dict[str, object]]) -> list[str]:
    """A line for each: name, sizes, confidence, title."""
    width = max((len(str(row["name"])) for row in rows), default=0)
    return [f"{row['name']!s:{width}}  {_sizes(row):34}  {row['confidence']!s:6}  {row.get('title', '')}".rstrip() for row in rows]


def _sizes(row: dict[str, object]) -> str:
    if "spacing_mm" in row:
        return f"{row['diameter_mm']:g} mm, {row['spacing_mm']:g} apart, {row['drop_mm']:g} below"
    size = f"{row['diameter_mm']:g} mm round" if "diameter_mm" in row else f"{row['width_mm']:g} x {row['height_mm']:g} mm"
    return f"{size}, {row['thickness_mm']:g} thick" if "thickness_mm" in row else size
