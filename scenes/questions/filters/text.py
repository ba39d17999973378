"""Filter sizes and what filters do, as tables for people and as plain data for other programs."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from geometry.frame import ahead_in_words
from scenes.questions.filters.costs import Cost, RodAnswer, Standing
from scenes.questions.filters.effects import DENSITIES, CloseUp, CornerLoss, GradedAnswer
from scenes.questions.filters.sizes import SizeRoom, StageAnswer, StageNeed, fits_holder, widest_served
from scenes.scene_file.tables.box import Stage

WIDTH = 100
SCHEMA_VERSION = 1
DARK_STOPS = 10.0
SAME_HEIGHT_MM = 0.05
CAUTION = (
    "A prediction is no substitute for the test shoot, and glass is cut to a few tenths: where a margin is thin, measure it. "
    "A stack that grows gets heavier: ask the rental house what lens and rods may carry."
)
NEED_ROW = "  {0:20} {1:>13} {2:>8} {3:>6} {4:>6}   {5:17} {6:17}"
SIZE_ROW = "  {0:12} {1:>7}   {2:36} {3:36}"
COST_ROW = "  {0:20} {1:>9} {2:>9}  {3:>7} {4:>7}  {5}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterReport:
    """Every answer of `brimline filters`."""

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


def filters_lines(report: FilterReport, title: str) -> list[str]:
    """The whole answer for people."""
    lines = [_clip(f"Filters: {title}" if title else "Filters"), *wrapped(_method_words(report.margin_mm)), ""]
    for answer in report.stages:
        lines += [*_need_lines(answer, report.margin_mm), "", *_size_lines(answer, report.margin_mm), ""]
    if not report.stages:
        lines += ["The box has no stage.", ""]
    lines += [*_corner_lines(report.corners), "", *_graded_lines(report.graded), *_close_up_lines(report)]
    lines += [*_added_lines(report), "", *_rod_lines(report.rods), ""]
    lines += [line for note in report.notes for line in wrapped(f"- {note}")]
    return [line.rstrip() for line in [*lines, *wrapped(f"Next: {next_step(report)}"), *wrapped(CAUTION)]]


def _method_words(margin_mm: float) -> str:
    return (
        "Each size holds the beam of all guides at both faces of the glass, at every zoom row, from infinity to the nearest "
        "focus, at the widest stop, with the trays nearer the lens filled or empty. Glass sits in the middle of its tray. "
        f"Room is from the beam to the edge of the glass; a size does with {margin_mm:g} mm of it. Lengths in mm."
    )


def _need_lines(answer: StageAnswer, margin_mm: float) -> Iterator[str]:
    yield _clip(f"{answer.name}, {ahead_in_words(answer.stage.at_mm, 'the back plate', 'g')}: glass that the beam needs")
    head = NEED_ROW.format("lens", "upright", "any turn", "tray", "glass", "size upright", "size any turn")
    yield from (head, "  " + "-" * (len(head.rstrip()) - 2))
    for need in answer.needs:
        upright = f"{need.upright_mm[0]:.1f} x {need.upright_mm[1]:.1f}"
        now = "none" if need.now_mm is None else f"{need.now_mm:+.1f}"
        found = [smallest(need, margin_mm, turned=turned, round_glass=takes_round(answer.stage)) for turned in (False, True)]
        sizes = [size_words(room, turned=turned) for room, turned in zip(found, (False, True), strict=True)]
        yield NEED_ROW.format(_clip(need.lens.name, 20), upright, f"{need.turned_mm:.1f}", f"{need.tray_mm:+.1f}", now, *sizes)
    yield from wrapped(
        "tray: room in the tray's opening, rear edge to front edge, its glass in or out; glass: room in the glass fitted; "
        "both as turned, below 0 the beam reaches past.",
        "  ",
    )


def smallest(need: StageNeed, margin_mm: float, *, turned: bool, round_glass: bool = False) -> SizeRoom | None:
    """The smallest catalogue size of a form, by area, that leaves the margin; None where none does."""
    same_form = [room for room in need.sizes if (room.size.diameter_mm is not None) == round_glass]
    enough = [room for room in same_form if (room.turned_mm if turned else room.upright_mm) >= margin_mm]
    return min(enough, key=_area_mm2, default=None)


def takes_round(stage: Stage) -> bool:
    """Whether a stage is for round glass: by the glass in it, else by its opening."""
    return stage.opening_diameter_mm is not None if stage.filter is None else stage.filter.round_mm is not None


def _area_mm2(room: SizeRoom) -> float:
    size = room.size
    return math.pi / 4 * size.diameter_mm**2 if size.diameter_mm else (size.width_mm or 0.0) * (size.height_mm or 0.0)


def size_words(room: SizeRoom | None, *, turned: bool) -> str:
    """'5x5 +3.2', or that no catalogue size does."""
    return "none" if room is None else f"{room.size.name} {room.turned_mm if turned else room.upright_mm:+.1f}"


def _size_lines(answer: StageAnswer, margin_mm: float) -> Iterator[str]:
    holder = "not known" if answer.holder_mm is None else f"{answer.holder_mm:g} mm"
    yield from wrapped(
        f"Widest lens each size serves in the {answer.name}, and with it all that see less. Holder height {holder}: it takes "
        "glass of its own height, narrower too (common practice).",
        "  ",
    )
    yield SIZE_ROW.format("size", "holder", "upright", "at any turn")
    for room in answer.needs[0].sizes:
        fits = fits_holder(room.size, answer.holder_mm, _widest_mm(answer))
        words = "?" if fits is None else "takes" if fits else "no"
        served = [_served_words(*widest_served(answer, room.size, margin_mm, turned=turned)) for turned in (False, True)]
        yield SIZE_ROW.format(room.size.name, words, *(_clip(text, 36) for text in served))


def _widest_mm(answer: StageAnswer) -> float | None:
    rectangle = None if answer.stage.filter is None else answer.stage.filter.rectangle_mm
    return None if rectangle is None else rectangle[0]


def _served_words(widest: str | None, but: Sequence[str]) -> str:
    if widest is None:
        return "none"
    return f"{widest}, but not {', '.join(but)}" if but else widest


def _corner_lines(corners: Sequence[CornerLoss]) -> Iterator[str]:
    yield from wrapped(
        "Density's own corner loss: what an even filter takes more at the farthest corner than on the axis, since light crosses it "
        "aslant [stops]; first by density, then the filters fitted."
    )
    head = f"  {'lens':20} {'corner':>6}   {' '.join(f'{density:>5.1f}' for density in DENSITIES)}  fitted"
    yield from (head, "  " + "-" * (len(head) - 2))
    for corner in corners:
        usual = " ".join(f"{loss:>5.2f}" for loss in corner.usual)
        fitted = ", ".join(f"{name} {loss:.2f}" for name, loss in corner.fitted) or "none"
        yield _clip(f"  {_clip(corner.lens.name, 20):20} {corner.field_deg:>3.0f} deg  {usual}  {fitted}")


def _graded_lines(graded: Sequence[GradedAnswer]) -> Iterator[str]:
    if not graded:
        return
    if graded[0].tried:
        what = (
            f"if a hard-edged graduated filter of {graded[0].density:g} stood upright in the middle of the {graded[0].stage_name}"
        )
    else:
        what = "of the scene's graduated filters"
    yield from wrapped(
        f"Graduated edge {what}, at infinity focus: where half of its stops are reached, in mm and % of the half picture from "
        "the middle toward the dark side, and how far it runs from a tenth to nine tenths of them."
    )
    head = f"  {'lens':20} {'stage':14} {'stop':>6} {'middle':>17} {'runs over':>18}"
    yield from (head, "  " + "-" * (len(head) - 2))
    for answer in graded:
        middle, soft = answer.edge.middle_mm, answer.edge.soft_mm
        reach = picture_reach_mm(answer)
        where = "outside" if middle is None else f"{middle:+.1f} mm {100 * middle / reach:+5.0f} %"
        runs = "past the picture" if soft is None else f"{soft:.1f} mm {100 * soft / (2 * reach):5.0f} %"
        name = _clip(answer.lens.name, 20)
        yield f"  {name:20} {_clip(answer.stage_name, 14):14} f/{answer.f_number:<4.3g} {where:>17} {runs:>18}"
    yield ""


def picture_reach_mm(answer: GradedAnswer) -> float:
    """How far the picture reaches from its middle along the gradation [mm]."""
    from raytrace.optics.filter_light import reach_mm

    return reach_mm(answer.half_mm, answer.turn_deg)


def _close_up_lines(report: FilterReport) -> Iterator[str]:
    if not report.close_ups:
        return
    first = report.close_ups[0]
    powers = " and ".join(f"{power:+g}" for power in first.powers_dioptre)
    yield from wrapped(
        f"Close-up lenses {powers}: together {first.power_dioptre:+g}. Sharp distance from the outermost close-up lens and from "
        "the image plane, and the width of the picture there, with and without. Main lens taken as thin at its pupil."
    )
    row = "  {0:20} {1:>6} {2:>9} {3:>11} {4:>11} {5:>10} {6:>10}"
    head = row.format("lens", "mm", "focus", "sharp", "from image", "width", "without")
    yield from (head, "  " + "-" * (len(head) - 2))
    for close in report.close_ups:
        image = "?" if close.from_image_mm is None else _far(close.from_image_mm)
        cells = (_far(close.focus_mm), _far(close.sharp_mm), image, _far(close.field_mm), _far(close.bare_field_mm))
        yield row.format(_clip(close.lens.name, 20), f"{close.focal_mm:g}", *cells)
    if report.close_up_costs:
        tried = "now, and with them in the stage nearest the lens" if report.close_ups_tried else "now, and with them taken out"
        yield f"  {tried} (flags left out):"
        yield from _cost_lines(report.close_up_costs)
    yield ""


def _far(value_mm: float) -> str:
    return "nothing" if math.isnan(value_mm) else "infinity" if math.isinf(value_mm) else f"{value_mm:.0f}"


def _added_lines(report: FilterReport) -> Iterator[str]:
    yield from wrapped(
        f"One stage more, {report.added_mm:g} mm deep and empty: mask and hood move forward by as much. Least clearance of any "
        "part [mm] and worst loss at the edge of a guide [stops], now and then; flags left out, they can be opened."
    )
    yield from _cost_lines(report.added)


def _cost_lines(costs: Sequence[Cost]) -> Iterator[str]:
    head = COST_ROW.format("lens", "clear now", "then", "loss", "then", "least then")
    yield from (head, "  " + "-" * (len(head) - 2))
    for cost in costs:
        now, then = cost.now, cost.then
        row = (_clip(cost.lens.name, 20), _mm(now), _mm(then), _stops(now), _stops(then), _clip(then.part, 30))
        yield COST_ROW.format(*row)


def _mm(standing: Standing) -> str:
    return "-" if math.isinf(standing.clearance_mm) else f"{standing.clearance_mm:+.1f}"


def _stops(standing: Standing) -> str:
    return "dark" if standing.loss_stops > DARK_STOPS else f"{standing.loss_stops:.2f}"


def _rod_lines(rods: RodAnswer) -> Iterator[str]:
    yield from wrapped(f"Mount: {rod_words(rods)}")
    if rods.costs:
        yield "  now, and with the box on axis (flags left out):"
        yield from _cost_lines(rods.costs)


def rod_words(rods: RodAnswer) -> str:
    """Whether the mount puts the box on axis, in a sentence or two."""
    right, up = rods.stated_mm
    sides = [_side(value, *words) for value, words in ((right, ("right", "left")), (up, ("above", "below"))) if value]
    stated = f"off axis, {' and '.join(sides)}" if sides else "on axis"
    if rods.expected_up_mm is None:
        return f"{rods.mount}; the lens carries the box, no rods set its height. The scene has it {stated}."
    made = f"{rods.mount}, made for rods {rods.usual_drop_mm:g} mm below the lens axis (common practice)"
    if abs(rods.expected_up_mm) < SAME_HEIGHT_MM:
        here = "the scene has them there, so the box can stand on axis"
    else:
        here = f"here they are {rods.drop_mm:g} below, which puts the box {_side(rods.expected_up_mm, 'above', 'below')} it"
    odd = "" if abs(rods.expected_up_mm - up) < SAME_HEIGHT_MM else " That does not follow from the rods: measure it."
    return f"{made}; {here}. The scene has it {stated}.{odd}"


def _side(value: float, positive: str, negative: str) -> str:
    return f"{abs(value):g} mm {positive if value > 0 else negative}"


def next_step(report: FilterReport) -> str:
    """What to do, worst first."""
    for answer in report.stages:
        for need in answer.needs:
            if need.tray_mm < 0 or (need.now_mm is not None and need.now_mm < 0):
                what = "the tray's opening" if need.tray_mm < 0 else "the glass"
                wide = f"{need.upright_mm[0]:.0f} x {need.upright_mm[1]:.0f} mm"
                return (
                    f"the {need.lens.name} sees past {what} of the {answer.name}, its beam is {wide}: take that stage off with "
                    "this lens, bring the box closer, or hold its focus and stop to what brimline check shows clear."
                )
    thin = [(need, answer) for answer in report.stages for need in answer.needs if (need.now_mm or math.inf) < report.margin_mm]
    if thin:
        need, answer = thin[0]
        return (
            f"measure the glass in the {answer.name} for the {need.lens.name}: only {need.now_mm:.1f} mm are left round its beam."
        )
    return "the glass fitted does for every lens; run brimline check for the rest of the box."


def wrapped(text: str, indent: str = "") -> list[str]:
    """A sentence on lines of `WIDTH`."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _clip(text: str, width: int = WIDTH) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def filters_dict(report: FilterReport, title: str) -> dict[str, Any]:
    """The whole answer of `brimline filters --json`; lengths in mm, losses in stops, None for infinity."""
    return {
        "brimline_filters": SCHEMA_VERSION,
        "scene": title,
        "margin_mm": report.margin_mm,
        "stages": [_stage_dict(answer, report.margin_mm) for answer in report.stages],
        "corner_loss": [_corner_dict(corner) for corner in report.corners],
        "graduated": [_graded_dict(answer) for answer in report.graded],
        "close_ups": [_close_dict(close) for close in report.close_ups],
        "close_ups_are_tried": report.close_ups_tried,
        "close_up_costs": [_cost_dict(cost) for cost in report.close_up_costs],
        "added_stage": {"depth_mm": report.added_mm, "costs": [_cost_dict(cost) for cost in report.added]},
        "mount": _rod_dict(report.rods),
        "next_step": next_step(report),
        "notes": list(report.notes),
        "cautions": [CAUTION],
    }


def _number(value: float | None, digits: int = 3) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits) + 0.0


def _stage_dict(answer: StageAnswer, margin_mm: float) -> dict[str, Any]:
    return {
        "stage": answer.name,
        "at_mm": answer.stage.at_mm,
        "holder_height_mm": answer.holder_mm,
        "lenses": [_need_dict(need, margin_mm, takes_round(answer.stage)) for need in answer.needs],
        "sizes": [
            {
                "size": room.size.name,
                "fits_holder": fits_holder(room.size, answer.holder_mm, _widest_mm(answer)),
                **{
                    word: dict(zip(("widest", "not"), widest_served(answer, room.size, margin_mm, turned=turned), strict=True))
                    for word, turned in (("upright", False), ("any_turn", True))
                },
            }
            for room in answer.needs[0].sizes
        ],
    }


def _need_dict(need: StageNeed, margin_mm: float, round_glass: bool) -> dict[str, Any]:
    upright, turned = (smallest(need, margin_mm, turned=way, round_glass=round_glass) for way in (False, True))
    return {
        "lens": need.lens.name,
        "upright_mm": [_number(value) for value in need.upright_mm],
        "any_turn_mm": _number(need.turned_mm),
        "tray_room_mm": _number(need.tray_mm),
        "glass_room_mm": _number(need.now_mm),
        "smallest_upright": None if upright is None else upright.size.name,
        "smallest_any_turn": None if turned is None else turned.size.name,
        "rooms": [
            {"size": room.size.name, "upright_mm": _number(room.upright_mm), "any_turn_mm": _number(room.turned_mm)}
            for room in need.sizes
        ],
    }


def _corner_dict(corner: CornerLoss) -> dict[str, Any]:
    return {
        "lens": corner.lens.name,
        "field_deg": _number(corner.field_deg),
        "by_density_stops": {f"{density:g}": _number(loss, 4) for density, loss in zip(DENSITIES, corner.usual, strict=True)},
        "fitted_stops": {name: _number(loss, 4) for name, loss in corner.fitted},
    }


def _graded_dict(answer: GradedAnswer) -> dict[str, Any]:
    return {
        "lens": answer.lens.name,
        "stage": answer.stage_name,
        "tried": answer.tried,
        "density": answer.density,
        "turn_deg": answer.turn_deg,
        "focal_mm": answer.focal_mm,
        "f_number": answer.f_number,
        "begins_mm": _number(answer.edge.begins_mm),
        "middle_mm": _number(answer.edge.middle_mm),
        "ends_mm": _number(answer.edge.ends_mm),
        "half_picture_mm": _number(picture_reach_mm(answer)),
    }


def _close_dict(close: CloseUp) -> dict[str, Any]:
    return {
        "lens": close.lens.name,
        "focal_mm": close.focal_mm,
        "focus_mm": _number(close.focus_mm),
        "powers_dioptre": list(close.powers_dioptre),
        "power_dioptre": close.power_dioptre,
        "power_with_gap_dioptre": _number(close.spaced_dioptre, 5),
        "pupil_to_close_up_mm": _number(close.gap_mm),
        "sharp_from_close_up_mm": _number(close.sharp_mm),
        "sharp_from_image_mm": _number(close.from_image_mm),
        "width_mm": _number(close.field_mm),
        "width_without_mm": _number(close.bare_field_mm),
    }


def _cost_dict(cost: Cost) -> dict[str, Any]:
    return {"lens": cost.lens.name, "now": _standing_dict(cost.now), "then": _standing_dict(cost.then)}


def _standing_dict(standing: Standing) -> dict[str, Any]:
    return {
        "clearance_mm": _number(standing.clearance_mm),
        "part": standing.part,
        "loss_stops": _number(standing.loss_stops, 4),
        "state": standing.state,
    }


def _rod_dict(rods: RodAnswer) -> dict[str, Any]:
    return {
        "mount": rods.mount,
        "drop_mm": rods.drop_mm,
        "usual_drop_mm": rods.usual_drop_mm,
        "offset_mm": list(rods.stated_mm),
        "expected_up_mm": _number(rods.expected_up_mm),
        "words": rod_words(rods),
        "on_axis": [_cost_dict(cost) for cost in rods.costs],
    }
