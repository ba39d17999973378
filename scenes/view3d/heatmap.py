"""The heatmap as it stands in the picture plane, square to the axis ahead of the box: each pixel where its chief ray crosses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Kind
from geometry.frame import right_up_to_frame
from raytrace.optics.camera import Guide
from raytrace.shares import VignetteMap
from scenes.sheets.colours import BLACK, DARK_STOPS, GUIDE, UNKNOWN, loss_ramp, rgb_of
from scenes.view3d.content import Heatmap, Line, Solid
from scenes.view3d.rays import PencilsAt

MOST_COLUMNS = 240  # more pixels than this are joined, the darkest wins: the picture shows no more
GAP_SHARE = 0.22  # the plane stands this share of the box's length ahead of it
LEAST_GAP_MM = 25.0
LEAST_REACH_MM = 60.0  # taken as the size of a box that has no parts
BEFORE_OBJECT = 0.97  # and never at or beyond the object, where a pencil is a point
LIFT_MM = 0.6  # lines on the heatmap stand this far off it, toward the lens, so that the plane does not swallow them
LARGEST = 3.0  # a picture that reaches farther than this many times the box is drawn smaller
SHRUNK = 1.8  # and then reaches this many times as far as the box
CHIEF = np.zeros((1, 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class PicturePlane:
    """Where the picture stands [mm]; `scale` is 0 where each pixel stands on its chief ray, else mm per mm of image plane."""

    z_mm: float
    reach_mm: float  # of the box from the axis
    scale: float = 0.0


def picture_plane(solids: Sequence[Solid], pencils_at: PencilsAt, map_: VignetteMap) -> PicturePlane:
    """The picture plane: ahead of everything in the box, but before the object plane.

    A field so wide that its picture there would dwarf the box is drawn flat and smaller.
    """
    box = [s.vertices_mm for s in solids if s.kind not in (Kind.BARREL, Kind.FRONT_RING, Kind.ROD)] or [
        s.vertices_mm for s in solids
    ]
    places = np.concatenate([*box, [[LEAST_REACH_MM, LEAST_REACH_MM, 0.0]]])
    rear, front = float(places[:, 2].min()), float(places[:, 2].max())
    reach = float(np.abs(places[:, :2]).max())
    wanted = front + max(GAP_SHARE * (front - rear), LEAST_GAP_MM)
    plane = PicturePlane(z_mm=min(wanted, BEFORE_OBJECT * _object_z_mm(pencils_at)), reach_mm=reach)
    right, up = np.meshgrid(map_.x_mm[[0, len(map_.x_mm) // 2, -1]], map_.y_mm[[0, len(map_.y_mm) // 2, -1]])
    rim = np.column_stack([right.ravel(), up.ravel()])
    size = np.abs(on_plane(rim, pencils_at, plane)[:, :2]).max()
    if size <= LARGEST * reach:  # false for NaN too
        return plane
    return replace(plane, scale=SHRUNK * reach / float(np.abs(rim).max()))


def _object_z_mm(pencils_at: PencilsAt) -> float:
    axial = pencils_at(np.zeros((1, 2)))
    convergence = axial.convergence_per_mm[0]
    near = convergence > 0
    return float(np.min(np.where(near, axial.reference_z_mm[0] + 1 / np.where(near, convergence, 1.0), np.inf)))


def heatmap_of(map_: VignetteMap, pencils_at: PencilsAt, plane: PicturePlane) -> Heatmap:
    """The map's loss in stops, standing in the picture plane."""
    loss, x, y = _joined(map_)
    right, up = np.meshgrid(_edges(x), _edges(y))
    places = on_plane(np.column_stack([right.ravel(), up.ravel()]), pencils_at, plane)
    return Heatmap(
        loss_stops=loss,
        corners_mm=places.reshape(*right.shape, 3),
        colour_table=np.round(loss_ramp() * 255).astype(np.uint8),
        dark_colour=rgb_of(BLACK),
        unlit_colour=rgb_of(UNKNOWN),
        full_stops=DARK_STOPS,
    )


def on_plane(points_mm: FloatArray, pencils_at: PencilsAt, plane: PicturePlane) -> FloatArray:
    """Places (N, 3) of picture points (N, 2) in the picture plane; NaN where the lens has no ray."""
    if plane.scale:
        xy = right_up_to_frame(points_mm) * plane.scale
    else:
        pencils = pencils_at(points_mm)
        xy = pencils.at_plane_mm(pencils.crossing_mm(CHIEF), plane.z_mm)[:, 0]
        xy = np.where(pencils.valid[:, None], xy, np.nan)
    return np.column_stack([xy, np.full(len(xy), plane.z_mm)])


def _joined(map_: VignetteMap) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Loss (H, W) and pixel centres, blocks of pixels joined to the darkest of them where too many to show.

    NaN where the lens lights no pixel of a block.
    """
    step = -(-map_.clear_share.shape[1] // MOST_COLUMNS)
    loss = np.where(map_.lens > 0, map_.loss_stops, np.nan).astype(np.float64)
    starts = [np.arange(0, n, step) for n in loss.shape]
    joined = np.fmax.reduceat(np.fmax.reduceat(loss, starts[0], axis=0), starts[1], axis=1)
    return joined, _means(map_.x_mm, starts[1]), _means(map_.y_mm, starts[0])


def _means(values: FloatArray, starts: NDArray[np.int64]) -> FloatArray:
    return np.add.reduceat(values, starts) / np.diff(np.append(starts, len(values)))


def _edges(centres: FloatArray) -> FloatArray:
    """Edges (N + 1,) between and beyond pixel centres (N,)."""
    if len(centres) == 1:
        return centres[0] + np.array([-0.5, 0.5])
    between = (centres[1:] + centres[:-1]) / 2
    return np.concatenate([[1.5 * centres[0] - 0.5 * centres[1]], between, [1.5 * centres[-1] - 0.5 * centres[-2]]])


def picture_frame(heatmap: Heatmap) -> Line:
    """The outline of the picture."""
    c = heatmap.corners_mm
    rim = np.concatenate([c[0], c[1:, -1], c[-1, -2::-1], c[-2::-1, 0]])
    return Line(points_mm=rim[np.isfinite(rim).all(axis=1)], colour=(0.1, 0.1, 0.1), width_px=3.0)


def guide_line(guide: Guide, pencils_at: PencilsAt, plane: PicturePlane) -> Line:
    """The outline of a guide on the heatmap."""
    corners = guide.corners_mm()
    share = np.linspace(0, 1, 25)[:-1, None]
    rim = np.concatenate([a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])
    places = on_plane(np.concatenate([rim, rim[:1]]), pencils_at, plane)
    good = places[np.isfinite(places).all(axis=1)]
    return Line(points_mm=good - [0.0, 0.0, LIFT_MM], colour=rgb_of(GUIDE), width_px=4.0)
