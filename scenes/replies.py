"""What a show answers with: replies and their tables, maps of loss, the box as meshes; what a notebook shows of each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenes.answers.answer import Answer, answer_data, answer_text, exit_status_of, faults_of, save, slips_of
from scenes.answers.html import answer_html, table_html
from scenes.answers.table import Column, Table
from scenes.io.writing import as_json
from scenes.states.load import Loaded
from scenes.states.names import state_words
from scenes.states.state import State

if TYPE_CHECKING:
    import trimesh
    from matplotlib.figure import Figure

    from raytrace.shares import VignetteMap
    from scenes.verdicts.check import StateResult


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer, to read, to compute with, or to save."""

    answer: Answer
    loaded: Loaded

    def __repr__(self) -> str:
        """Short: the question and the first line of the page."""
        lines = self.text.strip().splitlines()
        return f"<{self.answer.name}: {lines[0].strip() if lines else 'nothing to say'}>"

    def __str__(self) -> str:
        """The page."""
        return self.text

    def _repr_html_(self) -> str:
        return "".join(f"<p><b>{escape(fault)}</b></p>" for fault in (*self.faults, *slips_of(self.answer))) + answer_html(
            self.answer
        )

    @property
    def text(self) -> str:
        """The page, as the command prints it."""
        return answer_text(self.answer)

    @property
    def faults(self) -> tuple[str, ...]:
        """A sentence for each fault that leaves the light of what was looked at in doubt; a check tells them in its own table."""
        return faults_of(self.answer)

    @property
    def exit_status(self) -> int:
        """0 or 1, as the command's help says: never 0 where a fault leaves the light in doubt."""
        return exit_status_of(self.answer)

    @property
    def json(self) -> dict[str, Any]:
        """What `--json` prints, as plain values."""
        return answer_data(self.answer, self.loaded)

    @property
    def json_text(self) -> str:
        """The same as text."""
        return as_json(self.json)

    @property
    def tables(self) -> tuple[TableView, ...]:
        """The tables of the page; where it lays them out itself, the lists of its JSON."""
        found = [TableView(block) for block in self.answer.blocks(written=False) if isinstance(block, Table)]
        return tuple(found or map(TableView, _tables_in(self.answer.data())))

    @property
    def table(self) -> TableView:
        """The first table of the page; LookupError where it has none."""
        if not (tables := self.tables):
            raise LookupError(f"this page of {self.answer.name} has no table; .text is the page, .json its values")
        return tables[0]

    @property
    def figures(self) -> dict[str, Callable[[], Figure]]:
        """The answer's figures by name, drawn when called."""
        return {name: partial(_drawn, draw) for name, draw in self.answer.sheets()}

    def save(self, folder: str | Path) -> tuple[str, ...]:
        """Everything that the command writes with --out, whole or not at all; the names written come back."""
        own: Callable[[Path], tuple[str, ...]] | None = getattr(self.answer, "save", None)
        return save(self.answer, self.loaded, Path(folder)) if own is None else own(Path(folder))


@dataclass(frozen=True, slots=True)
class TableView:
    """A table of an answer, to read and to compute with."""

    table: Table[Any]

    def __repr__(self) -> str:
        """Short: title and size."""
        heads = ", ".join(" ".join(column.head.split()) for column in self.table.columns if column.head)
        return f"<table of {len(self.table.rows)} rows: {heads}>"

    def __str__(self) -> str:
        """The table as the page has it."""
        return "\n".join(self.table.lines())

    def _repr_html_(self) -> str:
        return table_html(self.table)

    def __len__(self) -> int:
        """How many rows."""
        return len(self.table.rows)

    @property
    def rows(self) -> list[dict[str, Any]]:
        """A dictionary for each row, as in the JSON."""
        return self.table.data()


@dataclass(frozen=True, slots=True, kw_only=True)
class LossMap:
    """A state's map with its verdict: arrays are (H, W), row 0 the top of the picture, column 0 its left."""

    state: State
    result: StateResult
    map: VignetteMap

    def __repr__(self) -> str:
        """Short: state, verdict, worst loss."""
        return f"<LossMap {state_words(self.state)}: {self.word}, {self.worst_loss_stops:.2f} stop at worst>"

    @property
    def word(self) -> str:
        """The verdict in a word, as in the table of `check`."""
        return str(self.result.word)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was noticed about the state, faults among it, a sentence each."""
        return tuple(f"{note.severity}: {note.part}: {note.text}" for note in self.result.notes)

    @property
    def worst_loss_stops(self) -> float:
        """The loss that the verdict is of [stops]: of the guide that loses most, looked at more closely than the map's pixels."""
        return self.result.blamed.worst.loss_stops

    @property
    def x_mm(self) -> NDArray[np.float64]:
        """Places of the columns (W,) on the image plane, to the right of its middle [mm]."""
        return self.map.x_mm

    @property
    def y_mm(self) -> NDArray[np.float64]:
        """Places of the rows (H,) on the image plane, up from its middle [mm]."""
        return self.map.y_mm

    @property
    def loss_stops(self) -> NDArray[np.float32]:
        """Light that opaque parts take [stops], (H, W); inf where all is lost."""
        return self.map.loss_stops

    @property
    def clear_share(self) -> NDArray[np.float32]:
        """Share of the bare lens's light that gets past opaque parts, (H, W), 0 to 1."""
        return self.map.clear_share

    @property
    def transmission(self) -> NDArray[np.float32]:
        """The same with the loss in filters, (H, W), 0 to 1."""
        return self.map.transmission

    @property
    def lens_light(self) -> NDArray[np.float32]:
        """Light of the bare lens relative to its middle, (H, W): its own vignetting."""
        return self.map.lens

    @property
    def blocked_by(self) -> NDArray[np.int16]:
        """Which of `part_names` takes most, (H, W); -1 where nothing is lost."""
        return self.map.blocked_by

    @property
    def part_names(self) -> tuple[str, ...]:
        """Names of the parts that `blocked_by` counts."""
        return self.map.part_names

    def _repr_png_(self) -> bytes:
        from scenes.io.pictures import figure_png

        return figure_png(self.plot())

    def plot(self) -> Figure:
        """The heatmap with guides and verdict; in a notebook the map shows it by itself."""
        from scenes.questions.check.map_sheet import map_sheet

        return _shown_by_itself(map_sheet(self.state, self.result, self.map, self.state.visible_loss_stops))


@dataclass(frozen=True, slots=True)
class Box3D:
    """The box as fitted to one lens."""

    state: State

    def __repr__(self) -> str:
        """Short: lens and number of parts."""
        return f"<Box with the {self.state.lens_name}: {len(self.meshes)} meshes>"

    @property
    def meshes(self) -> dict[str, trimesh.Trimesh]:
        """Closed meshes [mm] of parts, glass and fixtures by name, in the frame of docs/physics.md.

        A second part of a name gets a number.
        """
        from geometry.meshes import part_mesh, slab_mesh

        assembly = self.state.assembly
        solids = [(part.name, part_mesh(part)) for part in (*assembly.parts, *assembly.fixtures)]
        found: dict[str, trimesh.Trimesh] = {}
        for name, mesh in (*solids, *((slab.name, slab_mesh(slab)) for slab in assembly.slabs)):
            found[_free(name, found)] = mesh
        return found


def _drawn(draw: Callable[[], Figure]) -> Figure:
    return _shown_by_itself(draw())


def _shown_by_itself(figure: Figure) -> Figure:
    """The figure as a notebook shows it: without this only those that were made with pyplot, or after it was imported."""
    from scenes.io.pictures import figure_png

    figure.__dict__["_repr_png_"] = partial(figure_png, figure)
    return figure


def _free(name: str, taken: Mapping[str, object]) -> str:
    """The name, with a number where it is taken."""
    number, free = 1, name
    while free in taken:
        number += 1
        free = f"{name} {number}"
    return free


def _tables_in(data: Mapping[str, Any]) -> Iterator[Table[Any]]:
    """The lists of objects at the top of a JSON."""
    for key, rows in data.items():
        if isinstance(rows, list) and rows and all(isinstance(row, dict) for row in rows):
            yield replace(_table_of(rows), title=key)


def _table_of(rows: list[dict[str, Any]]) -> Table[Any]:
    """Rows of a JSON as a table: its plain values, those of tables inside it after their names."""
    flat = [_flat(row) for row in rows]
    keys = dict.fromkeys(key for row in flat for key in row)
    columns = [Column(of=_getter(key), head=key, key=key, words=_words_of, left=isinstance(flat[0].get(key), str)) for key in keys]
    return Table(columns=columns, rows=flat)


def _flat(row: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in row.items():
        found |= {f"{key}.{name}": inner for name, inner in value.items()} if isinstance(value, dict) else {key: value}
    return {key: value for key, value in found.items() if value is None or isinstance(value, str | int | float)}


def _getter(key: str) -> Callable[[Mapping[str, Any]], Any]:
    return lambda row: row.get(key)


def _words_of(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
