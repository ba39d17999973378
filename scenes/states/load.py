"""From a scene's path to the states that are to be checked: reads the files it names, and picks lenses, focus and stops."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from geometry.errors import GeometryError
from scenes.io.reading import Folder, read_text
from scenes.scene_file.errors import Complaint, ItemError, SceneError
from scenes.scene_file.key_paths import with_values
from scenes.scene_file.messages import KeyPath, did_you_mean, key_words, plain, text_as_mm
from scenes.scene_file.parse import parse_scene, read_model, read_toml, scene_of
from scenes.scene_file.resources import GlassTable, Resources
from scenes.scene_file.tables.box import PART_KEYS, box_parts
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.prescription import GlassFile, glass_table
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import PathError
from scenes.scene_file.toml_lines import key_lines, line_of
from scenes.states.keys import Setting, settings_of
from scenes.states.state import State, states_of_lens


class Selectable(Protocol):
    """What --lens, --focus and --f-number choose by: a state, or what it is to be built from."""

    @property
    def lens_name(self) -> str:
        """The lens's name."""

    @property
    def focus_mm(self) -> float:
        """Focus distance from the image plane [mm]."""

    @property
    def f_number(self) -> float:
        """The stop."""


Content = TypeVar("Content")
Choice = TypeVar("Choice", bound=Selectable)

SAME_FOCUS_MM = 0.5  # a focus distance asked for this near one of the scene's means that one
SAME_F_NUMBER = 0.051  # stops are said to one decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A scene with everything its files hold, and what tells it from any other.

    tables are the scene file's, as written; sha256 is that of its text, empty where values were changed since. folder is where the
    files are that the scene names, contents what was read of them, by name: neither text nor files are read a second time.
    """

    scene: Scene
    resources: Resources
    file_name: str
    sha256: str
    lines: dict[KeyPath, int] = field(default_factory=dict)
    tables: Mapping[str, Any] = field(default_factory=dict)
    folder: Path = Path()
    text: str = ""
    contents: dict[str, bytes] = field(default_factory=dict)

    @property
    def files(self) -> Folder:
        """The files that the scene names, as they were when it was loaded."""
        return Folder(self.folder, self.contents)

    def __repr__(self) -> str:
        """Short: which file, how many lenses."""
        return f"<{self.scene.title or self.file_name}: {len(self.scene.lens)} lenses>"


def load_scene(path: Path) -> Loaded:
    """The scene at a path; SceneError with every complaint about it and the files that it names."""
    text = read_text(path)
    scene, folder = parse_scene(text, source=path.name), Folder(path.parent)
    resources = resources_of(scene, folder, text, path.name)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    return Loaded(
        scene=scene,
        resources=resources,
        file_name=path.name,
        sha256=sha256,
        lines=key_lines(text),
        tables=read_toml(text, path.name),
        folder=path.parent,
        text=text,
        contents=folder.contents,
    )


def is_as_read(loaded: Loaded, path: Path) -> bool:
    """Whether the scene's file still holds the text that it was read from."""
    try:
        return hashlib.sha256(read_text(path).encode()).hexdigest() == loaded.sha256
    except SceneError:  # moved away, deleted, or half written
        return False


def changed(loaded: Loaded, values: Mapping[str, Any]) -> Loaded:
    """The scene with other values at key paths such as 'box.flag[top flag].angle_deg', checked as those of a file are.

    SceneError, with the same sentences, for a value that a scene file could not have, and for a path that leads nowhere.
    """
    source = f"{loaded.file_name}, changed"
    try:
        tables = with_values(loaded.scene, loaded.tables, values)
    except PathError as error:
        raise SceneError([Complaint(where="", problem=str(error), source=source)]) from None
    return with_tables(loaded, tables)


def with_tables(loaded: Loaded, tables: dict[str, Any]) -> Loaded:
    """The scene with other tables, checked as those of a file are."""
    source = f"{loaded.file_name}, changed"
    scene = scene_of(tables, source)
    resources = resources_of(scene, loaded.files, "", source)
    return replace(loaded, scene=scene, resources=resources, sha256="", lines={}, tables=tables)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unbuilt:
    """A state that may be asked for, before its lens is traced and its box built."""

    lens_name: str
    setting: Setting

    @property
    def focus_mm(self) -> float:
        return self.setting.focus_mm

    @property
    def f_number(self) -> float:
        return self.setting.f_number


def _unbuilt(loaded: Loaded) -> tuple[_Unbuilt, ...]:
    return tuple(
        _Unbuilt(lens_name=lens.name, setting=setting) for lens in loaded.scene.lens for setting in settings_of(loaded.scene, lens)
    )


def plans_of(loaded: Loaded) -> tuple[State, ...]:
    """Every state that the scene asks for, in its order; SceneError, with lines, for every table in their way."""
    return _built(loaded, _unbuilt(loaded))


def _built(loaded: Loaded, wanted: Sequence[_Unbuilt]) -> tuple[State, ...]:
    """States in the scene's order; SceneError, with lines, for every table in their way."""
    found: list[State] = []
    complaints: list[Complaint] = []
    for place, lens in enumerate(loaded.scene.lens):
        settings = [one.setting for one in wanted if one.lens_name == lens.name]
        try:
            found += states_of_lens(loaded.scene, lens, loaded.resources, settings)
        except ItemError as error:
            complaints.append(_built_complaint(loaded, _path_of(loaded.scene, error.item), str(error)))
        except GeometryError as error:
            complaints.append(_built_complaint(loaded, ("lens", place), str(error)))
    if complaints:
        raise SceneError(tuple(dict.fromkeys(complaints)))
    return tuple(found)


def _path_of(scene: Scene, item: object) -> KeyPath:
    """Where a part of the box stands in the scene."""
    return next((("box", key, place) for key, place, part in box_parts(scene.box) if part is item), ("box",))


def _built_complaint(loaded: Loaded, path: KeyPath, problem: str) -> Complaint:
    if path not in loaded.lines and isinstance(path[-1], int):
        path = path[:-1]  # written as a single table
    box = {key: [{"name": item.name} for item in getattr(loaded.scene.box, key)] for key in PART_KEYS}
    where = key_words(path, {"lens": [{"name": lens.name} for lens in loaded.scene.lens], "box": box})
    return Complaint(where=where, problem=problem, line=line_of(path, loaded.lines), source=loaded.file_name)


def wanted_states(
    loaded: Loaded, *, lenses: Sequence[str] = (), focus: Sequence[str] = (), f_numbers: Sequence[float] = ()
) -> tuple[State, ...]:
    """Those of the states that the scene asks for, all where nothing is said; SceneError where there is none such.

    No other is built: tracing the lenses of a whole show takes longer than judging one state.
    """
    return _built(loaded, selected(_unbuilt(loaded), lenses=lenses, focus=focus, f_numbers=f_numbers))


def selected(
    plans: Sequence[Choice], *, lenses: Sequence[str] = (), focus: Sequence[str] = (), f_numbers: Sequence[float] = ()
) -> tuple[Choice, ...]:
    """The states of some lenses, focus distances (mm, "infinity" or "close") and stops; SceneError where there is none such."""
    kept = tuple(plans)
    if lenses:
        _insist_on_lenses(lenses, list(dict.fromkeys(plan.lens_name for plan in plans)))
        kept = tuple(plan for plan in kept if plan.lens_name in lenses)
    if focus:
        wanted = [(said, _focus_test(said, kept)) for said in focus]
        _insist_on_some("--focus", wanted, kept, lambda plan: plain(plan.focus_mm))
        kept = tuple(plan for plan in kept if any(test(plan) for _, test in wanted))
    if f_numbers:
        stops = [(plain(stop), _stop_test(stop)) for stop in f_numbers]
        _insist_on_some("--f-number", stops, kept, lambda plan: plain(plan.f_number))
        kept = tuple(plan for plan in kept if any(test(plan) for _, test in stops))
    return kept


Test = Callable[[Selectable], bool]


def _stop_test(stop: float) -> Test:
    return lambda plan: abs(plan.f_number - stop) < SAME_F_NUMBER


def _focus_test(said: str, plans: Sequence[Selectable]) -> Test:
    if said in {"infinity", "inf"}:
        return lambda plan: math.isinf(plan.focus_mm)
    if said == "close":
        nearest = {name: min(p.focus_mm for p in plans if p.lens_name == name) for name in {p.lens_name for p in plans}}
        return lambda plan: not math.isinf(plan.focus_mm) and plan.focus_mm == nearest[plan.lens_name]
    distance = text_as_mm(said)
    if distance is None:
        raise _bad_option("--focus", f'must be a distance in mm, "infinity" or "close", got "{said}"')
    return lambda plan: abs(plan.focus_mm - distance) <= SAME_FOCUS_MM


def _insist_on_lenses(wanted: Sequence[str], known: list[str]) -> None:
    for name in wanted:
        if name not in known:
            raise _bad_option("--lens", f'the scene has no lens "{name}"; {did_you_mean(name, known)}')


def _insist_on_some(
    option: str, wanted: Sequence[tuple[str, Test]], plans: Sequence[Selectable], words: Callable[[Selectable], str]
) -> None:
    for said, test in wanted:
        if not any(test(plan) for plan in plans):
            known = ", ".join(dict.fromkeys(words(plan) for plan in plans))
            raise _bad_option(option, f"the scene's [check] has no state at {said}; it has {known}; add it there")


def _bad_option(option: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=option)])


def chosen_lenses(scene: Scene, names: Sequence[str]) -> tuple[Lens, ...]:
    """The scene's lenses of these names, all where none is named; SceneError for a name that it does not have."""
    _insist_on_lenses(names, [lens.name for lens in scene.lens])
    return tuple(lens for lens in scene.lens if not names or lens.name in names)


def resources_of(scene: Scene, folder: Folder, text: str, source: str) -> Resources:
    """What the files hold that a scene names; SceneError with a complaint for each that cannot be used."""
    reader = _Reader(key_lines(text), source)
    found = Resources(
        prescriptions=reader.all(_prescriptions(scene), lambda name: _glass(folder, name)),
        outlines=reader.all(_outlines(scene), folder.outline),
        meshes=reader.all(_meshes(scene), folder.mesh),
    )
    if reader.complaints:
        raise SceneError(reader.complaints)
    return found


Named = Iterator[tuple[KeyPath, str]]


def _prescriptions(scene: Scene) -> Named:
    return ((("lens", i, "prescription"), lens.prescription) for i, lens in enumerate(scene.lens) if lens.prescription is not None)


def _outlines(scene: Scene) -> Named:
    return ((("box", "mask", i, "outline"), mask.outline) for i, mask in enumerate(scene.box.mask) if mask.outline is not None)


def _meshes(scene: Scene) -> Named:
    return ((("box", "solid", i, "file"), solid.file) for i, solid in enumerate(scene.box.solid))


class _Reader:
    """Reads named files, and gathers a complaint for each that fails instead of stopping at the first."""

    def __init__(self, lines: dict[KeyPath, int], source: str) -> None:
        self.complaints: list[Complaint] = []
        self._lines, self._source = lines, source

    def all(self, named: Named, read: Callable[[str], Content]) -> dict[str, Content]:
        found: dict[str, Content] = {}
        for path, name in named:
            try:
                found[name] = read(name)
            except SceneError as error:
                line, where = line_of(path, self._lines), key_words(path, {})
                self.complaints += [
                    Complaint(where=where, problem=f"the file {complaint}", line=line, source=self._source)
                    for complaint in error.complaints
                ]
        return found


def _glass(folder: Folder, name: str) -> GlassTable:
    text = folder.text(name)
    return glass_table(read_model(GlassFile, read_toml(text, name, GlassFile), text, name))
