"""Kernels of the judge compiled before they are needed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from raytrace.jit.compiled import is_compiled
from raytrace.judge.kernels.depth import FOUND
from raytrace.judge.kernels.faces import GLASS_FIELDS
from raytrace.judge.kernels.gjk import BENCH
from raytrace.judge.kernels.pupil_sides import SIDE_ROWS, SPOKES
from raytrace.judge.kernels.rays import follow
from raytrace.judge.kernels.separate import NAMES, NODE, part_room
from raytrace.judge.kernels.shapes import LOOP_FIELDS

KERNELS: tuple[Callable[..., Any], ...] = (follow, part_room)


def are_compiled() -> bool:
    """Whether the machine code of all kernels lies on disk."""
    return all(is_compiled(kernel) for kernel in KERNELS)


def compile_ahead() -> None:
    """Compile all kernels, by a beam of no pencils and a part of no pieces."""
    none, before = np.zeros((0, 3)), np.zeros(1)
    names, count = np.zeros((1, NAMES), dtype=np.int64), np.zeros(3, dtype=np.int64)
    flat = np.zeros((0, 2))
    field = np.zeros((0, 3), dtype=np.int64), none, flat, False
    arguments: tuple[Any, ...] = (
        *(np.zeros((0, SPOKES)), np.ones(2), 0.0, np.inf, before, np.zeros((0, GLASS_FIELDS)), 0.0, np.inf, False, 0),
        *field,
        *(np.zeros((2, 3, 0)), np.zeros((3, 0)), np.zeros((SIDE_ROWS, 2)), np.zeros((2, 0)), np.zeros((1, SPOKES))),
        *(np.zeros((2, 3, 0)), np.zeros((25, 2)), none, np.zeros(0), np.zeros((4, 2), dtype=np.int64), flat, count, np.zeros(4)),
    )
    follow(*arguments)
    legs = none, np.zeros((0, 2)), np.zeros((0, 4), dtype=np.int64), np.zeros((0, 1))
    part = np.zeros((0, 2, LOOP_FIELDS)), none, np.zeros((0, 2), dtype=np.int64)
    nodes, bench, found = np.zeros((1, NODE)), np.zeros((BENCH, 4)), np.zeros((2, FOUND))
    pair = np.zeros((4, 2), dtype=np.int64)
    part_room(*legs, *part, False, np.inf, nodes, names, np.zeros(1), count, none, bench, pair, found)
