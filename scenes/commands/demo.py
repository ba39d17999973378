"""`brimline demo`: the main job on the built-in show."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from scenes.questions.check.options import run_options

if TYPE_CHECKING:
    from scenes.questions.check.run import Asked

SHOWS = (("65-5perf", "demo.toml"), ("36x24", "demo-36x24.toml"))  # result folder under --out, scene


@click.command("demo", short_help="Check the built-in show and leave a folder to look at.")
@click.option("--out", type=click.Path(path_type=Path), default=Path("demo-out"), show_default=True, help="Folder for results.")
@run_options
def command(out: Path, asked: Asked) -> int:
    """Check an invented show on 65 mm film, and two lenses from published prescriptions on 36 x 24; its scene files come along.

    Exit status 0 whatever the verdicts: the show is built to have some of each.
    """
    from importlib.resources import as_file, files

    from scenes.questions.check.job_run import Job
    from scenes.questions.check.run import answered, run_jobs
    from scenes.states.load import load_scene, plans_of

    with as_file(files("scenes") / "demo") as folder:
        loaded = [(name, load_scene(folder / scene)) for name, scene in SHOWS]
        jobs = [Job(loaded=show, plans=plans_of(show), folder=name) for name, show in loaded]
        status = answered(run_jobs(jobs, out, asked, extra=demo_files(folder)), out, asked)
    if not asked.as_json:
        click.echo(
            f"The scenes are in {out / 'scene'}: change one, then brimline check {out / 'scene' / SHOWS[0][1]} --out my-check"
        )
    return status if status > 1 else 0


def demo_files(folder: Path) -> dict[str, bytes]:
    """The demo's own files by the name they get under `scene`."""
    from scenes.io.reading import read_bytes

    paths = sorted(path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    return {f"scene/{path.relative_to(folder).as_posix()}": read_bytes(path) for path in paths}
