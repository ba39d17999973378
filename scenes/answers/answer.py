"""The answer to one question about a scene, and how it is given: printed, as JSON, as a folder of files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import click

from scenes.answers.blocks import Block, Gap, Paragraph, page_lines
from scenes.answers.csv_tables import csv_files
from scenes.answers.judged_by import judged_by_data
from scenes.answers.narrow import for_terminal
from scenes.answers.numbers import distance
from scenes.answers.opened import fault_lines, slip_lines, tell
from scenes.io.folders.result_folder import result_folder
from scenes.io.writing import as_json
from scenes.runtime.version import own_version
from scenes.scene_file.errors import SceneError
from scenes.states.names import in_a_sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenes.answers.options import Output
    from scenes.io.folders.result_folder import Staging
    from scenes.states.load import Loaded
    from scenes.states.names import Named

VERSION = 2  # of the JSON of every question
CLEAR, IN_FRAME = 0, 1  # exit statuses; 2 is input at fault
FAULTY = "Put that right first: what follows holds only then, and until then nothing counts as clear."
READ_FIRST = "read-first.txt"  # in a folder of results, while faults stand: a drawing is handed on without its page
DOUBTED = "Look at that first: what follows rests on it."

Sheets = Iterable[tuple[str, Callable[[], "Figure"]]]
Files = Iterable[tuple[str, bytes]]


class Answer(Protocol):
    """What a question's command hands over; the question's folder makes it from its report, on top of this class or beside it."""

    @property
    def name(self) -> str:
        """The question's name: the command, the head of the JSON, NAME.json."""

    @property
    def exit_status(self) -> int:
        """0 or 1, as the command's help says."""

    @property
    def states(self) -> Sequence[Named]:
        """The states that the answer rests on."""

    @property
    def next_step(self) -> str:
        """What to do now, in one or two sentences; empty where there is nothing to do."""

    @property
    def cautions(self) -> Sequence[str]:
        """What could hurt or mislead."""

    def blocks(self, *, written: bool) -> Iterable[Block]:
        """The page in reading order; `written` says that files are written too."""

    def data(self) -> Mapping[str, Any]:
        """What programs read, without the head."""

    def sheets(self) -> Sheets:
        """Figures by file name without ending, drawn when asked for."""

    def files(self, folder: str) -> Files:  # noqa: ARG002 - for those who write some
        """Other files by name; `folder` is the name of the folder they go to. None where an answer says nothing else."""
        return ()


@runtime_checkable
class Draws(Protocol):
    """An answer with pictures that another process draws."""

    def draw(self, folder: Staging) -> str:
        """Draw into the folder; a sentence comes back where something could not be drawn."""


def state_data(state: Named) -> dict[str, Any]:
    """A state as every JSON names it."""
    return {
        "key": state.key,
        "lens": state.lens_name,
        "focal_mm": distance(state.focal_mm),
        "focus_mm": distance(state.focus_mm),
        "f_number": round(state.f_number, 3),
    }


def head(name: str, *, title: str, file: str, sha256: str) -> dict[str, Any]:
    """The first keys of every JSON: which question, which program, which scene; no hash for a scene changed since it was read."""
    return {
        "brimline": name,
        "version": VERSION,
        "program": {"name": "brimline", "version": own_version()},
        "scene": {"title": title, "file": file, "sha256": sha256 or None},
    }


def head_data(name: str, show: Loaded) -> dict[str, Any]:
    """The first keys of every JSON of a show."""
    return head(name, title=show.scene.title, file=show.file_name, sha256=show.sha256)


def answer_data(answer: Answer, show: Loaded, files: Sequence[str] = ()) -> dict[str, Any]:
    """The whole JSON of an answer; `files` are those written beside it."""
    return {
        **head_data(answer.name, show),
        "exit_status": exit_status_of(answer),
        "states": [state_data(state) for state in answer.states],
        "next_step": answer.next_step,
        "cautions": [*faults_of(answer), *slips_of(answer), *answer.cautions],
        **judged_by_data(answer),
        **answer.data(),
        "files": sorted(files),
    }


def answer_text(answer: Answer, *, written: bool = False) -> str:
    """The page that is printed."""
    blocks = (*_first_blocks(faults_of(answer), FAULTY), *_first_blocks(slips_of(answer), DOUBTED), *answer.blocks(written=written))
    return "\n".join(page_lines(blocks)) + "\n"


def faults_of(answer: Answer) -> tuple[str, ...]:
    """A line for each fault that leaves the light of what an answer looked at in doubt; none where it tells them itself."""
    if getattr(answer, "tells_faults", False):
        return ()
    every = getattr(answer, "is_built", False)
    return fault_lines(getattr(answer, "asked_of", answer.states), getattr(answer, "moves", ()), every=every)


def exit_status_of(answer: Answer) -> int:
    """That of the answer; never 0 where a fault leaves the light of what it looked at in doubt."""
    return max(answer.exit_status, IN_FRAME) if faults_of(answer) else answer.exit_status


def slips_of(answer: Answer) -> tuple[str, ...]:
    """A line for each number that looks like a slip of what an answer looked at; none where it tells them itself."""
    if getattr(answer, "tells_faults", False):
        return ()
    return slip_lines(getattr(answer, "asked_of", answer.states))


def _first_blocks(told: Sequence[str], what: str) -> Iterator[Block]:
    """The faults or doubtful numbers that the answer rests on, before it."""
    yield from (Paragraph(line, "", " " * (line.index(":") + 2)) for line in told)
    if told:
        yield Paragraph(what)
        yield Gap()


def ask(answer: Answer, show: Loaded, output: Output) -> int:
    """Print the answer and write its folder, whole or not at all; the exit status comes back.

    Where the folder cannot be written in the end, the answer is printed all the same: it took its time.
    """
    out = output.out
    try:
        files = None if out is None else save(answer, show, out, output.formats)
    except (SceneError, OSError):
        _print(answer, show, None, as_data=output.as_json)
        raise
    _print(answer, show, files, as_data=output.as_json)
    if files is not None:
        click.echo(f"wrote {len(files)} files to {out}", err=output.as_json)
    return exit_status_of(answer)


def _print(answer: Answer, show: Loaded, files: Sequence[str] | None, *, as_data: bool) -> None:
    """The page, or the JSON; files: what was written, None for nothing."""
    if as_data:
        tell(faults_of(answer))
        click.echo(as_json(answer_data(answer, show, files or ())), nl=False)
    else:
        click.echo(for_terminal(answer_text(answer, written=files is not None)), nl=False)


def save(answer: Answer, show: Loaded, out: Path, formats: Sequence[str] = ("png",)) -> tuple[str, ...]:
    """Write everything of an answer into one folder, whole or not at all; the names written come back.

    Figures come in each of the formats; every table of the JSON as CSV too.
    """
    from scenes.io.pictures import figure_files

    base = getattr(answer, "stem", answer.name)  # an answer may call its files otherwise
    with result_folder(out, base) as staging:
        if faults := faults_of(answer):
            staging.write(READ_FIRST, "\n".join([*faults, FAULTY, ""]))
        for name, data in answer.files(out.name):
            staging.write(name, data)
        for stem, figure in answer.sheets():
            for name, data in figure_files(stem, figure(), formats):
                staging.write(f"sheet-{name}" if name in staging.names() else name, data)  # masks.pdf is to be cut, no picture
        if isinstance(answer, Draws):
            _draw(answer, staging)
        for name, text in csv_files(base, answer_data(answer, show)):
            staging.write(name, text)
        own = f"{base}.json"
        files = tuple(sorted({*staging.names(), own}))
        staging.write(own, as_json(answer_data(answer, show, files), for_file=True))
    return files


def _draw(answer: Draws, staging: Staging) -> None:
    """Draw what can be drawn: a failure costs the picture, never the answer."""
    try:
        problem = answer.draw(staging)
    except Exception as error:  # noqa: BLE001 - whatever goes wrong in drawing
        problem = f"pictures were left out: {in_a_sentence(error)}"
    if problem:
        click.echo(f"note: {problem}", err=True)
