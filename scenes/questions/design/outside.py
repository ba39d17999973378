"""A box's outside and weight from its measures alone, flags aside: what a design keeps small."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from geometry.carrying import GLASS_G_CM3
from geometry.outline import Outline
from scenes.rig.outsides import with_outsides
from scenes.scene_file.tables.box import Back, Box, Filter, Flag, Hood, Mask, Stage
from scenes.scene_file.tables.design import DesignRow
from scenes.scene_file.tables.scene import Scene, box_for

KG = 1e-6  # mm3 times g/cm3

Size = tuple[float, float]
Span = tuple[Size, float, float]  # outside size, rear and front end of a part [mm]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """Outside of a box with all of its parts: width and height of its plates and of its hoods, depth [mm].

    weight_kg: with the heaviest lens set-up. Flags fold away and rods carry: neither counts in the size. Weight counts flags, no
    screws, hinges, brackets or rods. sky_share: how much of the half sky ahead the middle of a lens front sees past trays, masks
    and hoods, without flags; of the lens that sees most. mask_area_mm2: the openings of the masks, added up over the lenses.
    """

    plates_mm: Size
    hoods_mm: Size
    depth_mm: float
    weight_kg: float
    glass_sizes: int
    sky_share: float
    masks: int
    mask_area_mm2: float

    @property
    def width_mm(self) -> float:
        """Outside width [mm]."""
        return max(self.plates_mm[0], self.hoods_mm[0])

    @property
    def height_mm(self) -> float:
        """Outside height [mm]."""
        return max(self.plates_mm[1], self.hoods_mm[1])

    @property
    def front_area_mm2(self) -> float:
        """The rectangle that it fills seen from the front."""
        return self.width_mm * self.height_mm


def outside_of(scene: Scene, design: DesignRow, outlines: Mapping[str, Outline]) -> Outside:
    """The outside of a scene's box as `brimline make` makes it; outlines: the cut-outs of masks by their file."""
    made = scene.model_copy(update={"box": with_outsides(scene, outlines)})
    plates, hoods = list(_plates(made.box)), list(_hoods(made.box))
    spans = [*plates, *hoods]
    glasses = [stage.filter for stage in made.box.stage if stage.filter is not None]
    return Outside(
        plates_mm=_largest(plates),
        hoods_mm=_largest(hoods),
        depth_mm=max((end for _, _, end in spans), default=0.0) - min((start for _, start, _ in spans), default=0.0),
        weight_kg=max(weight_kg(box_for(made, lens), design.material_density) for lens in made.lens),
        glass_sizes=len({(glass.rectangle_mm, glass.round_mm) for glass in glasses}),
        sky_share=max(open_sky_share(box_for(made, lens)) for lens in made.lens),
        masks=len(made.box.mask),
        mask_area_mm2=sum(mask_area_mm2(mask) for lens in made.lens for mask in box_for(made, lens).mask),
    )


def open_sky_share(box: Box) -> float:
    """Share of the half sky ahead that is seen from the middle of the lens front through a box's openings, taken as rectangles.

    A rectangle square to the axis at distance z, seen from a point on the line through a corner, whose sides are a z and b z, takes
    the solid angle atan(a b / sqrt(1 + a^2 + b^2)): A. Khadjavi, J. Opt. Soc. Am. 58, 1417 (1968), from memory.
    """
    right, up = box.offset_mm
    edges = [(math.inf, math.inf, math.inf, math.inf)]
    for (width, height), at_mm in _openings(box):
        if box.ahead_mm + at_mm > 0:
            sides = (width / 2 + right, width / 2 - right, height / 2 + up, height / 2 - up)
            edges.append(tuple(side / (box.ahead_mm + at_mm) for side in sides))  # type: ignore[arg-type]
    to_right, to_left, above, below = (min(sides) for sides in zip(*edges, strict=True))
    return max(sum(_corner_sr(a, b) for a in (to_right, to_left) for b in (above, below)) / (2 * math.pi), 0.0)


def _openings(box: Box) -> Iterator[tuple[Size, float]]:
    """Width and height of what light passes, and its distance ahead of the back plate's rear face [mm]."""
    for hood in box.hood:
        yield hood.rear_mm, hood.at_mm
        yield hood.front_mm, hood.at_mm + hood.depth_mm
    parts: tuple[Stage | Mask, ...] = (*box.stage, *box.mask)
    for part in parts:
        size = _opening_size(part)
        if min(size) > 0:  # not by a drawing
            yield size, part.at_mm


def _corner_sr(a: float, b: float) -> float:
    """Solid angle of a rectangle seen from over its corner, its sides by its distance; endless ones: a quarter of the half sky."""
    if math.isinf(a) and math.isinf(b):
        return math.pi / 2
    if math.isinf(a) or math.isinf(b):
        return math.atan(min(a, b))
    return math.atan(a * b / math.sqrt(1 + a * a + b * b))


MEASURES: dict[str, Callable[[Outside], float]] = {
    "front_area": lambda outside: outside.front_area_mm2,
    "front_width": lambda outside: outside.width_mm,
    "front_height": lambda outside: outside.height_mm,
    "depth": lambda outside: outside.depth_mm,
    "weight": lambda outside: outside.weight_kg,
    "glass_sizes": lambda outside: float(outside.glass_sizes),
    "masks": lambda outside: float(outside.masks),
    "mask_area": lambda outside: outside.mask_area_mm2,
}


def _largest(spans: Sequence[Span]) -> Size:
    return max((size[0] for size, _, _ in spans), default=0.0), max((size[1] for size, _, _ in spans), default=0.0)


def _plates(box: Box) -> Iterator[Span]:
    """Back plates, trays and masks."""
    for back in box.back:
        yield (back.width_mm, back.height_mm), 0.0, back.thickness_mm
    for stage in box.stage:
        yield _outer_size(stage), stage.at_mm, stage.at_mm + stage.depth_mm
    for mask in box.mask:
        yield _outer_size(mask), mask.at_mm, mask.at_mm + mask.thickness_mm


def _hoods(box: Box) -> Iterator[Span]:
    for hood in box.hood:
        rear, front = _hood_outside(hood)
        yield _larger(rear, front), hood.at_mm, hood.at_mm + hood.depth_mm


def _larger(one: Size, other: Size) -> Size:
    return max(one[0], other[0]), max(one[1], other[1])


def _opening_size(part: Stage | Mask) -> Size:
    """Width and height of an opening; nothing where a drawing gives it."""
    return part.opening_mm or ((part.opening_diameter_mm or 0.0,) * 2)


def _glass_size(glass: Filter) -> Size:
    return glass.rectangle_mm or ((glass.round_mm or 0.0,) * 2)


def _outer_size(part: Stage | Mask) -> Size:
    assert part.outer_mm is not None  # scenes.rig.outsides
    return part.outer_mm


def _hood_outside(hood: Hood) -> tuple[Size, Size]:
    """Outside width and height at the rear and front edge: a slanted wall cut across is wider than it is thick."""
    rims = [
        2 * hood.thickness_mm * math.hypot(1.0, (b - a) / 2 / hood.depth_mm)
        for a, b in zip(hood.rear_mm, hood.front_mm, strict=True)
    ]
    rear, front = ((size[0] + rims[0], size[1] + rims[1]) for size in (hood.rear_mm, hood.front_mm))
    return rear, front


def weight_kg(box: Box, density: float) -> float:
    """Weight of a box as fitted to one lens, filters included [kg]; density of its material [g/cm3].

    Its trays and masks have their outer_mm.
    """
    plates = sum((_back_mm3(part) for part in box.back), 0.0) + sum((_mask_mm3(part) for part in box.mask), 0.0)
    walls = sum((hood_mm3(part) for part in box.hood), 0.0) + sum((_tray_mm3(part) for part in box.stage), 0.0)
    flags = sum((_flag_mm3(part) for part in box.flag), 0.0)
    glass = sum((_filter_mm3(part.filter) for part in box.stage if part.filter is not None), 0.0)
    return KG * (density * (plates + walls + flags) + GLASS_G_CM3 * glass)


def _back_mm3(back: Back) -> float:
    return (back.width_mm * back.height_mm - math.pi / 4 * back.bore_mm**2) * back.thickness_mm


def _open_mm2(part: Stage | Mask) -> float:
    """Area of an opening, its rounded corners taken as sharp."""
    width, height = _opening_size(part)
    return math.pi / 4 * width**2 if part.opening_diameter_mm is not None else width * height


def mask_area_mm2(mask: Mask) -> float:
    """Area of a mask's opening, its rounded corners taken as sharp; nothing where a drawing gives it."""
    return _open_mm2(mask)


def _mask_mm3(mask: Mask) -> float:
    width, height = _outer_size(mask)
    return max(width * height - _open_mm2(mask), 0.0) * mask.thickness_mm


def _tray_mm3(stage: Stage) -> float:
    """A tray less its opening, and less what the filter takes of it beside the opening."""
    width, height = _outer_size(stage)
    pocket = 0.0 if stage.filter is None else max(_glass_mm2(stage.filter) - _open_mm2(stage), 0.0) * stage.filter.thickness_mm
    return max((width * height - _open_mm2(stage)) * stage.depth_mm - pocket, 0.0)


def hood_mm3(hood: Hood) -> float:
    """Material of four tapered walls: the prismatoid outside less the one inside, h/6 (A + 4 M + B) each."""
    inner = _prismatoid_mm3(hood.rear_mm, hood.front_mm, hood.depth_mm)
    return _prismatoid_mm3(*_hood_outside(hood), hood.depth_mm) - inner


def _prismatoid_mm3(rear: Size, front: Size, depth_mm: float) -> float:
    middle = (rear[0] + front[0]) / 2, (rear[1] + front[1]) / 2
    return depth_mm / 6 * (rear[0] * rear[1] + 4 * middle[0] * middle[1] + front[0] * front[1])


def _flag_mm3(flag: Flag) -> float:
    length_mm = flag.length_mm + (flag.extension.length_mm if flag.extension else 0.0)
    return length_mm * flag.width_mm * flag.thickness_mm


def _glass_mm2(glass: Filter) -> float:
    width, height = _glass_size(glass)
    return width * height if glass.rectangle_mm is not None else math.pi / 4 * width**2


def _filter_mm3(glass: Filter) -> float:
    return _glass_mm2(glass) * glass.thickness_mm
