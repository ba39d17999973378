"""What a run leaves behind: maps, pictures, contact sheets and results.json, written into a staging folder."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from geometry.notes import Severity
from raytrace.lens import pencils_for
from raytrace.shares import VignetteMap
from scenes.check import CheckResult, StateResult, in_a_sentence, lens_words, setting_words, state_words
from scenes.files import RESULTS_NAME, Staging, as_json
from scenes.progress import Tick, silent
from scenes.results import OF_FRONT, SHOWN_LOSS_STOPS, Provenance, loss_words, map_arrays, nearest_words, results_dict
from scenes.shoot_plan import plan_lines
from scenes.verdict import at_words

if TYPE_CHECKING:
    from raytrace.camera import Guide
    from scenes.build import StatePlan
    from scenes.figure_sheet import SheetEntry
    from scenes.render import Job, RenderReport
    from scenes.scene3d import View

SHEET_COLUMNS = 256  # of a map kept for the contact sheet: more than its small pictures can show
TEST_PLAN_NAME = "test-plan.txt"
VIEW_SIZE = (1600, 1000)
LEAST_ROOM_PERCENT = 0.5
VIEWS_AT_ONCE = 8  # pictures to one start of the drawing process, and between two steps of the progress bar


@dataclass(slots=True, kw_only=True)
class Recorder:
    """Takes each state as it is done and keeps its files; holds no full map longer than that."""

    staging: Staging
    visible_loss_stops: float
    folder: str = ""
    flat: bool = True
    solid: bool = True
    entries: dict[str, SheetEntry] = field(default_factory=dict)
    waiting: list[Job] = field(default_factory=list)
    batches: list[tuple[int, Future[RenderReport]]] = field(default_factory=list)
    drawing: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(max_workers=1))
    seen_lenses: set[str] = field(default_factory=set)
    trouble: list[str] = field(default_factory=list)
    tightest: dict[str, tuple[float, StatePlan, StateResult]] = field(default_factory=dict)

    def keep(self, plan: StatePlan, state: StateResult, map_: VignetteMap) -> tuple[str, ...]:
        """Write a state's map and pictures; names relative to the run's folder come back."""
        names = [self._write_map(plan.key, map_)]
        if self.flat:
            names.append(self._write_picture(plan, state, map_))
            self.entries[plan.key] = _sheet_entry(plan, state, map_)
            self._remember_tightest(plan, state)
        if self.solid:
            names += self._plan_views(plan, state, map_)
        return tuple(names)

    def _remember_tightest(self, plan: StatePlan, state: StateResult) -> None:
        """Of each lens, zoomed or not, the state whose beam comes nearest to a part: its box is drawn to be built from."""
        clearance_mm = min((part.clearance_mm for part in state.parts if part.clearance_mm is not None), default=math.inf)
        lens = lens_words(state)
        if lens not in self.tightest or clearance_mm < self.tightest[lens][0]:
            self.tightest[lens] = (clearance_mm, plan, state)

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
            subtitle=guide_words(state),
            verdict_word=str(state.word),
            blame=None if worst.blame is None else worst.blame.part,
            visible_loss_stops=self.visible_loss_stops,
            sentence=_sentence(state),
        )
        self.staging.write(self._name(f"{plan.key}/map.png"), figure_png(figure))
        return f"{plan.key}/map.png"

    def _plan_views(self, plan: StatePlan, state: StateResult, map_: VignetteMap) -> list[str]:
        """Gather a state's 3D pictures; they are drawn beside the tracing as soon as there are enough for one start."""
        from scenes.view3d import scene3d_of

        names = []
        lens = plan.variants[state.blamed.pupil if state.blamed.worst.blame is not None else len(plan.variants) // 2]
        for view, name in self._views_of(state):
            scene = scene3d_of(
                plan.assembly,
                plan.box,
                partial(pencils_for, lens),
                _thinned(map_, SHEET_COLUMNS),
                guides=_worst_first(plan.guides, state.blamed.guide),
                title=(state_words(state), _verdict_line(state)),
                view=view,
            )
            self.waiting.append((scene, self.staging.path_for(self._name(f"{plan.key}/{name}")), VIEW_SIZE))
            names.append(f"{plan.key}/{name}")
        if len(self.waiting) >= VIEWS_AT_ONCE:
            self._send()
        return names

    def _views_of(self, state: StateResult) -> list[tuple[View, str]]:
        """Views to draw of a state; from the front all states of one lens look alike, so its first shows that."""
        from scenes.scene3d import View

        views = [(View.BESIDE, "box.png"), (View.SECTION, "section.png")]
        if lens_words(state) not in self.seen_lenses:
            self.seen_lenses.add(lens_words(state))
            views.append((View.FRONT, "front.png"))
        return views

    def _send(self) -> None:
        """Have the gathered pictures drawn in a child process, while the next states are traced here."""
        from scenes.render import render_batch

        batch, self.waiting = self.waiting, []
        if any(done.done() and done.result().problem for _, done in self.batches):
            return  # the machine cannot draw, and has said so once
        self.batches.append((len(batch), self.drawing.submit(render_batch, batch)))

    @property
    def views_due(self) -> int:
        """How many 3D pictures are not yet known to be drawn."""
        return len(self.waiting) + sum(count for count, _ in self.batches)

    def draw_views(self, tick: Tick = silent) -> None:
        """Wait for the 3D pictures; a machine that cannot draw gets a sentence in `trouble`, never a crash."""
        if self.waiting:
            self._send()
        for count, batch in self.batches:
            report = batch.result()
            self.trouble += [f"{path.parent.name}/{path.name} was left out: {why}" for path, why in report.failed]
            self.trouble += [report.problem] if report.problem else []
            tick(count, "3D pictures")
        self.batches.clear()

    def close(self) -> None:
        """Stop drawing: what is queued is dropped, what is being drawn ends first, so that nothing is written afterwards."""
        self.drawing.shutdown(wait=True, cancel_futures=True)

    def finish(self, check: CheckResult, made_by: Provenance) -> dict[str, Any]:
        """Write contact sheets, cuts, the test plan and results.json; the latter's content comes back."""
        if self.flat:
            self._write_sheets(check, made_by.scene_title)
            self._write_cuts(made_by.scene_title)
        self.staging.write(self._name(TEST_PLAN_NAME), "\n".join([*plan_lines(check, made_by.scene_title), ""]))
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

    def _write_cuts(self, scene_title: str) -> None:
        """The box cut from the side and from above, with dimensions, for the tightest state of each lens."""
        from scenes.figures import figure_png
        from scenes.section_sheets import section_sheets

        for _, plan, state in self.tightest.values():
            try:
                sheets = section_sheets(plan, f"{state_words(state)}: {state.word}", f"{scene_title}. {cut_sentence(state)}")
                for name, figure in sheets.items():
                    self.staging.write(self._name(f"{plan.key}/{name}"), figure_png(figure))
            except Exception as error:  # noqa: BLE001 - a drawing must not cost the results
                self.trouble.append(f"the cuts of {state_words(state)} were left out: {in_a_sentence(error)}")


def cut_sentence(state: StateResult) -> str:
    """What a cut alone does not show: where the beam comes nearest anywhere."""
    nearest = nearest_words(state.parts).removesuffix(OF_FRONT)
    return f"Nearest anywhere, not only in this plane: {nearest}" if nearest else "No part comes near the beam"


def guide_words(state: StateResult) -> str:
    """Which guide a state's verdict is of: a picture shows the whole frame."""
    name, count = state.blamed.guide, len(state.guides)
    return f"Verdict of {name}, which fares worst of {count} guides" if count > 1 else f"Verdict of {name}"


def _existing(state: StateResult, files: Sequence[str]) -> StateResult:
    """The state without files that could not be drawn."""
    return replace(state, files=tuple(name for name in state.files if name in files))


def _sentence(state: StateResult) -> str:
    """What the verdict rests on, for the head of a picture; a box that cannot be built so is never just called clear."""
    fault = any(note.severity is Severity.FAULT for note in state.notes)
    return f"the box has a fault, see the table; {_light_sentence(state)}" if fault else _light_sentence(state)


def _light_sentence(state: StateResult) -> str:
    guide, worst = state.blamed, state.blamed.worst
    if worst.blame is not None and worst.loss_stops >= SHOWN_LOSS_STOPS:
        return f"the {worst.blame.part} takes {loss_words(worst.loss_stops)} at {at_words(worst.where)}"
    if guide.margin.percent < LEAST_ROOM_PERCENT:
        return "nothing visible is lost; the frame could be no wider"
    if guide.lacks_room:
        return f"nothing visible is lost; {guide.lack_words}"
    room = f"{'more than ' if guide.margin.capped else ''}{guide.margin.percent:.0f} % wider"
    return f"nothing visible is lost; the frame could be {room}"


def _worst_first(guides: Sequence[Guide], worst: str) -> tuple[Guide, ...]:
    """The guides with the one that the verdict is about ahead, for it chooses the rays that are drawn."""
    return tuple(sorted(guides, key=lambda guide: guide.name != worst))


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
