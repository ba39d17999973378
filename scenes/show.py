"""The Python face: a show is loaded, changed by key paths, and asked the questions that the commands answer.

`import brimline` gives `load`; everything here is also what a notebook shows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scenes.answers.answer import Answer, answer_data, answer_html, answer_text, save
from scenes.io.files import as_json
from scenes.registry import questions
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import did_you_mean
from scenes.states.load import Loaded, changed, load_scene, plans_of
from scenes.states.names import state_words
from scenes.states.select import selected

if TYPE_CHECKING:
    import trimesh
    from matplotlib.figure import Figure

    from raytrace.shares import VignetteMap
    from scenes.answers.table import Table
    from scenes.questions.check.check import StateResult
    from scenes.states.state import StatePlan

MAP_COLUMNS = 512
WINDOW_PX = (1600, 1000)


def load(path: str | Path) -> Show:
    """The show of a scene file; SceneError with every complaint about it."""
    return Show(load_scene(Path(path)))


@dataclass(frozen=True, slots=True)
class Show:
    """A scene with the files that it names. Never changed in place: `with_values` gives another."""

    loaded: Loaded

    def __repr__(self) -> str:
        """Short: title, lenses, states."""
        return f"<Show {self.loaded.scene.title or self.loaded.file_name!r}: {', '.join(self.lenses)}; {len(self.states)} states>"

    def __dir__(self) -> list[str]:
        """Its own names and the questions."""
        return sorted({*object.__dir__(self), *questions()})

    def __getattr__(self, name: str) -> Callable[..., Reply]:
        """A question by its name, as a method: show.flags(), show.beam(at_mm=40)."""
        if name not in questions():
            raise AttributeError(f'a show has no "{name}"; {did_you_mean(name, dir(self))}')
        return lambda **options: self.ask(name, **options)

    @property
    def lenses(self) -> tuple[str, ...]:
        """Names of the lenses."""
        return tuple(lens.name for lens in self.loaded.scene.lens)

    @property
    def states(self) -> tuple[StatePlan, ...]:
        """Every state that [check] asks for."""
        return plans_of(self.loaded)

    def with_values(self, values: Mapping[str, Any]) -> Show:
        """The show with other values at key paths, checked as those of a file are: same sentences, same limits."""
        return Show(changed(self.loaded, values))

    def state(self, lens: str, *, focus: float | str | None = None, f_number: float | None = None) -> StatePlan:
        """One state by its key, or by lens, focus (mm, "infinity", "close") and stop; the first where several fit."""
        for state in self.states:
            if state.key == lens:
                return state
        words = () if focus is None else (str(focus) if isinstance(focus, str) else f"{focus:g}",)
        stops = () if f_number is None else (f_number,)
        return selected(self.states, lenses=(lens,), focus=words, f_numbers=stops)[0]

    def ask(self, question: str, **options: Any) -> Reply:
        """The answer to a question; its options are those of the question's `answer` function."""
        if question not in questions():
            raise SceneError([Complaint("", f'there is no question "{question}"; {did_you_mean(question, questions())}', None, "ask")])
        found = import_module(f"scenes.questions.{question}.answer").answer(self.loaded, **options)
        return Reply(found, self.loaded)

    def map(
        self,
        lens: str,
        *,
        focus: float | str | None = None,
        f_number: float | None = None,
        columns: int = MAP_COLUMNS,
        engine: str = "coverage",
    ) -> LossMap:
        """What the box takes from one state's picture, judged by the scene's own limits."""
        from scenes.questions.check.check import check_state
        from scenes.runtime.engines import engine_of
        from scenes.states.clear_rule import Limits

        state = self.state(lens, focus=focus, f_number=f_number)
        limits = Limits(visible_loss_stops=self.loaded.scene.check.visible_loss_stops)
        result, found = check_state(state, engine_of(engine), columns=columns, limits=limits)
        return LossMap(state=state, result=result, map=found, limits=limits)

    def view(self, lens: str, *, focus: float | str | None = None, f_number: float | None = None, off_screen: bool = False) -> Any:
        """A window with the box in 3D and the heatmap in the picture plane; the pyvista plotter comes back."""
        from scenes.questions.check.one_state import scene3d_of_state
        from scenes.view3d.content import View
        from scenes.view3d.window import open_window

        found = self.map(lens, focus=focus, f_number=f_number)
        return open_window(scene3d_of_state(found.state, found.result, found.map, View.BESIDE), WINDOW_PX, off_screen=off_screen)

    def box(self, lens: str | None = None) -> Box3D:
        """The box as fitted to a lens, the first unless named, as meshes."""
        return Box3D(self.state(lens or self.lenses[0]))


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer, to read, to compute with, or to save."""

    answer: Answer
    loaded: Loaded

    def __repr__(self) -> str:
        """The first line of the page."""
        return f"<{self.answer.name}: {self.text.strip().splitlines()[0]}>"

    def __str__(self) -> str:
        """The page."""
        return self.text

    def _repr_html_(self) -> str:
        return answer_html(self.answer)

    @property
    def text(self) -> str:
        """The page, as the command prints it."""
        return answer_text(self.answer)

    @property
    def json(self) -> dict[str, Any]:
        """What `--json` prints, as plain values."""
        return answer_data(self.answer, self.loaded)

    @property
    def json_text(self) -> str:
        """The same as text."""
        return as_json(self.json)

    @property
    def tables(self) -> tuple[Table[Any], ...]:
        """The tables of the page."""
        from scenes.answers.table import Table

        return tuple(block for block in self.answer.blocks(written=False) if isinstance(block, Table))

    @property
    def table(self) -> Table[Any]:
        """The first table of the page."""
        return self.tables[0]

    @property
    def figures(self) -> dict[str, Callable[[], Figure]]:
        """The answer's figures by name, drawn when called."""
        return dict(self.answer.sheets())

    def save(self, folder: str | Path) -> tuple[str, ...]:
        """Everything the command writes with --out, whole or not at all; the names written come back."""
        return save(self.answer, self.loaded, Path(folder))


@dataclass(frozen=True, slots=True, kw_only=True)
class LossMap:
    """A state's map with its verdict: arrays are (H, W), row 0 the top of the picture; x_mm (W,) and y_mm (H,) right and up."""

    state: StatePlan
    result: StateResult
    map: VignetteMap
    limits: Any

    def __repr__(self) -> str:
        """State, verdict, worst loss."""
        worst = self.result.blamed.worst
        return f"<LossMap {state_words(self.state)}: {self.result.word}, {worst.loss_stops:.2f} stop at worst>"

    def __getattr__(self, name: str) -> Any:
        """An array of the map: loss_stops, clear_share, glass, transmission, lens, blocked_by, x_mm, y_mm."""
        return getattr(self.map, name)

    def plot(self) -> Figure:
        """The heatmap sheet of the state."""
        from scenes.questions.check.one_state import map_sheet

        return map_sheet(self.state, self.result, self.map, self.limits.visible_loss_stops)


@dataclass(frozen=True, slots=True)
class Box3D:
    """The box as fitted to one lens."""

    state: StatePlan

    def __repr__(self) -> str:
        """Lens and parts."""
        return f"<Box with the {self.state.lens_name}: {', '.join(self.meshes)}>"

    @property
    def meshes(self) -> dict[str, trimesh.Trimesh]:
        """Closed meshes [mm] of parts, glass and fixtures by name, in the frame of docs/physics.md."""
        from geometry.meshes import part_mesh, slab_mesh

        assembly = self.state.assembly
        parts = {part.name: part_mesh(part) for part in (*assembly.parts, *assembly.fixtures)}
        return parts | {slab.name: slab_mesh(slab) for slab in assembly.slabs}
