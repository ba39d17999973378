"""`brimline schema`: the JSON Schema of scene files, or of what a question prints with --json."""

from __future__ import annotations

import click

from scenes.registry import ALIASES, own_name, questions

LISTED = f"[{'|'.join(questions())}]"


@click.command("schema")
@click.argument("question", required=False, type=click.Choice([*questions(), *ALIASES]), metavar=LISTED)
def command(question: str | None) -> int:
    """Print the JSON Schema of scene files: completion and checks in an editor. With a QUESTION, that of its --json."""
    from scenes.io.reading import read_own_text
    from scenes.io.writing import as_json
    from scenes.scene_file.json_schema import json_schema

    click.echo(read_own_text(f"questions/{own_name(question)}/schema.json") if question else as_json(json_schema()), nl=False)
    return 0
