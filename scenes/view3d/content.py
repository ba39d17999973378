"""Everything a 3D picture of one state shows, as plain arrays: no drawing library, no files."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray

Colour = tuple[float, float, float]  # red, green, blue, 0 to 1


class View(StrEnum):
    """From where the state is looked at."""

    BESIDE = "beside"  # standing at the operator's left, a little behind the lens: heatmap seen from behind, as on the monitor
    FRONT = "front"  # standing in the scene at the operator's left, looking back into the lens: the heatmap is left out
    SECTION = "section"  # cut through the lens axis, seen from the operator's right: the scene is at the right


class RayFate(StrEnum):
    """What becomes of a drawn ray."""

    CLEAR = "clear"
    GLASS = "glass"
    BLOCKED = "blocked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """A named thing: triangles `faces` (F, 3) over `vertices_mm` (V, 3), and its sharp edges (E, 2, 3) [mm]."""

    name: str
    kind: str
    vertices_mm: FloatArray
    faces: NDArray[np.int64]
    edges_mm: FloatArray
    colour: Colour
    opacity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RayPath:
    """A ray as a polyline (K, 3) [mm] from the pupil to where it ends; `stopped_by` names the part, empty where it gets through."""

    points_mm: FloatArray
    fate: RayFate
    stopped_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heatmap:
    """Loss in stops (H, W), row 0 the top, and the places (H + 1, W + 1, 3) [mm] of the pixel corners in the picture plane.

    Drawn there it is seen from behind as on the monitor: the frame's -x, the operator's right, is the picture's right.
    colour_table (C, 3) uint8 runs from no loss to full_stops; dark_colour stands for all beyond, unlit_colour for NaN: pixels that
    the lens itself leaves dark, of which nothing can be said.
    """

    loss_stops: FloatArray
    corners_mm: FloatArray
    colour_table: NDArray[np.uint8]
    dark_colour: Colour
    unlit_colour: Colour
    full_stops: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A polyline (K, 3) [mm] of a colour and width in pixels of a 1000 pixel high picture."""

    points_mm: FloatArray
    colour: Colour
    width_px: float = 1.5
    dashed: bool = False


class Place(StrEnum):
    """Where a label stands."""

    ABOVE = "above"
    BELOW = "below"
    HERE = "here"  # centred on the place itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words about a place (3,) [mm]: in the rows above or below the drawing with a leader to it, or at the place itself."""

    text: str
    anchor_mm: FloatArray
    place: Place = Place.ABOVE
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene3D:
    """One state as seen from one place. The first line of the title is large; `note` is the small line at the foot."""

    view: View
    title: tuple[str, ...]
    note: str
    solids: tuple[Solid, ...]
    rays: tuple[RayPath, ...]
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]
    heatmap: Heatmap | None = None
