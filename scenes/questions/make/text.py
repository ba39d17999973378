"""The sentences of `brimline make`: what was made, what it weighs, what was taken by default, what to mind."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scenes.questions.make.report import MakeReport, Sheet
from scenes.questions.make.weights import BACK_TO_SENSOR_MM, USUAL_WALL_MM, glass_g_cm3
from scenes.rig.rods_in_plate import RodMeeting
from scenes.runtime.page import counted
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.make import Make, materials_of
from scenes.states.names import state_words

HANGING = (
    "What a lens front, a mount or rods may carry is for the rental house to say: no limit is stated here. A heavy box does not "
    "hang on a lens front unsupported."
)
GUSTS = (
    "Wind comes in gusts of about one and a half times the mean, with more than twice its force; two flags that form a cup catch "
    "more than flat ones. Take flags off before the wind takes them."
)
CAUTIONS = (
    "Weights leave out screws, hinges, seals, brackets, rods, paint and glue.",
    HANGING,
    "Rods sag more than their own bending: play in the clamps usually exceeds it.",
    GUSTS,
    "Check one part against its drawing before the rest is cut: measure the 100 mm square, bend a test strip.",
)
ENTIRE = "The scene takes trays and masks without outer_mm as closed all round: close what stays open between them and the hood."


def summary(report: MakeReport) -> str:
    """'15 parts of aluminium 5083-H111 from 4 sheets; 1.74 to 1.76 kg as fitted.'."""
    kinds = dict.fromkeys(part.material.title for part in report.parts.made)
    kilos = sorted(box.kg for box in report.carried)
    weight = f"{kilos[0]:.2f} kg" if f"{kilos[0]:.2f}" == f"{kilos[-1]:.2f}" else f"{kilos[0]:.2f} to {kilos[-1]:.2f} kg"
    made = f"{counted(len(report.parts.made), 'part')} of {' and '.join(kinds)} from {counted(len(report.sheets), 'sheet')}"
    return f"{made}; the box weighs {weight} as fitted, filters included."


def clear_words(report: MakeReport) -> str:
    """Whether the box is worth making as it is: what `check` says of the states judged and of what lies between."""
    states = [one for box in report.carried for one in box.states]
    dark = [one for one in states if not one.clear]
    judged = f"{counted(len(states), 'state')} at the widest stop"
    sagged = [one for one in states if one.clear and one.sagged_clear is False]
    if dark and all(one.sharp_clear for one in dark):
        worst = min(dark, key=lambda one: one.room_mm)
        return (
            f"Clear with sharp corners, but not with the hood's bends as round as they are made: {len(dark)} of "
            f"{judged}, worst {state_words(worst)} ({worst.part}: {worst.room_mm:.2f} mm of room)."
        )
    if dark:
        worst = min(dark, key=lambda one: one.room_mm)
        return (
            f"Not clear as drawn: {len(dark)} of {judged}, worst {state_words(worst)} ({worst.part}). "
            "See brimline check before metal is cut."
        )
    if not all(box.clear for box in report.carried):
        told = "; ".join(f"the {box.lens_name} is {box.between.words}" for box in report.carried if not box.clear)
        return f"Clear as drawn in {judged}, but not between: {told}. See brimline check before metal is cut."
    if sagged:
        worst = min(sagged, key=lambda one: one.sagged_room_mm or 0.0)
        return (
            f"Clear as drawn, but no longer with the rods bent: {counted(len(sagged), 'state')}, worst {state_words(worst)} "
            f"({worst.sagged_part}: {worst.sagged_room_mm:.2f} mm of room, {worst.room_mm:.2f} mm as drawn)."
        )
    hanging = [(box.lens_name, box.between_bent) for box in report.carried if box.between_bent is not None]
    told = "; ".join(f"the {name} is {between.words}" for name, between in hanging if not between.clear)
    if told:
        return f"Clear as drawn, but with the rods bent not between the {counted(len(states), 'state')} judged: {told}."
    how = "as drawn and with the rods bent" if hanging else "as drawn"
    return f"Clear in {judged} and at every focus and zoom between, {how}."


def plate_words(report: MakeReport) -> Iterator[str]:
    """Rods that the back plate is in the way of, a sentence for those that are alike."""
    alike: dict[tuple[str, bool], list[RodMeeting]] = {}
    for rod in report.rods_in_plate:
        alike.setdefault((rod.plate, rod.at_edge), []).append(rod)
    for (plate, at_edge), some in alike.items():
        places = " and ".join(f"the {rod.side} rod ({_away_words(rod.at_mm)} the middle)" for rod in some)
        what = f"its edge runs into {places}" if at_edge else f"no hole is large enough there for {places}"
        mend = "Make the plate smaller or larger there" if at_edge else "Give it holes in [[make.hole]]"
        rods = f"rods of {plain(some[0].diameter_mm)} mm, with the {some[0].lens_name}"
        yield f"{plate}: {what}; {rods}. {mend}, or end the rods behind it."


def _away_words(at_mm: tuple[float, float]) -> str:
    """'30 mm left, 85 mm below'."""
    (right, up), (wide, high) = at_mm, (plain(round(abs(one), 2)) for one in at_mm)
    return f"{wide} mm {'right' if right > 0 else 'left'}, {high} mm {'above' if up > 0 else 'below'}"


def rod_words(make: Make, diameter_mm: float) -> str:
    """What the rods were taken as."""
    wall = USUAL_WALL_MM if make.rod_wall_mm is None else make.rod_wall_mm
    what = "solid" if 2 * wall >= diameter_mm else f"tube of {plain(wall)} mm wall"
    kind = f"{what}, {materials_of(make)[make.rod_material].title}"
    length = "free from the image plane to the back plate" if make.rod_length_mm is None else f"{plain(make.rod_length_mm)} mm free"
    return f"Rods: two of {plain(diameter_mm)} mm, {kind}, {length}, each a cantilever with half the box at its heaviest."


def sheet_words(sheet: Sheet) -> str:
    """'1: 1000 x 2000 mm, 1.5 mm aluminium 5083-H111: 5 parts, 6.8 % used; an offcut of 980 x 356 mm does'."""
    size = (
        f"{plain(sheet.size_mm[0])} x {plain(sheet.size_mm[1])} mm, {plain(round(sheet.thickness_mm, 3))} mm {sheet.material.title}"
    )
    offcut = " x ".join(f"{side:.0f}" for side in sheet.offcut_mm)
    return f"{size}: {counted(len(sheet.placed), 'flat')}, {100 * sheet.used_share:.1f} % used; an offcut of {offcut} mm is enough"


def taken_words(report: MakeReport) -> Iterator[str]:
    """Every default that was taken, a sentence each."""
    make = report.make
    given = make.model_fields_set
    if "material" not in given:
        title = materials_of(make)[make.material].title
        yield f"material: {title}, where no other is named"
    yield from report.parts.taken
    if make.sheet_mm is None:
        sizes = dict.fromkeys(f"{plain(s.size_mm[0])} x {plain(s.size_mm[1])}" for s in report.sheets)
        yield f"sheets: {', '.join(sizes)} mm, a usual size (sheet_mm), {plain(make.gap_mm)} mm between parts (gap_mm)"
    if "paper" not in given or "projection" not in given:
        yield f"drawings: {make.paper.upper()} (paper), {make.projection}-angle projection (projection)"
    yield "joints: what holds back plate, trays, masks, hoods and flags together is yours to choose: counted in the bill, not drawn"
    if not make.hole and report.loaded.scene.box.back:
        yield "back plate: no holes but the bore, as the scene states none ([[make.hole]])"
    yield from _weight_words(report)
    if report.wind and "wind_m_s" not in given:
        yield f"wind: {plain(make.wind_m_s)} m/s (wind_m_s)"


def _weight_words(report: MakeReport) -> Iterator[str]:
    """What the weights and rods take by default."""
    make = report.make
    glasses = {glass.index for box in report.carried for state in box.states for glass in state.plan.box.glasses}
    for index in sorted(glasses):
        low, high = glass_g_cm3(index)
        yield (
            f"filters of index {plain(index)}: density by the index alone, {plain(high)} g/cm3, the heaviest near it; the lightest "
            f"has {plain(low)}"
        )
    for thing in {thing.name: thing for box in report.carried for thing in box.things if thing.kind == "mesh"}.values():
        if thing.kg > 0:
            yield f"{thing.name}: a mesh, weighed as solid {materials_of(make)[make.material].title} (material)"
        else:
            yield f"{thing.name}: a mesh that is not closed: it counts as weighing nothing"
    for box in report.carried:
        how_long = f"{plain(BACK_TO_SENSOR_MM)} mm from the image plane to its front taken (front_to_sensor_mm, or rod_length_mm)"
        if box.rod_length_mm is not None and make.rod_length_mm is None and box.states[0].plan.lens.front_to_sensor_mm is None:
            yield f"rods: {box.lens_name} does not say how long it is; {how_long}"


def bent_words(report: MakeReport) -> str:
    """How much room bent rods take at most, rounded up to a tenth of a mm."""
    states = (one for box in report.carried for one in box.states if one.sagged_room_mm is not None)
    lost_mm = max((one.room_mm - (one.sagged_room_mm or 0.0) for one in states), default=0.0)
    return plain(max(math.ceil(10 * lost_mm - 1e-6), 1) / 10)


def next_words(report: MakeReport) -> str:
    """What to do now."""
    if report.rods_in_plate and report.all_clear:
        return "mend what the back plate does to the rods, as said above, before it is cut."
    dark = [one for box in report.carried for one in box.states if not one.clear]
    if dark and all(one.sharp_clear for one in dark):
        return 'take a smaller bend_radius_mm or joint = "panels" in [make], or make the hood wider; nothing is to be cut before.'
    if all(box.clear for box in report.carried) and not report.all_clear:
        return (
            "say in [make] what rods really carry it (rod_length_mm, rod_wall_mm, rod_material); if it stays so, give the box "
            f"about {bent_words(report)} mm more room; `brimline design` counts the bending itself."
        )
    if not report.all_clear:
        return "run brimline check on this scene, and mend what it names, before anything is cut."
    return "look through drawings.pdf, print a page at 100 % and measure its 100 mm bar, then cut one part and check it."
