"""Where words stand on the screen of a 3D picture: margins, view, labels that keep out of each other's way. Plain numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from geometry.arrays import FloatArray
from scenes.view3d.content import Label, Place, Scene3D, View
from scenes.view3d.viewpoint import Rectangle, Viewpoint, fitted, project, spread_out

AHEAD = {  # which way the viewer looks, in the frame
    View.BESIDE: np.array([-0.68, -0.33, 0.62]),
    View.FRONT: np.array([-0.62, -0.34, -0.71]),
    View.SECTION: np.array([1.0, 0.0, 0.0]),
}
UP = np.array([0.0, 1.0, 0.0])

DESIGN_HEIGHT_PX = 1000.0  # sizes below are pixels of a picture this high
TITLE_PX, BODY_PX, LABEL_PX, NOTE_PX = 26.0, 18.0, 17.0, 14.0  # letter sizes
WIDTH_PER_EM = 0.58  # mean width of a letter of the font, a little on the safe side
ROW_PX = 30.0
SIDE_PX = 40.0
FOOT_PX = 100.0  # legend and note
LABEL_GAP_PX = 16.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLabel:
    """A label centred at (x, y) pixels, with the leader's two ends (2, 2), or none."""

    text: str
    x: float
    y: float
    strong: bool
    leader: FloatArray | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Everything about the screen: its size, a factor on all sizes of words, the view, and the labels."""

    size: tuple[int, int]
    scale: float
    view: Viewpoint
    labels: tuple[PlacedLabel, ...]


def scale_of(size: tuple[int, int]) -> float:
    """Factor on all pixel sizes for a picture of this size."""
    return min(size[1] / DESIGN_HEIGHT_PX, size[0] / 1600.0)


def layout_of(scene: Scene3D, size: tuple[int, int]) -> Layout:
    """View and places of words for a screen of this size [pixels]."""
    scale = scale_of(size)
    above = [label for label in scene.labels if label.place is Place.ABOVE]
    below = [label for label in scene.labels if label.place is Place.BELOW]
    rows_above, rows_below = (_rows_needed(labels, size[0], scale) for labels in (above, below))
    head = (TITLE_PX * 1.6 + BODY_PX * 1.5 * (len(scene.title) - 1) + 20) * scale if scene.title else 20 * scale
    top, bottom = size[1] - head - rows_above * ROW_PX * scale, (FOOT_PX + rows_below * ROW_PX) * scale
    air = 22 * scale
    inner = Rectangle(SIDE_PX * scale, bottom + air, size[0] - SIDE_PX * scale, top - air)
    view = fitted(_extent(scene), AHEAD[scene.view], UP, size, inner, parallel=scene.view is View.SECTION)
    placed = (
        _in_rows(above, rows_above, top, 1.0, view, size, scale),
        _in_rows(below, rows_below, bottom, -1.0, view, size, scale),
        [_here(label, view, size) for label in scene.labels if label.place is Place.HERE],
    )
    return Layout(size=size, scale=scale, view=view, labels=tuple(chain(*placed)))


def _extent(scene: Scene3D) -> FloatArray:
    """All places that have to be in view."""
    clouds = [solid.vertices_mm for solid in scene.solids] + [line.points_mm for line in scene.lines]
    clouds += [scene.heatmap.corners_mm.reshape(-1, 3)] if scene.heatmap is not None else []
    clouds += [ray.points_mm for ray in scene.rays] + [label.anchor_mm[None] for label in scene.labels]
    places = np.concatenate(clouds)
    return places[np.isfinite(places).all(axis=1)]


def width_px(text: str, scale: float, letter_px: float = LABEL_PX) -> float:
    """About how wide a text is on the screen."""
    return max(len(line) for line in text.split("\n")) * letter_px * WIDTH_PER_EM * scale


def _rows_needed(labels: Sequence[Label], width: float, scale: float) -> int:
    """Fewest rows in which the labels leave a third of the width free to stand near what they name."""
    total = sum(width_px(label.text, scale) + LABEL_GAP_PX * scale for label in labels)
    return int(np.ceil(total / (0.64 * width)))


def _in_rows(
    labels: Sequence[Label], rows: int, edge: float, way: float, view: Viewpoint, size: tuple[int, int], scale: float
) -> list[PlacedLabel]:
    """Labels in rows from `edge` outward (`way` 1 up, -1 down), in the order of what they name across the screen."""
    if not labels:
        return []
    ends = project(view, np.array([label.anchor_mm for label in labels]), size)
    order = np.argsort(ends[:, 0], kind="stable")
    placed = []
    for row in range(rows):
        mine = [int(i) for i in order[row::rows]]
        widths = [width_px(labels[i].text, scale) for i in mine]
        x = spread_out(ends[mine, 0], widths, SIDE_PX * scale, size[0] - SIDE_PX * scale, LABEL_GAP_PX * scale)
        y = edge + way * (row + 0.5) * ROW_PX * scale
        foot = y - way * 0.42 * ROW_PX * scale
        placed += [
            PlacedLabel(text=labels[i].text, x=float(cx), y=y, strong=labels[i].strong, leader=np.array([[cx, foot], ends[i]]))
            for i, cx in zip(mine, x, strict=True)
        ]
    return placed


def _here(label: Label, view: Viewpoint, size: tuple[int, int]) -> PlacedLabel:
    x, y = project(view, label.anchor_mm[None], size)[0]
    return PlacedLabel(text=label.text, x=float(x), y=float(y), strong=label.strong, leader=None)
