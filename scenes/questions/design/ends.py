"""The two ends of a hood, width and height apart: which measure opens one of them, and how wide the other is."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from scenes.questions.design.space import Knob, Space
from scenes.scene_file.tables.scene import Scene

OTHER = {"rear_mm": "front_mm", "front_mm": "rear_mm"}
SIDES = {"width": 0, "height": 1}
SAME_MM = 1e-9


@dataclass(frozen=True, slots=True)
class End:
    """A free width or height of one end of a hood: its knob, and the other end's knob or fixed size [mm]."""

    space: Space
    knob: int
    other: int | None
    size_mm: float

    @property
    def is_rear(self) -> bool:
        """Whether it is the rear end."""
        return self.space.knobs[self.knob].spot.key == "rear_mm"

    def level(self, notches: Sequence[int]) -> int:
        """The notch at which this end is as wide as the other, or as nearly so from below as is allowed; -1 where none is."""
        size_mm = self.size_mm if self.other is None else self.space.knobs[self.other].values[notches[self.other]]
        return bisect_right(self.space.knobs[self.knob].values, size_mm + SAME_MM) - 1


def ends_of(space: Space, scene: Scene) -> list[End]:
    """The free ends of hoods, rears first: opening one takes no shade away."""
    found = [_end(space, scene, place, knob) for place, knob in enumerate(space.knobs) if _is_end(knob)]
    return sorted(found, key=lambda end: not end.is_rear)


def levelled(space: Space, scene: Scene, notches: Sequence[int]) -> tuple[int, ...]:
    """With each hood's narrower end as wide as its other, as far as it is free and allowed."""
    found = list(notches)
    for end in ends_of(space, scene):
        found[end.knob] = max(found[end.knob], end.level(notches))
    return tuple(found)


def deepest(space: Space, notches: Sequence[int]) -> tuple[int, ...]:
    """With hoods as deep as is allowed: their walls lean least."""
    deep = ["hood" in knob.spot.table and knob.spot.key == "depth_mm" for knob in space.knobs]
    return tuple(0 if one else notch for one, notch in zip(deep, notches, strict=True))


def _is_end(knob: Knob) -> bool:
    return "hood" in knob.spot.table and knob.spot.key in OTHER and knob.spot.part in SIDES


def _end(space: Space, scene: Scene, place: int, knob: Knob) -> End:
    spot = knob.spot
    hood = next((scene.box.hood[step] for step in spot.table if isinstance(step, int)), scene.box.hood[0])
    fixed: tuple[float, float] = getattr(hood, OTHER[spot.key])
    same = (spot.table, OTHER[spot.key], spot.part)
    other = next((k for k, one in enumerate(space.knobs) if (one.spot.table, one.spot.key, one.spot.part) == same), None)
    return End(space, place, other, fixed[SIDES[spot.part]])
