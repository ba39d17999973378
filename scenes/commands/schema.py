"""`brimline schema`: the JSON Schema of scene files."""

from __future__ import annotations

import click


@click.command("schema", short_help="Print the JSON Schema of scene files, for editors.")
def command() -> int:
    """Print the JSON Schema of scene files: completion and checks in an editor."""
    from scenes.io.files import as_json
    from scenes.scene_file.json_schema import json_schema

    click.echo(as_json(json_schema()), nl=False)
    return 0
