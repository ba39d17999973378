"""What is wrong with a design table: places that are none, choices that cannot be, ends beyond what the scene file allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from scenes.scene_file.messages import did_you_mean, plain, shown
from scenes.scene_file.tables.design import MASK, MASKS, OPENINGS, TRAYS, DesignRow, FreeRow, named_by, spots_in, tray_of
from scenes.scene_file.tables.fields import Fault, Table
from scenes.scene_file.tables.tolerance_paths import EACH, PathError


def design_faults(scene: Table, design: DesignRow, lights: Sequence[str]) -> Iterator[Fault]:
    """What is wrong with a design: places that are none, ends beyond what the scene file allows, lights that are not there."""
    seen: set[object] = set()
    for place, row in enumerate(design.free):
        if row.of == TRAYS:
            yield from _tray_faults(scene, design, row, place)
        if row.of == MASKS:
            yield from _mask_faults(scene, design, row, place)
        try:
            for found in named_by(scene, row):
                if found in seen:
                    yield ("design", "free", place, "of"), f"names {row.of} a second time; keep one of them"
                seen.add(found)
        except PathError as error:
            yield ("design", "free", place, "of"), str(error)
            continue
        if row.ends is not None and row.of not in {TRAYS, MASKS}:
            yield from _limit_faults(scene, row, place)
    for name in design.want.keep_off:
        if name not in lights:
            yield (
                ("design", "want", "keep_off"),
                f"names a light that is not in this scene, {shown(name)}; {did_you_mean(name, lights)}",
            )


def _tray_faults(scene: Any, design: DesignRow, row: FreeRow, place: int) -> Iterator[Fault]:
    """Choices of trays are lists of their names; whatever else is free of a tray names it so too."""
    names = [stage.name for stage in scene.box.stage]
    where = ("design", "free", place)
    if row.ends is not None:
        yield (*where, "of"), "is a list of trays; give choose, with the names of those to have in each list"
        return
    if not names or None in names or len(set(names)) < len(names):
        yield (*where, "of"), "needs [[box.stage]] tables that each have a name of their own"
        return
    for choice_ in row.choices:
        if not isinstance(choice_, list | tuple) or any(name not in names for name in choice_) or len(set(choice_)) < len(choice_):
            listed = ", ".join(shown(name) for name in names)
            yield (
                (*where, "choose"),
                f"must hold lists of trays in their order from the lens on, of {listed}, none twice; got {shown(choice_)}",
            )
            return
    if all(other.of == TRAYS or tray_of(other.of) for other in design.free):
        yield (*where, "of"), "needs something else that is free and not of a tray, such as box.hood.front_mm"
    for other, free in enumerate(design.free):
        if free.of != TRAYS and free.of.startswith(TRAYS) and tray_of(free.of) not in names:
            yield (
                ("design", "free", other, "of"),
                f"must name its tray, as box.stage[{names[0]}], where trays are chosen; got {shown(free.of)}",
            )
    for other, tolerance in enumerate(scene.tolerance):  # a number would be another tray's once they are in another order
        if tolerance.of.startswith(TRAYS) and tray_of(tolerance.of) not in {*names, EACH}:
            yield (
                ("tolerance", other, "of"),
                f"must name its tray, as box.stage[{names[0]}], where trays are chosen; got {shown(tolerance.of)}",
            )


def _mask_faults(scene: Any, design: DesignRow, row: FreeRow, place: int) -> Iterator[Fault]:
    """Choices of masks are numbers of them, each a copy of the scene's one mask with an opening of its own."""
    where, most = ("design", "free", place), len(scene.lens)
    if row.ends is not None:
        yield (*where, "of"), "is a number of masks; give choose, with the numbers to try, such as choose = [1, 2]"
        return
    if len(scene.box.mask) != 1 or scene.box.mask[0].outline is not None or scene.box.mask[0].lenses is not None:
        yield (*where, "of"), "needs one [[box.mask]] with opening_mm or opening_diameter_mm, without outline and without lenses"
        return
    for count in row.choices:
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= most:
            problem = f"must hold whole numbers of masks, 1 to {most} with {most} lenses, got {shown(count)}"
            yield (*where, "choose"), problem
            return
    others = [(other, free) for other, free in enumerate(design.free) if MASK.match(free.of)]
    for other, free in others:
        if free.ends is None or not any(f".{key}" in free.of for key in OPENINGS):
            problem = f"must leave the mask but for its opening where the number of masks is chosen, got {shown(free.of)}"
            yield ("design", "free", other, "of"), problem
    if not others:
        key = OPENINGS[scene.box.mask[0].opening_mm is None]
        yield (*where, "of"), f'needs the opening of the mask to be free too: of = "box.mask.{key}", from and to'


def _limit_faults(scene: Table, row: FreeRow, place: int) -> Iterator[Fault]:
    assert row.ends is not None
    for spot, low, high in zip(spots_in(scene, row), *row.ends, strict=True):
        least, most = spot.limits
        for key, end in (("from", low), ("to", high)):
            if not least <= end <= most:
                problem = f"takes {spot.key} beyond its limits, {plain(least)} to {plain(most)} {spot.unit}, got {plain(end)}"
                yield ("design", "free", place, key), problem
                return
