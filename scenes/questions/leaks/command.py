"""`brimline leaks`: where stray light gets in, how much, and what closes it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scenes.answers.opened import open_scene
    from scenes.io.files import Staging
    from scenes.questions.leaks.report import LeakReport
    from scenes.states.load import Loaded
    from scenes.states.state import State
    from scenes.view3d.content import Scene3D

SCHEMA_VERSION = 1
LEAKS = "leaks"


@click.command("leaks", short_help="Where stray light gets in, and what closes it.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--lens", "lenses", multiple=True, metavar="NAME", help="Only this lens; may be repeated.")
@click.option("--focus", multiple=True, metavar="MM", help='Focus from the image plane in mm, "infinity" or "close".')
@click.option("--f-number", "f_numbers", multiple=True, type=float, help="Stop; the first one of [check] if left out.")
@click.option("--target", type=click.Choice(["glass", "lens"]), default="glass", help="Outermost glass, or the lens front.")
@click.option("--columns", default=1024, show_default=True, type=click.IntRange(16, 8192), help="Width of the leak picture.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for tables and pictures.")
@click.option("--no-3d", is_flag=True, help="Leave the 3D pictures out.")
@click.option("--json", "as_json", is_flag=True, help="Print the results as JSON instead of tables.")
def command(
    scene: Path,
    lenses: tuple[str, ...],
    focus: tuple[str, ...],
    f_numbers: tuple[float, ...],
    target: str,
    columns: int,
    out: Path | None,
    no_3d: bool,
    as_json: bool,
) -> int:
    """Measure stray light for one state of each lens: the first of its states that fits the options.

    What is advised keeps clear every focus and stop of the lenses asked for, as `brimline flags` and `brimline check` see them.
    """
    from scenes.io.files import result_folder
    from scenes.states.load import plans_of
    from scenes.states.select import first_of_each_lens, selected

    loaded = open_scene(scene)
    every = plans_of(loaded)
    wanted = selected(every, lenses=lenses, focus=focus, f_numbers=f_numbers)
    plans = first_of_each_lens(wanted)
    measured = Measured(loaded=loaded, target=target, columns=columns, solid=not no_3d, keeping=selected(every, lenses=lenses))
    if out is None:
        measured.measure(plans, None)
    else:
        with result_folder(out, LEAKS) as folder:
            measured.measure(plans, folder)
            measured.write_tables(folder, left_out_lines(len(wanted), len(plans)))
    text = "\n".join([*measured.texts, *left_out_lines(len(wanted), len(plans))])
    click.echo(json.dumps(measured.results(), indent=2) if as_json else text, nl=as_json)
    return 0


@dataclass(slots=True, kw_only=True)
class Measured:
    """The states measured so far: their tables, results and files. Advice leaves alone the states in `keeping`."""

    loaded: Loaded
    target: str
    columns: int
    solid: bool
    keeping: Sequence[State]
    texts: list[str] = field(default_factory=list)
    entries: list[dict[str, Any]] = field(default_factory=list)
    files: list[str] = field(default_factory=list)

    def measure(self, plans: Sequence[State], folder: Staging | None) -> None:
        """Measure states one by one; where there is a folder, their pictures and arrays go into it."""
        from scenes.questions.leaks.advice import AdviceGrounds, advise
        from scenes.questions.leaks.report import run_leaks
        from scenes.questions.leaks.text import report_dict, report_text
        from scenes.runtime.progress import progress

        scene, views = self.loaded.scene, []
        grounds = AdviceGrounds(self.keeping)
        with progress(2 * len(plans), "leaks") as tick:
            for plan in plans:
                report = run_leaks(plan, target=self.target, columns=self.columns)
                tick(1, plan.key)
                advice = advise(report, target=self.target, grounds=grounds)
                self.texts.append(report_text(report, advice))
                self.entries.append(report_dict(report, advice))
                if folder is not None:
                    self.files += write_state(folder, report, scene.title)
                    views += [view(report, scene.title)] if self.solid and report.picture.paths else []
                tick(1, plan.key)
        if folder is not None:
            self.files += draw_views(folder, views)

    def write_tables(self, folder: Staging, more: Sequence[str]) -> None:
        """Write leaks.txt and results.json."""
        self.files.append(folder.write("leaks.txt", "\n".join([*self.texts, *more])))
        folder.write("results.json", json.dumps(self.results(), indent=2))

    def results(self) -> dict[str, Any]:
        """The whole of results.json."""
        return whole(self.loaded.scene.title, self.loaded.file_name, self.loaded.sha256, self.entries, self.files)


def write_state(folder: Staging, report: LeakReport, title: str) -> list[str]:
    """One state's flat pictures and arrays; their names come back."""
    key = report.plan.key
    names = [folder.write(f"{key}/{name}", data) for name, data in pictures(report, title).items()]
    return [*names, folder.write_arrays(f"{key}/leak.npz", arrays(report))]


def left_out_lines(wanted: int, seen: int) -> list[str]:
    """What was not looked at, so that nobody takes silence for darkness."""
    if wanted == seen:
        return []
    lines = (
        f"Looked at {seen} of {wanted} states, the first of each lens. Another focus or stop can let in what",
        "these keep out: choose others by --focus and --f-number.",
    )
    return ["\n".join(lines) + "\n"]


def pictures(report: LeakReport, title: str) -> dict[str, bytes]:
    """The pictures of one state as PNG, by file name."""
    from scenes.io.pictures import figure_png
    from scenes.questions.leaks.figure import leak_figure, sky_figure, ways_figure
    from scenes.states.names import state_words

    words = state_words(report.plan)
    mirrored = float(report.picture.relative.mean())
    sky = f"{title}. {report.open_sr:.2f} sr open outside the picture, {report.off_sr:.2f} sr with no box"
    leak = f"{title}. Mean {100 * mirrored:.2g} % of the picture's brightness" if mirrored else f"{title}. Nothing is mirrored in"
    drawn = {
        "leak.png": leak_figure(report, f"{words}: what the filters mirror in from behind", leak),
        "sky.png": sky_figure(report, f"{words}: the sky that reaches {report.setup.target.name}", sky),
    }
    if report.picture.paths:
        drawn["ways.png"] = ways_figure(report, f"{words}: the strongest mirrored ways", title)
    return {name: figure_png(figure) for name, figure in drawn.items()}


def view(report: LeakReport, title: str) -> tuple[str, Scene3D]:
    """The 3D picture of one state's strongest ways, and its file name."""
    from scenes.questions.leaks.view3d import leak_scene3d
    from scenes.states.names import state_words

    head = f"{state_words(report.plan)}: the strongest mirrored ways"
    return f"{report.plan.key}/ways-3d.png", leak_scene3d(report, (head, title))


def draw_views(folder: Staging, views: Sequence[tuple[str, Scene3D]]) -> list[str]:
    """Draw 3D pictures into the folder; names of those drawn come back, a machine that cannot draw gets a note."""
    from scenes.view3d.render import render_batch
    from scenes.view3d.state_view import VIEW_SIZE

    report = render_batch([(scene, folder.path_for(name), VIEW_SIZE) for name, scene in views])
    if report.problem:
        click.echo(f"note: {report.problem}", err=True)
    return [name for name, _ in views if folder.path_for(name).exists()]


def arrays(report: LeakReport) -> dict[str, Any]:
    """The leak picture as arrays: by opening (O, H, W), front and standard error (H, W), axes in mm, names."""
    import numpy as np

    picture = report.picture
    return {
        "leak": picture.absolute.astype(np.float32),
        "front": picture.front.astype(np.float32),
        "stderr": picture.stderr.astype(np.float32),
        "x_mm": picture.grid.x_mm,
        "y_mm": picture.grid.y_mm,
        "openings": np.array(picture.opening_names),
    }


def whole(title: str, file_name: str, sha256: str, entries: Sequence[dict[str, Any]], files: Sequence[str]) -> dict[str, Any]:
    """The whole of results.json."""
    from scenes.io.files import RESULTS_KEY

    scene = {"title": title, "file": file_name, "sha256": sha256}
    return {RESULTS_KEY: SCHEMA_VERSION, "command": LEAKS, "scene": scene, "states": list(entries), "files": list(files)}
