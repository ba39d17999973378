"""Stills of the test shoot against the prediction, as an answer: verdict, values with their errors, a row for each still."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Files, Sheets
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Note, Paragraph
from scenes.answers.numbers import finite
from scenes.answers.table import Table
from scenes.io.writing import npz_bytes
from scenes.questions.compare.columns import STILLS, VALUES
from scenes.questions.compare.hidden import hidden_of
from scenes.questions.compare.measure import measured_shots
from scenes.questions.compare.next_plan import next_data, next_lines, next_notes, writes_fitted
from scenes.questions.compare.next_shot import next_shots
from scenes.questions.compare.rows import Row, Value, row_of
from scenes.questions.compare.shoot import read_notes
from scenes.questions.compare.text import (
    METHOD,
    cautions,
    correlated,
    doubts,
    is_vague,
    next_step,
    orientation_notes,
    summary,
    surprise_words,
)
from scenes.questions.compare.verdict import Comparison, Verdict, compare

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State


def answer(show: Loaded, *, shoot: Path | str) -> CompareAnswer:
    """The stills that the notes at `shoot` name, compared with the scene."""
    notes = read_notes(show, Path(shoot))
    found = compare(notes, measured_shots(notes))
    if found.verdict is not Verdict.OTHER_LENS and is_vague(found):
        found = replace(found, next_shots=next_shots(notes, found.fit))
    return CompareAnswer(show=show, found=found, rows=tuple(row_of(found, k) for k in range(len(notes.shots))))


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareAnswer(Answer):
    """What the stills say of a scene."""

    name: ClassVar[str] = "compare"

    show: Loaded
    found: Comparison
    rows: tuple[Row, ...]

    @property
    def exit_status(self) -> int:
        """1 where something is not as predicted, or a corner or edge cannot be seen, for there boxes darken first."""
        as_predicted = self.found.verdict is Verdict.NOTHING and not self.found.surprises
        return CLEAR if as_predicted and not hidden_of(self.found) else IN_FRAME

    @property
    def states(self) -> Sequence[State]:
        """The states that were shot."""
        return [row.shot.state for row in self.rows]

    @property
    def next_step(self) -> str:
        """What to do now."""
        return next_step(self.found)

    @property
    def cautions(self) -> Sequence[str]:
        """What could mislead."""
        return cautions(self.found)

    @property
    def values(self) -> tuple[Value, ...]:
        """The values left free, where the stills are of this lens; one that moved by chance alone stays as written."""
        if self.found.verdict is Verdict.OTHER_LENS:
            return ()
        found = zip(self.found.notes.unknowns, self.found.values, self.found.sigmas, self.found.told, strict=True)
        return tuple(Value(unknown=u, value=float(v), sigma=float(s), told=t) for u, v, s, t in found)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """The verdict, the values, the stills, then what could mislead."""
        title = self.show.scene.title
        yield Heading(f"Test shoot against prediction: {title}" if title else "Test shoot against prediction")
        yield Gap()
        yield Paragraph(summary(self.found))
        yield Gap()
        if self.values:
            yield Table(columns=VALUES, rows=self.values)
            yield Gap()
        yield Table(columns=STILLS, rows=self.rows)
        yield Paragraph(
            "before, after: measured less predicted over the still, rms in stops, with the scene's values and the fitted ones. "
            "worst: the largest such difference before, but for the last hundredth of the frame."
        )
        yield Gap()
        for words in (
            *(surprise_words(self.found, one) for one in self.found.surprises),
            *orientation_notes(self.found),
            *doubts(self.found),
            *self.cautions,
        ):
            yield Note(words)
        if planned := list(next_lines(self.found)):
            yield Gap()
            yield Heading("The next plan")
            for line in planned:
                yield Note(line)
            yield Gap()
        yield NextStep(self.next_step)
        yield Paragraph(METHOD)

    def data(self) -> dict[str, Any]:
        """Lengths in mm, angles in degrees, losses in stops, boxes as shares of the upright picture."""
        return {
            "verdict": self.found.verdict.value,
            "summary": summary(self.found),
            "left_over_share": finite(self.found.fit.rms, 5),
            "values": Table(columns=VALUES, rows=self.values).data(),
            "correlations": [
                {"of": self._path(i), "and": self._path(j), "correlation": round(alike, 3)}
                for i, j, alike in (correlated(self.found) if self.values else [])
            ],
            "states": Table(columns=STILLS, rows=self.rows).data(),
            "next_shots": next_data(self.found),
            "rivals": [{"share_percent": finite(one.size), "focal_mm": finite(one.focal_mm)} for one in self.found.rivals],
            "surprises": [{"picture": one.picture + 1, **_box(one), "stops": round(one.stops, 2)} for one in self.found.surprises],
        }

    def _path(self, k: int) -> str:
        return self.found.notes.unknowns[k].path

    def fit_data(self) -> dict[str, Any]:
        """What fit.json holds."""
        data: dict[str, Any] = {
            "verdict": self.found.verdict.value,
            "values": {
                one.unknown.path: {
                    "value": round(one.value, 4),
                    "sigma": round(one.sigma, 4),
                    "told": one.told,
                    "unit": one.unknown.unit,
                }
                for one in self.values
            },
            "covariance": np.round(self.found.fit.covariance, 8).tolist() if self.values else [],
            "loss_map": [_map_name(k, len(self.rows)) for k in range(len(self.rows))],
            "orientation": self.rows[0].orientation if len({row.orientation for row in self.rows}) == 1 else "mixed",
            "orientations": [row.orientation for row in self.rows],
            "surprises": [_box(one) for one in self.found.surprises],
        }
        return data

    def sheets(self) -> Sheets:
        """A page for each still."""
        from scenes.questions.compare.figure import still_figure

        for k, row in enumerate(self.rows):
            yield (
                _map_name(k, len(self.rows)).removesuffix(".npz").replace("loss", "still"),
                partial(still_figure, self.found, row, k),
            )

    def files(self, folder: str) -> Files:  # noqa: ARG002 - every answer is told
        """The fit for programs, the measured maps, and the scene with the fitted values."""
        from scenes.questions.compare.page import page_html

        yield "compare.html", page_html(self.found, self.rows, self.values, self.show.scene.title).encode()
        yield "fit.json", (json.dumps(self.fit_data(), indent=1) + "\n").encode()
        for k, row in enumerate(self.rows):
            yield _map_name(k, len(self.rows)), npz_bytes(row.maps.arrays())
        if notes := next_notes(self.found):
            yield "next-shoot.toml", notes.encode()
        if writes_fitted(self.found) and self.show.sha256:  # text and values belong together
            from scenes.questions.compare.fitted_scene import fitted_files

            yield from fitted_files(self.show, self.found)


def _map_name(k: int, count: int) -> str:
    return "loss.npz" if count == 1 else f"loss-{k + 1:02d}.npz"


def _box(one: Any) -> dict[str, float]:
    return {name: round(float(getattr(one, name)), 4) for name in ("left", "top", "width", "height")}
