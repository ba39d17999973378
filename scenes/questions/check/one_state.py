"""What one process does for one state: checks it, writes its map, heatmap and cuts, and hands back what is left to draw.

A state asked alone, without a run, is traced here too.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache, partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from raytrace.optics.lens import pencils_for
from raytrace.shares import VignetteMap
from scenes.io.folders.result_folder import Staging
from scenes.io.writing import is_full
from scenes.questions.check.results_json import map_arrays
from scenes.questions.check.sheet_rows import Sheet, SheetEntry
from scenes.runtime.engines import AREAS, CPU, Engine, engine_of
from scenes.runtime.progress import Tick, silent
from scenes.states.clear_rule import Limits
from scenes.states.names import in_a_sentence, lens_words, setting_words, state_words
from scenes.verdicts.check import CheckResult, StateResult, check_state, keep_nothing, run_check
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS
from scenes.verdicts.text import clearance_words, nearest_part, nearest_words, room_label, state_sentence, without_front

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from raytrace.optics.camera import Guide
    from scenes.states.state import State
    from scenes.view3d.content import Scene3D, View
    from scenes.view3d.render import Job
    from scenes.view3d.state_view import Spotlight

VIEW_COLUMNS = 256  # of the heatmap in a window: more than its picture plane shows
SHEET_COLUMNS = 256  # of a map kept for the contact sheet: more than its small pictures can show
MAP_LAYERS = ("loss_stops", "clear_share", "glass", "transmission", "lens")  # pages of map.tiff, channels of map.exr
PNG, HEATMAP = "png", "map"
# Views in 3D and their files: of every state where all are asked for, and of the worst state of each lens.
SIDE_VIEWS = (("beside", "box.png"), ("section", "section.png"))
VIEWS = (*SIDE_VIEWS, ("front", "front.png"))
LIBRARIES = ("raytrace.judge.judgement",)
DRAWING_LIBRARIES = (
    "scenes.questions.check.map_sheet",
    "scenes.view3d.state_view",
    "scenes.sheets.section_of_state",
)
AREA_LIBRARIES = ("raytrace.coverage.engine", "raytrace.coverage.picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRequest:
    """How states are to be checked, and where their files go; no files without `staging`."""

    engine: str
    device: str
    columns: int | str | None
    limits: Limits
    threads: int
    rooms: bool
    staging: Staging | None = None
    folder: str = ""
    formats: tuple[str, ...] = (PNG,)
    flat: bool = True
    solid: bool = True
    all_3d: bool = True  # of every state, not of the worst of each lens alone
    heatmap_later: bool = False  # a lone state's is drawn once its 3D pictures, which another process draws, are ready

    def name(self, name: str) -> str:
        """A file's name in the staging folder."""
        return f"{self.folder}/{name}" if self.folder else name

    def path(self, name: str) -> Path:
        """Where a file is to be written."""
        assert self.staging is not None
        return self.staging.path_for(self.name(name))

    def write_figure(self, stem: str, figure: Figure) -> tuple[str, ...]:
        """Write a figure in each format asked for; the names of the files."""
        from scenes.io.pictures import figure_files

        assert self.staging is not None
        files = dict(figure_files(stem, figure, self.figure_formats()))
        for name, data in files.items():
            self.staging.write(self.name(name), data)
        return tuple(files)

    def figure_formats(self) -> list[str]:
        """Endings of the files that a figure is written to."""
        from scenes.io.pictures import FIGURE_FORMATS

        return [form for form in self.formats if form in FIGURE_FORMATS] or [PNG]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What a state is kept as, whether an earlier run had kept it, and why it could not be kept."""

    name: str
    taken: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """A state that was checked or failed, and what is still to be drawn of it; its map is written, its heatmap unless later."""

    check: CheckResult
    entry: SheetEntry | None = None
    map_: VignetteMap | None = None  # whole, where its heatmap is still to be drawn
    views: tuple[Job, ...] = ()
    trouble: tuple[str, ...] = ()  # sentences about pictures that could not be drawn
    kept: Kept | None = None


def record_state(plan: State, request: StateRequest, *, tick: Tick = silent) -> Recorded:
    """Check a state and write what one process can write of it alone."""
    entries: list[SheetEntry] = []
    later: list[VignetteMap] = []
    views: list[Job] = []
    trouble: list[str] = []

    def keep(plan: State, state: StateResult, map_: VignetteMap) -> tuple[str, ...]:
        names = [*_write_map(plan, map_, request)]
        if request.flat and request.heatmap_later:
            later.append(map_)
            names += [f"{plan.key}/{HEATMAP}.{form}" for form in request.figure_formats()]
        elif request.flat:
            with _left_out(f"{plan.key}/{HEATMAP}.{PNG}", trouble):
                names += _write_picture(plan, state, map_, request)
        small = _thinned(map_, SHEET_COLUMNS)
        if request.flat or request.solid:
            entries.append(_sheet_entry(plan, state, small))
        if request.solid and request.all_3d:
            gathered = gather_views(plan, state, small, request, SIDE_VIEWS)
            trouble.extend(gathered.trouble)
            views.extend(gathered.jobs)
            names += [f"{plan.key}/{path.name}" for _, path, _ in gathered.jobs]
        return tuple(names)

    check = run_check(
        [plan],
        _engine(request.engine, request.device),
        columns=request.columns,
        limits=request.limits,
        threads=request.threads,
        rooms=request.rooms,
        tick=tick,
        keep=keep_nothing if request.staging is None else keep,
    )
    kept = bool(check.states)
    return Recorded(
        check=check,
        entry=entries[0] if kept and entries else None,
        map_=later[0] if kept and later else None,
        views=tuple(views) if kept else (),
        trouble=tuple(trouble),
    )


@contextmanager
def _left_out(name: str, trouble: list[str]) -> Iterator[None]:
    """A picture that may fail: it must not cost the state, and a sentence says which one is missing."""
    try:
        yield
    except Exception as error:
        if is_full(error):
            raise
        trouble.append(f"{name} was left out: {in_a_sentence(error)}")


@cache
def _engine(name: str, device: str) -> Engine:
    return engine_of(name, device)


def load_libraries(engine: str, *, drawing: bool = True) -> None:
    """Load what checking takes, and drawing where asked for, so that a process is ready when its first state comes."""
    for name in (*LIBRARIES, *(DRAWING_LIBRARIES if drawing else ()), *(AREA_LIBRARIES if engine == AREAS else ())):
        import_module(name)
    _engine(engine, CPU)
    gc.freeze()  # what is loaded stays: looking through all of it for garbage, again and again, is a hundredth of a check


def _write_map(plan: State, map_: VignetteMap, request: StateRequest) -> tuple[str, ...]:
    from scenes.io.pictures import EXR, TIFF, layers_exr, layers_tiff

    assert request.staging is not None
    arrays, name = map_arrays(map_), f"{plan.key}/map.npz"
    request.staging.write_arrays(request.name(name), arrays)
    layers, names = {layer: arrays[layer] for layer in MAP_LAYERS}, [name]
    for form, written in ((TIFF, layers_tiff), (EXR, layers_exr)):
        if form in request.formats:
            names.append(f"{plan.key}/map.{form}")
            request.staging.write(request.name(names[-1]), written(layers))
    return tuple(names)


def _write_picture(plan: State, state: StateResult, map_: VignetteMap, request: StateRequest) -> tuple[str, ...]:
    from scenes.questions.check.map_sheet import map_sheet

    return request.write_figure(f"{plan.key}/{HEATMAP}", map_sheet(plan, state, map_, request.limits.visible_loss_stops))


def write_heatmap(plan: State, state: StateResult, map_: VignetteMap, request: StateRequest, *, tick: Tick = silent) -> str:
    """The heatmap of a state whose map is written; a sentence comes back where that fails."""
    trouble: list[str] = []
    with _left_out(f"{plan.key}/{HEATMAP}.{PNG}", trouble):
        _write_picture(plan, state, map_, request)
    tick(1, "heatmap")
    return " ".join(trouble)


@dataclass(frozen=True, slots=True)
class Gathered:
    """Pictures in 3D that are ready to be drawn, and sentences about those that could not be got ready."""

    jobs: tuple[Job, ...]
    trouble: tuple[str, ...]


def gather_views(
    plan: State,
    state: StateResult,
    map_: VignetteMap,
    request: StateRequest,
    views: Sequence[tuple[str, str]],
    *,
    tick: Tick = silent,
) -> Gathered:
    """Pictures in 3D of a state, by view and file name; `map_` is one for the contact sheet."""
    jobs: list[Job] = []
    trouble: list[str] = []
    for view, name in views:
        with _left_out(f"{plan.key}/{name}", trouble):
            jobs.append(_view(plan, state, map_, request, view, name))
    tick(1, "3D pictures")
    return Gathered(tuple(jobs), tuple(trouble))


def _view(plan: State, state: StateResult, map_: VignetteMap, request: StateRequest, view: str, name: str) -> Job:
    from scenes.view3d.content import View
    from scenes.view3d.state_view import VIEW_SIZE

    return scene3d_of_state(plan, state, map_, View(view)), request.path(f"{plan.key}/{name}"), VIEW_SIZE


def scene3d_of_state(plan: State, state: StateResult, map_: VignetteMap, view: View) -> Scene3D:
    """Box, beam, rays and heatmap of a state, to draw."""
    from scenes.view3d.state_view import scene3d_of

    lens = plan.variants[state.blamed.pupil if state.blamed.worst.blame is not None else len(plan.variants) // 2]
    return scene3d_of(
        plan.assembly,
        plan.box,
        partial(pencils_for, lens),
        map_,
        guides=_worst_first(plan.guides, state.blamed.guide),
        title=(state_words(state), _verdict_line(state)),
        view=view,
        light=spotlight(plan, state),
    )


def spotlight(plan: State, state: StateResult) -> Spotlight:
    """What a 3D picture of a state is about: the part to blame and those in the beam; where none is, the one that comes nearest."""
    from scenes.sheets.cut_planes import plane_of
    from scenes.view3d.state_view import Spotlight

    worst, nearest = state.blamed.worst, nearest_part(state.parts)
    blame = [worst.blame.part] if worst.blame is not None and worst.loss_stops >= SHOWN_LOSS_STOPS else []
    deep = sorted((part.clearance_mm, part.name) for part in state.parts if part.clearance_mm is not None and part.clearance_mm < 0)
    names = [*blame, *(name for _, name in deep)] or ([nearest.name] if nearest else [])
    plane = plane_of(plan, nearest.name if nearest else "", None if nearest is None else nearest.point_mm)
    return Spotlight(
        parts=tuple(dict.fromkeys(names)),
        blamed=bool(blame or deep),
        worst_mm=(worst.x_mm, worst.y_mm) if blame else None,
        up=plane.up,
        up_words=plane.ends[0],
    )


def write_cuts(plan: State, state: StateResult, scene_title: str, request: StateRequest, *, tick: Tick = silent) -> str:
    """The box cut from the side and from above, with dimensions, for one state; a sentence comes back where that fails."""
    try:
        for name, figure in cut_sheets(plan, state, scene_title).items():
            request.write_figure(f"{plan.key}/{name}", figure)
    except Exception as error:
        if is_full(error):
            raise
        return f"the cuts of {state_words(state)} were left out: {in_a_sentence(error)}"
    tick(1, "cuts")
    return ""


def write_sheet(sheet: Sheet, name: str, request: StateRequest, *, tick: Tick = silent) -> str:
    """One contact sheet; a sentence comes back where that fails."""
    from scenes.questions.check.contact_sheet import sheet_figure

    try:
        request.write_figure(name, sheet_figure(sheet, request.limits.visible_loss_stops))
    except Exception as error:
        if is_full(error):
            raise
        return f"{name} was left out: {in_a_sentence(error)}"
    tick(1, "contact sheets")
    return ""


def cut_sheets(plan: State, state: StateResult, scene_title: str) -> dict[str, Figure]:
    """The cuts of a state by file name without ending; what they say of parts is the table's."""
    from scenes.sheets.section_of_state import section_sheets
    from scenes.sheets.section_sheet import Callout, PartNote

    nearest = nearest_part(state.parts)
    told = [part for part in state.parts if part.clearance_mm is not None]
    point = None if nearest is None else nearest.point_mm
    return section_sheets(
        plan,
        state_words(state),
        f"{scene_title}. {cut_sentence(state)}",
        {part.name: PartNote(room=clearance_words(part.clearance_mm), where=without_front(part.where)) for part in told},
        None if nearest is None or point is None else Callout(nearest.name, clearance_words(nearest.clearance_mm), point),
        str(state.word),
    )


def cut_sentence(state: StateResult) -> str:
    """Where the beam comes nearest to a part, or a part stands deepest in it, on whichever sheet."""
    part, words = nearest_part(state.parts), without_front(nearest_words(state.parts))
    if part is None or part.clearance_mm is None:
        return "No part comes near the beam"
    return f"{'Deepest in' if part.clearance_mm < 0 else 'Nearest to'} the beam: {words}"


def _worst_first(guides: Sequence[Guide], worst: str) -> tuple[Guide, ...]:
    """The guides with the one that the verdict is about ahead, for it chooses the rays that are drawn."""
    return tuple(sorted(guides, key=lambda guide: guide.name != worst))


def _verdict_line(state: StateResult) -> str:
    return f"{state.word}: {state_sentence(state)}"


def _sheet_entry(plan: State, state: StateResult, map_: VignetteMap) -> SheetEntry:
    worst, nearest = state.blamed.worst, nearest_part(state.parts)
    return SheetEntry(
        lens=lens_words(state),
        column=setting_words(state),
        map_=map_,
        guides=plan.guides,
        verdict_word=str(state.word),
        blame=None if worst.blame is None else worst.blame.part,
        worst_stops=worst.loss_stops,
        where=worst.where,
        room=room_label(nearest.clearance_mm) if nearest else "",
        nearest=nearest.name if nearest else "",
    )


def _thinned(map_: VignetteMap, columns: int) -> VignetteMap:
    """Every k-th pixel of a map, so that about `columns` are left across."""
    k = max(round(len(map_.x_mm) / columns), 1)
    if k == 1:
        return map_
    rows, across = slice(k // 2, None, k), slice(k // 2, None, k)
    return replace(
        map_,
        x_mm=map_.x_mm[across],
        y_mm=map_.y_mm[rows],
        clear_share=map_.clear_share[rows, across].copy(),
        glass=map_.glass[rows, across].copy(),
        lens=map_.lens[rows, across].copy(),
        blocked_by=map_.blocked_by[rows, across].copy(),
        stderr=map_.stderr[rows, across].copy(),
        alone=map_.alone[:, rows, across].copy(),
    )


def traced_in_3d(state: State, view: View) -> Scene3D:
    """The state traced, to be looked at: the box, the beam, rays, and the heatmap in the picture plane."""
    done = check_state(state, engine_of(AREAS), columns=VIEW_COLUMNS, threads=os.cpu_count() or 1)
    return scene3d_of_state(state, *done, view)
