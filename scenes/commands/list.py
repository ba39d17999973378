"""`brimline list`: the catalogue, each value with its source, and what crews call things."""

from __future__ import annotations

from typing import Any

import click

LISTS = {
    "formats": "camera formats, for [camera] format",
    "filters": "filter sizes, for filter = { size }",
    "rods": "rods that carry a box, for [box] mount",
    "materials": "materials that boxes are made of, for [make] material",
    "words": "what crews say, and what it is called here",
}


@click.command("list", short_help="List camera formats, filter sizes, rods, materials, or words used here.")
@click.argument("what", type=click.Choice(tuple(LISTS)), required=False)
@click.option("--json", "in_json", is_flag=True, help="Print JSON instead.")
def command(what: str | None, in_json: bool) -> int:
    """List WHAT: sizes in mm, and how sure they are, or words; without WHAT, what can be listed. --json gives the sources too."""
    from scenes.io.writing import as_json

    rows = rows_of(what)
    text = as_json({what or "lists": rows}) if in_json else "".join(f"{line}\n" for line in lines_of(what, rows))
    click.echo(text, nl=False)
    return 0


def rows_of(what: str | None) -> list[dict[str, Any]]:
    """A list as plain tables; without a name, the lists that there are."""
    from scenes.scene_file.catalogue import filter_sizes, formats, materials, rods
    from scenes.scene_file.trade_words import TRADE_WORDS

    if what is None:
        return [{"name": name, "title": words} for name, words in LISTS.items()]
    if what == "words":
        return catalogue_rows(TRADE_WORDS)
    return catalogue_rows({"formats": formats, "filters": filter_sizes, "rods": rods, "materials": materials}[what]().values())


def lines_of(what: str | None, rows: list[dict[str, Any]]) -> list[str]:
    """A list for people, a line for each row."""
    if what is None:
        return [f"brimline list {row['name']:9}  {row['title']}" for row in rows]
    return word_lines(rows) if what == "words" else catalogue_lines(rows)


def word_lines(rows: list[dict[str, Any]]) -> list[str]:
    """What is said on set, what it is called here, and how a scene file has it."""
    said = [", ".join(row["on_set"]) for row in rows]
    wide, here = max(map(len, said)), max(len(row["here"]) for row in rows)
    return [f"{words:{wide}}  {row['here']:{here}}  {row['scene_file']}" for words, row in zip(said, rows, strict=True)]


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
    if "density_g_cm3" in row:
        return f"{row['density_g_cm3']:.2f} g/cm3, {row['modulus_gpa']:g} GPa"
    if "spacing_mm" in row:
        return f"{row['diameter_mm']:g} mm, {row['spacing_mm']:g} apart, {row['drop_mm']:g} below"
    size = f"{row['diameter_mm']:g} mm round" if "diameter_mm" in row else f"{row['width_mm']:g} x {row['height_mm']:g} mm"
    return f"{size}, {row['thickness_mm']:g} thick" if "thickness_mm" in row else size
