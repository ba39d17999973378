"""Numbers of [design] that the box speaks against: ends and limits in cm or inches, a share of builds with its point off.

A design with such ends finds nothing, or a box that nobody wants, after a minute or more of trying. The box's own values are where
it stands now: ends that leave them out may be right, and say at least that nobody would want the box as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import Box
from scenes.scene_file.tables.design import MASKS, TRAYS, DesignRow, FreeRow, spots_in
from scenes.scene_file.tables.scene import Scene

UNITS = (("cm", 10.0), ("inches", 25.4))
FEW_BUILDS = 0.5  # a box that is dark in half of its builds is wanted by nobody
ROUNDED = 1e-6
SIZES = {"back": re.compile(r"box\.back.*\.(width|height)_mm"), "hood": re.compile(r"box\.hood.*\.(front|rear)_mm")}
FAR_SMALLER = 0.25  # than the box is now; a limit asks for a tenth less, or a third


def design_words(scene: Scene) -> Iterator[str]:
    """A caution for each number of [design] that is probably in another unit."""
    design = scene.design
    if design is None:
        return
    for row in design.free:
        yield from [*_end_words(scene, row)] or _outside_words(scene, row)
    yield from [*_limit_words(scene.box, design)] or _fixed_words(scene.box, design)
    builds = design.want.clear_builds
    if builds is not None and 0.0 < builds < FEW_BUILDS:
        yield (
            f"want.clear_builds = {plain(builds)} asks for {100 * builds:g} % of the builds to be clear; is a point in the wrong "
            "place? 0.95 is nineteen of twenty"
        )


def _end_words(scene: Scene, row: FreeRow) -> Iterator[str]:
    """Ends far below what the box has now, which hold it in cm or inches."""
    if row.of in {TRAYS, MASKS} or row.ends is None:
        return
    for spot, low, high in zip(spots_in(scene, row), *row.ends, strict=True):
        for unit, times in UNITS if spot.unit == "mm" and 0.0 < low <= high < spot.nominal else ():
            if times * low <= spot.nominal <= times * high:
                which = f"{row.of}{f' ({spot.part})' if spot.part and not row.of.endswith(spot.part) else ''}"
                yield (
                    f"from = {plain(low)} and to = {plain(high)} leave out what {which} is now, {plain(spot.nominal)} mm; written "
                    f"in {unit}? They would be {plain(round(times * low, 1))} and {plain(round(times * high, 1))}"
                )
                return


def _outside_words(scene: Scene, row: FreeRow) -> Iterator[str]:
    """A part that is set to what its own row leaves out."""
    if row.of in {TRAYS, MASKS} or row.ends is None:
        return
    for spot, low, high in zip(spots_in(scene, row), *row.ends, strict=True):
        if not low - ROUNDED <= spot.nominal <= high + ROUNDED:
            which = f"{row.of}{f' ({spot.part})' if spot.part and not row.of.endswith(spot.part) else ''}"
            yield (
                f"{which} is set to {plain(round(spot.nominal, 3))} {spot.unit}, outside of {plain(low)} to {plain(high)} of its "
                "[[design.free]]: is one wrong?"
            )


def _fixed_words(box: Box, design: DesignRow) -> Iterator[str]:
    """Limits that parts exceed which nothing free can make smaller."""
    free = [row.of for row in design.free]
    sizes = [("back plate", "back", (back.width_mm, back.height_mm)) for back in box.back]
    sizes += [
        (hood.name or "hood", "hood", (max(hood.front_mm[0], hood.rear_mm[0]), max(hood.front_mm[1], hood.rear_mm[1])))
        for hood in box.hood
    ]
    for way, key in enumerate(("width_mm", "height_mm")):
        limit_mm = getattr(design.limits, key)
        for name, table, size in sizes if limit_mm is not None else ():
            if size[way] > limit_mm and not any(SIZES[table].match(of) for of in free):
                yield (
                    f"limits.{key} = {plain(limit_mm)} is less than {name} has now, {plain(round(size[way], 1))} mm, and no "
                    "[[design.free]] sets that: is one wrong?"
                )
                break


def _limit_words(box: Box, design: DesignRow) -> Iterator[str]:
    """Limits of the outside that are a fraction of what it is now."""
    sizes = [*((back.width_mm, back.height_mm) for back in box.back), *(hood.front_mm for hood in box.hood)]
    ends_mm = [hood.at_mm + hood.depth_mm for hood in box.hood] + [stage.at_mm + stage.depth_mm for stage in box.stage]
    now = {
        "width_mm": max((size[0] for size in sizes), default=0.0),
        "height_mm": max((size[1] for size in sizes), default=0.0),
        "depth_mm": max(ends_mm, default=0.0),
    }
    for key, now_mm in now.items():
        limit_mm = getattr(design.limits, key)
        for unit, times in UNITS:
            if limit_mm is not None and limit_mm < FAR_SMALLER * now_mm <= FAR_SMALLER * 2.0 * times * limit_mm:
                yield (
                    f"limits.{key} = {plain(limit_mm)} is far less than the box is now, {plain(round(now_mm, 1))} mm; written in "
                    f"{unit}? It would be {plain(round(times * limit_mm, 1))}"
                )
                break
