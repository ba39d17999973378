"""One run of the program: states traced, files written, the table printed. The only place where these three meet."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scenes.answers.answer import VERSION
from scenes.answers.narrow import for_terminal
from scenes.answers.opened import fault_lines, slip_lines
from scenes.io.folders.left_results import RESULTS_KEY, RESULTS_NAME
from scenes.io.folders.result_folder import Staging, result_folder
from scenes.io.writing import as_json
from scenes.questions.check.job_run import Job, JobRun
from scenes.questions.check.kept_states import Keeping, keeping_of, told
from scenes.questions.check.one_state import Kept, Recorded, StateRequest, load_libraries, record_state
from scenes.questions.check.output_folder import Recorder
from scenes.questions.check.results_json import Provenance, results_dict
from scenes.runtime.engines import AREAS, CPU
from scenes.runtime.page import wrapped
from scenes.runtime.progress import Tick, progress, silent
from scenes.runtime.version import own_version
from scenes.runtime.worker_pool import Aside, Sharing, WorkerDied
from scenes.states.clear_rule import Limits
from scenes.states.load import is_as_read, load_scene, wanted_states
from scenes.states.numbers_used import numbers_by_lens
from scenes.verdicts.check import CheckResult, FailedState
from scenes.verdicts.overview import answer_line, end_lines, overview_lines
from scenes.verdicts.processes import STATES_PER_PROCESS, STEPS_PER_STATE, died_words, processes_beside
from scenes.verdicts.text import caution_lines, device_lines, table_lines
from scenes.view3d.render import Drawers

if TYPE_CHECKING:
    from scenes.answers.options import Wanted
    from scenes.states.state import State

LEAST_STATES = 2  # for each process, where a state takes long
DEMO = "demo"
CHANGED = "the scene file has changed since it was read: this answer is of the file as it was; run again"
ANSWER, OVERVIEW, EVERY_STATE = range(3)  # how much of an answer is printed


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a person asked for on the command line."""

    engine: str = "coverage"
    device: str = "cpu"
    columns: int | str | None = None
    formats: tuple[str, ...] = ("png",)
    flat: bool = True
    solid: bool = True
    all_3d: bool = False
    threads: int = 1
    parts: bool = False
    between: bool = True
    detail: int = OVERVIEW
    prove: bool = False
    as_json: bool = False
    fresh: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RunContext:
    """What the jobs of one run share."""

    asked: Asked
    sharing: Sharing
    drawers: Drawers
    keeping: Keeping | None = None
    lone: bool = False  # a single state


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A checked scene: its result, results.json as data, and sentences about pictures that could not be drawn."""

    check: CheckResult
    results: dict[str, Any]
    trouble: tuple[str, ...]
    kept: tuple[Kept, ...] = ()


def run_jobs(jobs: Sequence[Job], out: Path | None, asked: Asked, extra: Mapping[str, bytes] | None = None) -> list[Done]:
    """Check scenes into one folder, or into none.

    `extra` holds further files to put into the folder, by name. Where there are several scenes each has a folder of its own, and
    results.json at the top tells them.
    """
    plans = [plan for job in jobs for plan in job.plans]
    count, keeping = workers_for(asked, plans), keeping_of(len(plans), fresh=asked.fresh)
    lanes = max(count + 1, min(asked.threads, 2) if out is not None and asked.solid else 1)
    draws = out is not None and (asked.flat or asked.solid)
    warm = partial(load_libraries, asked.engine, drawing=out is not None and asked.flat)
    drawers = Drawers()
    with drawers, Sharing(lanes=lanes, workers=count, copied=not draws, warm=warm, halt=drawers.stop.stop) as sharing:
        context = RunContext(asked=asked, sharing=sharing, drawers=drawers, keeping=keeping, lone=len(plans) == 1)
        if out is not None and asked.solid and not count and asked.threads > 1:
            drawers.start_early()
        if out is None:
            done = _run(jobs, None, context)
        else:
            with result_folder(out, "demo" if all(job.folder for job in jobs) else "check") as staging:
                for name, data in (extra or {}).items():
                    staging.write(name, data)
                done = _run(jobs, staging, context)
                if all(job.folder for job in jobs):
                    staging.write(RESULTS_NAME, as_json(index(jobs, done, staging.names()), for_file=True))
    if keeping is not None:  # the answer is there: nobody needs them any more
        keeping.work.drop(kept.name for one in done for kept in one.kept)
    return done


def check_file(path: Path, wanted: Wanted, out: Path | None, asked: Asked) -> int:
    """Check the wanted states of the scene at a path and say what was found; the exit status comes back."""
    show = load_scene(path)
    plans = wanted_states(show, lenses=wanted.lenses, focus=wanted.focus, f_numbers=wanted.f_numbers)
    tell_faults(plans)
    if asked.detail == ANSWER:  # a longer page tells them itself
        for sentence in slip_lines(plans):
            click.echo(sentence, err=True)
    status = answered(run_jobs([Job(loaded=show, plans=plans)], out, asked), out, asked)
    if not is_as_read(show, path):
        click.echo(f"caution: {path}: {CHANGED}", err=True)
    return status


def tell_faults(plans: Sequence[State]) -> None:
    """Say on stderr, before anything is traced, what the scene's own numbers are at fault with: the answer rests on them."""
    for sentence in fault_lines(plans):
        click.echo(sentence, err=True)


def answered(done: Sequence[Done], out: Path | None, asked: Asked) -> int:
    """Say what was found; the worst exit status comes back."""
    say(done, out, asked)
    return max(one.check.exit_status for one in done)


def _run(jobs: Sequence[Job], staging: Staging | None, context: RunContext) -> list[Done]:
    """Check scenes and write all of their files: first every state of all, then what takes several states."""
    runs = [_begun(job, staging, context) for job in jobs]
    _check_states(runs, context)
    _look_at_lenses(runs, context)
    return [_finished(run, context) for run in runs]


def _begun(job: Job, staging: Staging | None, context: RunContext) -> JobRun:
    request = _request(job, staging, context)
    recorder = (
        None if staging is None else Recorder(staging=staging, request=request, drawers=context.drawers, keeping=context.keeping)
    )
    return JobRun(job=job, request=request, recorder=recorder)


def _check_states(runs: Sequence[JobRun], context: RunContext) -> None:
    """Check every state; results come in the order of the scenes and of their states."""
    whose = [(run, plan) for run in runs for plan in run.job.plans]

    def take(number: int, recorded: Recorded | WorkerDied) -> None:
        run, plan = whose[number]
        run.take(plan, state_failed(plan, recorded, run.request.limits) if isinstance(recorded, WorkerDied) else recorded)

    calls = [partial(state_once, plan, run.request, context.keeping) for run, plan in whose]
    with progress(STEPS_PER_STATE * len(calls), _label(runs)) as tick:
        context.sharing.run(calls, take, aside=_first_piece([r.draw_beside for r in _recorders(runs)]), tick=tick)
    for sentence in told([kept for run in runs for kept in run.kept], len(calls)):
        click.echo(f"note: {sentence}", err=True)


def _look_at_lenses(runs: Sequence[JobRun], context: RunContext) -> None:
    """Have done what takes several states: lenses between their states, contact sheets, cuts, and the 3D pictures that are left."""
    steps = [step for run in runs for step in run.steps(between=context.asked.between)]
    recorders = _recorders(runs)
    with progress(
        len(steps) + sum(recorder.pictures_left() for recorder in recorders), "pictures" if recorders else "lenses"
    ) as tick:
        aside = _first_piece([recorder.draw_rest(tick) for recorder in recorders])
        context.sharing.run([call for call, _ in steps], lambda number, result: steps[number][1](result), aside=aside, tick=tick)


def _recorders(runs: Sequence[JobRun]) -> list[Recorder]:
    return [run.recorder for run in runs if run.recorder is not None]


def _first_piece(asides: Sequence[Aside]) -> Aside:
    """The first piece of work that any of several has."""
    return lambda idle: next((piece for aside in asides if (piece := aside(idle)) is not None), None)


def _label(runs: Sequence[JobRun]) -> str:
    loaded = runs[0].job.loaded
    return loaded.scene.title or loaded.file_name if len(runs) == 1 else f"{len(runs)} shows"


def _finished(run: JobRun, context: RunContext) -> Done:
    """Write what tells of the whole scene."""
    job, recorder = run.job, run.recorder
    check = replace(
        joined(run.checks, run.request.limits),
        tolerances=len(job.loaded.scene.tolerance),
        lenses=run.between(),
        numbers=numbers_by_lens(job.plans),
    )
    made_by = provenance(job, context.asked)
    if context.asked.prove:
        check = _with_proofs(check, job, None if recorder is None else (recorder.staging, run.request), made_by)
    if recorder is None:
        return Done(check=check, results=results_dict(check, made_by), trouble=(), kept=tuple(run.kept))
    return Done(check=check, results=recorder.finish(check, made_by), trouble=recorder.told(), kept=tuple(run.kept))


def state_once(plan: State, request: StateRequest, keeping: Keeping | None, *, tick: Tick = silent) -> Recorded:
    """The state as an earlier run has left it, or checked now and kept in case that this one is stopped."""
    if keeping is not None and (taken := keeping.taken(plan, request)) is not None:
        tick(100, "taken from an earlier run")
        return taken
    recorded = record_state(plan, request, tick=tick)
    return recorded if keeping is None else keeping.kept(plan, request, recorded)


def _with_proofs(check: CheckResult, job: Job, into: tuple[Staging, StateRequest] | None, made_by: Provenance) -> CheckResult:
    from scenes.questions.check.proof import NAME, proof_text, proofs_of

    findings, entries = proofs_of(job.plans, job.loaded.tables, check)
    if into is not None:
        staging, request = into
        staging.write(request.name(NAME), proof_text(entries, made_by))
    return replace(check, proofs=findings)


def joined(checks: Sequence[CheckResult], limits: Limits) -> CheckResult:
    """Checks of one state each as one."""
    states = tuple(state for check in checks for state in check.states)
    return CheckResult(states=states, failed=tuple(state for check in checks for state in check.failed), limits=limits)


def state_failed(plan: State, died: WorkerDied, limits: Limits) -> Recorded:
    """A state that has cost its process, as one that could not be computed."""
    why = f"{died_words(died)}; try smaller maps with --pixels"
    failed = FailedState(key=plan.key, lens_name=plan.lens_name, why=why)
    return Recorded(check=CheckResult(states=(), failed=(failed,), limits=limits))


def _request(job: Job, staging: Staging | None, context: RunContext) -> StateRequest:
    asked = context.asked
    return StateRequest(
        engine=asked.engine,
        device=asked.device,
        columns=asked.columns,
        limits=Limits(visible_loss_stops=job.loaded.scene.check.visible_loss_stops),
        threads=max(asked.threads // (context.sharing.workers + 1), 1),
        rooms=asked.parts,
        staging=staging,
        folder=job.folder,
        formats=asked.formats,
        flat=asked.flat,
        solid=asked.solid,
        all_3d=asked.all_3d,
        heatmap_later=context.lone and asked.solid,
    )


def workers_for(asked: Asked, plans: Sequence[State]) -> int:
    """How many processes to work on states beside this one: none where there are few states or little memory."""
    if asked.device != CPU:  # its memory is not for several, and it has made the maps before the second process is ready
        return 0
    least = LEAST_STATES if asked.parts or asked.engine != AREAS else STATES_PER_PROCESS
    return processes_beside(plans, asked.threads, engine=asked.engine, columns=asked.columns, least=least)


def provenance(job: Job, asked: Asked) -> Provenance:
    """Which engine made a result from which scene."""
    loaded = job.loaded
    return Provenance(
        engine=asked.engine,
        scene_title=loaded.scene.title,
        scene_file=loaded.file_name,
        scene_sha256=loaded.sha256,
    )


def index(jobs: Sequence[Job], done: Sequence[Done], files: Sequence[str]) -> dict[str, Any]:
    """What results.json says at the top of a folder that holds several scenes' results."""
    keys = ("verdict", "exit_status", "summary", "counts")
    shows = [
        {"folder": job.folder, "title": job.loaded.scene.title, **{key: one.results[key] for key in keys}}
        for job, one in zip(jobs, done, strict=True)
    ]
    program = {"name": "brimline", "version": own_version()}
    return {RESULTS_KEY: DEMO, "version": VERSION, "program": program, "shows": shows, "files": sorted(files)}


def say(done: Sequence[Done], out: Path | None, asked: Asked) -> None:
    """Print the answer: JSON, or the answer first, then lenses, what to do, cautions and where to look."""
    if asked.as_json:
        answers = [one.results for one in done]
        click.echo(as_json(answers[0] if len(answers) == 1 else {"shows": answers}), nl=False)
    else:
        plain = not _stdout_writes("✓≈◐✗…")
        text = for_terminal("\n".join(page_lines(done, out, asked.detail, plain=plain)))
        click.echo(text.encode("ascii", "replace").decode() if plain else text)
    for sentence in dict.fromkeys(sentence for one in done for sentence in one.trouble):
        click.echo(f"note: {sentence}", err=True)


def page_lines(done: Sequence[Done], out: Path | None, detail: int, *, plain: bool) -> Iterator[str]:
    """The page: `ANSWER` its first line alone, `EVERY_STATE` with a row for each state and guide."""
    yield from wrapped(answer_line([one.check for one in done]))
    if detail == ANSWER:
        return
    for one in done:
        yield ""
        if title := one.results["scene"]["title"]:
            yield title
        yield from overview_lines(one.check, plain=plain)
        if detail == EVERY_STATE:
            yield from ("", *table_lines(one.check, plain=plain))
        yield from device_lines(one.check)
        yield from end_lines(one.check)
    yield from ("", *caution_lines())
    if out is not None:
        yield written_words(done, out)


def written_words(done: Sequence[Done], out: Path) -> str:
    """What lies in the folder now, and what does not."""
    states = [state for one in done for state in one.check.states]
    failed = sum(len(one.check.failed) for one in done)
    if not states:
        return f"No state could be computed, so no maps and no pictures were written; {out / RESULTS_NAME} says why."
    drawn = any(name.endswith(".png") for state in states for name in state.files)
    kinds = "Pictures, maps and results.json" if drawn else "Maps and results.json, no pictures,"
    missing = f"; there are none for the {failed} state{'s' if failed > 1 else ''} that could not be computed" if failed else ""
    return f"{kinds} are in {out}{missing}"


def _stdout_writes(characters: str) -> bool:
    try:
        characters.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
