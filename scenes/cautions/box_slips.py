"""Lengths of a box that are probably written in cm: parts far smaller than what they belong to. A caution each, both numbers named.

A hood or flag a tenth as long, or a box a tenth as far ahead, takes less light than the real one: nobody would see a wrong clear.
Sizes are common practice; none of the boxes drawn by chance in `tests` and none of the demo's comes near them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import chain

from geometry.notes import Note, Severity
from scenes.cautions.misfits import misfit_words
from scenes.cautions.unheld_hoods import floating_words, straddled_words, unheld_words
from scenes.rig.box import flag_name, stage_name
from scenes.rig.openings import as_written
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Flag, Hood
from scenes.scene_file.tables.lens import Lens

SHORTEST_FLAG_MM = 18.0  # hinge to end; flags for boxes run from 60 to 180 mm
SHORT_FLAG_SHARE = 1 / 12  # of their width, which they are a quarter of or more
NARROW_FLAG_SHARE = 0.3  # of the hood's edge, which flags cover
SIDES = ("top", "bottom", "left", "right")
OTHER_SIDES = {SIDES[:2]: SIDES[2:], SIDES[2:]: SIDES[:2]}
NARROW_PAIR_SHARE, FITTED_SHARE = 0.75, 0.05
SHORTEST_EXTENSION_MM = 9.5
SHORT_EXTENSION_SHARE = 1 / 8  # of its flag, which it is a third of or more
SHORTEST_HOOD_MM, LONGEST_HOOD_MM = 14.0, 180.0  # hoods run from 40 to 140 mm
ACROSS_SHARE = 1.15  # a rear this much wider than high, or higher than wide, has a front that is so too
FLARED_DEG = 60.0  # walls that open wider than any picture; those of hoods open by up to 45
WIDE_DEG = 50.0  # half fields past this are those of fisheyes and the widest rectilinear lenses
LARGEST_PLACE_CM = 10.0  # parts stand within 100 mm of the plate
LEAST_AHEAD_MM = 1.0
DEEPEST_MM = 40.0  # of a plate behind the lens front; some 20 is usual (common practice)
LEAST_PLACE_MM = 5.0  # a box that says where its parts stand reaches that far
SMALL_SHARE = 0.15  # of the lens front: an opening that lets next to nothing of it see
SMALL_HOOD_SHARE = 0.3  # the same of a hood, and of its mouth against its rear
CLOSING_SHARE = 0.95  # of a hood's rear: hoods are straight, or open toward the scene (common practice)
CM = 10.0

Words = Iterator[tuple[str, str]]


def slip_notes(box: Box, lens: Lens) -> tuple[Note, ...]:
    """A caution for each length of a box on a lens that is probably in cm, or does not fit what it is for."""
    of_places = chain(_place_words(box), _deep_words(box, lens), _order_words(box), _flag_words(box), _flag_pair_words(box))
    found = chain(of_places, _hood_words(box, lens), _opening_words(box, lens), misfit_words(box, lens))
    return tuple(Note(part, text, Severity.CAUTION, may_be_slip=True) for part, text in found)


def _in_cm(value_mm: float) -> str:
    return f"written in cm? it would be {plain(round(CM * value_mm, 3))} mm"


def _place_words(box: Box) -> Words:
    """A box less than a mm ahead of the lens, where every other place in it is told in whole mm."""
    starts = [*(stage.at_mm for stage in box.stage), *(mask.at_mm for mask in box.mask), *(hood.at_mm for hood in box.hood)]
    places = [*starts, *(stage.depth_mm for stage in box.stage), *(hood.depth_mm for hood in box.hood)]
    whole = max(places, default=0.0) >= LEAST_PLACE_MM and all(value == round(value) for value in places)
    if whole and 0.0 < abs(box.ahead_mm) < LEAST_AHEAD_MM:
        all_whole = f"where the parts of the box stand by whole mm, the farthest at_mm = {plain(max(starts))}"
        yield "box", f"ahead_mm = {plain(box.ahead_mm)} is less than a mm, {all_whole}: {_in_cm(box.ahead_mm)}"


def _deep_words(box: Box, lens: Lens) -> Words:
    """A plate far back over the barrel, where the mount or the camera is."""
    if not box.back or box.ahead_mm > -DEEPEST_MM:
        return
    sensor_mm = None if lens.front_to_sensor_mm is None else lens.front_to_sensor_mm + box.ahead_mm
    where = "" if sensor_mm is None else f", {plain(round(sensor_mm, 1))} mm ahead of the sensor"
    text = f"ahead_mm = {plain(box.ahead_mm)} puts the back plate {plain(-box.ahead_mm)} mm behind the lens front{where}"
    yield "box", f"{text}: boxes go back over a barrel by some 20 mm; is a point in the wrong place?"


def _order_words(box: Box) -> Words:
    """A mask or hood that stands ahead of all trays and behind the hood only if its place is in cm, the one that is no whole mm."""
    trays_mm = max((stage.at_mm + stage.depth_mm for stage in box.stage), default=0.0)
    hood_mm = min((hood.at_mm for hood in box.hood), default=math.inf)
    places = [(mask.name or "mask", mask.at_mm, hood_mm) for mask in box.mask]
    places += [(hood.name or "hood", hood.at_mm, math.inf) for hood in box.hood]
    others = [*(stage.at_mm for stage in box.stage), *(mask.at_mm for mask in box.mask), *(hood.at_mm for hood in box.hood)]
    for name, at_mm, before_mm in places:
        if not 1.0 < at_mm < LARGEST_PLACE_CM or at_mm == round(at_mm) or sum(other != round(other) for other in others) > 1:
            continue
        meant_mm = CM * at_mm
        if box.stage and at_mm < trays_mm <= meant_mm <= before_mm:
            yield name, f"at_mm = {plain(at_mm)} puts it behind the front of the trays at {plain(trays_mm)} mm: {_in_cm(at_mm)}"
        elif not box.stage and meant_mm <= before_mm < math.inf:
            yield name, f"at_mm = {plain(at_mm)} puts it far behind the hood, at_mm = {plain(before_mm)}: {_in_cm(at_mm)}"


def _flag_pair_words(box: Box) -> Words:
    """A hood far wider, or higher, at its front than the two flags that hang along that edge, where the other two fit theirs."""
    widths: dict[str, float] = {flag.side: flag.width_mm for flag in box.flag}
    for hood in box.hood if len(box.flag) == len(SIDES) == len(widths) else ():
        for edge, across in ((0, ("top", "bottom")), (1, ("left", "right"))):
            own, others = ([widths[side] for side in sides] for sides in (across, OTHER_SIDES[across]))
            fits = all(abs(width - hood.front_mm[1 - edge]) <= FITTED_SHARE * width for width in others)
            if fits and own[0] == own[1] < NARROW_PAIR_SHARE * hood.front_mm[edge]:
                key = "wide" if edge == 0 else "high"
                flags = f"its {across[0]} and {across[1]} flags are {plain(own[0])} mm along it, and the other two fit theirs"
                yield hood.name or "hood", f"front_mm = {as_written(hood.front_mm)}: {flags}; is it really so {key}?"


def _flag_words(box: Box) -> Words:
    for flag in box.flag:
        wide = f"a flag of width_mm = {plain(flag.width_mm)}"
        if flag.length_mm < max(SHORTEST_FLAG_MM, SHORT_FLAG_SHARE * flag.width_mm):
            yield flag_name(flag), f"length_mm = {plain(flag.length_mm)} is too short for {wide}: {_in_cm(flag.length_mm)}"
        elif (edge_mm := _hangs_along_mm(flag, box.hood)) * NARROW_FLAG_SHARE > flag.width_mm:
            along = f"the {plain(edge_mm)} mm of the hood's edge that it hangs at"
            yield flag_name(flag), f"width_mm = {plain(flag.width_mm)} covers little of {along}: {_in_cm(flag.width_mm)}"
        out = flag.extension
        if out is not None and out.length_mm < max(SHORTEST_EXTENSION_MM, SHORT_EXTENSION_SHARE * flag.length_mm):
            on = f"the extension of a flag of length_mm = {plain(flag.length_mm)}"
            yield flag_name(flag), f"extension.length_mm = {plain(out.length_mm)} is too short for {on}: {_in_cm(out.length_mm)}"


def _hangs_along_mm(flag: Flag, hoods: tuple[Hood, ...]) -> float:
    """How long the edge of the hood is that a flag hangs at; 0 without a hood."""
    return max((hood.front_mm[0 if flag.side in {"top", "bottom"} else 1] for hood in hoods), default=0.0)


def _hood_words(box: Box, lens: Lens) -> Words:
    front_mm = lens.front_diameter_mm
    for hood in box.hood:
        name, mouth = hood.name or "hood", f"front_mm = {as_written(hood.front_mm)}"
        if hood.depth_mm < SHORTEST_HOOD_MM:
            short = f"depth_mm = {plain(hood.depth_mm)} is {'' if _sees_wide(lens) else 'too '}short for a hood of {mouth}"
            yield name, f"{short}: {_unless_wide(lens, _in_cm(hood.depth_mm))}"
        elif _flare_deg(hood) > FLARED_DEG:
            flares = f"lets its walls flare {_flare_deg(hood):.0f} deg, from rear_mm = {as_written(hood.rear_mm)} to {mouth}"
            meant = _in_cm(hood.depth_mm) if CM * hood.depth_mm <= LONGEST_HOOD_MM else "is one of the three wrong?"
            yield name, f"depth_mm = {plain(hood.depth_mm)} {flares}: {_unless_wide(lens, meant)}"
        if max(hood.rear_mm) < SMALL_HOOD_SHARE * front_mm:
            yield name, _small(f"rear_mm = {as_written(hood.rear_mm)}", lens, hood.rear_mm)
        if any(front < SMALL_HOOD_SHARE * rear for front, rear in zip(hood.front_mm, hood.rear_mm, strict=True)):
            yield name, f"{mouth} is far narrower than rear_mm = {as_written(hood.rear_mm)}: {_in_cm_each(hood.front_mm)}"
        elif _turns_over(hood):
            rear = f"rear_mm = {as_written(hood.rear_mm)} lies {'across' if hood.rear_mm[0] > hood.rear_mm[1] else 'upright'}"
            yield name, f"{mouth} is not of the shape of its rear, for {rear}: is a digit wrong?"
        elif _closes_on_nothing(hood, box):
            yield (
                name,
                f"{mouth} is narrower than rear_mm = {as_written(hood.rear_mm)}: it opens toward the plate; are the two swapped?",
            )
        elif text := unheld_words(hood, box):
            yield name, text
        if text := straddled_words(hood, box) or floating_words(hood, box):
            yield name, text


def _sees_wide(lens: Lens) -> bool:
    """Whether hoods of a lens may be short and flare far, as those of fisheyes do."""
    stated = [row.half_field_deg.horizontal for row in lens.state if row.half_field_deg is not None]
    return lens.projection != "rectilinear" or max(stated, default=0.0) > WIDE_DEG


def _unless_wide(lens: Lens, question: str) -> str:
    """The question of a short hood, asked more softly of one before a lens that sees far to the side."""
    return f"right where a lens sees as far to the side as this one; else, {question}" if _sees_wide(lens) else question


def _closes_on_nothing(hood: Hood, box: Box) -> bool:
    """Whether a hood narrows toward the scene from a rear that is larger than the plate it would be held by."""
    plates = [(back.width_mm, back.height_mm) for back in box.back]
    narrows = any(front < CLOSING_SHARE * rear for front, rear in zip(hood.front_mm, hood.rear_mm, strict=True))
    return narrows and bool(plates) and any(hood.rear_mm[way] > max(plate[way] for plate in plates) for way in (0, 1))


def _turns_over(hood: Hood) -> bool:
    """Whether a hood begins wider than high and ends higher than wide, or the other way round."""
    rear, front = (width / height for width, height in (hood.rear_mm, hood.front_mm))
    return (rear >= ACROSS_SHARE and front < 1.0) or (rear <= 1.0 / ACROSS_SHARE and front > 1.0)


def _flare_deg(hood: Hood) -> float:
    """How far the walls of a hood open, at the side where they open most."""
    opens_mm = max(front - rear for front, rear in zip(hood.front_mm, hood.rear_mm, strict=True)) / 2
    return math.degrees(math.atan2(opens_mm, hood.depth_mm))


def _opening_words(box: Box, lens: Lens) -> Words:
    """Trays; of a mask the rule of the lens front says it (geometry.checks)."""
    for number, stage in enumerate(box.stage, 1):
        size = stage.opening_mm or (stage.opening_diameter_mm or 0.0,) * 2
        if 0.0 < max(size) < SMALL_SHARE * lens.front_diameter_mm:
            key = f"opening_mm = {as_written(size)}" if stage.opening_mm else f"opening_diameter_mm = {plain(size[0])}"
            yield stage_name(stage, number), _small(key, lens, size)


def _small(what: str, lens: Lens, size_mm: tuple[float, float]) -> str:
    if lens.front_glass_mm is not None:
        front = f"front_glass_mm = {plain(lens.front_glass_mm)}"
    else:
        front = f"front_diameter_mm = {plain(lens.front_diameter_mm)}"
    return f"{what} is far smaller than the lens front it stands before, {front}: {_in_cm_each(size_mm)}"


def _in_cm_each(size_mm: tuple[float, float]) -> str:
    return f"written in cm? it would be {' x '.join(plain(round(CM * value, 3)) for value in size_mm)} mm"
