"""One run of the program: states traced, files written, the table printed. The only place where these three meet."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scenes.check import CheckResult, keep_nothing, run_check
from scenes.cli import own_version
from scenes.engines import Engine, engine_of
from scenes.files import RESULTS_KEY, RESULTS_NAME, Staging, as_json, result_folder
from scenes.progress import progress
from scenes.record import Recorder
from scenes.results import (
    SCHEMA_VERSION,
    Provenance,
    caution_lines,
    device_lines,
    notes_lines,
    results_dict,
    summary_lines,
    table_lines,
)
from scenes.verdict import Limits

if TYPE_CHECKING:
    from scenes.build import StatePlan
    from scenes.plan import Loaded

STEPS_PER_STATE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a person asked for on the command line."""

    engine: str = "coverage"
    device: str = "cpu"
    columns: int | str | None = None
    flat: bool = True
    solid: bool = True
    threads: int = 1
    parts: bool = False
    as_json: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A scene's states to check, and the folder under --out that its results go to."""

    loaded: Loaded
    plans: tuple[StatePlan, ...]
    folder: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A checked scene: its result, results.json as data, and sentences about pictures that could not be drawn."""

    check: CheckResult
    results: dict[str, Any]
    trouble: tuple[str, ...]


def run_jobs(jobs: Sequence[Job], out: Path | None, asked: Asked, extra: Mapping[str, bytes] | None = None) -> int:
    """Check scenes into one folder, or into none, and say what was found; the worst exit status comes back.

    `extra` holds further files to put into the folder, by name. Where there are several scenes each has a folder of its own, and
    results.json at the top tells them.
    """
    engine = engine_of(asked.engine, asked.device)
    if out is None:
        done = [run_job(job, None, engine, asked) for job in jobs]
    else:
        with result_folder(out) as staging:
            for name, data in (extra or {}).items():
                staging.write(name, data)
            done = [run_job(job, staging, engine, asked) for job in jobs]
            if all(job.folder for job in jobs):
                staging.write(RESULTS_NAME, as_json(index(jobs, done, staging.names())))
    say(done, out, asked)
    return max(one.check.exit_status for one in done)


def run_job(job: Job, staging: Staging | None, engine: Engine, asked: Asked) -> Done:
    """Check one scene and write all of its files."""
    scene = job.loaded.scene
    limits = Limits(visible_loss_stops=scene.check.visible_loss_stops)
    recorder = None if staging is None else _recorder(job, staging, asked, limits)
    keep = keep_nothing if recorder is None else recorder.keep
    try:
        with progress(STEPS_PER_STATE * len(job.plans), scene.title or job.loaded.file_name) as tick:
            check = run_check(
                job.plans,
                engine,
                columns=asked.columns,
                limits=limits,
                threads=asked.threads,
                rooms=asked.parts,
                tick=tick,
                keep=keep,
            )
        check = replace(check, tolerances=len(scene.tolerance))
        made_by = _provenance(job, engine)
        if recorder is None:
            return Done(check=check, results=results_dict(check, made_by), trouble=())
        with progress(recorder.views_due, "3D pictures") as tick:
            recorder.draw_views(tick)
        return Done(check=check, results=recorder.finish(check, made_by), trouble=tuple(dict.fromkeys(recorder.trouble)))
    finally:
        if recorder is not None:
            recorder.close()


def _provenance(job: Job, engine: Engine) -> Provenance:
    loaded = job.loaded
    return Provenance(
        version=own_version(),
        engine=engine.name,
        scene_title=loaded.scene.title,
        scene_file=loaded.file_name,
        scene_sha256=loaded.sha256,
    )


def _recorder(job: Job, staging: Staging, asked: Asked, limits: Limits) -> Recorder:
    visible = limits.visible_loss_stops
    return Recorder(staging=staging, visible_loss_stops=visible, folder=job.folder, flat=asked.flat, solid=asked.solid)


def index(jobs: Sequence[Job], done: Sequence[Done], files: Sequence[str]) -> dict[str, Any]:
    """What results.json says at the top of a folder that holds several scenes' results."""
    keys = ("verdict", "exit_status", "summary", "counts")
    shows = [
        {"folder": job.folder, "title": job.loaded.scene.title, **{key: one.results[key] for key in keys}}
        for job, one in zip(jobs, done, strict=True)
    ]
    program = {"name": "brimline", "version": own_version()}
    return {RESULTS_KEY: SCHEMA_VERSION, "program": program, "shows": shows, "files": sorted(files)}


def say(done: Sequence[Done], out: Path | None, asked: Asked) -> None:
    """Print the answer: JSON, or tables, summaries, cautions and where to look."""
    if asked.as_json:
        answers = [one.results for one in done]
        click.echo(as_json(answers[0] if len(answers) == 1 else {"shows": answers}), nl=False)
    else:
        for one in done:
            _say_table(one)
        click.echo("\n".join(caution_lines()))
        if out is not None:
            click.echo(written_words(done, out))
    for sentence in dict.fromkeys(sentence for one in done for sentence in one.trouble):
        click.echo(f"note: {sentence}", err=True)


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


def _say_table(done: Done) -> None:
    plain = not _stdout_writes("✓≈◐✗…")
    title = done.results["scene"]["title"]
    lines = [
        *([title] if title else []),
        *table_lines(done.check, plain=plain),
        *notes_lines(done.check),
        *device_lines(done.check),
        *summary_lines(done.check),
        "",
    ]
    text = "\n".join(lines)
    click.echo(text.encode("ascii", "replace").decode() if plain else text)


def _stdout_writes(characters: str) -> bool:
    try:
        characters.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
