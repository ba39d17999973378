"""The main job as an answer: what a notebook gets. The command runs states in several processes (`run`) and prints the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from scenes.answers.answer import Files, Sheets
from scenes.answers.blocks import Block, Gap, Heading, Lines, Paragraph
from scenes.answers.options import Wanted
from scenes.questions.check.job_run import Job
from scenes.questions.check.results_json import results_dict
from scenes.questions.check.run import Asked, Done, provenance, run_jobs
from scenes.verdicts.overview import answer_line, end_lines, overview_lines
from scenes.verdicts.text import CAUTIONS, caution_lines

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

HEAD = ("brimline", "version", "program", "scene", "files")


def answer(show: Loaded, *, wanted: Wanted | None = None, asked: Asked | None = None) -> CheckAnswer:
    """Every wanted state traced and judged; `asked` says by which engine and how finely."""
    asked = asked or Asked()
    job = Job(loaded=show, plans=(wanted or Wanted()).of(show))
    (done,) = run_jobs([job], None, asked)
    return CheckAnswer(done=done, job=job, asked=asked)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAnswer:
    """Verdicts of all states of a show."""

    name: ClassVar[str] = "check"
    cautions: ClassVar[Sequence[str]] = CAUTIONS
    tells_faults: ClassVar[bool] = True  # state by state

    done: Done
    job: Job
    asked: Asked

    @property
    def exit_status(self) -> int:
        """0 all clear or tight, 1 a part darkens a frame or the box has a fault, 2 a state could not be computed."""
        return self.done.check.exit_status

    @property
    def states(self) -> Sequence[State]:
        """The states looked at."""
        return self.job.plans

    @property
    def next_step(self) -> str:
        """What to do about the worst state."""
        return str(self.done.results["next_step"])

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """The table, what was noticed, the summary."""
        check, title = self.done.check, self.job.loaded.scene.title
        yield Paragraph(answer_line([check]))
        yield Gap()
        if title:
            yield Heading(title)
        yield Lines((*overview_lines(check), *end_lines(check)))
        yield Gap()
        yield Lines(tuple(caution_lines()))

    def data(self) -> dict[str, Any]:
        """results.json without its head."""
        results = results_dict(self.done.check, provenance(self.job, self.asked))
        return {key: value for key, value in results.items() if key not in HEAD}

    def save(self, out: Path) -> tuple[str, ...]:
        """Trace again into a folder, with maps and pictures, whole or not at all; the names written come back."""
        (done,) = run_jobs([self.job], out, replace(self.asked, as_json=False))
        return (*done.results["files"], "results.json")

    def sheets(self) -> Sheets:
        """None by itself: `save` draws them state by state."""
        return ()

    def files(self, folder: str) -> Files:  # noqa: ARG002 - every answer is told
        """None by itself."""
        return ()
