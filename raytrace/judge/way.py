"""What light meets in a box, worked out once: how far its parts reach along the axis, its filters as kernels take them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.body import Block, Body, Loop, Part, Surface, Tube
from raytrace.box import Box, Glass, GlassKind
from raytrace.judge.crossings import planes_of
from raytrace.judge.kernels.faces import CLOSE_UP, GLASS_FIELDS, LEAN_X, LEAN_Y, MIDDLE_Z, THICKNESS, UPRIGHT_WITHIN
from raytrace.kept import Kept

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Way:
    """What light meets in a box: how far back and ahead its parts reach [mm], its filters as kernels take them, leaning openings.

    faces: how many planes each filter parts the beam by. first_face_mm: where light meets the first of them; None where that leans.
    """

    hind_mm: float
    far_mm: float
    glasses: FloatArray
    faces: tuple[int, ...]
    leaning: tuple[Loop, ...]
    first_face_mm: float | None


def _way(box: Box) -> Way:
    hind_mm, far_mm = parts_span_mm(box.parts)
    glasses = np.array([_glass_row(glass) for glass in box.glasses]).reshape(-1, GLASS_FIELDS)
    faces = tuple(planes_of(glass[None]) for glass in glasses)
    return Way(hind_mm, far_mm, glasses, faces, tuple(_endless_loops(box.parts)), _first_face_mm(glasses))


way_of: Kept[Box, Way] = Kept(_way)


def _first_face_mm(glasses: FloatArray) -> float | None:
    """Where light meets the first filter; without one, no matter how far ahead; None where the filter leans."""
    if not len(glasses):
        return np.inf
    first = glasses[0]
    if max(abs(first[LEAN_X]), abs(first[LEAN_Y])) > UPRIGHT_WITHIN:
        return None
    return float(first[MIDDLE_Z] - (0.0 if first[CLOSE_UP] else first[THICKNESS] / 2))


def _glass_row(glass: Glass) -> list[float]:
    place, close_up = glass.slab.pose, glass.kind is GlassKind.CLOSE_UP
    return [
        *place.rotation.ravel(),
        *place.origin_mm,
        glass.slab.thickness_mm,
        glass.index,
        glass.power_dioptre if close_up else 0.0,
        float(close_up),
    ]


def _endless_loops(parts: Sequence[Part]) -> list[Loop]:
    """Loops that leave no way round them and lean: their material is wherever the beam meets their plane."""
    tubes = [part.body for part in parts if isinstance(part.body, Tube) and not part.body.bounded]
    return [loop for tube in tubes for loop in tube.inner if abs(loop.pose.rotation[2, 2]) < 1 - 1e-12]


def parts_span_mm(parts: Sequence[Part]) -> tuple[float, float]:
    """How far back and how far ahead the parts reach [mm]."""
    spans = [span for part in parts if (span := span_of(part.body))[0] <= span[1]]
    return (min(near for near, _ in spans), max(*(far for _, far in spans), 0.0)) if spans else (0.0, 0.0)


def _span_mm(body: Body) -> tuple[float, float]:
    z = _depths_mm(body)
    return float(z.min(initial=np.inf)), float(z.max(initial=-np.inf))


def _depths_mm(body: Body) -> FloatArray:
    match body:
        case Tube(inner=inner, outer=outer):
            return np.concatenate([points[:, 2] for loop in (*inner, *outer) for points in loop.points_mm(0.1)])
        case Block(corners_mm=corners):
            return corners[:, 2]
        case Surface(vertices_mm=vertices):
            return vertices[:, 2]


span_of: Kept[Body, tuple[float, float]] = Kept(_span_mm)
