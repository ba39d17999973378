"""What a run leaves behind: maps, pictures, contact sheets and results.json, written into a staging folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from raytrace.lens import pencils_for
from raytrace.shares import VignetteMap
from scenes.check import CheckResult, StateResult, lens_words, setting_words, state_words
from scenes.files import RESULTS_NAME, Staging, as_json
from scenes.progress import Tick, silent
from scenes.results import SHOWN_LOSS_STOPS, Provenance, loss_words, map_arrays, results_dict
from scenes.verdict import at_words

if TYPE_CHECKING:
    from scenes.build import StatePlan
    from scenes.figure_sheet import SheetEntry
    from scenes.render import Job

SHEET_COLUMNS = 256  # of a map kept for the contact sheet: more than its small pictures can show
VIEW_SIZE = (1600, 1000)
VIEWS_AT_ONCE = 8  # pictures between two steps of the progress bar


@dataclass(slots=True, kw_only=True)
class Recorder:
    """Takes each state as it is done and keeps its files; holds no full map longer than that."""

    staging: Staging
    visible_loss_stops: float
    folder: str = ""
    flat: bool = True
    solid: bool = True
    entries: dict[str, SheetEntry] = field(default_factory=dict)
    jobs: list[Job] = field(default_factory=list)
    trouble: list[str] = field(default_factory=list)
    shown: set[str] = field(default_factory=set)

    def keep(self, plan: StatePlan, state: StateResult, map_: VignetteMap) -> tuple[str, ...]:
        """Write a state's map and pictures; names relative to the run's folder come back."""
        names = [self._write_map(plan.key, map_)]
        if self.flat:
            names.append(self._write_picture(plan, state, map_))
            self.entries[plan.key] = _sheet_entry(plan, state, map_)
        if self.solid:
            names += self._plan_views(plan, state, map_)
        return tuple(names)

    def _name(self, name: str) -> str:
        return f"{self.folder}/{name}" if self.folder else name

    def _write_map(self, key: str, map_: VignetteMap) -> str:
        self.staging.write_arrays(self._name(f"{key}/map.npz"), map_arrays(map_))
        return f"{key}/map.npz"

    def _write_picture(self, plan: StatePlan, state: StateResult, map_: VignetteMap) -> str:
        from scenes.figures import figure_png, map_figure

        worst = state.blamed.worst
        figure = map_figure(
            map_,
            plan.guides,
            title=state_words(state),
            verdict_word=str(state.word),
            blame=None if worst.blame is None else worst.blame.part,
            visible_loss_stops=self.visible_loss_stops,
            sentence=_sentence(state),
        )
        self.staging.write(self._name(f"{plan.key}/map.png"), figure_png(figure))
        return f"{plan.key}/map.png"

    def _plan_views(self, plan: StatePlan, state: StateResult, map_: VignetteMap) -> list[str]:
        from scenes.scene3d import View
        from scenes.view3d import scene3d_of

        names = []
        lens = plan.variants[len(plan.variants) // 2]
        views = [(View.BESIDE, "box.png")]
        if plan.lens_name not in self.shown:  # the box looks the same at every focus and stop: once per lens is enough
            self.shown.add(plan.lens_name)
            views += [(View.FRONT, "front.png"), (View.SECTION, "section.png")]
        for view, name in views:
            scene = scene3d_of(
                plan.assembly,
                plan.box,
                partial(pencils_for, lens),
                _thinned(map_, SHEET_COLUMNS),
                guides=plan.guides,
                title=(state_words(state), _verdict_line(state)),
                view=view,
            )
            self.jobs.append((scene, self.staging.path_for(self._name(f"{plan.key}/{name}")), VIEW_SIZE))
            names.append(f"{plan.key}/{name}")
        return names

    def draw_views(self, tick: Tick = silent) -> None:
        """Draw the 3D pictures that are due; a machine that cannot gets a sentence in `trouble`, never a crash."""
        from scenes.render import render_batch

        for start in range(0, len(self.jobs), VIEWS_AT_ONCE):
            batch = self.jobs[start : start + VIEWS_AT_ONCE]
            report = render_batch(batch)
            self.trouble += [f"{path.parent.name}/{path.name} was left out: {why}" for path, why in report.failed]
            if report.problem:
                self.trouble.append(report.problem)
                return
            tick(len(batch), "3D pictures")

    def finish(self, check: CheckResult, made_by: Provenance) -> dict[str, Any]:
        """Write contact sheets and results.json; the latter's content comes back."""
        if self.flat:
            self._write_sheets(check, made_by.scene_title)
        prefix = f"{self.folder}/" if self.folder else ""
        files = tuple(name.removeprefix(prefix) for name in self.staging.names() if name.startswith(prefix))
        check = replace(check, states=tuple(_existing(state, files) for state in check.states))
        results = results_dict(check, made_by, files)
        self.staging.write(self._name(RESULTS_NAME), as_json(results))
        return results

    def _write_sheets(self, check: CheckResult, title: str) -> None:
        from scenes.figure_sheet import SheetEntry
        from scenes.figures import contact_sheet, figure_png

        failed = {
            state.key: SheetEntry(lens=state.lens_name, column=state.key, map_=None, note=state.why) for state in check.failed
        }
        entries = [*self.entries.values(), *failed.values()]
        for number, figure in enumerate(contact_sheet(entries, title=title, visible_loss_stops=self.visible_loss_stops), 1):
            self.staging.write(self._name(f"sheet-{number}.png"), figure_png(figure))


def _existing(state: StateResult, files: Sequence[str]) -> StateResult:
    """The state without files that could not be drawn."""
    return replace(state, files=tuple(name for name in state.files if name in files))


def _sentence(state: StateResult) -> str:
    """What the verdict rests on, for the head of a picture."""
    guide, worst = state.blamed, state.blamed.worst
    if worst.blame is not None and worst.loss_stops >= SHOWN_LOSS_STOPS:
        return f"the {worst.blame.part} takes {loss_words(worst.loss_stops)} at {at_words(worst.where)}"
    room = f"{'more than ' if guide.margin.capped else ''}{guide.margin.percent:.0f} % wider"
    return f"nothing visible is lost; the frame could be {room}"


def _verdict_line(state: StateResult) -> str:
    return f"{state.word}: {_sentence(state)}"


def _sheet_entry(plan: StatePlan, state: StateResult, map_: VignetteMap) -> SheetEntry:
    from scenes.figure_sheet import SheetEntry

    worst = state.blamed.worst
    return SheetEntry(
        lens=lens_words(state),
        column=setting_words(state),
        map_=_thinned(map_, SHEET_COLUMNS),
        guides=plan.guides,
        verdict_word=str(state.word),
        blame=None if worst.blame is None else worst.blame.part,
        worst_stops=worst.loss_stops,
        where=worst.where,
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
