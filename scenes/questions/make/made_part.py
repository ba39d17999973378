"""A part as it is made: number and name, material, shape, place in the box, flats, mass."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.frame import Pose
from geometry.polyhedra import Polyhedron
from scenes.questions.make.shapes import FILE_SAGITTA_MM, Cut, Shape
from scenes.scene_file.catalogue import Material
from scenes.scene_file.tables.box import BoxPart

KG_PER_MM3 = 1e-6  # times g/cm3


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A part to make: its number and name, where it stands in the scene, its material, its shape and place in the box, its flats.

    Place and centre of mass (3,) [mm] are in box coordinates (geometry.parts); lenses None: fitted with all.
    """

    number: str
    name: str
    key: tuple[str, int]
    item: BoxPart
    material: Material
    shape: Shape
    place: Pose
    lenses: tuple[str, ...] | None
    cuts: tuple[Cut, ...]
    volume_mm3: float
    centre_mm: FloatArray

    @property
    def kg(self) -> float:
        """Mass [kg]."""
        return self.volume_mm3 * self.material.density_g_cm3 * KG_PER_MM3

    @property
    def range_kg(self) -> tuple[float, float]:
        """The least and the most that it weighs, by the range of its material [kg]."""
        low, high = self.material.range_g_cm3
        return self.volume_mm3 * low * KG_PER_MM3, self.volume_mm3 * high * KG_PER_MM3

    @property
    def thickness_mm(self) -> float:
        """Of the sheet that it is made of."""
        return self.shape.thickness_mm

    def own_solid(self, sagitta_mm: float = FILE_SAGITTA_MM) -> Polyhedron:
        """The part alone, lying on its rear face at height 0."""
        solid = self.shape.solid(sagitta_mm)
        return replace(solid, vertices_mm=solid.vertices_mm - np.array([0.0, 0.0, float(solid.vertices_mm[:, 2].min())]))

    def solid(self, sagitta_mm: float = FILE_SAGITTA_MM) -> Polyhedron:
        """The part where it stands in the box."""
        return self.shape.solid(sagitta_mm).placed(self.place)

    @property
    def lenses_words(self) -> str:
        """'for 28, 40'; '' where it is fitted with all lenses."""
        return "" if self.lenses is None else f"for {', '.join(self.lenses)}"

    def is_fitted(self, lens_name: str) -> bool:
        """Whether it is fitted with a lens."""
        return self.lenses is None or lens_name in self.lenses


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What is made, and what was taken by default on the way, a sentence each."""

    made: tuple[Made, ...]
    taken: tuple[str, ...]
