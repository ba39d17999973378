"""What may come out otherwise in a scene: its tolerances and its pupils known by bounds, each named, each with what it touches."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from raytrace.tolerance import PlusMinus
from scenes.rig.placement import shifted_with_lenses
from scenes.rig.spot_words import input_words
from scenes.scene_file.messages import KeyPath
from scenes.scene_file.tables.box import BoxPart, is_fitted
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.tolerance_paths import (
    PUPIL,
    PathError,
    Spot,
    at_path,
    spot_path,
    spots_at,
    spots_of,
)

if TYPE_CHECKING:
    from scenes.scene_file.tables.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """A length or angle that may come out otherwise: between `nominal - low` and `nominal + high`, in its unit.

    `path` is what the scene file calls it, `words` what people do. `bounds` says that the scene knows it by bounds only, and the
    nominal value is their middle.
    """

    path: str
    words: str
    spot: Spot
    low: float
    high: float
    bounds: bool = False

    @property
    def nominal(self) -> float:
        """The value as the scene has it."""
        return self.spot.nominal

    @property
    def unit(self) -> str:
        """What it is measured in: mm or deg."""
        return self.spot.unit

    @property
    def tolerance(self) -> PlusMinus:
        """The same for the sampler, told by its path."""
        return PlusMinus(self.path, self.nominal, self.low, self.high)


def inputs_of(scene: Scene) -> tuple[Input, ...]:
    """Everything in a scene that may come out otherwise: its tolerances in their order, then its pupils known by bounds."""
    stated = [(spot, row.low, row.high, row.name) for row in scene.tolerance for spot in spots_of(scene, row.of)]
    bounds = [(spot, spot.width / 2, spot.width / 2, None) for spot in _bounded_pupils(scene)]
    names = [name or input_words(scene, spot) for spot, _, _, name in (*stated, *bounds)]
    twice = {name for name in names if names.count(name) > 1}
    return tuple(
        Input(
            path=spot_path(scene, spot),
            words=f"{words} ({spot_path(scene, spot)})" if words in twice else words,
            spot=spot,
            low=low,
            high=high,
            bounds=k >= len(stated),
        )
        for k, ((spot, low, high, _), words) in enumerate(zip((*stated, *bounds), names, strict=True))
    )


def _bounded_pupils(scene: Scene) -> Iterator[Spot]:
    """Pupil positions of which the scene gives bounds, as far as they are what counts."""
    for k, lens in enumerate(scene.lens):
        tables: list[KeyPath] = [("lens", k), *(("lens", k, "state", row) for row in range(len(lens.state)))]
        for path in tables:
            try:
                yield from (spot for spot in spots_at(scene, path, PUPIL) if spot.width > 0)
            except PathError:
                continue  # not given, or a better one stands in its place


def touches(scene: Scene, item: Input, lens: Lens) -> bool:
    """Whether an input has to do with this lens or the box as fitted to it."""
    path = item.spot.table
    if path[0] == "lens":
        return scene.lens[int(path[1])] is lens
    if path[0] == "camera" or len(path) < 2:
        return True
    part = at_path(scene, path[:3])
    return not isinstance(part, BoxPart) or is_fitted(part, lens.name)


def built(scene: Scene, items: Sequence[Input], values: Mapping[str, float]) -> Scene:
    """The scene as one build of it comes out, with a value for each input by its path.

    Where a lens places the box itself, what the box's placement is off by moves that too, unless it has a tolerance of its own.
    """
    own = {item.spot.place for item in items}
    for item in items:
        by = values[item.path] - item.nominal
        if by != 0.0 or item.bounds:
            scene = shifted_with_lenses(scene, item.spot, by, own)
    return scene
