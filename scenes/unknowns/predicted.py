"""What a still should show: the share of light past the box on cells, for any values of what was not measured."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from raytrace.box import Box
from raytrace.coverage.picture import Prepared, box_depths_mm, prepared, prepared_map
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import LensState, pencils_for
from raytrace.shares import VignetteMap
from scenes.rig.box import build_box
from scenes.rig.lens import front_travel_mm, lens_variants
from scenes.runtime.engines import unlit_as_clear
from scenes.scene_file.tables.scene import box_for
from scenes.states.names import middle_variant
from scenes.states.state import State
from scenes.unknowns.unknown import Unknown, View, framed, moved

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Values = Sequence[float] | NDArray[np.float64]
Cells = tuple[int, int]
FINER = 2  # points of the map to a cell, along a side: a cell shows the mean light of its area
THREADS = 1  # such maps take a few milliseconds: a second thread costs more than it saves
BESIDE_MM = 12.0  # that parts may move along the axis before what a map is prepared with is worked out anew
MOST_READY = 256


class UnbuildableError(ValueError):
    """Values at which the box cannot be built."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """On cells (H, W): share of light past parts and glass, and of the bare lens's own rims; rims 1 where nobody asked."""

    share: Singles
    rims: Singles


def predicted(
    shot: View, unknowns: tuple[Unknown, ...], values: Values, cells: Cells, *, with_rims: bool = True, again: bool = True
) -> Predicted:
    """The prediction on (rows, columns) cells; without `again`, nothing is kept of a state that is not asked for again."""
    lens, box = _built(shot, unknowns, tuple(values))
    grid = area_grid(framed(shot, unknowns, tuple(values)), (cells[0] * FINER, cells[1] * FINER))
    map_ = unlit_as_clear(_map(shot, lens, grid, box, again=again))
    rims = _cell_means(_rims(lens, grid, map_)) if with_rims else np.broadcast_to(np.float32(1.0), cells)
    return Predicted(share=_cell_means(map_.transmission), rims=rims)


def _rims(lens: LensState, grid: PixelGrid, map_: VignetteMap) -> Floats:
    natural = pencils_for(lens, grid.points_mm).falloff.reshape(grid.rows, grid.columns)
    lit = (map_.lens > 0.0) & (natural > 0.0)
    return np.where(lit, map_.lens / np.where(lit, natural, 1.0), 0.0)


@dataclass(frozen=True, slots=True)
class _Ready:
    """What a state's maps on a grid are prepared with, for parts between two depths [mm]; with the state, which keeps its id."""

    state: State
    prepared: Prepared
    depths_mm: tuple[float, float]


_ready: OrderedDict[tuple[int, PixelGrid], _Ready] = OrderedDict()


def _map(shot: View, lens: LensState, grid: PixelGrid, box: Box, *, again: bool) -> VignetteMap:
    pencils_at = partial(pencils_for, lens)
    near, far = (float(depth) for depth in box_depths_mm(box))
    if box.glasses or lens is not middle_variant(shot.state):
        ready = prepared(pencils_at, grid, box, np.array([near, far]), threads=THREADS)
        return prepared_map(ready, pencils_at, grid, box, threads=THREADS)
    key = id(shot.state), grid
    held = _ready.get(key)
    if held is None or near < held.depths_mm[0] or far > held.depths_mm[1]:
        reach = near - BESIDE_MM, far + BESIDE_MM
        ready = prepared(pencils_at, grid, box, np.array(reach), threads=THREADS)
        held = _Ready(shot.state, ready, reach)
        if again:
            _keep(key, held)
    return prepared_map(held.prepared, pencils_at, grid, box, threads=THREADS)


def _keep(key: tuple[int, PixelGrid], held: _Ready) -> None:
    _ready[key] = held
    if len(_ready) > MOST_READY:
        _ready.popitem(last=False)


def _built(shot: View, unknowns: tuple[Unknown, ...], values: tuple[float, ...]) -> tuple[LensState, Box]:
    state = shot.state
    scene = moved(state.scene, unknowns, values)
    lens = next(lens for lens in scene.lens if lens.name == state.lens_name)
    setting = shot.setting
    try:
        travel = front_travel_mm(lens, setting.focal_mm, setting.focus_mm)
        _, box = build_box(box_for(scene, lens), lens, state.resources, front_travel_mm=travel)
        if lens is state.lens and scene.camera is state.scene.camera:
            return middle_variant(state), box
        variants = lens_variants(
            lens,
            state.grid,
            state.resources.glass_of(lens),
            focal_mm=lens.focal_mm if lens.focal_mm != state.lens.focal_mm else setting.focal_mm,
            focus_mm=setting.focus_mm,
            f_number=setting.f_number,
        )
    except (GeometryError, ValueError) as error:
        raise UnbuildableError(str(error)) from error
    return variants[len(variants) // 2].lens, box


def stopped_down(shot: View, factor: float) -> View:
    """The shot at so many times its f-number."""
    state, setting = shot.state, shot.setting
    glass, f_number = state.resources.glass_of(state.lens), factor * setting.f_number
    found = lens_variants(state.lens, state.grid, glass, focal_mm=setting.focal_mm, focus_mm=setting.focus_mm, f_number=f_number)
    return replace(shot, state=replace(state, f_number=f_number, variants=tuple(variant.lens for variant in found)))


def _cell_means(values: NDArray[np.floating]) -> Singles:
    rows, columns = values.shape[0] // FINER, values.shape[1] // FINER
    means = values.reshape(rows, FINER, columns, FINER).mean(axis=(1, 3), dtype=np.float64)
    return np.asarray(means, dtype=np.float32)


def field_cosine(shot: View, cells: Cells) -> Floats:
    """Cosine of the field angle at the cells' centres (H, W), of the lens as the scene has it."""
    slope = pencils_for(middle_variant(shot.state), area_grid(shot, cells).points_mm).slope
    return np.asarray(1.0 / np.sqrt(1.0 + np.sum(slope**2, axis=1))).reshape(cells)


def area_grid(shot: View, cells: Cells) -> PixelGrid:
    """The area of a still on (rows, columns) cells."""
    area = shot.area
    return PixelGrid(width_mm=area.width_mm, height_mm=area.height_mm, columns=cells[1], rows=cells[0], offset_mm=area.offset_mm)
