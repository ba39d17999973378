"""Out-of-focus highlights as an answer: the worst blur of every state, every place of the frame for programs, a page a state."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, Lines, Paragraph
from scenes.answers.numbers import distance, finite
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table
from scenes.questions.bokeh.report import (
    NEAR_MM,
    SEEN_SHARE,
    SEVERAL_WORDS,
    StateBokeh,
    bokeh_of,
    distance_words,
    part_words,
    place_words,
)
from scenes.runtime.page import SHOOT_CAUTION, counted
from scenes.states.names import state_words

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

NOTHING = "-"


def answer(show: Loaded, *, ahead_mm: float | None = None, wanted: Wanted | None = None) -> BokehAnswer:
    """Blurs of highlights `ahead_mm` of the lens front [mm]; None: far away for a near focus, 2 m for infinity."""
    plans = (wanted or Wanted()).of(show)
    found = bokeh_of(plans, ahead_mm)
    return BokehAnswer(blurred=found, sharp=len(plans) - len(found))


@dataclass(frozen=True, slots=True, kw_only=True)
class BokehAnswer(Answer):
    """States with their blurs, and how many are focused where the highlights stand and so have none."""

    name: ClassVar[str] = "bokeh"
    next_step: ClassVar[str] = ""
    cautions: ClassVar[Sequence[str]] = (SHOOT_CAUTION,)

    blurred: tuple[StateBokeh, ...]
    sharp: int

    @property
    def exit_status(self) -> int:
        """1 where the box bites into a highlight."""
        return IN_FRAME if any(state.blurs.lost_share.max() >= SEEN_SHARE for state in self.blurred) else CLEAR

    @property
    def states(self) -> Sequence[State]:
        """The states that have blurs."""
        return [state.plan for state in self.blurred]

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Each state's worst blur, and what is lost in the middle."""
        yield Heading("How much of an out-of-focus highlight the box takes, and how much light on the axis")
        yield Gap()
        yield Table(columns=COLUMNS, rows=self.blurred)
        if self.sharp:
            are = "is" if self.sharp == 1 else "are"
            yield Lines((f"{counted(self.sharp, 'state')} {are} focused where the highlights stand: no blur there",))
        yield Gap()
        for note in self._notes():
            yield Paragraph(note)

    def _notes(self) -> Iterator[str]:
        yield "lost: share of the blur's area; lean: how far its light is pushed to one side, in its own radii (half a disc: 0.42)"
        yield "box, filters: light lost in the middle of the picture, in stops"
        if any(len(state.plan.guides) > 1 for state in self.blurred):
            yield SEVERAL_WORDS
        at_infinity = f"{distance_words(NEAR_MM)} for those at infinity"
        yield f"Highlights stand far away for states with a near focus, {at_infinity}, unless asked."
        yield from self.cautions

    def data(self) -> dict[str, Any]:
        """Every place of every state."""
        return {"states": Table(columns=COLUMNS, rows=self.blurred).data()}

    def sheets(self) -> Sheets:
        """A page for each state."""
        from scenes.questions.bokeh.figure import bokeh_figure

        for state in self.blurred:
            yield f"bokeh_{state.plan.key}", partial(bokeh_figure, state)


def _bitten(state: StateBokeh) -> bool:
    return float(state.blurs.lost_share[state.worst]) >= SEEN_SHARE


def _stops_words(stops: float) -> str:
    return "all" if math.isinf(stops) else f"{stops:.2f}"


def _worst(words: Any, whole: str = NOTHING) -> Any:
    """What to say of a state's worst blur; where the box bites into none, `whole`."""
    return lambda state: words(state, state.worst) if _bitten(state) else whole


def _places(state: StateBokeh) -> list[dict[str, Any]]:
    lost, lean = state.blurs.lost_share, state.blurs.lean
    return [
        {
            "right_mm": round(float(right), 3),
            "up_mm": round(float(up), 3),
            "lost_share": round(float(lost[k]), 3),
            "lean_right": round(float(lean[k, 0]), 3),
            "lean_up": round(float(lean[k, 1]), 3),
            "part": part_words(state, k),
        }
        for k, (right, up) in enumerate(state.blurs.points_mm)
    ]


COLUMNS: tuple[Column[StateBokeh], ...] = (
    Column(key="key", of=lambda state: state.plan.key),
    Column(key="lens", of=lambda state: state.plan.lens_name),
    Column(key="focal_mm", of=lambda state: state.plan.focal_mm, data=distance),
    Column(key="focus_mm", of=lambda state: state.plan.focus_mm, data=distance),
    Column(key="f_number", of=lambda state: state.plan.f_number),
    Column(head="state", of=lambda state: state_words(state.plan), left=True, width=36, most=36),
    Column(head="worst blur", of=_worst(lambda _, k: place_words(k), "whole"), left=True, width=13),
    Column(head="lost", of=_worst(lambda state, k: f"{100 * state.blurs.lost_share[k]:.0f}%")),
    Column(head="lean", of=_worst(lambda state, k: f"{np.hypot(*state.blurs.lean[k]):.2f}")),
    Column(head="part", of=_worst(part_words), left=True, width=16, most=16),
    Column(key="guide", of=lambda state: state.guide),
    Column(key="highlight_ahead_mm", of=lambda state: state.highlight_mm, data=distance),
    Column(head="box", key="box_stops_on_axis", of=lambda state: state.box_stops, words=_stops_words, data=finite),
    Column(head="filters", key="filter_stops_on_axis", of=lambda state: state.glass_stops, words=_stops_words, data=finite),
    Column(key="places", of=_places),
)
