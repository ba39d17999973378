"""Kernels of the beam compiled before they are needed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from raytrace.beam.columns import GLASS_COLUMNS, PENCIL_COLUMNS
from raytrace.beam.kernels.legs import cross_plane, legs_through
from raytrace.jit.compiled import is_compiled

KERNELS: tuple[Callable[..., Any], ...] = (legs_through, cross_plane)


def are_compiled() -> bool:
    """Whether the machine code of all kernels lies on disk."""
    return all(is_compiled(kernel) for kernel in KERNELS)


def compile_ahead() -> None:
    """Compile all kernels, by a beam of no pencils."""
    none, nobody = np.zeros((0, 1, 2)), np.zeros(0, dtype=np.bool_)
    legs = np.zeros((1, 3, 0)), np.zeros((1, 3, 0)), np.zeros((1, 0)), np.zeros((1, 2))
    glasses, entries = np.zeros((0, GLASS_COLUMNS)), np.zeros((0, 2, 0))
    legs_through(np.zeros((0, PENCIL_COLUMNS)), none, glasses, *legs, entries)
    cross_plane(*legs, nobody, np.eye(3), np.zeros(3), none, nobody)
