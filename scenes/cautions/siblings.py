"""Things that are alike but for one number: copies of a lens, brackets of one file, places of the box on lenses of one front.

Two copies of one lens agree in all that is measured on them, and a pair of brackets stands equally far ahead (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from scenes.cautions.named_numbers import plain_name
from scenes.cautions.part_names import SIDE
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box, Solid
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for

SAME_SHARE, SAME = 0.05, 0.005  # copies measured one after the other
LEAST_ALIKE = 5  # numbers that two copies share besides
# Of a copy's numbers those that are no measure of it, and the stop that it opens to, which a name tells.
ELSEWHERE = {"name", "confirmed", "box", "state", "prescription", "f_number"}
NO_COPY = ("focal_mm", "pupil_behind_front_mm", "pupil_walk")  # another lens; or told by scenes/cautions/pupil_numbers.py
SAME_FRONT_SHARE, TENTH, TENTH_SHARE = 1.1, 0.1, 0.02
LEAST_AHEAD_MM = 5.0  # a place nearer to the front than this has no tenth that anybody would write
LEAST_OTHERS = 2
SAME_PLACE_MM, ELSEWHERE_MM = 1.5, 5.0  # fronts and places are measured to a mm
PAIR_MM = 1.0  # by which two brackets of a pair may stand apart
BEHIND_MM = 15.0  # that a clamp of rods may stand behind the image plane, as its base plate does


def copy_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A second copy of a lens with all its numbers but one."""
    for other in scene.lens[: scene.lens.index(lens)]:
        if lens.prescription is not None or other.prescription is not None or lens.state or other.state:
            continue
        mine, theirs = _numbers(lens), _numbers(other)
        off = [key for key in mine.keys() & theirs.keys() if not _is_same(mine[key], theirs[key])]
        alike = len(mine.keys() & theirs.keys()) - len(off)
        if mine.keys() == theirs.keys() and len(off) == 1 and alike >= LEAST_ALIKE and _is_told_here(lens, off[0]):
            key = off[0]
            yield (
                f'has the numbers of "{other.name}" but for {key} = {plain(mine[key])}, not {plain(theirs[key])}: one is wrong if '
                "they are copies; measure both again"
            )
            return


def _is_told_here(lens: Lens, key: str) -> bool:
    return not key.startswith(NO_COPY) and key.split("[", maxsplit=1)[0] not in lens.confirmed


def _numbers(lens: Lens) -> dict[str, float]:
    """What is stated of a lens, one number to a key."""
    return dict(_leaves("", {key: value for key, value in lens.model_dump(mode="json").items() if key not in ELSEWHERE}))


def _leaves(where: str, value: Any) -> Iterator[tuple[str, float]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _leaves(f"{where}.{key}" if where else str(key), inner)
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value, 1):
            yield from _leaves(f"{where}[{number}]", inner)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield where, float(value)


def _is_same(one: float, other: float) -> bool:
    return abs(one - other) <= max(SAME, SAME_SHARE * max(abs(one), abs(other)))


def placed_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A box that stands a tenth, or ten times, as far ahead of this lens as of all others with such a front."""
    own_mm = box_for(scene, lens).ahead_mm
    others = [other for other in scene.lens if other is not lens and _is_same_front(other, lens)]
    places_mm = [box_for(scene, other).ahead_mm for other in others]
    if lens.box.ahead_mm is None or not places_mm or max(places_mm) - min(places_mm) > SAME_SHARE * abs(max(places_mm)):
        return
    usual_mm = places_mm[0]
    for share in (TENTH, 1.0 / TENTH):
        is_so = abs(own_mm - share * usual_mm) <= TENTH_SHARE * abs(own_mm)
        if is_so and max(abs(own_mm), abs(usual_mm)) >= LEAST_AHEAD_MM:
            times = "a tenth of" if share < 1.0 else "ten times"
            yield (
                f"box.ahead_mm = {plain(own_mm)} is {times} the {plain(usual_mm)} mm at which the box stands ahead of "
                f"{_listed(others)}, with as large a front: is a point in the wrong place?"
            )


def rods_words(scene: Scene, lens: Lens) -> Iterator[str]:
    """A box that stands elsewhere ahead of the image plane with this lens than with all others: on rods it stays where it is."""
    own_mm = _ahead_of_image_mm(scene, lens)
    others_mm = [_ahead_of_image_mm(scene, other) for other in scene.lens if other is not lens]
    known_mm = [value for value in others_mm if value is not None]
    if own_mm is None or lens.box.ahead_mm is None or len(known_mm) < max(LEAST_OTHERS, len(others_mm)):
        return
    if max(known_mm) - min(known_mm) <= SAME_PLACE_MM and min(abs(own_mm - value) for value in known_mm) >= ELSEWHERE_MM:
        yield (
            f"box.ahead_mm = {plain(lens.box.ahead_mm)} with front_to_sensor_mm = {plain(lens.front_to_sensor_mm or 0.0)} puts the "
            f"box {plain(round(own_mm, 1))} mm ahead of the image plane, where it stands {plain(round(known_mm[0], 1))} mm ahead "
            "with all other lenses, as on rods that nobody moves: is one of the two wrong?"
        )


def _ahead_of_image_mm(scene: Scene, lens: Lens) -> float | None:
    return None if lens.front_to_sensor_mm is None else lens.front_to_sensor_mm + box_for(scene, lens).ahead_mm


def slot_words(scene: Scene) -> Iterator[tuple[str, str]]:
    """A mask for some lenses that stands elsewhere than the masks of all others, which share a slot."""
    masks = scene.box.mask
    for mask in masks:
        places_mm = {other.at_mm for other in masks if other is not mask}
        apart = all(not set(mask.lenses or ()) & set(other.lenses or ()) for other in masks if other is not mask)
        if len(masks) <= LEAST_OTHERS or len(places_mm) != 1 or not apart or not all(one.lenses for one in masks):
            continue
        (slot_mm,) = places_mm
        if abs(mask.at_mm - slot_mm) >= ELSEWHERE_MM:
            elsewhere = f"at_mm = {plain(mask.at_mm)} stands it elsewhere than the masks of the other lenses"
            yield mask.name or "mask", f"{elsewhere}, all at {plain(slot_mm)}: is it in the same slot?"


def _is_same_front(one: Lens, other: Lens) -> bool:
    return 1 / SAME_FRONT_SHARE <= one.front_diameter_mm / other.front_diameter_mm <= SAME_FRONT_SHARE


def _listed(lenses: list[Lens]) -> str:
    return ", ".join(f'"{lens.name}"' for lens in lenses)


def pair_words(box: Box) -> Iterator[tuple[str, str]]:
    """Two meshes of one file, called by two sides of the box and alike otherwise, that do not stand equally far ahead."""
    for number, one in enumerate(box.solid):
        for other in box.solid[:number]:
            if _is_pair(one, other) and abs(one.at_mm - other.at_mm) > PAIR_MM:
                places = f'at_mm = {plain(one.at_mm)} and at_mm = {plain(other.at_mm)} of "{other.name}", a part of the same file,'
                yield one.name or "solid", f"{places} do not go together as those of a pair: is one wrong?"


def _is_pair(one: Solid, other: Solid) -> bool:
    names = [_without_side(solid.name or "") for solid in (one, other)]
    return one.file == other.file and one.unit == other.unit and one.name != other.name and names[0] == names[1]


def _without_side(name: str) -> str:
    """A name without the words for sides."""
    return " ".join(SIDE.sub(" ", plain_name(name)).lower().split())


def rod_words(scene: Scene) -> Iterator[str]:
    """Rods whose free length would have their clamp far behind the image plane, whichever lens is on."""
    length_mm = scene.make.rod_length_mm
    stated = [lens for lens in scene.lens if lens.front_to_sensor_mm is not None]
    if length_mm is None or not stated or len(stated) < len(scene.lens):
        return
    reach_mm = max((lens.front_to_sensor_mm or 0.0) + box_for(scene, lens).ahead_mm for lens in stated)
    if length_mm > reach_mm + BEHIND_MM:
        yield (
            f"rod_length_mm = {plain(length_mm)}, free from their clamp to the box, would have the clamp "
            f"{plain(round(length_mm - reach_mm, 1))} mm behind the image plane, which front_to_sensor_mm and ahead_mm put "
            f"{plain(round(reach_mm, 1))} mm behind the box at most: is one of the three wrong?"
        )
