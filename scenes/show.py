"""The Python face: a show is loaded, changed by key paths, and asked the questions that the commands answer.

`import brimline` gives `load`; everything here is also what a notebook shows.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from html import escape
from importlib import import_module
from inspect import Parameter, signature
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenes.answers.answer import Answer, answer_data, answer_text, save
from scenes.answers.html import answer_html, table_html
from scenes.answers.opened import contradictions_of
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table
from scenes.io.files import as_json
from scenes.registry import COMMANDS, questions
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import did_you_mean
from scenes.states.load import Loaded, changed, load_scene, plans_of
from scenes.states.names import state_words
from scenes.states.select import selected
from scenes.states.state import State

if TYPE_CHECKING:
    import trimesh
    from matplotlib.figure import Figure

    from raytrace.shares import VignetteMap
    from scenes.questions.check.verdicts.check import StateResult

MAP_COLUMNS = 512
# Of a check, by the names of `Asked`.
RUN_OPTIONS = ("columns", "engine", "device", "threads", "parts", "flat", "solid")
# What parameters of an `answer` are called here; `tick` shows how far a command is.
SAID_AS = {"wanted": ("lens", "focus", "f_number"), "lenses": ("lens",), "asked": RUN_OPTIONS, "tick": ()}
MOST_COLUMNS = 32768
FULL = "full"
Focus = float | str


def load(path: str | Path) -> Show:
    """The show of a scene file; SceneError with every complaint about it."""
    return Show(load_scene(Path(path)))


@dataclass(frozen=True, slots=True)
class Show:
    """A scene with the files that it names. Never changed in place: `with_values` gives another.

    Every question that `brimline --help` lists is a method: show.flags(), show.beam(at_mm=40), show.check(lens="25").
    """

    loaded: Loaded

    def __repr__(self) -> str:
        """Short: title, lenses."""
        return f"<Show {self.title!r}: {', '.join(self.lenses)}>"

    def __dir__(self) -> list[str]:
        """Its own names and the questions."""
        return sorted({*dir(type(self)), *questions()})

    def __getattr__(self, name: str) -> Callable[..., Reply]:
        """A question by its name, as a method."""
        if name.startswith("_") or name not in questions():
            raise AttributeError(f'a show has no "{name}"; {did_you_mean(name, [n for n in dir(self) if n[0] != "_"])}')
        return _method(self, name)

    @property
    def title(self) -> str:
        """The scene's title, else its file's name."""
        return self.loaded.scene.title or self.loaded.file_name

    @property
    def lenses(self) -> tuple[str, ...]:
        """Names of the lenses."""
        return tuple(lens.name for lens in self.loaded.scene.lens)

    @property
    def states(self) -> tuple[State, ...]:
        """Every state that [check] asks for; SceneError for every table that nothing can be built from."""
        return plans_of(self.loaded)

    def with_values(self, values: Mapping[str, Any]) -> Show:
        """The show with other values at key paths such as "box.flag[top flag].angle_deg" or "box.hood"; None takes a key away.

        They are checked as those of a file are. SceneError, with the same sentences, for a value that a file could not have, and
        for a path that leads nowhere.
        """
        return Show(changed(self.loaded, values))

    def state(self, lens: str, *, focus: Focus | None = None, f_number: float | None = None) -> State:
        """One state by its key, or by lens, focus (mm, "infinity", "close") and stop; the first where several fit."""
        focus_words, stops = _words(focus), () if f_number is None else (f_number,)
        with _python_words():
            if lens in self.lenses:
                return selected(plans_of(self.loaded, [lens]), focus=focus_words, f_numbers=stops)[0]
            named = [state for state in self.states if state.key == lens]
            lenses = () if named else (lens,)
            return selected(named or self.states, lenses=lenses, focus=focus_words, f_numbers=stops)[0]

    def ask(self, question: str, **options: Any) -> Reply:
        """The answer to a question by the name of its command.

        Its options are those of the command in Python's spelling; lens, focus and f_number take one value or several.
        """
        if question not in questions():
            raise SceneError(
                [Complaint("", f'there is no question "{question}"; {did_you_mean(question, questions())}', None, "ask")]
            )
        answer = _answer_of(question)
        with _python_words():
            return Reply(answer(self.loaded, **_options(question, answer, options)), self.loaded)

    def map(
        self,
        lens: str,
        *,
        focus: Focus | None = None,
        f_number: float | None = None,
        columns: int | str = MAP_COLUMNS,
        engine: str = "coverage",
    ) -> LossMap:
        """What the box takes from one state's picture, judged by the scene's own limits; `columns` "full" for every pixel."""
        from scenes.questions.check.single_state import traced

        state = self.state(lens, focus=focus, f_number=f_number)
        result, found = traced(state, columns=_columns(columns), engine=engine)
        return LossMap(state=state, result=result, map=found)

    def view(self, lens: str, *, focus: Focus | None = None, f_number: float | None = None) -> Any:
        """A window with the box in 3D and the heatmap in the picture plane, until it is closed; the pyvista plotter comes back.

        SceneError where this machine has no display.
        """
        from scenes.questions.check.single_state import scene3d_of
        from scenes.view3d.content import View
        from scenes.view3d.window import insist_on_window, open_window

        insist_on_window()
        return open_window(scene3d_of(self.state(lens, focus=focus, f_number=f_number), View.BESIDE))

    def box(self, lens: str | None = None) -> Box3D:
        """The box as fitted to a lens, the first unless named, as meshes."""
        return Box3D(self.state(lens or self.lenses[0]))


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
        return "".join(f"<p><b>{escape(fault)}</b></p>" for fault in self.faults) + answer_html(self.answer)

    @property
    def text(self) -> str:
        """The page, as the command prints it, after the faults that it tells beside."""
        return "".join(f"{fault}\n" for fault in self.faults) + answer_text(self.answer)

    @property
    def faults(self) -> tuple[str, ...]:
        """A sentence for each two numbers of the scene that speak against each other; a check tells them in its own table."""
        return () if self.answer.name == "check" else contradictions_of(self.loaded)

    @property
    def exit_status(self) -> int:
        """0 or 1, as the command's help says: never 0 where numbers of the scene speak against each other."""
        return max(self.answer.exit_status, int(bool(self.faults)))

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
        from scenes.questions.check.one_state import map_sheet
        from scenes.questions.check.single_state import limits_of

        return _shown_by_itself(map_sheet(self.state, self.result, self.map, limits_of(self.state)))


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


def _columns(columns: int | str) -> int | str:
    """A map's width, as `--pixels` takes it."""
    if columns == FULL or (isinstance(columns, int) and not isinstance(columns, bool) and 1 <= columns <= MOST_COLUMNS):
        return columns
    problem = f'must be a whole number of pixels from 1 to {MOST_COLUMNS}, or "{FULL}", got {columns!r}'
    raise SceneError([Complaint(where="", problem=problem, source="columns")])


def _answer_of(question: str) -> Callable[..., Answer]:
    found: Callable[..., Answer] = import_module(f"scenes.questions.{question}.answer").answer
    return found


def _method(show: Show, question: str) -> Callable[..., Reply]:
    def method(**options: Any) -> Reply:
        return show.ask(question, **options)

    answer = _answer_of(question)
    method.__name__ = method.__qualname__ = question
    method.__doc__ = f"{COMMANDS[question][1]}\n\nOptions: {', '.join(_option_names(answer)) or 'none'}."
    return method


def _parameters(answer: Callable[..., Answer]) -> dict[str, Parameter]:
    return dict(list(signature(answer).parameters.items())[1:])


def _option_names(answer: Callable[..., Answer]) -> list[str]:
    """What a question may be told in Python: states by lens, focus and f_number, and its own options."""
    return [said for name in _parameters(answer) for said in SAID_AS.get(name, (name,))]


def _options(question: str, answer: Callable[..., Answer], given: Mapping[str, Any]) -> dict[str, Any]:
    """Options as the question's `answer` takes them; SceneError for one that it does not have, and for one that it needs."""
    known, parameters = _option_names(answer), _parameters(answer)
    for name in given:
        if name not in {*known, *parameters}:
            raise _option_error(question, f'has no option "{name}"; {did_you_mean(name, known)}')
    own = {name: value for name, value in given.items() if name in parameters}
    if "wanted" in parameters and "wanted" not in own:
        lenses, focus, stops = (given.get(name) for name in ("lens", "focus", "f_number"))
        own["wanted"] = Wanted(lenses=_words(lenses), focus=_words(focus), f_numbers=tuple(map(float, _several(stops))))
    elif "lenses" in parameters and "lens" in given:
        own["lenses"] = _words(given["lens"])
    if "asked" in parameters and "asked" not in own:
        own["asked"] = _asked({name: value for name, value in given.items() if name in RUN_OPTIONS})
    for name, parameter in parameters.items():
        if parameter.default is Parameter.empty and name not in own:
            raise _option_error(question, f"needs {name}, such as show.{question}({name}=...)")
    return own


def _asked(given: Mapping[str, Any]) -> Any:
    """How a check is to be run: on every core unless told."""
    from scenes.questions.check.run import Asked

    columns = given.get("columns")
    return Asked(**{"threads": os.cpu_count() or 1, **given, "columns": None if columns is None else _columns(columns)})


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


def _option_error(question: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=question)])


def _several(value: Any) -> tuple[Any, ...]:
    """One value or several, as several."""
    if value is None:
        return ()
    return (value,) if isinstance(value, str | int | float) else tuple(value)


def _words(value: Any) -> tuple[str, ...]:
    """Names or lengths, one or several, as the command line would have them."""
    return tuple(word if isinstance(word, str) else f"{word:g}" for word in _several(value))


@contextmanager
def _python_words() -> Iterator[None]:
    """Errors about options that name them as Python has them: f_number, not --f-number."""
    try:
        yield
    except SceneError as error:
        raise SceneError([_in_python(complaint) for complaint in error.complaints]) from None


def _in_python(complaint: Complaint) -> Complaint:
    if not complaint.source.startswith("--"):
        return complaint
    return replace(complaint, source=complaint.source.removeprefix("--").replace("-", "_"))
