"""An answer as a piece of a web page, for notebooks: the same words as the printed page, tables as tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape
from itertools import groupby
from typing import Any

from scenes.answers.answer import Answer
from scenes.answers.blocks import Block, Gap, Heading, Lines, NextStep, Note, Paragraph
from scenes.answers.table import Column, Table

TABLE_STYLE = "border-collapse:collapse;margin:0.6em 0"
CELL_STYLE = {True: "text-align:left;padding:1px 10px", False: "text-align:right;padding:1px 10px"}


def answer_html(answer: Answer) -> str:
    """The page of an answer."""
    return f'<div class="brimline">{"".join(_pieces(answer.blocks(written=False)))}</div>'


def _pieces(blocks: Iterable[Block]) -> Iterator[str]:
    for kind, group in groupby(blocks, key=type):
        pieces = "".join(block_html(block) for block in group)
        yield f"<ul>{pieces}</ul>" if kind is Note else pieces


def block_html(block: Block) -> str:
    """One block; text of a scene never becomes markup."""
    match block:
        case Heading():
            return f"<h4>{escape(block.text)}</h4>"
        case Paragraph():
            return f"<p>{escape(block.text)}</p>"
        case Lines():
            return f"<pre>{escape(chr(10).join(block.lines))}</pre>"
        case Note():
            return f"<li>{escape(block.text)}</li>"
        case NextStep():
            return f"<p><b>Next:</b> {escape(block.text)}</p>"
        case Gap():
            return ""
        case Table():
            return table_html(block)


def table_html(table: Table[Any]) -> str:
    """A table with its heads, its rows with the notes under them, and its foot."""
    shown = [column for column in table.columns if column.head]
    caption = f"<caption>{escape(table.title)}</caption>" if table.title else ""
    heads = "".join(_cell("th", column.head, left=column.left) for column in shown)
    body = "".join(_row(row, shown) + _notes(table.notes_of(row), len(shown)) for row in table.rows)
    foot = "".join(_row(row, shown) for row in table.foot)
    end = f"<tfoot>{foot}</tfoot>" if foot else ""
    return f'<table style="{TABLE_STYLE}">{caption}<thead><tr>{heads}</tr></thead><tbody>{body}</tbody>{end}</table>'


def _row(row: Any, shown: list[Column[Any]]) -> str:
    return f"<tr>{''.join(_cell('td', column.cell(row), left=column.left) for column in shown)}</tr>"


def _notes(lines: Iterable[str], columns: int) -> str:
    words = " ".join(line.strip() for line in lines)
    return f'<tr><td colspan="{columns}" style="{CELL_STYLE[True]}">{escape(words)}</td></tr>' if words else ""


def _cell(tag: str, words: str, *, left: bool) -> str:
    return f'<{tag} style="{CELL_STYLE[left]}">{escape(words).replace(chr(10), "<br>")}</{tag}>'
