"""The beam in one plane as an answer: table, JSON, picture."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from shapely import get_parts

from geometry.frame import ahead_in_words, frame_to_right_up
from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, Paragraph
from scenes.answers.numbers import distance, distance_words, finite
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table
from scenes.questions.beam.report import BeamInPlane, PartInPlane, StateInPlane, beam_in_plane, by_lens

if TYPE_CHECKING:
    from raytrace.beam.outline import Section
    from scenes.states.load import Loaded
    from scenes.states.state import State

PLACE = "the back plate's rear face"
NOTHING = "-"


def answer(show: Loaded, *, at_mm: float, wanted: Wanted | None = None) -> BeamAnswer:
    """The beam of the wanted states `at_mm` ahead of the back plate's rear face [mm]."""
    states = (wanted or Wanted()).of(show)
    return BeamAnswer(beam=beam_in_plane(states, at_mm), title=show.scene.title or show.file_name)


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamAnswer(Answer):
    """Sizes of the beam by state, all states together, and the parts that stand in the plane."""

    name: ClassVar[str] = "beam"
    next_step: ClassVar[str] = ""
    cautions: ClassVar[Sequence[str]] = ()

    beam: BeamInPlane
    title: str

    @property
    def exit_status(self) -> int:
        """1 where a part of this plane stands in the beam."""
        return IN_FRAME if any(part.clearance_mm <= 0 for part in self.beam.parts) else CLEAR

    @property
    def states(self) -> Sequence[State]:
        """The states looked at."""
        return [state.plan for state in self.beam.states]

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Sizes by state, then the parts of the plane, the nearest first."""
        yield Heading(f"Beam {ahead_in_words(self.beam.at_mm, PLACE, 'g')} [mm]")
        yield Gap()
        yield self.states_table()
        yield Gap()
        yield Paragraph("corner: largest corner radius of an opening of that size that still lets the beam through")
        yield Gap()
        yield self.parts_table() if self.beam.parts else Paragraph("No part stands in this plane.")

    def states_table(self) -> Table[StateInPlane]:
        """A row for each state, and one for all of them where there are several."""
        foot = [_together(self.beam)] if len(self.beam.states) > 1 else []
        return Table(key="states", columns=STATE_COLUMNS, rows=self.beam.states, foot=foot)

    def parts_table(self) -> Table[PartInPlane]:
        """The parts of the plane, the nearest to the beam first."""
        nearest_first = sorted(self.beam.parts, key=lambda part: part.clearance_mm)
        title = "Parts in this plane, least clearance over all states (negative: in the beam by so much) [mm]"
        return Table(key="parts", title=title, columns=PART_COLUMNS, rows=nearest_first, ruled=False, indent="  ")

    def data(self) -> dict[str, Any]:
        """Lengths in mm, outlines as (right, up) of their corners."""
        beam = self.beam
        return {
            "at_mm": beam.at_mm,
            "beam": {column.key: column.value(_together(beam)) for column in SIZE_COLUMNS}
            | {"outlines_mm": _outlines(beam.section)},
            "states": self.states_table().data(),
            "parts": self.parts_table().data(),
        }

    def sheets(self) -> Sheets:
        """The plane with the beam and the parts; a panel for each lens where there are several, on as many sheets as it takes."""
        from scenes.questions.beam.figure import beam_figure
        from scenes.questions.beam.lens_panels import lenses_figure, sheets_of

        name = f"beam_at_{self.beam.at_mm:g}"
        lenses = by_lens(self.beam)
        if len(lenses) == 1:
            yield name, lambda: beam_figure(self.beam, self.title)
            return
        for number, some in enumerate(sheets_of(lenses), 1):
            yield (name if number == 1 else f"{name}-{number}"), partial(lenses_figure, self.beam, some, self.title)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Together:
    """Stands for a state in the row of all states."""

    size: Any
    section: Section
    plan: None = None
    parts: tuple[PartInPlane, ...] = ()


def _together(beam: BeamInPlane) -> Any:
    return _Together(size=beam.size, section=beam.section)


def _tenth(value_mm: float | None) -> str:
    return "" if value_mm is None else f"{round(value_mm, 1) + 0.0:.1f}"


def _size(name: str, head: str) -> Column[Any]:
    def of(row: Any) -> float | None:
        return None if row.section.is_empty else float(getattr(row.size, name))

    return Column(head=head, key=name, of=of, words=_tenth, data=finite, width=7)


def _of_plan(name: str, all_of_them: Any = None) -> Any:
    return lambda row: all_of_them if row.plan is None else getattr(row.plan, name)


def _outlines(section: Section) -> list[list[list[float]]]:
    return [frame_to_right_up(part.exterior.coords).round(3).tolist() for part in get_parts(section) if not part.is_empty]


def _parts(row: Any) -> list[dict[str, Any]]:
    return [{"part": part.name, "clearance_mm": finite(part.clearance_mm)} for part in row.parts]


SIZE_COLUMNS = tuple(_size(name, name.removesuffix("_mm")) for name in ("width_mm", "height_mm", "corner_mm", "right_mm", "up_mm"))
STATE_COLUMNS: tuple[Column[Any], ...] = (
    Column(key="key", of=_of_plan("key")),
    Column(head="lens", key="lens", of=_of_plan("lens_name", "all of them"), left=True, width=20, most=24),
    Column(head="mm", key="focal_mm", of=_of_plan("focal_mm"), words=lambda v: "" if v is None else f"{v:g}"),
    Column(
        head="focus", key="focus_mm", of=_of_plan("focus_mm"), words=lambda v: "" if v is None else distance_words(v), data=distance
    ),
    Column(head="f/", key="f_number", of=_of_plan("f_number"), words=lambda v: "" if v is None else f"{v:g}"),
    *SIZE_COLUMNS,
    Column(key="parts", of=_parts),
)
PART_COLUMNS: tuple[Column[PartInPlane], ...] = (
    Column(head="part", key="part", of=lambda part: part.name, left=True, width=40, most=40),
    Column(key="kind", of=lambda part: part.kind.value),
    Column(
        head="clearance", key="clearance_mm", of=lambda part: part.clearance_mm,
        words=lambda mm: NOTHING if math.isinf(mm) else f"{mm:.1f}", data=finite,
    ),
)  # fmt: skip
