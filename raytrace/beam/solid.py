"""The beam as a solid for pictures: its sections lofted along the axis, ends closed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.beam.beam import Beam
from raytrace.beam.outline import Section

SPOKES = 180  # corners of each lofted outline: two degrees apart


def beam_solid(beam: Beam, depths_mm: Sequence[float], spokes: int = SPOKES) -> tuple[FloatArray, NDArray[np.int64]]:
    """Vertices (V, 3) in the frame [mm] and triangles (F, 3), outsides counter-clockwise, through sections at the given depths.

    Depths where the beam has no section are left out; nothing comes back of fewer than two.
    """
    levels = [(z, beam.section_at(float(z))) for z in sorted(depths_mm)]
    rings = [np.column_stack([ring_mm(section, spokes), np.full(spokes, z)]) for z, section in levels if not section.is_empty]
    if len(rings) < 2:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)
    middles = np.array([rings[0].mean(axis=0), rings[-1].mean(axis=0)])
    return np.concatenate([*rings, middles]), _faces(len(rings), spokes)


def ring_mm(section: Section, spokes: int) -> FloatArray:
    """Points (K, 2) of an outline along equal angles about the middle of its bounds, counter-clockwise."""
    left, low, right, high = section.bounds
    middle = np.array([(left + right) / 2, (low + high) / 2])
    angle = 2 * np.pi * np.arange(spokes) / spokes
    tips = middle + np.hypot(right - left, high - low) * np.column_stack([np.cos(angle), np.sin(angle)])
    lines = shapely.linestrings(np.stack([np.broadcast_to(middle, tips.shape), tips], axis=1))
    met, owner = shapely.get_coordinates(shapely.intersection(lines, section), return_index=True)
    reach = np.zeros(spokes)
    np.maximum.at(reach, owner, np.linalg.norm(met - middle, axis=1))
    return middle + reach[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])


def _faces(rings: int, spokes: int) -> NDArray[np.int64]:
    here = np.arange(spokes)
    after = (here + 1) % spokes
    walls = [
        np.concatenate([np.column_stack([here, after, after + spokes]), np.column_stack([here, after + spokes, here + spokes])])
        + k * spokes
        for k in range(rings - 1)
    ]
    rear, front, last = rings * spokes, rings * spokes + 1, (rings - 1) * spokes
    caps = [
        np.column_stack([after, here, np.full(spokes, rear)]),
        np.column_stack([here + last, after + last, np.full(spokes, front)]),
    ]
    return np.concatenate([*walls, *caps]).astype(np.int64)
