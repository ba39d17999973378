"""What may differ on a drawing: the scene's [[tolerance]] rows as words behind a dimension."""

from __future__ import annotations

from scenes.scene_file.messages import plain
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import spots_of


class Allowed:
    """Tolerances by the part and key that they are of."""

    def __init__(self, scene: Scene) -> None:
        self._by_spot: dict[tuple[tuple[str | int, ...], str, str], tuple[float, float]] = {}
        for row in scene.tolerance:
            for spot in spots_of(scene, row.of):
                self._by_spot[spot.place] = (row.low, row.high)

    def words(self, part: tuple[str, int], key: str, which: str = "", *, more: tuple[str, ...] = ()) -> str:
        """' ±0.2', ' +0.3/-0.1'; '' where the scene gives none: general tolerances hold then. `more` leads to a table inside."""
        found = self._by_spot.get((("box", *part, *more), key, which))
        if found is None:
            return ""
        low, high = found
        return f" ±{plain(low)}" if low == high else f" +{plain(high)}/-{plain(low)}"
