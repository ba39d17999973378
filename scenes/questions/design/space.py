"""What a design may set: lengths and angles on a grid a shop can cut to, and choices. Pure values."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any

from scenes.scene_file.tables.design import DesignRow, spots_in
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import Spot, shifted, spot_path

STEP = 0.1  # mm or degrees: finer than a shop cuts or a hinge is set
# How a part's room runs with a measure: 1 grows with it, -1 shrinks. What is not named here may do either.
OPENS = {
    "front_mm": 1,
    "rear_mm": 1,
    "opening_mm": 1,
    "opening_diameter_mm": 1,
    "bore_mm": 1,
    "hinge_mm": 1,
    "inner_mm": 1,
    "outer_mm": 1,
    "corner_mm": -1,
    "length_mm": -1,
    "thickness_mm": -1,
}
OPENS_OF = {  # of one table alone
    ("flag", "angle_deg"): 1,
    ("flag", "width_mm"): -1,
    ("hood", "depth_mm"): -1,
    ("hood", "thickness_mm"): -1,
    ("back", "width_mm"): 1,
    ("back", "height_mm"): 1,
    ("filter", "width_mm"): 1,
    ("filter", "height_mm"): 1,
    ("filter", "diameter_mm"): 1,
}


@dataclass(frozen=True)
class Knob:
    """A length [mm] or angle [deg] that the design sets, from `low` to `high`.

    opens: 1 where parts get more room as it grows, -1 where they get less, 0 where nobody knows beforehand. Notches count from the
    value that leaves least room, 0, to the one that leaves most; where nobody knows, from low to high.
    """

    path: str
    spot: Spot
    low: float
    high: float
    opens: int

    @cached_property
    def values(self) -> tuple[float, ...]:
        """The value at each notch: multiples of STEP, and both ends."""
        first, last = math.ceil(self.low / STEP + 1e-9), math.floor(self.high / STEP - 1e-9)
        rising = (self.low, *(round(n * STEP, 6) for n in range(first, last + 1)), self.high)
        own = tuple(dict.fromkeys(rising))
        return own[::-1] if self.opens < 0 else own

    @property
    def last(self) -> int:
        """The notch that leaves most room."""
        return len(self.values) - 1


@dataclass(frozen=True, slots=True)
class Option:
    """A value to be chosen, by its key path."""

    path: str
    values: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Space:
    """All that a design may set."""

    knobs: tuple[Knob, ...]
    options: tuple[Option, ...]

    @property
    def picks(self) -> Iterator[dict[str, Any]]:
        """Every combination of choices, as values by key path; one empty one where nothing is to be chosen."""
        for values in product(*(option.values for option in self.options)):
            yield {option.path: value for option, value in zip(self.options, values, strict=True)}

    def values(self, notches: Sequence[int]) -> dict[str, float]:
        """The values of all knobs by key path."""
        return {knob.path: knob.values[n] for knob, n in zip(self.knobs, notches, strict=True)}

    def scene(self, scene: Scene, notches: Sequence[int]) -> Scene:
        """The scene with the knobs set; nothing is checked again."""
        for knob, notch in zip(self.knobs, notches, strict=True):
            scene = shifted(scene, knob.spot, knob.values[notch] - knob.spot.nominal)
        return scene


def space_of(scene: Scene, design: DesignRow) -> Space:
    """What the design of a scene may set."""
    knobs, options = [], []
    for row in design.free:
        if row.ends is None:
            options.append(Option(row.of, row.choices))
            continue
        for spot, low, high in zip(spots_in(scene, row), *row.ends, strict=True):
            knobs.append(Knob(path=spot_path(scene, spot), spot=spot, low=low, high=high, opens=_opens(spot)))
    return Space(tuple(knobs), tuple(options))


def _opens(spot: Spot) -> int:
    kind = next(str(step) for step in reversed(spot.table) if isinstance(step, str))
    return OPENS_OF.get((kind, spot.key), OPENS.get(spot.key, 0))
