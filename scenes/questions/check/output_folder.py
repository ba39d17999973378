"""What a run leaves behind: maps, pictures, contact sheets and results.json, written into a staging folder."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scenes.answers.csv_tables import csv_files
from scenes.io.folders.left_results import RESULTS_NAME
from scenes.io.folders.result_folder import Staging
from scenes.io.writing import as_json, write_whole
from scenes.questions.check.kept_states import Keeping, picture_name
from scenes.questions.check.one_state import (
    SIDE_VIEWS,
    VIEWS,
    Gathered,
    Kept,
    Recorded,
    StateRequest,
    gather_views,
    write_cuts,
    write_heatmap,
    write_sheet,
)
from scenes.questions.check.results_json import Provenance, results_dict
from scenes.questions.check.sheet_rows import SheetEntry, sheets
from scenes.runtime.progress import Tick, silent
from scenes.runtime.worker_pool import WorkerDied
from scenes.states.names import lens_words
from scenes.verdicts.check import CheckResult, FailedState, StateResult
from scenes.verdicts.test_plan import plan_lines
from scenes.verdicts.text import state_rank
from scenes.view3d.render import Drawers, Job

if TYPE_CHECKING:
    from raytrace.shares import VignetteMap
    from scenes.states.state import State

TEST_PLAN_NAME = "test-plan.txt"
MOST_WAITING = 16  # 3D pictures: their parts and maps take memory, so beyond this they go before the next state


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst state of a lens so far, its small map, and what it is kept as."""

    plan: State
    state: StateResult
    map_: VignetteMap
    kept: Kept | None


@dataclass(slots=True, kw_only=True)
class Recorder:
    """Takes each state as it is done, in the scene's order, and sees to what takes several of them; holds no full map."""

    staging: Staging
    request: StateRequest
    drawers: Drawers
    keeping: Keeping | None = None
    kept_as: dict[Path, str] = field(default_factory=dict)  # 3D pictures of kept states
    entries: dict[str, SheetEntry] = field(default_factory=dict)
    waiting: list[Job] = field(default_factory=list)
    unready: int = 0  # 3D pictures that are being got ready
    places: dict[Path, int] = field(default_factory=dict)  # of 3D pictures, in the order in which they were asked for
    left_out: list[tuple[Path, str]] = field(default_factory=list)
    problem: str = ""
    trouble: list[str] = field(default_factory=list)
    tightest: dict[str, tuple[float, State, StateResult]] = field(default_factory=dict)
    worst: dict[str, Worst] = field(default_factory=dict)  # by lens
    heatmaps: list[tuple[State, StateResult, VignetteMap]] = field(default_factory=list)  # still to be drawn

    def take(self, plan: State, recorded: Recorded) -> Recorded:
        """Note a state for the sheets and cuts and queue its 3D pictures; it comes back with all of its files."""
        self.trouble += recorded.trouble
        if not recorded.check.states:
            return recorded
        state = recorded.check.states[0]
        if recorded.entry is not None:
            self.entries[plan.key] = recorded.entry
            self._remember_tightest(plan, state)
            if recorded.entry.map_ is not None:
                self._remember_worst(Worst(plan, state, recorded.entry.map_, recorded.kept))
        if recorded.map_ is not None:
            self.heatmaps.append((plan, state, recorded.map_))
        self._queue(recorded.views, recorded.kept)
        return recorded

    def _queue(self, views: Sequence[Job], kept: Kept | None) -> None:
        """Have a state's pictures drawn, unless an earlier run has."""
        self.places |= {path: len(self.places) + k for k, (_, path, _) in enumerate(views)}
        if kept is not None:
            self.kept_as |= {path: picture_name(kept, path) for _, path, _ in views}
        self.waiting += [view for view in views if not self._taken(view[1])]

    def _taken(self, path: Path) -> bool:
        """Whether a picture is there now that an earlier run has left."""
        if self.keeping is None or self.keeping.fresh or path not in self.kept_as:
            return False
        data = self.keeping.work.get(self.kept_as[path])
        if data is not None:
            write_whole(path, data)
        return data is not None

    def _keep(self, paths: Sequence[Path]) -> None:
        """Keep pictures for the next run, should this one be stopped; states say where nothing can be kept."""
        for path in paths:
            if self.keeping is not None and path in self.kept_as:
                self.keeping.work.put(self.kept_as[path], path.read_bytes())

    def _remember_tightest(self, plan: State, state: StateResult) -> None:
        """Of each lens, zoomed or not, the state whose beam comes nearest to a part: its box is drawn to be built from."""
        clearance_mm = min((part.clearance_mm for part in state.parts if part.clearance_mm is not None), default=math.inf)
        lens = lens_words(state)
        if lens not in self.tightest or clearance_mm < self.tightest[lens][0]:
            self.tightest[lens] = (clearance_mm, plan, state)

    def _remember_worst(self, found: Worst) -> None:
        """Of each lens the state that its row of the answer is about, the first of several alike."""
        lens = found.state.lens_name
        if lens not in self.worst or state_rank(found.state) > state_rank(self.worst[lens].state):
            self.worst[lens] = found

    def steps(self, title: str, failed: Sequence[FailedState]) -> Iterator[tuple[Callable[..., Any], Callable[[Any], None]]]:
        """Calls for flat pictures that take several states or were put off, each with what takes its result."""
        for heatmap in self.heatmaps:
            yield partial(write_heatmap, *heatmap, self.request), self._take_sentence("heatmaps")
        for _, plan, state in self.tightest.values():
            yield partial(write_cuts, plan, state, title, self.request), self._take_sentence("cuts")
        for call in self._sheets(title, failed) if self.request.flat else ():
            yield call, self._take_sentence("contact sheets")

    def views(self) -> list[tuple[Callable[..., Gathered], Callable[[Gathered | WorkerDied], None]]]:
        """Calls that get the 3D pictures of each lens's worst state ready, but for those that every state has."""
        named = tuple(view for view in VIEWS if view not in SIDE_VIEWS) if self.request.all_3d else VIEWS
        found = [(one, view) for one in self.worst.values() if self.request.solid for view in named]
        self.unready = len(found)  # one at a time: the first is drawn while the next is got ready
        return [
            (partial(gather_views, one.plan, one.state, one.map_, self.request, [view]), partial(self._take_view, one, view[1]))
            for one, view in found
        ]

    def _take_view(self, found: Worst, name: str, gathered: Gathered | WorkerDied) -> None:
        """Note what a call has got ready."""
        self.unready -= 1
        if isinstance(gathered, WorkerDied):
            self.trouble.append(f"{found.plan.key}/{name} was left out: the process that got it ready has ended")
            return
        self.trouble += gathered.trouble
        self._queue(gathered.jobs, found.kept)

    def _take_sentence(self, what: str) -> Callable[[str | WorkerDied], None]:
        def take(why: str | WorkerDied) -> None:
            words = f"{what} were left out: the process that drew them has ended" if isinstance(why, WorkerDied) else why
            self.trouble += [words] if words else []

        return take

    def pictures_left(self) -> int:
        """How many 3D pictures are still to be drawn, at most."""
        return len(self.waiting) + self.unready

    def draw_beside(self, idle: bool) -> Callable[[], None] | None:
        """A 3D picture to draw where there is no state to check, or where too many wait."""
        return self._next_picture(silent) if self.waiting and (idle or len(self.waiting) > MOST_WAITING) else None

    def draw_rest(self, tick: Tick) -> Callable[[bool], Callable[[], None] | None]:
        """The 3D pictures that are left, one by one, by whoever has nothing else to do."""
        return lambda idle: self._next_picture(tick) if idle and self.drawers.worth_another(len(self.waiting)) else None

    def _next_picture(self, tick: Tick) -> Callable[[], None]:
        return partial(self._draw, self.waiting.pop(0), tick)

    def _draw(self, job: Job, tick: Tick) -> None:
        """Have a picture drawn; a machine that cannot draw gets a sentence in `trouble`, never a crash."""
        report = self.drawers.draw([job])
        self.problem = self.problem or report.problem
        self.left_out += report.failed
        self._keep(report.written)
        tick(1, "3D pictures")

    def told(self) -> tuple[str, ...]:
        """Sentences about what could not be drawn, in the scene's order."""
        left_out = sorted(self.left_out, key=lambda one: self.places[one[0]])
        sentences = [f"{path.parent.name}/{path.name} was left out: {why}" for path, why in left_out]
        return tuple(dict.fromkeys([*sentences, *([self.problem] if self.problem else []), *self.trouble]))

    def finish(self, check: CheckResult, made_by: Provenance) -> dict[str, Any]:
        """Write the test plan and results.json; the latter's content comes back."""
        self.staging.write(self.request.name(TEST_PLAN_NAME), "\n".join([*plan_lines(check, made_by.scene_title), ""]))
        for name, text in csv_files("results", results_dict(check, made_by)):
            self.staging.write(self.request.name(name), text)
        prefix = f"{self.request.folder}/" if self.request.folder else ""
        files = tuple(name.removeprefix(prefix) for name in self.staging.names() if name.startswith(prefix))
        drawn = {one.plan.key for one in self.worst.values()}
        check = replace(check, states=tuple(_existing(state, files, state.key in drawn) for state in check.states))
        results = results_dict(check, made_by, files)
        self.staging.write(self.request.name(RESULTS_NAME), as_json(results, for_file=True))
        return results

    def _sheets(self, title: str, failed: Sequence[FailedState]) -> list[Callable[..., str]]:
        lost = [SheetEntry(lens=state.lens_name, column=state.key, map_=None, note=state.why) for state in failed]
        found = sheets([*self.entries.values(), *lost], title=title)
        return [partial(write_sheet, sheet, f"sheet-{number}", self.request) for number, sheet in enumerate(found, 1)]


def _existing(state: StateResult, files: Sequence[str], worst: bool) -> StateResult:
    """The state with its files, without those that could not be drawn; the worst of a lens has pictures that others lack."""
    more = [f"{state.key}/{name}" for _, name in VIEWS if worst]
    return replace(state, files=tuple(name for name in dict.fromkeys([*state.files, *more]) if name in files))
