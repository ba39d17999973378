"""Kernels: which chords of a rule lie between two v, looked up instead of worked out."""

from __future__ import annotations

from geometry.arrays import FloatArray
from raytrace.jit.compiled import compiled


@compiled
def first_chord(top: float, rule: FloatArray) -> int:
    """The first chord that a side up to v = top may cross, or one before it."""
    n = len(rule[0])
    return 0 if top >= 1.0 else int(rule[4, min(int(max(top + 1.0, 0.0) * (0.5 * n)) + 1, n - 1)])


@compiled
def chords_end(bottom: float, rule: FloatArray) -> int:
    """The end of the chords that a side down to v = bottom may cross, or one beyond it."""
    n = len(rule[0])
    step = int(max(min(bottom, 1.0) + 1.0, 0.0) * (0.5 * n)) - 2
    return int(rule[4, step]) if step >= 0 else n
