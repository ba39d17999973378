"""`brimline widest`: from which focal length on a family of lenses clears the box, and which lenses of the scene do."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from scenes.questions.widest.report import Wanted

BOUNDS = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*(?:(?:\.\.|to)\s*(-?\d+(?:\.\d+)?)\s*)?")


@click.command("widest", short_help="The widest lens that clears the box, with and without mask, flags, a stage more.")
@click.argument("scene", type=click.Path(path_type=Path))
@click.option("--like", metavar="NAME", help="Lens of the scene that the family follows.  [default: the widest]")
@click.option(
    "--pupil", default="worse", metavar="HOW", help="mm behind the front, or 40..52, or held, scaled, worse.  [default: worse]"
)
@click.option("--front", default="held", metavar="HOW", help="Front diameter: mm, or held, scaled.  [default: held]")
@click.option("--front-to-sensor", "length", default="held", metavar="HOW", help="mm, or held, scaled.  [default: held]")
@click.option("--from", "from_mm", type=click.FloatRange(2, 2000), metavar="MM", help="Shortest focal length.  [default: a third]")
@click.option("--to", "to_mm", type=click.FloatRange(2, 2000), metavar="MM", help="Longest focal length.  [default: six times]")
@click.option("--add-stage", type=click.FloatRange(0.5, 200), metavar="MM", help="Depth of a stage more.  [default: as the last]")
@click.option("--no-lenses", is_flag=True, help="Leave out the scene's own lenses.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for a chart and the JSON, over older ones.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of the table.")
def command(
    scene: Path,
    like: str | None,
    pupil: str,
    front: str,
    length: str,
    from_mm: float | None,
    to_mm: float | None,
    add_stage: float | None,
    no_lenses: bool,
    out: Path | None,
    as_json: bool,
) -> int:
    """Find the widest lens that clears the box of SCENE as set, with the mask out, with a stage more, with the flags off.

    Focal length is swept, at each focus and stop of [check]; what else such a lens measures is stated (mm), held as in the lens
    that it follows, scaled with focal length, or the worse of these two. Then the scene's own lenses in the same setups.

    Exit status: 0 done, whatever clears; 2 the input is at fault.
    """
    from scenes.io.files import as_json as json_text
    from scenes.questions.widest.report import widest_report
    from scenes.questions.widest.scene_lenses import catalogue, widest_stops
    from scenes.questions.widest.text import widest_dict, widest_lines
    from scenes.runtime.progress import progress
    from scenes.states.load import load_scene, plans_of

    loaded = load_scene(scene)
    title = loaded.scene.title
    wanted = wanted_of(like, pupil, front, length, (from_mm, to_mm), add_stage)
    plans = () if no_lenses else widest_stops(plans_of(loaded))
    with progress(len(plans) + 4, "widest") as tick:
        report = widest_report(loaded, wanted, tick)
        fits = () if no_lenses else catalogue(loaded, plans, report.added_mm, tick)
    text = json_text(widest_dict(report, fits, title))
    click.echo(text if as_json else "\n".join(widest_lines(report, fits, title)) + "\n", nl=False)
    if out is not None:
        from scenes.io.files import write_whole
        from scenes.questions.widest.figure import widest_figure
        from scenes.sheets.style import figure_png

        write_whole(out / "widest.png", figure_png(widest_figure(report, fits, title)))
        write_whole(out / "widest.json", text.encode("utf-8"))
        click.echo(f"wrote 2 files to {out}", err=as_json)
    return 0


def wanted_of(
    like: str | None, pupil: str, front: str, length: str, ends_mm: tuple[float | None, float | None], added_mm: float | None
) -> Wanted:
    """The options as values; SceneError for one that says nothing."""
    from scenes.questions.widest.lens_family import Measures, Rule
    from scenes.questions.widest.report import Wanted
    from scenes.scene_file.errors import Complaint, SceneError

    def rule(option: str, said: str, default: Rule) -> tuple[Rule, tuple[float, float] | None]:
        if said in set(Rule):
            return Rule(said), None
        match = BOUNDS.fullmatch(said)
        ends = sorted(float(end) for end in match.groups() if end) if match else []
        if not ends or (len(ends) == 2 and option != "--pupil"):
            problem = f'must be mm, or {", ".join(Rule)}, found "{said}"'
            raise SceneError([Complaint(where="", problem=problem, source=option)])
        return default, (ends[0], ends[-1])

    low, high = ends_mm
    if low is not None and high is not None and low >= high:
        problem = f"must be longer than --from {low:g}, found {high:g}"
        raise SceneError([Complaint(where="", problem=problem, source="--to")])
    (p, pupil_mm), (f, front_mm), (n, length_mm) = (
        rule("--pupil", pupil, Rule.WORSE),
        rule("--front", front, Rule.HELD),
        rule("--front-to-sensor", length, Rule.HELD),
    )
    measures = Measures(
        pupil=p,
        pupil_mm=pupil_mm,
        front=f,
        front_mm=front_mm[0] if front_mm else None,
        length=n,
        length_mm=length_mm[0] if length_mm else None,
    )
    return Wanted(like=like, measures=measures, from_mm=low, to_mm=high, added_mm=added_mm)
