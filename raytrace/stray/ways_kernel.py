"""Which pieces of a target one edge of a way through keeps off wholly, compiled: edge by edge until a ray gets by."""

from __future__ import annotations

from typing import Any

from raytrace.jit.compiled import compiled


@compiled
def all_ahead(start: Any, ray: Any, origin: Any, normal: Any, low: int, high: int, before: Any, along: Any) -> bool:
    """Whether a plane lies ahead of rays low..high - 1 and all of them cross it; writes down by how much, and how fast they do."""
    for k in range(low, high):
        before[k] = along[k] = 0.0
        for axis in range(3):
            before[k] += (origin[axis] - start[k, axis]) * normal[axis]
            along[k] += ray[k, axis] * normal[axis]
        if not (before[k] > 0.0 and along[k] > 0.0):
            return False
    return True


@compiled
def all_beyond(start: Any, ray: Any, edge: Any, outward: Any, low: int, high: int, before: Any, along: Any) -> bool:
    """Whether rays low..high - 1 all cross the plane of an edge beyond it."""
    for k in range(low, high):
        past = leaning = 0.0
        for axis in range(3):
            past += (start[k, axis] - edge[axis]) * outward[axis]
            leaning += ray[k, axis] * outward[axis]
        if not past * along[k] + before[k] * leaning > 0.0:
            return False
    return True


def _kept(
    first: Any, start: Any, ray: Any, ends: Any, origin: Any, normal: Any, edge: Any, outward: Any,
    lucky: Any, scratch: Any, found: Any,
) -> None:  # fmt: skip
    """Rays of piece c are first[c]..first[c + 1] - 1, edges of way w end before ends[w]; lucky (W,): the edge tried first."""
    for piece in range(len(found)):
        low, high = first[piece], first[piece + 1]
        begin = 0
        for way in range(len(ends)):
            count = ends[way] - begin
            if not found[piece] and all_ahead(start, ray, origin[way], normal[way], low, high, scratch[0], scratch[1]):
                for k in range(count):
                    at = begin + (lucky[way] + k) % count
                    if all_beyond(start, ray, edge[at], outward[at], low, high, scratch[0], scratch[1]):
                        found[piece], lucky[way] = True, at - begin
                        break
            begin = ends[way]


kept_entry = compiled(_kept, entry=True)
