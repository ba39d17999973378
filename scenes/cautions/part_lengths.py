"""Lengths and places that names of parts tell, as 'hood 120 deep' or 'tray at 42', against the numbers of the part.

A number of a name that any number of its part agrees with is fine, whatever it tells: crews measure a part one way or another.
Sizes such as 140x80, angles and powers: scenes/cautions/part_names.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from scenes.cautions.named_lengths import WHAT, Told, bare_lengths, is_same, is_same_place, told_lengths
from scenes.rig.box import flag_hinge_mm, stage_name
from scenes.rig.openings import as_written, times
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Back, Box, BoxPart, Filter, Flag, Hood, Mask, Seal, Stage, box_parts, is_fitted
from scenes.scene_file.tables.fields import Table
from scenes.scene_file.tables.lens import Lens, focal_lengths
from scenes.scene_file.tables.scene import Scene

ANOTHERS = re.compile(
    r"(?<![^\W_])(?:for|with|on|under|over|behind|off)(?![^\W_]).*", re.IGNORECASE
)  # 'flag for the 300 wide hood'
WITH_UNITS = (Flag, Hood, Back, Seal)  # masks and trays are called by their lenses, glass by its system: '100 mm tray'
STREAK = "streak"  # such glass is called by the mm between its lines: 'streak 2 mm'
LARGE_FILM_MM = (65.0, 70.0)
LOOSE = {"", "wide", "long", "at", "corner"}
OTHER_LENGTH = "give it the right number, or another name"


@dataclass(frozen=True, slots=True)
class Named:
    """A part or a filter: its key in the box, what it is called in results, and every size and place that it may be called by."""

    kind: str
    name: str
    part: BoxPart | Filter
    fitted_as: BoxPart
    sizes_mm: tuple[float, ...]
    places_mm: tuple[float, ...]


def named_length_words(scene: Scene, lens: Lens) -> Iterator[tuple[str, str]]:
    """Parts on this lens whose name tells a length, a depth, a place or a diameter that no number of the part has."""
    lens_mm = _lens_numbers(scene)
    for one in _parts(scene):
        if is_fitted(one.fitted_as, lens.name) and one.part.name:
            whose = f'the name of its filter "{one.part.name}"' if isinstance(one.part, Filter) else "its name"
            for words in _off_words(scene, [one], _told_of(one.part, lens_mm), whose):
                yield one.name, f"{words}; {OTHER_LENGTH}"


def told_off(scene: Scene, kind: str, told: Sequence[Told], where: str) -> Iterator[tuple[str, str]]:
    """Lengths told elsewhere of parts of one kind ('hood'), which no number of any of them has; told of the first."""
    some = [one for one in _parts(scene) if one.kind == kind and not isinstance(one.part, Filter)]
    lens_mm = _lens_numbers(scene)
    for words in _off_words(scene, some, [one for one in told if not _is_of_lens(one, lens_mm)], where) if some else ():
        yield some[0].name, words


def _off_words(scene: Scene, some: Sequence[Named], told: Sequence[Told], where: str) -> Iterator[str]:
    """The first length that none of these parts has, against what the first of them has in its place."""
    for group in _groups(told):
        if not _is_had(group, some) and (keys := _key_words(some[0].part, group[0].what, scene)):
            yield f"{keys} {'speak' if ' and ' in keys else 'speaks'} against {where}, {group[0].words}"
            return


def _is_had(group: Sequence[Told], some: Sequence[Named]) -> bool:
    """Whether any of these lengths is one of any of these parts; only those without a word may be places too."""
    sizes_mm = [value for one in some for value in one.sizes_mm]
    places_mm = [] if group[0].what in WHAT else [value for one in some for value in one.places_mm]
    told_mm = [one.value_mm for one in group]
    return any(is_same(told, value) for told in told_mm for value in sizes_mm) or any(
        is_same_place(told, value) for told in told_mm for value in places_mm
    )


def _groups(told: Sequence[Told]) -> Iterator[list[Told]]:
    """Each length with a word, and all that go without, of which one that is right will do: 'donut 114-144'."""
    yield from ([one] for one in told if one.what in WHAT)
    if loose := [one for one in told if one.what not in WHAT]:
        yield loose


def _told_of(part: BoxPart | Filter, lens_mm: Iterable[float]) -> list[Told]:
    """What the name of a part tells, without numbers that are a lens's or another part's."""
    name, of_glass = part.name or "", isinstance(part, Filter)
    told = told_lengths(name if isinstance(part, Seal) else ANOTHERS.sub(" ", name), of_glass=of_glass)
    if isinstance(part, Seal):
        told = told or bare_lengths(name) if part.kind != "none" else ()
    elif not isinstance(part, (*WITH_UNITS, Filter)) or (isinstance(part, Filter) and part.kind == STREAK):
        told = tuple(one for one in told if one.what)
    return [one for one in told if (of_glass and one.what) or not _is_of_lens(one, lens_mm)]


def _is_of_lens(told: Told, lens_mm: Iterable[float]) -> bool:
    """Whether a number may be a lens's: 'wide' and 'long' stand beside those too, as '24 wide'."""
    return told.what in LOOSE and any(told.value_mm == value for value in lens_mm)


def _lens_numbers(scene: Scene) -> set[float]:
    """Numbers that are a lens of the scene, or its film."""
    named = (float(number) for lens in scene.lens for number in re.findall(r"\d+(?:\.\d+)?", lens.name))
    film_mm = LARGE_FILM_MM if (scene.camera.format or "").startswith("65") else ()
    return {*named, *film_mm, *(focal_mm for lens in scene.lens for focal_mm in focal_lengths(lens))}


def _parts(scene: Scene) -> Iterator[Named]:
    """Every part of the box, and every filter."""
    box = scene.box
    ahead_mm = {
        0.0,
        box.ahead_mm,
        *(one.box.ahead_mm for one in scene.lens if one.box is not None and one.box.ahead_mm is not None),
    }
    for kind, number, part in box_parts(box):
        sizes_mm = (*_numbers(part), *_worked_out(part, scene))
        places_mm = tuple(value + ahead for value in _places_mm(part, box) for ahead in ahead_mm)
        name = stage_name(part, number + 1) if isinstance(part, Stage) else part.name or kind
        yield Named(kind, name, part, part, sizes_mm, places_mm)
        if isinstance(part, Stage) and part.filter is not None:
            yield Named(kind, name, part.filter, part, sizes_mm, ())


def _numbers(table: Table) -> Iterator[float]:
    """Every number of a table and of those in it."""
    for _, value in table:
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, float):
                yield one
            elif isinstance(one, Table):
                yield from _numbers(one)


def _worked_out(part: BoxPart, scene: Scene) -> Iterator[float]:
    """Lengths of a part that follow from its numbers: outside, in all, round the barrels that it is for."""
    if isinstance(part, Flag) and part.extension is not None:
        yield part.length_mm + part.extension.length_mm
    elif isinstance(part, Hood):
        yield from (side + 2 * part.thickness_mm for side in (*part.rear_mm, *part.front_mm))
    elif isinstance(part, Stage) and part.filter is not None:
        yield from part.filter.rectangle_mm or (part.filter.round_mm or 0.0,)
    elif isinstance(part, Seal):
        yield from _seal_ends_mm(part, scene)


def _seal_ends_mm(seal: Seal, scene: Scene) -> Iterator[float]:
    """What a seal goes round and into, on each lens that it is for."""
    lenses = [lens for lens in scene.lens if is_fitted(seal, lens.name)]
    yield from (lens.front_diameter_mm for lens in lenses)
    yield from (lens.front_glass_mm for lens in lenses if lens.front_glass_mm is not None)
    yield from (back.bore_mm for back in scene.box.back if any(is_fitted(back, lens.name) for lens in lenses))


def _places_mm(part: BoxPart, box: Box) -> tuple[float, ...]:
    """Where a part begins and ends, ahead of the back plate's rear face."""
    if isinstance(part, Flag):
        at_mm = _hinge_at_mm(part, box)
        return () if at_mm is None else (at_mm, at_mm + part.length_mm)
    if isinstance(part, Back | Seal):
        return (0.0,)
    at_mm = getattr(part, "at_mm", 0.0)
    deep_mm = getattr(part, "depth_mm", getattr(part, "thickness_mm", 0.0))
    return at_mm, at_mm + deep_mm


def _hinge_at_mm(flag: Flag, box: Box) -> float | None:
    return flag.at_mm if flag.at_mm is not None or not box.hood else flag_hinge_mm(flag, box.hood)[1]


def _key_words(part: BoxPart | Filter, what: str, scene: Scene) -> str:
    """The number of a part that a name speaks of, as the scene has it; '' where it has none such."""
    if isinstance(part, Flag):
        return _flag_key(part, what, scene.box)
    if what in {"corner", "out"} and not isinstance(part, Stage | Mask):
        return ""
    if isinstance(part, Hood):
        deep, front = f"depth_mm = {plain(part.depth_mm)}", f"front_mm = {as_written(part.front_mm)}"
        return {"wide": front, "high": front, "thick": f"thickness_mm = {plain(part.thickness_mm)}"}.get(what) or _placed(
            part, what, deep
        )
    if isinstance(part, Stage | Mask):
        return _opening_key(part, what)
    if isinstance(part, Back):
        width, height = f"width_mm = {plain(part.width_mm)}", f"height_mm = {plain(part.height_mm)}"
        thick, bore = f"thickness_mm = {plain(part.thickness_mm)}", f"bore_mm = {plain(part.bore_mm)}"
        return {"wide": width, "high": height, "thick": thick, "deep": thick, "round": bore, "": bore}.get(what, "")
    if isinstance(part, Seal):
        return _seal_key(part, scene) if what in {"", "round", "wide"} else ""
    return _glass_key(part, what) if isinstance(part, Filter) else ""


def _seal_key(seal: Seal, scene: Scene) -> str:
    lenses = [lens for lens in scene.lens if is_fitted(seal, lens.name)]
    barrels = dict.fromkeys(plain(lens.front_diameter_mm) for lens in lenses)
    inside = f"round {_listed(barrels)} mm" if seal.inner_mm is None else f"inner_mm = {plain(seal.inner_mm)}"
    bores = dict.fromkeys(plain(back.bore_mm) for back in scene.box.back if any(is_fitted(back, lens.name) for lens in lenses))
    outside = f"in a bore of {_listed(bores)} mm" if seal.outer_mm is None else f"outer_mm = {plain(seal.outer_mm)}"
    return f"{inside} and {outside}"


def _listed(words: Iterable[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _placed(part: Hood | Stage | Mask, what: str, else_: str) -> str:
    return f"at_mm = {plain(part.at_mm)}" if what == "at" else else_


def _flag_key(flag: Flag, what: str, box: Box) -> str:
    if what in {"corner", "round"}:
        return ""
    if what == "out":
        return "no extension" if flag.extension is None else f"extension.length_mm = {plain(flag.extension.length_mm)}"
    if what == "at":
        at_mm = _hinge_at_mm(flag, box)
        angle = f"angle_deg = {plain(flag.angle_deg)}"
        return angle if at_mm is None else f"{angle}, hinged at {plain(at_mm)},"
    high = "width_mm" if flag.side in {"left", "right"} else "length_mm"
    key = {"wide": "width_mm", "thick": "thickness_mm", "high": high}.get(what, "length_mm")
    return f"{key} = {plain(getattr(flag, key))}"


def _opening_key(part: Stage | Mask, what: str) -> str:
    opening = part.opening_mm and f"opening_mm = {as_written(part.opening_mm)}"
    opening = opening or (part.opening_diameter_mm and f"opening_diameter_mm = {plain(part.opening_diameter_mm)}") or ""
    deep = f"depth_mm = {plain(part.depth_mm)}" if isinstance(part, Stage) else f"thickness_mm = {plain(part.thickness_mm)}"
    corner = f"corner_mm = {plain(part.corner_mm)}" if part.opening_mm else ""
    return {"wide": opening, "high": opening, "round": opening, "corner": corner, "long": "", "out": ""}.get(
        what, _placed(part, what, deep)
    )


def _glass_key(glass: Filter, what: str) -> str:
    if what == "at":
        return ""
    if what in {"thick", "deep"}:
        return f"thickness_mm = {plain(glass.thickness_mm)}"
    size = times(glass.rectangle_mm) if glass.rectangle_mm else plain(glass.round_mm or 0.0)
    return f"thickness_mm = {plain(glass.thickness_mm)} of glass of {size} mm" if what == "" else f"glass of {size} mm"
