"""How the walls of a hood are joined and bent: radius and k factor, what is taken by default, and the box with bends round."""

from __future__ import annotations

from geometry.errors import GeometryError
from geometry.unfold import Bending, ends_of, one_piece, overlaps_itself, round_corner_mm
from scenes.rig.bent_hood import bent_hood
from scenes.scene_file.catalogue import Material
from scenes.scene_file.tables.box import Box, Hood
from scenes.scene_file.tables.make import Make, MakePart, materials_of, names_of
from scenes.scene_file.tables.scene import Scene


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


def joint_of(row: MakePart | None, make: Make, material: Material) -> str:
    """How a hood's walls are joined: as its own row says, else [make], else as is usual with the material."""
    return (row.joint if row is not None else None) or make.joint or material.joint


def with_bends_round(scene: Scene, fitted: Box) -> Box:
    """A box as fitted with a lens, the corners of its bent hoods as round as they are made; itself where none is bent.

    A hood that cannot be bent keeps its corners: `make` tells that.
    """
    places = names_of(scene.box)
    rows = {places[row.of]: row for row in scene.make.part if row.of in places}
    hoods = tuple(
        bent_hood(hood, _corner_mm(hood, rows.get(("hood", scene.box.hood.index(hood))), scene.make)) for hood in fitted.hood
    )
    return fitted if hoods == fitted.hood else fitted.model_copy(update={"hood": hoods})


def _corner_mm(hood: Hood, row: MakePart | None, make: Make) -> float:
    material = materials_of(make)[(row.material if row is not None else None) or make.material]
    if joint_of(row, make, material) != "bend":
        return 0.0
    ends = ends_of(hood.rear_mm, hood.front_mm, hood.depth_mm)
    try:
        bending, _ = bending_of(hood.name or "hood", hood.thickness_mm, material, row, make)
        in_panels = overlaps_itself(one_piece(ends, bending, make.tab_mm))
    except GeometryError:
        return 0.0
    return 0.0 if in_panels else round_corner_mm(ends, bending)
