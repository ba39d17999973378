"""A scene whose states are being checked: results as they come, and what is to be done once all are there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import click

from scenes.questions.check.one_state import Kept, Recorded, StateRequest
from scenes.questions.check.output_folder import Recorder
from scenes.runtime.worker_pool import WorkerDied
from scenes.states.between import between_states
from scenes.states.load import Loaded
from scenes.verdicts.check import CheckResult
from scenes.verdicts.processes import died_words

if TYPE_CHECKING:
    from scenes.states.lens_judgement import LensJudgement
    from scenes.states.state import State

Step = tuple[Callable[..., Any], Callable[[Any], None]]  # a call for any process, and what takes its result


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A scene's states to check, and the folder under --out that its results go to."""

    loaded: Loaded
    plans: tuple[State, ...]
    folder: str = ""


@dataclass(slots=True, kw_only=True)
class JobRun:
    """A job under way; no files without a recorder."""

    job: Job
    request: StateRequest
    recorder: Recorder | None
    checks: list[CheckResult] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)
    lenses: dict[str, tuple[LensJudgement, ...]] = field(default_factory=dict)

    def take(self, plan: State, recorded: Recorded) -> None:
        """Note a state that was checked or has failed."""
        self.kept += [recorded.kept] if recorded.kept is not None else []
        self.checks.append((recorded if self.recorder is None else self.recorder.take(plan, recorded)).check)

    def steps(self, *, between: bool) -> Iterator[Step]:
        """What is to be done once all states are checked."""
        if self.recorder is not None:
            yield from self.recorder.views()  # first: processes that draw in 3D wait for them
        if between:
            yield from (self._range_of(name) for name in dict.fromkeys(plan.lens_name for plan in self.job.plans))
        if self.recorder is not None:
            failed = [state for check in self.checks for state in check.failed]
            yield from self.recorder.steps(self.job.loaded.scene.title, failed)

    def _range_of(self, name: str) -> Step:
        plans = tuple(plan for plan in self.job.plans if plan.lens_name == name)

        def take(found: tuple[LensJudgement, ...] | WorkerDied) -> None:
            if isinstance(found, WorkerDied):
                click.echo(f'note: "{name}" is not judged between its states: {died_words(found)}', err=True)
            self.lenses[name] = () if isinstance(found, WorkerDied) else found

        told = {key: is_clear for check in self.checks for key, is_clear in check.called_clear.items()}
        return partial(between_states, plans, told), take

    def between(self) -> tuple[LensJudgement, ...]:
        """Every lens over the range that its states span, in the scene's order."""
        return tuple(one for found in self.lenses.values() for one in found)
