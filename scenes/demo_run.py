"""The demo: two invented shows checked into one folder, with an index of what to look at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from scenes.check_run import record, tell
from scenes.commands.check import Ask, program_version
from scenes.files import RESULTS_KEY, RESULTS_NAME, as_json, read_text, result_folder
from scenes.plan import load_scene, plans_of
from scenes.results import SCHEMA_VERSION, Provenance


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRun:
    """One demo scene's results, in the folder of its own that they lie in."""

    folder: str
    title: str
    results: dict[str, Any]


def run_demo(out: Path, *, solid: bool, threads: int, columns: int, scenes: Sequence[Path]) -> None:
    """Check every demo scene into `out`, whole or not at all, and tell what was found."""
    ask = Ask(columns=columns, threads=threads, solid=solid)
    with result_folder(out) as staging:
        runs = []
        for path in scenes:
            loaded = load_scene(path)
            plans = plans_of(loaded)
            click.echo(f"{loaded.scene.title}: {len(plans)} states")
            made_by = Provenance(
                version=program_version(),
                engine=ask.engine,
                scene_title=loaded.scene.title,
                scene_file=loaded.file_name,
                scene_sha256=loaded.sha256,
            )
            visible = loaded.scene.check.visible_loss_stops
            check, results, trouble = record(staging, path.stem, plans, made_by, ask, visible)
            staging.write(f"{path.stem}/{path.name}", read_text(path))
            tell(check, plans, click.echo)
            for sentence in trouble:
                click.echo(sentence)
            runs.append(DemoRun(folder=path.stem, title=loaded.scene.title, results=results))
        staging.write(RESULTS_NAME, as_json(_index(runs, staging.names())))
    click.echo(f"Look into {out}: begin with {out}/{runs[0].folder}/sheet-1.png")


def _index(runs: Sequence[DemoRun], files: tuple[str, ...]) -> dict[str, Any]:
    return {
        RESULTS_KEY: SCHEMA_VERSION,
        "program": {"name": "brimline", "version": program_version()},
        "shows": [{"folder": run.folder, "title": run.title, **run.results} for run in runs],
        "files": sorted([*files, RESULTS_NAME]),
    }
