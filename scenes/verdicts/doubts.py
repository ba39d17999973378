"""Where in the picture light may be lost: what passes where a part touches the beam, and what is aimed at the boards in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from geometry.body import Block, Body, Surface
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, pencils_for
from scenes.states.judgement import GuideJudgement

FloatArray = NDArray[np.float64]

IN_DOUBT_MM = 0.5  # a part that comes so near may touch between two places that were looked at
ALONG = np.linspace(0.02, 0.98, 9)  # shares of a board's length and width at which light is aimed at it
MOST_CORNERS = 64  # of a mesh
GRID_SIDE = 33  # places of the picture from which a place's light is looked for
NEWTON_STEPS = 3
STEP_MM = 1e-3


def places_in_doubt_mm(judged: GuideJudgement, lenses: Sequence[LensState], box: Box) -> FloatArray:
    """Places of the guide (N, 2) right, up whose light a part touches, or nearly."""
    near_mm = IN_DOUBT_MM + min(judged.pad_mm, IN_DOUBT_MM)
    near = [number for number, room in enumerate(judged.rooms) if room.room_mm <= near_mm]
    found = [np.array([judged.rooms[number].picture_mm]) for number in near]
    boards = [points for number in near for points in _aimed_at_mm(box.parts[number].body)]
    if boards:
        found += [_aimed_from_mm(lens, judged.guide, np.concatenate(boards)) for lens in (lenses[0], lenses[-1])]
    return np.concatenate(found) if found else np.zeros((0, 2))


def _aimed_at_mm(body: Body) -> Iterator[FloatArray]:
    """Points of a board or a mesh (M, 3); none of an opening, whose edge is all that is in the beam."""
    if isinstance(body, Block):
        yield _board_points_mm(body.corners_mm)
    elif isinstance(body, Surface):
        step = max(len(body.vertices_mm) // MOST_CORNERS, 1)
        yield body.vertices_mm[::step]


def _board_points_mm(corners_mm: FloatArray) -> FloatArray:
    """Points all over the middle of a board, from one end of its longest way to the other."""
    middle = corners_mm.mean(axis=0)
    _, size, ways = np.linalg.svd(corners_mm - middle, full_matrices=False)
    half = size[:2] / np.sqrt(len(corners_mm))  # of a box: all its corners stand at plus and minus half the size
    along, across = (2.0 * np.stack(np.meshgrid(ALONG, ALONG), axis=-1).reshape(-1, 2) - 1.0).T
    return np.asarray(middle + (along * half[0])[:, None] * ways[0] + (across * half[1])[:, None] * ways[1])


def _aimed_from_mm(lens: LensState, guide: Guide, points_mm: FloatArray) -> FloatArray:
    """Places of the guide whose middle rays pass these points, as they would without glass."""
    side = np.linspace(-1.0, 1.0, GRID_SIDE)
    half = np.array([guide.half_width_mm, guide.half_height_mm])
    grid = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2) * half + guide.centre_mm
    place = grid[np.argmin(_off_mm2(lens, grid, points_mm), axis=1)]
    for _ in range(NEWTON_STEPS):
        place = _nearer(lens, place, points_mm)
    inside = np.isfinite(place).all(axis=1) & (np.abs(place - guide.centre_mm) <= half * 1.02).all(axis=1)
    return np.asarray(np.unique(np.round(place[inside], 3), axis=0))


def _off_mm2(lens: LensState, places_mm: FloatArray, points_mm: FloatArray) -> FloatArray:
    """How far beside points (M, 3) the middle rays of places (N, 2) pass, squared (M, N) [mm2]; inf where there are none."""
    pencils, off = pencils_for(lens, places_mm), np.zeros((len(points_mm), len(places_mm)))
    for axis in range(2):  # a ray's place is straight in z
        per_mm = pencils.slope[:, axis] - pencils.centre_mm[:, axis] * pencils.convergence_per_mm[:, axis]
        at_front = pencils.centre_mm[:, axis] - pencils.reference_z_mm[:, axis] * per_mm
        off += (per_mm * points_mm[:, 2:] + (at_front - points_mm[:, axis : axis + 1])) ** 2
    off[:, ~pencils.valid] = np.inf
    return off


def _passed_mm(lens: LensState, places_mm: FloatArray, z_mm: FloatArray) -> FloatArray:
    """Where the middle rays of places (N, 2) pass planes of their own (N,), in the frame (N, 2); far off where there is none."""
    pencils = pencils_for(lens, places_mm)
    step = z_mm[:, None] - pencils.reference_z_mm
    passed = pencils.slope * step + pencils.centre_mm * (1.0 - pencils.convergence_per_mm * step)
    return np.asarray(np.where(pencils.valid[:, None], passed, 1e9))


def _nearer(lens: LensState, place_mm: FloatArray, points_mm: FloatArray) -> FloatArray:
    """One step of Newton's toward the places whose middle rays pass the points, one place for each."""
    at, right, up = (
        _passed_mm(lens, place_mm + np.array(step), points_mm[:, 2]) for step in ((0.0, 0.0), (STEP_MM, 0.0), (0.0, STEP_MM))
    )
    slopes = np.stack([right - at, up - at], axis=-1) / STEP_MM
    known = np.abs(np.linalg.det(slopes)) > 1e-9
    moves = np.zeros_like(place_mm)
    moves[known] = np.linalg.solve(slopes[known], (points_mm[:, :2] - at)[known][..., None])[..., 0]
    return np.asarray(place_mm + moves)
