"""Scene3D -> pyvista plotter. The drawing library is loaded only when something is drawn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from scenes.sheets.map_reading import ISOLINES_STOPS
from scenes.view3d.content import Heatmap, Line, RayFate, RayPath, Scene3D, Solid, View
from scenes.view3d.heatmap import LIFT_MM
from scenes.view3d.label_layout import Layout, layout_of
from scenes.view3d.overlay import draw_overlay
from scenes.view3d.rays import RAY_COLOURS, RAY_WIDTH_PX, STOP_DOT_PX
from scenes.view3d.viewpoint import VIEW_ANGLE_DEG, Viewpoint

Plotter = Any  # a pyvista.Plotter: its own annotations do not hold what its methods take

PEELS = 8  # layers of translucent material that are told apart along one line of sight


def draw(scene: Scene3D, plotter: Plotter) -> Layout:
    """Everything of the scene, its view and its words into an empty plotter; says where the words are."""
    layout = layout_of(scene, (int(plotter.window_size[0]), int(plotter.window_size[1])))
    plotter.set_background("white")
    plotter.enable_anti_aliasing("ssaa")  # before depth peeling: with multi-samples every translucent thing would vanish
    plotter.enable_depth_peeling(PEELS, 0.0)
    if scene.heatmap is not None:
        _draw_heatmap(scene.heatmap, plotter, layout.scale)
    for solid in scene.solids:
        _draw_solid(solid, plotter, layout.scale, flat=scene.view is View.SECTION)
    for line in scene.lines:
        _draw_line(line, plotter, layout.scale)
    _draw_rays(scene.rays, plotter, layout.scale)
    _stand_at(layout.view, plotter)
    draw_overlay(scene, layout, plotter)
    return layout


def _polylines(polylines: Sequence[FloatArray]) -> Any:
    """Many polylines (K, 3) as one thing to draw: far cheaper than one each."""
    import pyvista

    cells = []
    start = 0
    for points in polylines:
        cells.append(np.concatenate([[len(points)], start + np.arange(len(points))]))
        start += len(points)
    return pyvista.PolyData(np.concatenate(polylines), lines=np.concatenate(cells))


def _draw_solid(solid: Solid, plotter: Plotter, scale: float, *, flat: bool) -> None:
    import pyvista

    if len(solid.faces):
        faces = np.column_stack([np.full(len(solid.faces), 3), solid.faces]).ravel()
        mesh = pyvista.PolyData(solid.vertices_mm, faces=faces)
        plotter.add_mesh(
            mesh,
            color=solid.colour,
            opacity=solid.opacity,
            lighting=not flat,
            ambient=0.45,
            diffuse=0.6,
            specular=0.0,
            show_scalar_bar=False,
        )
    if len(solid.edges_mm):
        dark = tuple(0.45 * c for c in solid.colour)
        plotter.add_mesh(_polylines(list(solid.edges_mm)), color=dark, line_width=2.4 * scale, lighting=False, opacity=0.75)


def _draw_line(line: Line, plotter: Plotter, scale: float) -> None:
    pieces = dashes(line.points_mm, _dash_of(line.points_mm)) if line.dashed else [line.points_mm]
    plotter.add_mesh(_polylines(pieces), color=line.colour, line_width=line.width_px * scale, lighting=False)


def _dash_of(points_mm: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points_mm, axis=0), axis=1).sum()) / 160


def _draw_rays(rays: Iterable[RayPath], plotter: Plotter, scale: float) -> None:
    import pyvista

    for fate in (RayFate.CLEAR, RayFate.GLASS, RayFate.BLOCKED):
        paths = [ray.points_mm for ray in rays if ray.fate is fate]
        if not paths:
            continue
        plotter.add_mesh(_polylines(paths), color=RAY_COLOURS[fate], line_width=RAY_WIDTH_PX[fate] * scale, lighting=False)
        if fate is RayFate.BLOCKED:
            ends = pyvista.PolyData(np.array([path[-1] for path in paths]))
            plotter.add_mesh(
                ends, color=RAY_COLOURS[fate], point_size=STOP_DOT_PX * scale, render_points_as_spheres=True, lighting=False
            )


def dashes(points_mm: FloatArray, dash_mm: float) -> list[FloatArray]:
    """Every other piece of a polyline cut to pieces of this length [mm], corners kept."""
    begun = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points_mm, axis=0), axis=1))])
    pieces = []
    for start in np.arange(0.0, begun[-1], 2 * dash_mm):
        end = min(start + dash_mm, begun[-1])
        along = np.concatenate([[start], begun[(begun > start) & (begun < end)], [end]])
        pieces.append(np.column_stack([np.interp(along, begun, points_mm[:, axis]) for axis in range(3)]))
    return pieces


def _draw_heatmap(heatmap: Heatmap, plotter: Plotter, scale: float) -> None:
    """Flat-lit cells in the very colours of the scale, and isolines lifted off them."""
    import pyvista

    surface = heatmap_mesh(heatmap)
    plotter.add_mesh(surface, scalars="rgb", rgb=True, lighting=False, show_scalar_bar=False)
    c = heatmap.corners_mm
    centres = (c[1:, 1:] + c[1:, :-1] + c[:-1, 1:] + c[:-1, :-1]) / 4
    centres = np.where(np.isfinite(centres), centres, 0.0)
    grid = pyvista.StructuredGrid(*(centres[..., axis] for axis in range(3)))
    loss = np.minimum(np.nan_to_num(heatmap.loss_stops, nan=0.0, posinf=np.inf), 2 * heatmap.full_stops)
    loss = np.where(np.isfinite(centres).all(axis=-1), loss, 0.0)
    grid["loss"] = loss.ravel(order="F")
    if min(loss.shape) < 2:
        return
    for level in ISOLINES_STOPS:
        lines = grid.contour([level], scalars="loss")
        if lines.n_points:
            colour = (1.0, 1.0, 1.0) if level >= 1.0 else (0.1, 0.1, 0.1)
            plotter.add_mesh(lines.translate((0, 0, -LIFT_MM)), color=colour, line_width=3.0 * scale, lighting=False)


def heatmap_mesh(heatmap: Heatmap) -> Any:
    """One quad to a pixel with its colour as 'rgb'; pixels without a place are left out."""
    import pyvista

    rows, columns = heatmap.loss_stops.shape
    corner = np.arange((rows + 1) * (columns + 1)).reshape(rows + 1, columns + 1)
    quads = np.stack([corner[:-1, :-1], corner[:-1, 1:], corner[1:, 1:], corner[1:, :-1]], axis=-1).reshape(-1, 4)
    places = heatmap.corners_mm.reshape(-1, 3)
    good = np.isfinite(places[quads]).all(axis=(1, 2))
    faces = np.column_stack([np.full(int(good.sum()), 4), quads[good]]).ravel()
    mesh = pyvista.PolyData(np.where(np.isfinite(places), places, 0.0), faces=faces)
    mesh.cell_data["rgb"] = loss_rgb(heatmap).reshape(-1, 3)[good]
    return mesh


def loss_rgb(heatmap: Heatmap) -> NDArray[np.uint8]:
    """Colours (H, W, 3) uint8 of the loss."""
    table, loss = heatmap.colour_table, heatmap.loss_stops
    index = np.clip(np.nan_to_num(loss / heatmap.full_stops, posinf=1.0) * (len(table) - 1), 0, len(table) - 1)
    dark = np.round(np.array(heatmap.dark_colour) * 255).astype(np.uint8)
    rgb = np.where((loss > heatmap.full_stops)[..., None], dark, table[np.round(index).astype(np.int64)])
    return np.where(np.isnan(loss)[..., None], np.round(np.array(heatmap.unlit_colour) * 255).astype(np.uint8), rgb)


def _stand_at(view: Viewpoint, plotter: Plotter) -> None:
    camera = plotter.camera
    camera.position, camera.focal_point, camera.up = (tuple(v) for v in (view.position_mm, view.focal_point_mm, view.up))
    camera.view_angle = VIEW_ANGLE_DEG
    if view.parallel_scale_mm > 0:
        camera.enable_parallel_projection()
        camera.parallel_scale = view.parallel_scale_mm
    plotter.reset_camera_clipping_range()
