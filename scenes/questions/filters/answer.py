"""Filters as an answer: sizes for each stage, what filters do to the picture, what changes of the stack cost."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from geometry.frame import ahead_in_words
from raytrace.optics.filter_light import reach_mm
from scenes.answers.answer import CLEAR, Answer, Sheets
from scenes.answers.blocks import Block, Gap, Heading, NextStep, Note, Paragraph
from scenes.answers.numbers import distance, finite
from scenes.answers.options import ROOM_MM
from scenes.answers.table import Column, Table, as_named
from scenes.changes.stages import added_depth_mm
from scenes.questions.filters.costs import Cost, RodAnswer, Standing, mount_of
from scenes.questions.filters.effects import DENSITIES, CloseUp, CornerLoss, GradedAnswer
from scenes.questions.filters.report import lens_filters
from scenes.questions.filters.sizes import (
    SizeRoom,
    StageAnswer,
    StageNeed,
    fits_holder,
    gathered,
    smallest,
    takes_round,
    widest_served,
)
from scenes.questions.filters.text import (
    CAUTION,
    CORNER_WORDS,
    ROOM_WORDS,
    added_words,
    answer_words,
    close_up_words,
    decided_words,
    graded_words,
    holder_words,
    method_words,
    next_step,
    rod_words,
)
from scenes.states.full_range import focus_note

if TYPE_CHECKING:
    from scenes.states.load import Loaded
    from scenes.states.state import State

DARK_STOPS = 10.0
INDENT = "  "


def answer(
    show: Loaded,
    *,
    margin_mm: float = ROOM_MM,
    added_mm: float | None = None,
    close_ups: Sequence[float] = (),
    lenses: Sequence[str] = (),
) -> FiltersAnswer:
    """Filters of the named lenses, all where none is named; `added_mm` deep is the stage more, `close_ups` are powers to try."""
    depth_mm = added_mm or added_depth_mm(show.scene)
    each = lens_filters(show, depth_mm, close_ups, lenses)
    ranged = [one.held for one in each]
    return FiltersAnswer(
        title=show.scene.title,
        margin_mm=margin_mm,
        stages=gathered(show.scene, ranged, [one.needs for one in each]),
        corners=tuple(corner for one in each for corner in one.corners),
        graded=tuple(answer for one in each for answer in one.graded),
        close_ups=tuple(found for one in each for found in one.close_ups),
        close_up_costs=tuple(cost for one in each for cost in one.close_up_costs),
        close_ups_tried=bool(close_ups),
        added_mm=depth_mm,
        added=tuple(cost for one in each for cost in one.added),
        rods=mount_of(show.scene, tuple(cost for one in each for cost in one.on_axis)),
        notes=tuple(note for one in ranged if (note := focus_note(one.lens))),
        states=tuple(plan for one in ranged for plan in one.plans),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FiltersAnswer(Answer):
    """Sizes for each stage and lens, and what filters, close-up lenses, a stage more and the mount do; `states` are looked at."""

    name: ClassVar[str] = "filters"
    exit_status: ClassVar[int] = CLEAR
    cautions: ClassVar[Sequence[str]] = (CAUTION,)

    title: str
    margin_mm: float
    stages: tuple[StageAnswer, ...]
    corners: tuple[CornerLoss, ...]
    graded: tuple[GradedAnswer, ...]
    close_ups: tuple[CloseUp, ...]
    close_up_costs: tuple[Cost, ...]
    close_ups_tried: bool
    added_mm: float
    added: tuple[Cost, ...]
    rods: RodAnswer
    notes: tuple[str, ...]
    states: tuple[State, ...]

    @property
    def next_step(self) -> str:
        """What to do, worst first."""
        return next_step(self.stages, self.margin_mm)

    def blocks(self, *, written: bool) -> Iterator[Block]:  # noqa: ARG002 - every page is told
        """Stage by stage, then what filters do to the corners and what changes cost."""
        yield Heading(f"Filters: {self.title}" if self.title else "Filters")
        yield Paragraph(answer_words(self.stages, self.margin_mm))
        yield Gap()
        yield Paragraph(method_words(self.margin_mm))
        yield Gap()
        for stage in self.stages:
            yield from _stage_blocks(stage, self.margin_mm)
        if not self.stages:
            yield from (Paragraph("The box has no stage."), Gap())
        yield from _told(CORNER_WORDS, _table(CORNER_COLUMNS, self.corners))
        if self.graded:
            yield from _told(graded_words(self.graded[0]), _table(GRADED_COLUMNS, self.graded))
        yield from self._close_up_blocks()
        yield from _told(added_words(self.added_mm), _table(COST_COLUMNS, self.added))
        on_axis = _table(COST_COLUMNS, self.rods.costs, "now, and with the box on axis (flags left out):")
        yield from _told(f"Mount: {rod_words(self.rods)}", *([on_axis] if self.rods.costs else []))
        yield from map(Note, self.notes)
        yield NextStep(self.next_step)
        yield from map(Paragraph, self.cautions)

    def _close_up_blocks(self) -> Iterator[Block]:
        found, costs = self.close_ups, self.close_up_costs
        if found:
            then = "with them in the stage nearest the lens" if self.close_ups_tried else "with them taken out"
            more = [_table(COST_COLUMNS, costs, f"now, and {then} (flags left out):")] if costs else []
            yield from _told(close_up_words(found[0]), _table(CLOSE_UP_COLUMNS, found), *more)

    def data(self) -> dict[str, Any]:
        """Lengths in mm, losses in stops; null for what lies outside the picture or is nowhere near."""
        return {
            "margin_mm": self.margin_mm,
            "stages": [_stage_data(stage, self.margin_mm) for stage in self.stages],
            "corner_loss": _table(CORNER_COLUMNS, self.corners).data(),
            "graduated": _table(GRADED_COLUMNS, self.graded).data(),
            "close_ups": _table(CLOSE_UP_COLUMNS, self.close_ups).data(),
            "close_ups_are_tried": self.close_ups_tried,
            "close_up_costs": _table(COST_COLUMNS, self.close_up_costs).data(),
            "added_stage": {"depth_mm": self.added_mm, "costs": _table(COST_COLUMNS, self.added).data()},
            "mount": _rod_data(self.rods),
            "notes": list(self.notes),
        }

    def sheets(self) -> Sheets:
        """The beams in each stage, and the graduated edges in the picture."""
        from scenes.questions.filters.figure import graded_figure, stages_figure

        if self.stages:
            yield "filter-sizes", lambda: stages_figure(self.stages, self.title)
        if self.graded:
            yield "graduated", lambda: graded_figure(self.graded, self.title)


def _told(words: str, *tables: Table[Any]) -> Iterator[Block]:
    yield Paragraph(words)
    yield from tables
    yield Gap()


def _table(columns: Sequence[Column[Any]], rows: Sequence[Any], title: str = "", *, ruled: bool = True) -> Table[Any]:
    return Table(columns=columns, rows=rows, title=title, ruled=ruled, indent=INDENT)


def _stage_blocks(stage: StageAnswer, margin_mm: float) -> Iterator[Block]:
    yield Heading(f"{stage.name}, {ahead_in_words(stage.stage.at_mm, 'the back plate', 'g')}: glass that the beam needs")
    yield needs_table(stage, margin_mm)
    yield from (Paragraph(decided_words(stage, need, margin_mm), INDENT) for need in stage.needs)
    yield Paragraph(ROOM_WORDS, INDENT)
    yield Gap()
    yield Paragraph(holder_words(stage), INDENT)
    yield sizes_table(stage, margin_mm)
    yield Gap()


def _stage_data(stage: StageAnswer, margin_mm: float) -> dict[str, Any]:
    return {
        "stage": stage.name,
        "at_mm": stage.stage.at_mm,
        "holder_height_mm": stage.holder_mm,
        "lenses": needs_table(stage, margin_mm).data(),
        "sizes": sizes_table(stage, margin_mm).data(),
    }


def needs_table(stage: StageAnswer, margin_mm: float) -> Table[StageNeed]:
    """What each lens needs of the glass in a stage, and the room that it has."""

    def size(head: str, key: str, *, turned: bool) -> Column[StageNeed]:
        return Column(
            head=head,
            key=key,
            of=lambda need: smallest(need.sizes, margin_mm, turned=turned, round_glass=takes_round(stage.stage)),
            words=lambda room: size_words(room, turned=turned),
            data=lambda room: None if room is None else room.size.name,
            left=True,
            width=17,
        )

    as_is = "size upright" if stage.stage.turn_deg == 0.0 else f"size at {stage.stage.turn_deg:g} deg"
    sizes = (size(as_is, "smallest_as_turned", turned=False), size("size any turn", "smallest_any_turn", turned=True))
    return _table((*NEED_COLUMNS, *sizes, ROOMS_COLUMN), stage.needs)


def size_words(room: SizeRoom | None, *, turned: bool) -> str:
    """'5x5 +3.2', or that no catalogue size does."""
    return "none" if room is None else f"{room.size.name} {room.turned_mm if turned else room.fitted_mm:+.1f}"


def guess_data(state: State) -> list[float | None] | None:
    """How much wider than at infinity a state's field is guessed to be (across, upright) [%]; None where it is none."""
    return None if state.field_guess_percent is None else [finite(percent) for percent in state.field_guess_percent]


def sizes_table(stage: StageAnswer, margin_mm: float) -> Table[SizeRoom]:
    """Which lenses every catalogue size serves in a stage."""
    rectangle = None if stage.stage.filter is None else stage.stage.filter.rectangle_mm
    widest_mm = None if rectangle is None else rectangle[0]

    def served(head: str, key: str, *, turned: bool) -> Column[SizeRoom]:
        return Column(
            head=head,
            key=key,
            of=lambda room: widest_served(stage, room.size, margin_mm, turned=turned),
            words=_served_words,
            data=lambda found: {"widest": found[0], "not": list(found[1])},
            left=True,
            width=36,
            most=36,
        )

    columns: list[Column[SizeRoom]] = [
        Column(head="size", key="size", of=lambda room: room.size.name, left=True, width=12),
        Column(
            head="holder",
            key="fits_holder",
            of=lambda room: fits_holder(room.size, stage.holder_mm, widest_mm),
            words=lambda fits: "?" if fits is None else "takes" if fits else "no",
        ),
        served("upright" if stage.stage.turn_deg == 0.0 else "as turned", "as_turned", turned=False),
        served("at any turn", "any_turn", turned=True),
    ]
    return _table(columns, stage.needs[0].sizes, ruled=False)


def _served_words(found: tuple[str | None, Sequence[str]]) -> str:
    widest, but = found
    if widest is None:
        return "none"
    return f"{widest}, but not {', '.join(but)}" if but else widest


def _fitted_words(fitted: Sequence[tuple[str, float]]) -> str:
    return ", ".join(f"{name} {loss:.2f}" for name, loss in fitted) or "none"


def _fitted_data(fitted: Sequence[tuple[str, float]]) -> list[dict[str, Any]]:
    return [{"filter": name, "loss_stops": _fine(loss)} for name, loss in fitted]


def _by_density(corner: CornerLoss) -> dict[str, Any]:
    return {f"{density:g}": _fine(loss) for density, loss in zip(DENSITIES, corner.usual, strict=True)}


def _usual_column(place: int) -> Column[CornerLoss]:
    return Column(head=f"{DENSITIES[place]:.1f}", of=lambda corner: corner.usual[place], words="{:.2f}".format, width=4)


def picture_reach_mm(answer: GradedAnswer) -> float:
    """How far the picture reaches from its middle along the gradation [mm]."""
    return reach_mm(answer.half_mm, answer.turn_deg)


def _middle_words(answer: GradedAnswer) -> str:
    middle = answer.edge.middle_mm
    return "outside" if middle is None else f"{middle:+.1f} mm {100 * middle / picture_reach_mm(answer):+5.0f} %"


def _soft_words(answer: GradedAnswer) -> str:
    soft = answer.edge.soft_mm
    return "past the picture" if soft is None else f"{soft:.1f} mm {50 * soft / picture_reach_mm(answer):5.0f} %"


def _far(value_mm: float | None) -> str:
    if value_mm is None:
        return "?"
    return "nothing" if math.isnan(value_mm) else "infinity" if math.isinf(value_mm) else f"{value_mm:.0f}"


def _far_data(value_mm: float | None) -> float | str | None:
    return None if value_mm is None or math.isnan(value_mm) else distance(value_mm)


def _fine(stops: float) -> float | None:
    return finite(stops, 4)


def _room_words(room_mm: float | None) -> str:
    return "none" if room_mm is None else f"{room_mm:+.1f}"


def _standing_data(standing: Standing) -> dict[str, Any]:
    return {
        "clearance_mm": finite(standing.clearance_mm),
        "part": standing.part,
        "loss_stops": _fine(standing.loss_stops),
        "state": standing.state,
    }


def _clear_words(standing: Standing) -> str:
    return "-" if math.isinf(standing.clearance_mm) else f"{standing.clearance_mm:+.1f}"


def _loss_words(standing: Standing) -> str:
    return "dark" if standing.loss_stops > DARK_STOPS else f"{standing.loss_stops:.2f}"


def _rod_data(rods: RodAnswer) -> dict[str, Any]:
    return {
        "mount": rods.mount,
        "drop_mm": rods.drop_mm,
        "usual_drop_mm": rods.usual_drop_mm,
        "offset_mm": list(rods.stated_mm),
        "expected_up_mm": finite(rods.expected_up_mm),
        "words": rod_words(rods),
        "on_axis": _table(COST_COLUMNS, rods.costs).data(),
    }


def _of_cost(when: str, head: str, words: Callable[[Standing], str], width: int) -> Column[Cost]:
    return Column(head=head, of=lambda cost: getattr(cost, when), words=words, width=width)


LENS: Column[Any] = Column(head="lens", key="lens", of=lambda row: row.lens.name, left=True, width=20, most=20)
NEED_COLUMNS: tuple[Column[StageNeed], ...] = (
    LENS,
    Column(
        head="upright", key="upright_mm", of=lambda need: need.upright_mm, words=lambda size: "{:.1f} x {:.1f}".format(*size),
        data=lambda size: [finite(side) for side in size], width=13,
    ),
    Column(head="any turn", key="any_turn_mm", of=lambda need: need.turned_mm, words="{:.1f}".format, data=finite),
    Column(head="tray", key="tray_room_mm", of=lambda need: need.tray_mm, words=_room_words, data=finite, width=5),
    Column(head="glass", key="glass_room_mm", of=lambda need: need.now_mm, words=_room_words, data=finite, width=5),
)  # fmt: skip
ROOM_COLUMNS: tuple[Column[SizeRoom], ...] = (
    Column(key="size", of=lambda room: room.size.name),
    Column(key="as_turned_mm", of=lambda room: room.fitted_mm, data=finite),
    Column(key="state", of=lambda room: room.state.key),
    Column(key="field_guess_percent", of=lambda room: guess_data(room.state)),
    Column(key="any_turn_mm", of=lambda room: room.turned_mm, data=finite),
)
ROOMS_COLUMN: Column[StageNeed] = Column(key="rooms", of=lambda need: Table(columns=ROOM_COLUMNS, rows=need.sizes).data())
CORNER_COLUMNS: tuple[Column[CornerLoss], ...] = (
    LENS,
    Column(head="corner", key="field_deg", of=lambda corner: corner.field_deg, words="{:.0f} deg".format, data=finite),
    *map(_usual_column, range(len(DENSITIES))),
    Column(key="by_density_stops", of=_by_density),
    Column(head="fitted", key="fitted_stops", of=lambda corner: corner.fitted, words=_fitted_words, data=_fitted_data, left=True),
)
GRADED_COLUMNS: tuple[Column[GradedAnswer], ...] = (
    LENS,
    Column(head="stage", key="stage", of=lambda answer: answer.stage_name, left=True, width=14, most=14),
    *as_named("tried", "density", "turn_deg", "focal_mm"),
    Column(head="stop", key="f_number", of=lambda answer: answer.f_number, words="f/{:.3g}".format, left=True),
    Column(head="middle", of=lambda answer: answer, words=_middle_words, width=17),
    Column(head="runs over", of=lambda answer: answer, words=_soft_words, width=18),
    Column(key="begins_mm", of=lambda answer: answer.edge.begins_mm, data=finite),
    Column(key="middle_mm", of=lambda answer: answer.edge.middle_mm, data=finite),
    Column(key="ends_mm", of=lambda answer: answer.edge.ends_mm, data=finite),
    Column(key="half_picture_mm", of=picture_reach_mm, data=finite),
)
CLOSE_UP_COLUMNS: tuple[Column[CloseUp], ...] = (
    LENS,
    Column(head="mm", key="focal_mm", of=lambda close: close.focal_mm, words="{:g}".format, width=6),
    Column(head="focus", key="focus_mm", of=lambda close: close.focus_mm, words=_far, data=distance, width=9),
    *as_named("powers_dioptre", "power_dioptre"),
    Column(key="power_with_gap_dioptre", of=lambda close: finite(close.spaced_dioptre, 5)),
    Column(key="pupil_to_close_up_mm", of=lambda close: close.gap_mm, data=finite),
    Column(head="sharp", key="sharp_from_close_up_mm", of=lambda close: close.sharp_mm, words=_far, data=_far_data, width=10),
    Column(head="from image", key="sharp_from_image_mm", of=lambda close: close.from_image_mm, words=_far, data=_far_data),
    Column(head="width", key="width_mm", of=lambda close: close.field_mm, words=_far, data=_far_data, width=10),
    Column(head="without", key="width_without_mm", of=lambda close: close.bare_field_mm, words=_far, data=_far_data, width=10),
)
COST_COLUMNS: tuple[Column[Cost], ...] = (
    LENS,
    Column(key="now", of=lambda cost: cost.now, data=_standing_data),
    Column(key="then", of=lambda cost: cost.then, data=_standing_data),
    _of_cost("now", "room now", _clear_words, 9),
    _of_cost("then", "then", _clear_words, 9),
    _of_cost("now", "loss", _loss_words, 7),
    _of_cost("then", "then", _loss_words, 7),
    Column(head="least then", of=lambda cost: cost.then.part, left=True, most=30),
)
