"""Tolerances of a box that nobody builds to: in m, cm or inches, most likely. Too few builds would come out dark."""

from __future__ import annotations

from collections.abc import Iterator

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import PathError, spots_of

FINEST_MM = 0.01  # milled parts keep some hundredths, sheet and prints some tenths (common practice)


def small_tolerance_words(scene: Scene) -> Iterator[str]:
    """A caution for each tolerance of a length under a hundredth of a mm, both ways."""
    for tolerance in scene.tolerance:
        largest = max(tolerance.low, tolerance.high)
        if 0.0 < largest < FINEST_MM and _is_length(scene, tolerance.of):
            yield (
                f"of {tolerance.of} is {plain(largest)} mm, finer than anything is built; is a point in the wrong place, "
                "or is it in m?"
            )


def _is_length(scene: Scene, of: str) -> bool:
    try:
        return all(spot.unit == "mm" for spot in spots_of(scene, of))
    except PathError:  # refused where the scene is read
        return False
