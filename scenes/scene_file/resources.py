"""What the files that a scene names hold, as plain values by the path written in the scene. Opens nothing itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from geometry.outline import Freeform
from raytrace.optics.prescription import Prescription
from scenes.scene_file.tables.lens import Lens


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassTable:
    """A published prescription, and how far its first vertex lies behind the lens's front rim.

    abbes: the Abbe number of each row, None where the table gives none; no light is worked out by them.
    """

    prescription: Prescription
    vertex_behind_front_mm: float
    abbes: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnOutline(Freeform):
    """An outline from a drawing file, and whether the drawing says its unit; one that does not is taken as mm.

    doubts: a sentence for each thing in the drawing that may speak against how it was read.
    """

    states_unit: bool = True
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MeshArrays:
    """A mesh file's arrays in its own unit; `unit` is None where the file does not say.

    doubts: a sentence for each thing in the file that may say that it is not whole.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    unit: str | None = None
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Resources:
    """Contents of every file that a scene names."""

    prescriptions: Mapping[str, GlassTable] = field(default_factory=dict)
    outlines: Mapping[str, DrawnOutline] = field(default_factory=dict)
    meshes: Mapping[str, MeshArrays] = field(default_factory=dict)

    def glass_of(self, lens: Lens) -> GlassTable | None:
        """The prescription of a lens; None where it has none."""
        return None if lens.prescription is None else self.prescriptions[lens.prescription]
