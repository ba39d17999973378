"""A check as a whole: compute, tell, and leave the files behind. The only place where check meets terminal and folder."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from scenes.check import CheckResult, run_check
from scenes.engines import engine_of
from scenes.files import Staging, result_folder
from scenes.progress import progress
from scenes.record import Recorder
from scenes.results import CAUTIONS, Provenance, results_dict, summary, table_lines
from scenes.verdict import Limits

if TYPE_CHECKING:
    from scenes.build import StatePlan

Say = Callable[[str], object]
LINES_OF_NOTES = 12


class Asked(Protocol):
    """What this module needs to know of a request."""

    @property
    def engine(self) -> str:
        """Way of computing."""

    @property
    def columns(self) -> int | str | None:
        """Width of the maps."""

    @property
    def threads(self) -> int:
        """Threads to use."""

    @property
    def solid(self) -> bool:
        """Whether 3D pictures are wanted."""


def check_only(plans: Sequence[StatePlan], made_by: Provenance, ask: Asked, visible_loss_stops: float, say: Say) -> dict[str, Any]:
    """Check and tell, leaving no files."""
    limits = Limits(visible_loss_stops=visible_loss_stops)
    with progress(100 * len(plans), "checking") as tick:
        check = run_check(plans, engine_of(ask.engine), columns=ask.columns, limits=limits, threads=ask.threads, tick=tick)
    tell(check, plans, say)
    return results_dict(check, made_by)


def check_into(
    out: Path, plans: Sequence[StatePlan], made_by: Provenance, ask: Asked, visible_loss_stops: float, say: Say
) -> dict[str, Any]:
    """Check, tell, and fill the folder `out`, whole or not at all."""
    with result_folder(out) as staging:
        check, results, trouble = record(staging, "", plans, made_by, ask, visible_loss_stops)
    tell(check, plans, say)
    for sentence in trouble:
        say(sentence)
    say(f"Maps, pictures and results.json are in {out}.")
    return results


def record(
    staging: Staging,
    folder: str,
    plans: Sequence[StatePlan],
    made_by: Provenance,
    ask: Asked,
    visible_loss_stops: float,
) -> tuple[CheckResult, dict[str, Any], list[str]]:
    """Check into a folder of a staging area: the result, results.json's content, and sentences about pictures left out."""
    limits = Limits(visible_loss_stops=visible_loss_stops)
    recorder = Recorder(staging=staging, visible_loss_stops=visible_loss_stops, folder=folder, solid=ask.solid)
    with progress(100 * len(plans), "checking") as tick:
        check = run_check(
            plans,
            engine_of(ask.engine),
            columns=ask.columns,
            limits=limits,
            threads=ask.threads,
            tick=tick,
            keep=recorder.keep,
        )
    with progress(len(recorder.jobs), "3D pictures") as tick:
        recorder.draw_views(tick)
    return check, recorder.finish(check, made_by), recorder.trouble


def tell(check: CheckResult, plans: Sequence[StatePlan], say: Say) -> None:
    """The table, what was noted about box and lenses, and the summary."""
    for line in table_lines(check):
        say(line)
    for line in note_lines(plans):
        say(line)
    say(summary(check))
    for caution in CAUTIONS:
        say(caution)


def note_lines(plans: Sequence[StatePlan]) -> list[str]:
    """Faults and cautions about the box, each once; facts stay in results.json."""
    told: dict[str, list[str]] = {}
    for plan in plans:
        for note in plan.notes:
            if note.severity != "fact":
                lenses = told.setdefault(f"{note.severity}: {note.part}: {note.text}", [])
                lenses += [plan.lens_name] if plan.lens_name not in lenses else []
    lines = [f"{text} ({', '.join(lenses)})" for text, lenses in told.items()]
    if len(lines) > LINES_OF_NOTES:
        lines = [*lines[:LINES_OF_NOTES], f"... and {len(lines) - LINES_OF_NOTES} more notes in results.json"]
    return lines
