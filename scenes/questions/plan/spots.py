"""Where to look in a shot: places that are named, marked in the picture and predicted for alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raytrace.optics.camera import Guide
from raytrace.shares import VignetteMap
from scenes.sheets.map_reading import extent_mm, known_loss
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS
from scenes.verdicts.verdict import GuideVerdict, TraysEmpty, at_words

AS_DARK = 0.9  # of the worst loss: a place at the edge that loses so much of it is as good to read
PLACES = frozenset({"left", "right", "top", "bottom", "top left", "top right", "bottom left", "bottom right"})
BLACK_STOPS = 5.0  # darker than this all is black on a waveform
MARK_IN = (0.96, 0.92)  # of half the width and height: where a mark is drawn, so that it holds the edge and lies in the picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A place to look at: in words, with its article; in the picture (right, up) [mm]; where its mark is drawn [mm].

    glass_stops is how much more the filters take there than in the middle of the picture, the least and the most over the pupil
    depths in question. narrower_stops is what box and filters take there more than the filters do in the middle, if the field is no
    wider than at infinity; None where it is not guessed to be.
    """

    words: str
    at_mm: tuple[float, float]
    mark_mm: tuple[float, float]
    glass_stops: tuple[float, float] = (0.0, 0.0)
    narrower_stops: float | None = None


def spots_of(guide: Guide, verdict: GuideVerdict, map_: VignetteMap) -> tuple[Spot, ...]:
    """Where to look: where most is lost, else where the frame has least room; none where every place is as good."""
    worst = verdict.worst
    if not (worst.where and worst.loss_stops >= SHOWN_LOSS_STOPS):
        return (_at_edge(guide, verdict.margin.where),) if verdict.margin.where else ()
    edges = tuple(_at_edge(guide, where) for where in _each(worst.where))
    least = AS_DARK * min(worst.loss_stops, BLACK_STOPS)
    if all(loss_at(map_, spot.at_mm) >= least for spot in edges):
        return edges
    return (_inside(map_, (worst.x_mm, worst.y_mm), worst.where),)


def bare_spot(guide: Guide, empty: TraysEmpty | None, spots: Sequence[Spot]) -> Spot | None:
    """Where to look with the trays empty, where the frame is then tightest at another edge or corner than those looked at."""
    if empty is None or empty.enough:
        return None
    where = empty.where.split(",")[0]
    if where not in PLACES:
        return None
    spot = _at_edge(guide, where)
    return None if spot.words in {one.words for one in spots} else spot


def _each(where: str) -> Iterator[str]:
    """'both bottom corners' as two places, 'all corners' as four, any other as it is."""
    if where == "all corners":
        yield from ("top left", "top right", "bottom right", "bottom left")
    elif where.startswith("both "):
        side = where.split()[1]
        yield from ((f"{side} left", f"{side} right") if side in {"top", "bottom"} else (f"top {side}", f"bottom {side}"))
    else:
        yield where


def _at_edge(guide: Guide, where: str) -> Spot:
    right = ("right" in where) - ("left" in where)
    up = ("top" in where) - ("bottom" in where)
    half = np.array([guide.half_width_mm, guide.half_height_mm])
    at, mark = (np.asarray(guide.centre_mm) + np.array([right, up]) * half * share for share in (1.0, np.array(MARK_IN)))
    return Spot(words=at_words(where), at_mm=(float(at[0]), float(at[1])), mark_mm=(float(mark[0]), float(mark[1])))


def _inside(map_: VignetteMap, at_mm: tuple[float, float], where: str) -> Spot:
    """A place off the frame's edge, by how far in from the picture's edges it lies."""
    left, right, bottom, top = extent_mm(map_)
    across, upright = (at_mm[0] - left) / (right - left), (at_mm[1] - bottom) / (top - bottom)
    ways = [
        f"{100 * (1 - share if side in {'right', 'top'} else share):.0f} % of the picture's {size} in from the {side} edge"
        for side, share, size in (
            ("right" if across > 0.5 else "left", across, "width"),
            ("top" if upright > 0.5 else "bottom", upright, "height"),
        )
    ]
    return Spot(words=f"{where}, {' and '.join(ways)}", at_mm=at_mm, mark_mm=at_mm)


def loss_at(map_: VignetteMap, at_mm: tuple[float, float]) -> float:
    """The map's loss at the pixel nearest to a place [stops]; 0 where the lens gives no picture."""
    row = int(np.argmin(np.abs(map_.y_mm - at_mm[1])))
    column = int(np.argmin(np.abs(map_.x_mm - at_mm[0])))
    return max(float(known_loss(map_)[row, column]), 0.0)


def points_of(spots: tuple[Spot, ...]) -> NDArray[np.float64]:
    """The places (N + 1, 2) and the middle of the lens's picture last."""
    return np.array([*(spot.at_mm for spot in spots), (0.0, 0.0)])
