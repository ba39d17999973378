"""Flags as an answer: their angles by state, lights with the windows between, changes, JSON, a picture of each flag."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from geometry.body import Kind
from scenes.answers.answer import CLEAR, IN_FRAME, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, Paragraph
from scenes.answers.judged_by import judged_by_blocks
from scenes.answers.numbers import distance, finite
from scenes.answers.options import Wanted
from scenes.answers.table import Column, Table
from scenes.changes.flag_angles import flag_states, joint_loss, states_between
from scenes.changes.flag_collisions import FlagCollisions
from scenes.changes.flag_cuts import FlaglessBoxes, lights_in_states
from scenes.changes.flag_summaries import FlagState, FlagSummary, Limits, clear_angles, summaries
from scenes.changes.flagless import InBeam, deepest_in_beam
from scenes.io.file_names import file_names
from scenes.questions.flags.changes import ChangeSearch, ChangesTried
from scenes.questions.flags.lights import LightAnswer, light_answers
from scenes.questions.flags.lights_text import light_blocks, light_data, next_step
from scenes.questions.flags.text import (
    angle_value,
    angle_words,
    answer_words,
    met_words,
    set_lines,
    set_words,
    size_words,
    state_cell,
)
from scenes.runtime.progress import progress
from scenes.states.full_range import checked_ranges
from scenes.states.names import state_words
from scenes.states.numbers_used import NumbersUsed, numbers_by_lens, with_lights
from scenes.states.stray import stray_lights

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenes.states.load import Loaded
    from scenes.states.state import State

STATE_WIDTH = 32
MOST_TOLD = 4
ANGLES = ("clear_deg", "touch_deg", "visible_deg")
FILTERS_IN = "hold with the filters in the trays; with the trays empty the flag takes more there. `clear` holds for both."
CAUTIONS = (
    "These angles are for flags and lenses as drawn: measure the hinge and the pupil, and confirm at the test shoot.",
    "Flags catch the wind and hang weight far out: carry the box on rods, not on the lens front; secure what could fall.",
)


def answer(show: Loaded, *, changes: bool = False, wanted: Wanted | None = None) -> FlagsAnswer:
    """The flags over the wanted states and all settings between them.

    With `changes` the least changes against lights that no setting keeps off.
    """
    wanted = wanted or Wanted()
    plans = wanted.of(show)
    with progress(2 * len(plans), "flags") as tick:
        ranges = () if wanted.focus else checked_ranges(plans)
        worked = flag_states(plans, tick, left_out_mm={one.lens.name: one.left_out_mm for one in ranges})
        states = [state for one in worked for state in one.flags]
        states += states_between(ranges, summaries(states))
        flags = summaries(states)
        joint = joint_loss(worked, flags)
        between, start = [plan for one in ranges for plan in one.plans], {flag.name: flag.clear_deg for flag in flags}
        by_state = list(lights_in_states(FlaglessBoxes(), stray_lights(show.scene), plans, between, start, tick))
    collisions = FlagCollisions(plans)
    lights = light_answers(show.scene, by_state, flags, collisions.met)
    return FlagsAnswer(
        title=show.scene.title,
        visible_stops=show.scene.check.visible_loss_stops,
        states=plans,
        flags=tuple(flags),
        joint=joint,
        met=collisions.met(clear_angles(flags)),
        met_as_set=collisions.met_as_set(),
        rest=deepest_in_beam(found for one in worked for found in one.in_beam),
        lights=lights,
        searched=_searched(plans, lights) if changes else None,
    )


def _searched(plans: Sequence[State], lights: Sequence[LightAnswer]) -> tuple[ChangesTried, ...]:
    """The least changes for every light that no setting of the flags keeps off."""
    wanted = [(light.light, tuple(seen.plan.key for seen in light.in_picture)) for light in lights if light.is_open]
    return ChangeSearch(plans).least_for_all(wanted) if wanted else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagsAnswer(Answer):
    """Each flag and each light over all states.

    rest: what stands in the beam whatever the flags do; met_as_set: flags that meet something as they are.
    joint: the loss where all flags are set to their angles for a visible loss, and in which state; met: what stands in each
    other's way at their clear angles; searched: changes tried for lights that nothing keeps off, None where none were asked for.
    """

    name: ClassVar[str] = "flags"
    moves: ClassVar[tuple[Kind, ...]] = (Kind.FLAG, Kind.EXTENSION)  # flags in each other's way are told by met_as_set

    title: str
    visible_stops: float
    states: Sequence[State]
    flags: tuple[FlagSummary, ...]
    joint: tuple[float, State] | None
    met: str
    lights: tuple[LightAnswer, ...]
    searched: tuple[ChangesTried, ...] | None
    met_as_set: str = ""
    rest: tuple[InBeam, ...] = ()

    @property
    def cautions(self) -> Sequence[str]:
        """What the angles rest on: those at the beam's edge hold with the filters in only."""
        if not self.flags or not any(state.box.glasses for state in self.states):
            return CAUTIONS
        return (f"`touches` and `{self.visible_stops:g} stop` {FILTERS_IN}", *CAUTIONS)

    @property
    def judged_by(self) -> Sequence[NumbersUsed]:
        """The numbers of each lens of the whole box and of the lights: any part may stand in the beam or in a light."""
        return with_lights(numbers_by_lens(self.states), self.states[0].scene.light) if self.states else ()

    @property
    def exit_status(self) -> int:
        """1 where a flag, as it is set, costs more than the visible loss."""
        return IN_FRAME if any(flag.darkens for flag in self.flags) else CLEAR

    @property
    def next_step(self) -> str:
        """What to do about the first flag that darkens the frame, else about the first light that reaches the glass."""
        flags = (f"{flag.name}: {set_words(flag)}" for flag in self.flags if flag.darkens)
        lights = (f"{light.light.name}: {next_step(light)}" for light in self.lights if light.reaches)
        return next(flags, next(lights, ""))

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Flags, what they do together, lights."""
        yield Heading(f"Flags: {self.title}" if self.title else "Flags")
        yield Paragraph(answer_words(self.flags))
        yield Gap()
        yield Paragraph(
            "Smallest opening angles [deg]: 0 lies along the lens axis, 90 stands straight out; rounded up. clear: takes nothing, "
            f"and 2 % of the frame to spare; touches: the beam's own edge; {self.visible_stops:g} stop: costs at most that."
        )
        for flag in self.flags:
            yield from flag_blocks(flag, self.visible_stops)
        for words in self._together():
            yield Gap()
            yield Paragraph(words)
        yield from light_blocks(self.lights, self.searched)
        yield from judged_by_blocks(self)
        yield from map(Paragraph, self.cautions)

    def _together(self) -> Iterator[str]:
        """What all flags do at once."""
        if not self.flags:
            yield "The box has no flag."
        if self.rest:
            told = "; ".join(found.words for found in self.rest[:MOST_TOLD])
            more = f"; and {len(self.rest) - MOST_TOLD} more" if len(self.rest) > MOST_TOLD else ""
            yield f"With all flags open the rest of the box still stands in the beam: {told}{more}. No flag is to blame for that."
        if self.met_as_set:
            yield f"As set, {self.met_as_set}: open one of them."
        if self.joint is not None:
            loss, plan = self.joint
            most = f"up to {loss:.2f} stop" if math.isfinite(loss) else "all light"
            rest = " Set all but one of them to `clear`." if loss > self.visible_stops else ""
            at = f"All flags at their `{self.visible_stops:g} stop` angles at once"
            yield f"{at} cost {most} at the worst place ({state_words(plan)}).{rest}"
        if self.met:
            yield f"All flags at their `clear` angles at once do not pass each other: {self.met}. Leave one of them open."

    def data(self) -> dict[str, Any]:
        """Angles in degrees, "any" where every angle will do and "none" where none does."""
        joint = self.joint and {"loss_stops": finite(self.joint[0]), "state": self.joint[1].key}
        return {
            "visible_loss_stops": self.visible_stops,
            "flags": [flag_data(flag) for flag in self.flags],
            "meet_at_clear_deg": self.met or None,
            "meet_as_set": self.met_as_set or None,
            "in_beam_without_flags": [
                {"part": found.part, "depth_mm": finite(found.depth_mm), "state": found.state.key} for found in self.rest
            ],
            "all_at_visible_deg": joint,
            "lights": [light_data(light, self.searched) for light in self.lights],
        }

    def sheets(self) -> Sheets:
        """A picture of each flag."""
        names = file_names([flag.name for flag in self.flags], "flag")
        for flag in self.flags:
            yield f"flag-{names[flag.name]}", partial(self._figure, flag)

    def _figure(self, flag: FlagSummary) -> Figure:
        from scenes.questions.flags.figure import flag_figure, flag_picture

        windows = [(light.light.name, w) for light in self.lights for w in light.windows if w.flag.name == flag.name]
        return flag_figure(flag_picture(flag, windows, self.visible_stops), self.title)


def flag_blocks(flag: FlagSummary, visible_stops: float) -> Iterator[Block]:
    """One flag: a row for each state, one for all of them, and how it is set."""
    kept = flag.kept()
    yield Gap()
    bare = "; bare: without it" if flag.bars.extension_mm > 0.0 else ""
    yield Heading(f"{flag.name}, set to {flag.set_deg:g}: {size_words(flag)}{bare}")
    yield states_table(flag, f"{visible_stops:g} stop")
    if kept.states:
        yield Heading(f"  decided by {state_words(kept.limit('clear_deg')[1].plan)}")
    else:
        yield Heading("  no angle clears in any state: the hinge stands in the beam, or too near to it")
    for place, words in enumerate(set_lines(flag)):
        yield Paragraph(words, "     " if place else "  -> ", "     ")


def states_table(flag: FlagSummary, visible: str) -> Table[Any]:
    """A row for each state; below them all that can be cleared together."""
    kept = flag.kept()
    bare = [replace(column, key="") for column in angle_columns(visible, bare=True)] if flag.bars.extension_mm > 0.0 else []
    columns = (*STATE_COLUMNS, *angle_columns(visible), *bare, MET_COLUMN, *LIMIT_COLUMNS)
    words = "all that can be cleared" if flag.hopeless else "all states"
    foot = [_AllOfThem(words, kept)] if kept.states else []
    return Table(columns=columns, rows=flag.states, foot=foot, indent="  ", gap=" ")


def flag_data(flag: FlagSummary) -> dict[str, Any]:
    """One flag for programs."""
    kept, bars = flag.kept(), flag.bars
    return {
        "flag": flag.name,
        "side": flag.side.value,
        "set_deg": flag.set_deg,
        "length_mm": bars.length_mm,
        "width_mm": bars.width_mm,
        "extension": {"length_mm": bars.extension_mm, "angle_deg": bars.extension_deg} if bars.extension_mm > 0.0 else None,
        "all_states": _all_data(kept) if kept.states else None,
        "states_that_no_angle_clears": [state.plan.key for state in flag.hopeless],
        "states_with_the_plane_in_focus_in_reach": [state.plan.key for state in flag.states if state.focus_in_reach],
        "says": set_words(flag),
        "states": states_table(flag, "").data(),
    }


def _all_data(kept: FlagSummary) -> dict[str, Any]:
    found: dict[str, Any] = {key: angle_value(kept.limit(key)[0]) for key in ANGLES}
    more: dict[str, Any] = {"most_deg": round(kept.most_deg, 2), "decided_by": kept.limit("clear_deg")[1].plan.key}
    if kept.bars.extension_mm > 0.0:
        more["without_extension"] = {key: angle_value(kept.limit(key, bare=True)[0]) for key in ANGLES}
    return found | more


@dataclass(frozen=True, slots=True)
class _AllOfThem:
    """Stands for a state in the row of all that a flag can keep clear."""

    words: str
    kept: FlagSummary


def _angle(key: str, *, bare: bool) -> Callable[[Any], float | None]:
    """A limit of one state, or the largest of a flag's states."""

    def of(row: FlagState | _AllOfThem) -> float | None:
        if isinstance(row, _AllOfThem):
            return row.kept.limit(key, bare=bare)[0]
        limits = row.bare if bare else row.limits
        return None if limits is None else float(getattr(limits, key))

    return of


def angle_columns(visible: str = "", *, bare: bool = False) -> list[Column[Any]]:
    """The three angles, with the extension or `bare` of it."""
    heads = zip(ANGLES, ("bare" if bare else "clear", "touches", visible), strict=True)
    return [
        Column(head=head, key=key, of=_angle(key, bare=bare), words=angle_words, data=angle_value, width=5) for key, head in heads
    ]


def _limits_data(limits: Limits) -> dict[str, Any]:
    touch = limits.touch
    return {
        **{key: angle_value(getattr(limits, key)) for key in ANGLES},
        "most_deg": round(limits.most_deg, 2),
        "hinge_clear_mm": limits.hinge.clear_mm if limits.hinge else None,
        "hinge_farther_out_mm": limits.hinge.farther_mm if limits.hinge else None,
        "touches": touch.at_mm
        and {
            "where": touch.where,
            "with": "extension" if touch.blade else "flag",
            "ahead_of_hinge_mm": round(touch.at_mm[0], 2),
            "out_from_hinge_mm": round(touch.at_mm[1], 2),
        },
    }


def _limit(key: str) -> Callable[[FlagState], Any]:
    return lambda state: _limits_data(state.limits)[key]


def _state_words(row: FlagState | _AllOfThem) -> str:
    return state_cell(state_words(row.plan), STATE_WIDTH) if isinstance(row, FlagState) else row.words


STATE_COLUMNS: tuple[Column[Any], ...] = (
    Column(head="state", of=_state_words, left=True, width=STATE_WIDTH),
    Column(key="state", of=lambda state: state.plan.key),
    Column(key="lens", of=lambda state: state.plan.lens_name),
    Column(key="focal_mm", of=lambda state: state.plan.focal_mm),
    Column(key="focus_mm", of=lambda state: state.plan.focus_mm, data=distance),
    Column(key="f_number", of=lambda state: state.plan.f_number),
)
LIMIT_COLUMNS: tuple[Column[Any], ...] = (
    *(Column(key=key, of=_limit(key)) for key in ("most_deg", "hinge_clear_mm", "hinge_farther_out_mm", "touches")),
    Column(key="without_extension", of=lambda state: state.bare and _limits_data(state.bare)),
)
MET_COLUMN: Column[Any] = Column(
    head="touches first", of=lambda row: met_words(row) if isinstance(row, FlagState) else "", left=True
)
