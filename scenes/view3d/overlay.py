"""Words, leaders, legend and scale on top of a 3D picture, in pixels from the lower left corner."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scenes.sheets import colours
from scenes.sheets.colours import rgb_of
from scenes.view3d.content import Colour, Heatmap, RayFate, Scene3D
from scenes.view3d.label_layout import BODY_PX, LABEL_PX, NOTE_PX, SIDE_PX, TITLE_PX, Layout, PlacedLabel, width_px
from scenes.view3d.rays import RAY_COLOURS, RAY_WIDTH_PX, STOP_DOT_PX

Plotter = Any  # a pyvista.Plotter: its own annotations do not hold what its methods take

INK: Colour = rgb_of(colours.INK)
SOFT: Colour = rgb_of(colours.SOFT_INK)
LEADER: Colour = (0.45, 0.45, 0.45)
PAPER: Colour = rgb_of(colours.PAPER)
FATE_WORDS = {
    RayFate.CLEAR: "ray gets through",
    RayFate.GLASS: "gets through, dimmed by glass",
    RayFate.BLOCKED: "stopped by a part, at the dot",
}
LEGEND_Y_PX, NOTE_Y_PX = 62.0, 20.0
LEGEND_WIDTH_PX = 5.0  # thinner, one line alone looks paler than a bundle of rays
CORNERS = 16  # of a dot
SCALE_WIDTH_PX, SCALE_HEIGHT_PX = 300.0, 18.0


def draw_overlay(scene: Scene3D, layout: Layout, plotter: Plotter) -> None:
    """Title, labels with leaders, legend of the rays, scale of the heatmap and the note at the foot."""
    for label in layout.labels:  # all leaders first: none may cross the words of another label
        _leader(label, layout, plotter)
    for label in layout.labels:
        _text(label.text, (label.x, label.y), LABEL_PX * layout.scale, plotter, bold=label.strong, centred=True, ground=0.85)
    _title(scene, layout, plotter)
    _legend(scene, layout, plotter)
    if scene.heatmap is not None:
        _scale(scene.heatmap, layout, plotter)
    _text(scene.note, (SIDE_PX * layout.scale, NOTE_Y_PX * layout.scale), NOTE_PX * layout.scale, plotter, colour=SOFT)


def font_file(*, bold: bool = False) -> str | None:
    """The same letters as in the flat pictures, which come with their library; None where it is not there."""
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        return None
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    path = Path(spec.submodule_search_locations[0], "mpl-data", "fonts", "ttf", name)
    return str(path) if path.is_file() else None


def _text(
    text: str, at: tuple[float, float], letter_px: float, plotter: Plotter, *,
    colour: Colour = INK, bold: bool = False, centred: bool = False, ground: float = 0.0,
) -> None:  # fmt: skip
    from vtkmodules.vtkRenderingCore import vtkTextActor

    actor = vtkTextActor()
    actor.SetInput(text.replace("$", r"\$"))  # or what stands between two of them is read as a formula
    actor.SetPosition(*at)
    style = actor.GetTextProperty()
    style.SetFontSize(max(round(letter_px), 6))
    style.SetColor(*colour)
    path = font_file(bold=bold)
    if path:
        style.SetFontFamily(4)  # a font of our own
        style.SetFontFile(path)
    style.SetJustification(1 if centred else 0)
    style.SetVerticalJustification(1 if centred else 0)
    if ground:
        style.SetBackgroundColor(*PAPER)
        style.SetBackgroundOpacity(ground)
    plotter.add_actor(actor, pickable=False, reset_camera=False, render=False)


def _flat(points_px: ArrayLike, cells: list[list[int]], colour: Colour, plotter: Plotter, *, width_px: float = 0.0) -> None:
    """Polygons, or lines where a width is given, in screen pixels."""
    import pyvista
    from vtkmodules.vtkRenderingCore import vtkActor2D, vtkPolyDataMapper2D

    points = np.asarray(points_px, dtype=np.float64)
    points = np.column_stack([points, np.zeros(len(points))])
    packed = np.concatenate([[len(cell), *cell] for cell in cells])
    mesh = pyvista.PolyData(points, lines=packed) if width_px else pyvista.PolyData(points, faces=packed)
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(mesh)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*colour)
    if width_px:
        actor.GetProperty().SetLineWidth(width_px)
    plotter.add_actor(actor, pickable=False, reset_camera=False, render=False)


def _strip(colours: NDArray[np.uint8], at: tuple[float, float], size: tuple[float, float], plotter: Plotter) -> None:
    """Colours (C, 3) side by side as one thing to draw: a thing for each would cost more than the rest of the words."""
    import pyvista
    from vtkmodules.vtkRenderingCore import vtkActor2D, vtkPolyDataMapper2D

    x = np.repeat(at[0] + size[0] * np.arange(len(colours) + 1) / len(colours), 2)
    y = np.tile([at[1], at[1] + size[1]], len(colours) + 1)
    first = 2 * np.arange(len(colours))
    quads = np.column_stack([np.full(len(colours), 4), first, first + 2, first + 3, first + 1])
    mesh = pyvista.PolyData(np.column_stack([x, y, np.zeros_like(x)]), faces=quads.ravel())
    mesh.cell_data.set_scalars(np.asarray(colours), "rgb")  # type: ignore[arg-type]
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(mesh)
    mapper.SetScalarModeToUseCellData()
    mapper.SetColorModeToDirectScalars()
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    plotter.add_actor(actor, pickable=False, reset_camera=False, render=False)


def _leader(label: PlacedLabel, layout: Layout, plotter: Plotter) -> None:
    if label.leader is not None:
        _flat(label.leader, [[0, 1]], LEADER, plotter, width_px=1.6 * layout.scale)
        r = 3.0 * layout.scale
        x, y = label.leader[1]
        _flat([[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]], [[0, 1, 2, 3]], LEADER, plotter)


def _title(scene: Scene3D, layout: Layout, plotter: Plotter) -> None:
    y = layout.size[1] - TITLE_PX * 1.4 * layout.scale
    for k, line in enumerate(scene.title):
        letter = (BODY_PX if k else TITLE_PX) * layout.scale
        y -= letter * 1.5 if k else 0.0
        _text(line, (SIDE_PX * layout.scale, y), letter, plotter, bold=k == 0, colour=INK)


def _legend(scene: Scene3D, layout: Layout, plotter: Plotter) -> None:
    s = layout.scale
    x, y = SIDE_PX * s, LEGEND_Y_PX * s
    for fate in RayFate:
        if not any(ray.fate is fate for ray in scene.rays):
            continue
        ends = [[x, y + 6 * s], [x + 46 * s, y + 6 * s]]
        _flat(ends, [[0, 1]], RAY_COLOURS[fate], plotter, width_px=max(RAY_WIDTH_PX[fate], LEGEND_WIDTH_PX) * s)
        if fate is RayFate.BLOCKED:  # printed grey, the dot alone tells these rays from the others
            _flat(_round((x + 46 * s, y + 6 * s), STOP_DOT_PX * s / 2), [list(range(CORNERS))], RAY_COLOURS[fate], plotter)
        _text(FATE_WORDS[fate], (x + 60 * s, y), BODY_PX * s, plotter)
        x += 60 * s + width_px(FATE_WORDS[fate], s, BODY_PX) + 20 * s


def _round(middle: tuple[float, float], radius: float) -> NDArray[np.float64]:
    """Corners (CORNERS, 2) of a dot."""
    turn = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
    return np.array(middle) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def _scale(heatmap: Heatmap, layout: Layout, plotter: Plotter) -> None:
    """The colours of the heatmap from no loss to dark, with ticks in stops."""
    s = layout.scale
    width, height = SCALE_WIDTH_PX * s, SCALE_HEIGHT_PX * s
    left, bottom = layout.size[0] - SIDE_PX * s - width - 30 * s, LEGEND_Y_PX * s
    _strip(heatmap.colour_table, (left, bottom), (width, height), plotter)
    rim = [[left, bottom], [left + width, bottom], [left + width, bottom + height], [left, bottom + height]]
    _flat(rim, [[0, 1, 2, 3, 0]], INK, plotter, width_px=1.0 * s)  # or the clean end would not show on the paper
    _text("stops that parts take", (left + width / 2, bottom + height + 12 * s), NOTE_PX * s, plotter, centred=True)
    if np.isnan(heatmap.loss_stops).any():
        _unlit(heatmap, (left - 200 * s, bottom), layout, plotter)
    for stops in range(int(heatmap.full_stops) + 1):
        last = stops == int(heatmap.full_stops)
        at = (left + width * stops / heatmap.full_stops, bottom - 12 * s)
        _text(f"{stops} and more" if last else str(stops), at, NOTE_PX * s, plotter, centred=True)


def _unlit(heatmap: Heatmap, at: tuple[float, float], layout: Layout, plotter: Plotter) -> None:
    """A patch that says what the colour of unlit pixels means."""
    side = SCALE_HEIGHT_PX * layout.scale
    x, y = at
    _flat([[x, y], [x + side, y], [x + side, y + side], [x, y + side]], [[0, 1, 2, 3]], heatmap.unlit_colour, plotter)
    _text("not lit by the lens", (x + 1.4 * side, y + 0.1 * side), NOTE_PX * layout.scale, plotter)
