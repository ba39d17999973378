"""Kernels compiled before they are needed, side by side: one here, the others in a process of their own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from raytrace.box import Box
from raytrace.coverage.kernel_tasks import COVERING
from raytrace.coverage.kernels.cells import list_blocks
from raytrace.coverage.kernels.cover_kernels import bare_shares, cover_blocks
from raytrace.coverage.kernels.glass_legs import GLASS_COLUMNS, PENCIL_COLUMNS, RAY_COLUMNS, legs_of_pencils
from raytrace.coverage.kernels.interpolate import spread
from raytrace.coverage.kernels.scratch import room_for
from raytrace.coverage.tables.nodes import Cells, Nodes
from raytrace.coverage.tables.tables import box_tables
from raytrace.jit.compiled import is_compiled
from raytrace.jit.start_early import begin

KERNELS: tuple[Callable[..., Any], ...] = (list_blocks, cover_blocks, bare_shares, spread, legs_of_pencils)


def are_compiled() -> bool:
    """Whether the machine code of all kernels lies on disk."""
    return all(is_compiled(kernel) for kernel in KERNELS)


def compile_ahead() -> None:
    """Compile all kernels, on two cores where there are two. What fails beside is compiled here, when it is called."""
    beside = begin(COVERING)
    try:
        compile_listing()
    finally:
        if beside is not None:
            beside.wait()


def compile_listing() -> None:
    """Compile the kernel that lists blocks, by a picture of no cells."""
    tables, nodes, cells, room = _nothing()
    clear, by = _no_pixels()
    list_blocks(tables, np.zeros(0, dtype=np.int64), nodes, cells, 1, 1.0, 1, room.listing, 0, clear, by)


def compile_covering() -> None:
    """Compile the other kernels, by a picture of no cells."""
    _, nodes, cells, room = _nothing()
    clear, by = _no_pixels()
    rule = np.zeros((5, 1))
    cover_blocks(room.listing.found, room.listing.blocks, nodes, 1, rule, room.tally, clear, by)
    bare_shares(nodes, rule, room.tally.lens, room.tally.outline, np.zeros((0, 0)))
    spread(np.zeros((0, 0)), cells, 0, 0, clear)
    pencils = np.zeros((0, PENCIL_COLUMNS)), np.zeros(0, dtype=np.bool_), np.zeros((0, 6))
    glasses = np.zeros((0, GLASS_COLUMNS)), np.zeros((0, 4)), np.zeros((0, 2))
    legs_of_pencils(*pencils, *glasses, 0.0, np.zeros((1, RAY_COLUMNS)), np.zeros(8), np.zeros((0, 1, 8)), np.zeros(0))


def _no_pixels() -> tuple[Any, Any]:
    return np.zeros((0, 0), dtype=np.float32), np.zeros((0, 0), dtype=np.int16)


def _nothing() -> tuple[Any, Any, Any, Any]:
    """Tables, nodes, cells and room of an empty box and a picture of no cells."""
    tables = box_tables(Box(parts=()), start_z_mm=0.0, end_z_mm=1.0, sagitta_mm=1.0)
    none = np.zeros(0, dtype=np.int64)
    nodes = Nodes(np.zeros((0, 0, 14)), np.zeros((0, 0, 0)), np.zeros((0, 0, 6)), np.zeros((2, 0)), np.inf)
    cells = Cells(none, none, none, none, np.zeros((0, 0), dtype=np.bool_), 1)
    return tables, nodes, cells, room_for(tables, nodes, 0, 1, 1)
