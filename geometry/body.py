"""What a part is to a ray: a tube to pass through, a convex block, or a mesh. The only three shapes the tracers know."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from geometry.frame import Pose
from geometry.outline import SAGITTA_MM, Outline, polygon_loops

FLAT_MM = 1e-6  # a spread of corners below this is arithmetic
THICK_MM = 0.01  # far above it: what cheaper arithmetic shows to spread so far need not be looked at closer
SURE_SHARE = 1e-12  # of a determinant's size: some thousand times its rounding


class Kind(StrEnum):
    """What a part is to the crew."""

    BARREL = "barrel"
    FRONT_RING = "front ring"
    ROD = "rod"
    BACK = "back plate"
    SEAL = "seal"
    TRAY = "tray"
    MASK = "mask"
    HOOD = "hood"
    FLAG = "flag"
    EXTENSION = "extension"
    SOLID = "solid"


@dataclass(frozen=True, slots=True)
class Loop:
    """An outline in a plane of a posed part, `z_mm` ahead of the part's centre along the part's own axis."""

    pose: Pose
    outline: Outline
    z_mm: float = 0.0

    def points_mm(self, sagitta_mm: float = SAGITTA_MM) -> tuple[NDArray[np.float64], ...]:
        """The outline's loops as frame points, each (K, 3) [mm]."""
        loops = polygon_loops(self.outline, sagitta_mm)
        return tuple(self.pose.points_to_frame(np.column_stack([loop, np.full(len(loop), self.z_mm)])) for loop in loops)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """Material around a way through: plate with a hole, tray, mask, hood, seal.

    A ray passes when it goes through every `inner` loop (rear to front). It is stopped when it misses one of them, unless
    `bounded` and it stays outside the convex hull of the `outer` loops altogether (a way round the part).
    Inner loops are taken as joined by straight walls: between two of them the way through is their ruled hull.
    Where `bounded` is false the part leaves no way round: outer loops are only for drawing and weighing.
    """

    inner: tuple[Loop, ...]
    outer: tuple[Loop, ...]
    bounded: bool

    def __post_init__(self) -> None:
        """Refuse a tube with no way through or no outside."""
        if not self.inner or not self.outer:
            raise GeometryError("a tube needs at least one inner and one outer loop")


@dataclass(frozen=True, slots=True)
class Block:
    """A solid convex body: flag, extension, rod. `corners_mm` (V, 3) span it; V >= 4, not all in one plane."""

    corners_mm: NDArray[np.float64]

    def __post_init__(self) -> None:
        """Refuse flat or unshaped corner lists."""
        if self.corners_mm.ndim != 2 or self.corners_mm.shape[1] != 3 or len(self.corners_mm) < 4:
            raise GeometryError(f"a block needs at least four corners of three coordinates, found shape {self.corners_mm.shape}")
        if not _is_thick(self.corners_mm) and _spread_mm(self.corners_mm) < FLAT_MM:
            raise GeometryError("a block must have thickness: all its corners lie in one plane")


def _spread_mm(corners_mm: NDArray[np.float64]) -> float:
    """How far corners spread where they do least, as their least singular value [mm]."""
    return float(np.linalg.svd(corners_mm - corners_mm.mean(axis=0), compute_uv=False)[-1])


def _is_thick(corners_mm: NDArray[np.float64]) -> bool:
    """Whether the squares of their singular values show it in a tenth of the time: their product, over the most of two of them."""
    away = corners_mm - corners_mm.mean(axis=0)
    (a, b, c), (_, d, e), (_, _, f) = (away.T @ away).tolist()
    product, total = a * (d * f - e * e) - b * (b * f - c * e) + c * (b * e - c * d), a + d + f
    return bool(product > max((THICK_MM * total / 2) ** 2, SURE_SHARE * total**3))


@dataclass(frozen=True, slots=True)
class Surface:
    """A triangle mesh, open or closed, stopping whatever meets it: `vertices_mm` (V, 3), `faces` (F, 3) int."""

    vertices_mm: NDArray[np.float64]
    faces: NDArray[np.int64]


Body = Tube | Block | Surface


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One named thing of the box. `group` names what it belongs to in the scene file, such as 'box.stage[1]'."""

    name: str
    kind: Kind
    body: Body
    group: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """A plane-parallel plate of glass: the pose of its centre, its outline, its thickness. What it does to light is not here."""

    name: str
    pose: Pose
    outline: Outline
    thickness_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembly:
    """A whole box as fitted to one lens: parts that stop light, glass in trays, and fixtures that are only drawn and checked."""

    parts: tuple[Part, ...]
    slabs: tuple[Slab, ...] = ()
    fixtures: tuple[Part, ...] = ()
