"""A page for each command, made from its own --help: what people read here and what the program says cannot differ."""

from __future__ import annotations

from pathlib import Path

import click
from worked_examples import Example, examples

from scenes.cli import brimline, grouped
from scenes.registry import COMMANDS, EXAMPLES

WIDTH = 96  # of --help on a page, as a wide terminal shows it
MORE = {  # command: the page that tells more
    "check": "results", "masks": "masks", "filters": "filters", "flags": "flags", "tolerances": "tolerances", "widest": "widest",
    "bokeh": "bokeh", "ghosts": "ghosts", "sun": "ghosts", "leaks": "stray-light", "plan": "plan",
    "compare": "compare", "lens": "lens-data", "design": "design", "make": "make",
    "verify": "results", "new": "getting-started", "schema": "scene-file", "list": "nomenclature",
}  # fmt: skip
PICTURES = {  # command: a picture that it made of the demo show, and what is on it
    "check": ("demo-map.png", "The map of one state: where light is lost, how much, and which part takes it"),
    "demo": ("demo-box.png", "The box of the demo show in 3D, the part to blame in colour"),
    "view": ("demo-box.png", "A state in 3D"),
    "flags": ("demo-flags.png", "How far a flag may come in, and how far it must"),
    "sun": ("demo-sun.png", "The sun's day: over the sky, and by the hour"),
}


def write_pages(folder: Path) -> None:
    """Write index.md and a page for each command into a folder, where they differ from what is there."""
    folder.mkdir(exist_ok=True)
    worked = examples(folder)
    texts = {"index": index_text(), **{name: page_text(name, worked.get(name)) for name in COMMANDS}}
    for name, text in texts.items():
        page = folder / f"{name}.md"
        if not page.exists() or page.read_text(encoding="utf-8") != text:
            page.write_text(text, encoding="utf-8")


def index_text() -> str:
    """All commands in their groups."""
    lines = ["# Commands", "", "`brimline --help` lists them, `brimline NAME --help` says what each can do.", ""]
    for group, names in grouped().items():
        lines += [f"## {group}", "", *(f"- [`{name}`]({name}.md): {COMMANDS[name][1]}" for name in names), ""]
    listed = [name for names in grouped().values() for name in names]
    return "\n".join([*lines, "```{toctree}", ":hidden:", "", *listed, "```", ""])


def page_text(name: str, worked: Example | None = None) -> str:
    """One command: what it is for, examples, its picture, its options, and what it says of the starter scene."""
    lines = [f"# brimline {name}", "", COMMANDS[name][1], ""]
    for typed, words in EXAMPLES.get(name, ()):
        lines += [f"{words[0].upper()}{words[1:]}{'' if words[-1] in '?.' else ':'}", "", "```sh", f"brimline {typed}", "```", ""]
    if name in PICTURES and not (worked and worked.picture):
        picture, words = PICTURES[name]
        lines += [f"![{words}](../pictures/{picture})", ""]
    if name in MORE:
        lines += [f"More: [{MORE[name]}](../{MORE[name]}.md)", ""]
    lines += example_lines(worked) if worked else []
    return "\n".join([*lines, "## Options", "", "```text", help_text(name), "```", ""])


def example_lines(worked: Example) -> list[str]:
    """What a command printed and drew while these pages were built."""
    lines = ["## Worked example", "", "On the scene that `brimline new` writes; run when this page was built.", ""]
    lines += ["```text", f"$ brimline {worked.typed}", worked.printed, "```", ""]
    return [*lines, f"![A picture that this run left]({worked.picture})", ""] if worked.picture else lines


def help_text(name: str) -> str:
    """A command's --help without its examples, which stand above."""
    command = brimline.get_command(click.Context(brimline), name)
    assert command is not None
    command.epilog = None
    context = click.Context(
        command, info_name=f"brimline {name}", terminal_width=WIDTH, max_content_width=WIDTH, help_option_names=["-h", "--help"]
    )
    return command.get_help(context)
