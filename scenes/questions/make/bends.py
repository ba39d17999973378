"""How the walls of a hood are bent: radius and k factor, and what of them is taken by default."""

from __future__ import annotations

from geometry.errors import GeometryError
from geometry.unfold import Bending
from scenes.scene_file.catalogue import Material
from scenes.scene_file.tables.make import Make, MakePart


def bending_of(name: str, thickness_mm: float, material: Material, row: MakePart | None, make: Make) -> tuple[Bending, list[str]]:
    """How a sheet is bent, and sentences on what is taken by default or may crack; a GeometryError for what is not to be bent.

    row: what the scene says of this part alone.
    """
    wanted = (row.bend_radius_mm if row is not None else None) or make.bend_radius_mm
    least = material.least_radius_mm(thickness_mm)
    if wanted is None and least is None:
        raise GeometryError(
            f'{name}: {thickness_mm:g} mm {material.title} is not to be bent; say joint = "panels" in [make], '
            "give bend_radius_mm, or take another material"
        )
    radius = wanted if wanted is not None else least
    assert radius is not None
    k = make.k_factor if make.k_factor is not None else material.k
    taken = []
    if wanted is None:
        taken.append(
            f"{name}: bends of {radius:g} mm inside radius, the least for {thickness_mm:g} mm {material.title} (bend_radius_mm)"
        )
    elif least is not None and wanted < least - 1e-9:
        taken.append(f"{name}: a bend radius of {wanted:g} mm is less than {material.title} takes, {least:g} mm: it may crack")
    if make.k_factor is None:
        taken.append(f"{name}: bends reckoned with k = {k:g} (k_factor); bend a test strip first")
    return Bending(thickness_mm=thickness_mm, radius_mm=radius, k_factor=k), taken
