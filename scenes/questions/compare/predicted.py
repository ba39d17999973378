"""What a still should show: the share of light past the box on cells, for any values of what was not measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from raytrace.box import Box
from raytrace.coverage.picture import coverage_map
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import LensState, pencils_for
from scenes.questions.compare.shoot import Shot, Unknown, moved
from scenes.rig.box import build_box
from scenes.rig.lens import front_travel_mm, lens_variants
from scenes.runtime.engines import unlit_as_clear
from scenes.scene_file.tables.scene import box_for

Floats = NDArray[np.float64]
Values = Sequence[float] | NDArray[np.float64]
FINER = 2  # points of the map to a cell, along a side: a cell shows the mean light of its area
THREADS = 1  # such maps take a few milliseconds: a second thread costs more than it saves


class UnbuildableError(ValueError):
    """Values at which the box cannot be built."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """On cells (H, W): share of light past parts and glass, past parts alone, and of the bare lens's own rims."""

    share: Floats
    parts: Floats
    rims: Floats
    valid: NDArray[np.bool_]


def predicted(shot: Shot, unknowns: tuple[Unknown, ...], values: Values, cells: tuple[int, int]) -> Predicted:
    """The prediction on (rows, columns) cells."""
    lens, box = _built(shot, unknowns, tuple(values))
    grid = PixelGrid(
        width_mm=shot.area.width_mm,
        height_mm=shot.area.height_mm,
        columns=cells[1] * FINER,
        rows=cells[0] * FINER,
        offset_mm=shot.area.offset_mm,
    )
    map_ = unlit_as_clear(coverage_map(partial(pencils_for, lens), grid, box, threads=THREADS))
    natural = pencils_for(lens, grid.points_mm).falloff.reshape(grid.rows, grid.columns)
    lit = (map_.lens > 0.0) & (natural > 0.0)
    rims = np.where(lit, map_.lens / np.where(lit, natural, 1.0), 0.0)
    return Predicted(
        share=_cell_means(map_.transmission.astype(np.float64)),
        parts=_cell_means(map_.clear_share.astype(np.float64)),
        rims=_cell_means(rims),
        valid=_cell_means(lit.astype(np.float64)) > 0.99,
    )


def _built(shot: Shot, unknowns: tuple[Unknown, ...], values: tuple[float, ...]) -> tuple[LensState, Box]:
    state = shot.state
    scene = moved(state.scene, unknowns, values)
    lens = next(lens for lens in scene.lens if lens.name == state.lens_name)
    setting = shot.setting
    try:
        variants = lens_variants(
            lens,
            state.grid,
            state.resources.glass_of(lens),
            focal_mm=lens.focal_mm if lens.focal_mm != state.lens.focal_mm else setting.focal_mm,
            focus_mm=setting.focus_mm,
            f_number=setting.f_number,
        )
        travel = front_travel_mm(lens, setting.focal_mm, setting.focus_mm)
        _, box = build_box(box_for(scene, lens), lens, state.resources, front_travel_mm=travel)
    except (GeometryError, ValueError) as error:
        raise UnbuildableError(str(error)) from error
    return variants[len(variants) // 2].lens, box


def _cell_means(values: Floats) -> Floats:
    rows, columns = values.shape[0] // FINER, values.shape[1] // FINER
    return np.asarray(values.reshape(rows, FINER, columns, FINER).mean(axis=(1, 3)))


def field_cosine(shot: Shot, cells: tuple[int, int]) -> Floats:
    """Cosine of the field angle at the cells' centres (H, W), of the lens as the scene has it."""
    grid = area_grid(shot, cells)
    variants = shot.state.variants
    slope = pencils_for(variants[len(variants) // 2], grid.points_mm).slope
    return np.asarray(1.0 / np.sqrt(1.0 + np.sum(slope**2, axis=1))).reshape(cells)


def area_grid(shot: Shot, cells: tuple[int, int]) -> PixelGrid:
    """The area of a still on (rows, columns) cells."""
    area = shot.area
    return PixelGrid(width_mm=area.width_mm, height_mm=area.height_mm, columns=cells[1], rows=cells[0], offset_mm=area.offset_mm)
