"""Tables of filters: their columns on the page and in the JSON, and the words and data of each cell."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from raytrace.optics.filter_light import reach_mm
from scenes.answers.numbers import distance, finite
from scenes.answers.table import Column, Table, as_named
from scenes.questions.filters.costs import Cost, Standing
from scenes.questions.filters.effects import DENSITIES, CloseUp, CornerLoss, GradedAnswer
from scenes.questions.filters.sizes import SizeRoom, StageAnswer, StageNeed, fits_holder, smallest, takes_round, widest_served

if TYPE_CHECKING:
    from scenes.states.state import State


DARK_STOPS = 10.0
INDENT = "  "


def table_of(columns: Sequence[Column[Any]], rows: Sequence[Any], title: str = "", *, ruled: bool = True) -> Table[Any]:
    """A table as it stands on the page of filters."""
    return Table(columns=columns, rows=rows, title=title, ruled=ruled, indent=INDENT)


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
    return table_of((*NEED_COLUMNS, *sizes, ROOMS_COLUMN), stage.needs)


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
    return table_of(columns, stage.needs[0].sizes, ruled=False)


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
