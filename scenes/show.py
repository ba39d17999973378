"""The Python face: a show is loaded, changed by key paths, and asked the questions that the commands answer.

`import brimline` gives `load`; what comes back is in `replies`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from inspect import Parameter, signature
from pathlib import Path
from typing import Any

from scenes.answers.answer import Answer
from scenes.answers.options import Wanted
from scenes.registry import ALIASES, COMMANDS, own_name, questions
from scenes.replies import Box3D, LossMap, Reply
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import did_you_mean
from scenes.states.load import Loaded, changed, load_scene, plans_of, selected, wanted_states
from scenes.states.state import State

MAP_COLUMNS = 512
# Of a check, by the names of `Asked`.
RUN_OPTIONS = ("columns", "engine", "device", "threads", "parts", "flat", "solid", "all_3d")
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
        if name.startswith("_") or own_name(name) not in questions():
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
                return wanted_states(self.loaded, lenses=[lens], focus=focus_words, f_numbers=stops)[0]
            named = [state for state in self.states if state.key == lens]
            lenses = () if named else (lens,)
            return selected(named or self.states, lenses=lenses, focus=focus_words, f_numbers=stops)[0]

    def ask(self, question: str, **options: Any) -> Reply:
        """The answer to a question by the name of its command.

        Its options are those of the command in Python's spelling; lens, focus and f_number take one value or several.
        """
        if own_name(question) not in questions():
            raise SceneError(
                [Complaint("", f'there is no question "{question}"; {did_you_mean(question, questions())}', None, "ask")]
            )
        answer = _answer_of(question)
        with _python_words():
            found = answer(self.loaded, **_options(question, answer, options))
        return Reply(replace(found, stem=question) if question in ALIASES else found, self.loaded)  # type: ignore[type-var]

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
        from scenes.runtime.engines import engine_of
        from scenes.verdicts.check import check_state

        state = self.state(lens, focus=focus, f_number=f_number)
        result, found = check_state(state, engine_of(engine), columns=_columns(columns), threads=os.cpu_count() or 1)
        return LossMap(state=state, result=result, map=found)

    def view(self, lens: str, *, focus: Focus | None = None, f_number: float | None = None) -> Any:
        """A window with the box in 3D and the heatmap in the picture plane, until it is closed; the pyvista plotter comes back.

        SceneError where this machine has no display.
        """
        from scenes.questions.check.one_state import traced_in_3d
        from scenes.view3d.content import View
        from scenes.view3d.window import insist_on_window, open_window

        insist_on_window()
        return open_window(traced_in_3d(self.state(lens, focus=focus, f_number=f_number), View.BESIDE))

    def box(self, lens: str | None = None) -> Box3D:
        """The box as fitted to a lens, the first unless named, as meshes."""
        return Box3D(self.state(lens or self.lenses[0]))


def _columns(columns: int | str) -> int | str:
    """A map's width, as `--pixels` takes it."""
    if columns == FULL or (isinstance(columns, int) and not isinstance(columns, bool) and 1 <= columns <= MOST_COLUMNS):
        return columns
    problem = f'must be a whole number of pixels from 1 to {MOST_COLUMNS}, or "{FULL}", got {columns!r}'
    raise SceneError([Complaint(where="", problem=problem, source="columns")])


def _answer_of(question: str) -> Callable[..., Answer]:
    found: Callable[..., Answer] = import_module(f"scenes.questions.{own_name(question)}.answer").answer
    return found


def _method(show: Show, question: str) -> Callable[..., Reply]:
    def method(**options: Any) -> Reply:
        return show.ask(question, **options)

    answer = _answer_of(question)
    method.__name__ = method.__qualname__ = question
    method.__doc__ = f"{COMMANDS[own_name(question)][1]}\n\nOptions: {', '.join(_option_names(answer)) or 'none'}."
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
