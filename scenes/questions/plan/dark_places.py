"""Every place of a picture that the box darkens, in words: which edge or corner, how far in, how much, by which part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raytrace.shares import VignetteMap
from scenes.scene_file.messages import ALL_STOPS
from scenes.sheets.map_reading import known_loss, part_name, place_words
from scenes.states.names import the
from scenes.verdicts.loss_words import loss_words
from scenes.verdicts.verdict import at_words

Mask = NDArray[np.bool_]
MOST_OF_EDGE = 0.5  # of an edge that is dark: then the edge is named, not its corners
EDGES = {"left": "height", "right": "height", "top": "width", "bottom": "width"}
CORNERS = {"top left": (0, 0), "top right": (0, -1), "bottom left": (-1, 0), "bottom right": (-1, -1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class DarkPlace:
    """A place that loses light: 'right', 'top left'; the most lost there, the part that takes it.

    in_percent is how far it reaches in from its edge, of the picture's width from the left or right, of its height from top or
    bottom; of a corner both, and none of a place inside. ends_mm is where it ends along that way, from the lens axis (edges alone).
    """

    where: str
    most_stops: float
    part: str
    in_percent: tuple[float, ...] = ()
    ends_mm: float | None = None

    @property
    def words(self) -> str:
        """'the right edge, in to 16 % of the picture's width: no light at all, by the right flag'."""
        most = "no light at all" if self.most_stops >= ALL_STOPS else f"up to {loss_words(self.most_stops)} less"
        sizes = ("width", "height") if len(self.in_percent) == 2 else ("width" if self.where in {"left", "right"} else "height",)
        reach = " and ".join(f"{_percent(one)} of the picture's {size}" for one, size in zip(self.in_percent, sizes, strict=False))
        place = f"{at_words(self.where)}, in to {reach}" if reach else f"inside the picture, {self.where}"
        return f"{place}: {most}, by {the(self.part)}"


def _percent(value: float) -> str:
    return f"{value:.0f} %" if value >= 1.0 else "under 1 %"


def dark_places(map_: VignetteMap, least_stops: float) -> tuple[DarkPlace, ...]:
    """Every place of the recorded area that loses as much or more, the darkest first."""
    from scipy import ndimage  # here, for it takes long to load and a clear state has no such place

    loss = known_loss(map_)
    dark = loss >= least_stops
    if not dark.any():
        return ()
    patches, count = ndimage.label(dark, structure=np.ones((3, 3)))
    found = [one for patch in range(1, count + 1) for one in _of_patch(map_, loss, patches == patch)]
    return tuple(sorted(found, key=lambda one: (-min(one.most_stops, ALL_STOPS), -sum(one.in_percent))))


def _of_patch(map_: VignetteMap, loss: NDArray[np.float64], patch: Mask) -> Iterator[DarkPlace]:
    edges = [side for side in EDGES if _along(patch, side).mean() >= MOST_OF_EDGE]
    corners = [words for words, at in CORNERS.items() if patch[at] and not set(words.split()) & set(edges)]
    if not edges and not corners:
        edges = [side for side in EDGES if _along(patch, side).any()]
    yield from (_edge(map_, loss, patch, side) for side in edges)
    yield from (_corner(map_, loss, patch, words) for words in corners)
    if not edges and not corners:
        rows, columns = np.nonzero(patch & (loss == loss[patch].max()))
        row, column = int(rows[len(rows) // 2]), int(columns[len(rows) // 2])
        yield DarkPlace(where=place_words(map_, row, column), most_stops=float(loss[row, column]), part=_part(map_, row, column))


def _along(patch: Mask, side: str) -> Mask:
    """The pixels along a side of the picture."""
    return {"left": patch[:, 0], "right": patch[:, -1], "top": patch[0], "bottom": patch[-1]}[side]


def _edge(map_: VignetteMap, loss: NDArray[np.float64], patch: Mask, side: str) -> DarkPlace:
    """A dark edge: told along the line in from the middle of what is dark of it."""
    at = np.flatnonzero(_along(patch, side))
    middle = int(at[len(at) // 2])
    across = side in {"left", "right"}
    line, back = (np.s_[middle, :], side == "right") if across else (np.s_[:, middle], side == "bottom")
    count = _from_start(patch[line][::-1] if back else patch[line])
    places = map_.x_mm if across else map_.y_mm
    pitch = (places[-1] - places[0]) / max(len(places) - 1, 1)
    last = float(places[len(places) - count]) - pitch / 2 if back else float(places[count - 1]) + pitch / 2
    cells = np.arange(len(places) - count, len(places)) if back else np.arange(count)
    worst = int(cells[np.argmax(loss[line][cells])])
    row, column = (middle, worst) if across else (worst, middle)
    return DarkPlace(
        where=side,
        most_stops=float(loss[row, column]),
        part=_part(map_, row, column),
        in_percent=(100.0 * count / len(places),),
        ends_mm=last,
    )


def _corner(map_: VignetteMap, loss: NDArray[np.float64], patch: Mask, words: str) -> DarkPlace:
    row, column = CORNERS[words]
    along, up = patch[row, :], patch[:, column]
    across = _from_start(along[::-1] if column else along)
    upright = _from_start(up[::-1] if row else up)
    return DarkPlace(
        where=words,
        most_stops=float(loss[row, column]),
        part=_part(map_, row, column),
        in_percent=(100.0 * across / len(along), 100.0 * upright / len(up)),
    )


def _from_start(line: Mask) -> int:
    """How many pixels are dark from the start of a line on."""
    return int(len(line) if line.all() else np.argmin(line))


def _part(map_: VignetteMap, row: int, column: int) -> str:
    return part_name(map_, int(map_.blocked_by[row, column]))


def narrower_percent(place: DarkPlace, sides_mm: Sequence[float], wider: float) -> float:
    """How far a dark edge reaches in, of the picture's size, if the field is narrower than taken by a share; 0 for out of frame.

    A ray's direction is what a part stops, so that with a field narrower by 1 / (1 + wider) the edge of its shadow lies as much
    farther from the lens axis. sides_mm are the picture's left, right, bottom and top edges.
    """
    assert place.ends_mm is not None
    left, right, bottom, top = sides_mm
    low, high = (left, right) if place.where in {"left", "right"} else (bottom, top)
    ends = place.ends_mm * (1.0 + wider)
    reach = ends - low if place.where in {"left", "bottom"} else high - ends
    return 100.0 * min(max(reach / (high - low), 0.0), 1.0)
