"""Parts and glass as coloured triangles with sharp edges, ready to be drawn."""

from __future__ import annotations

import numpy as np
import trimesh

from geometry.body import Assembly, Kind, Part
from geometry.meshes import part_mesh, slab_mesh
from scenes.sheets.colours import GLASS_COLOUR, part_colour, rgb_of
from scenes.view3d.content import Colour, Solid

SAGITTA_MM = 0.05  # chords of round outlines as drawn: finer than a pixel
SHARP_RAD = 0.35  # edges that fold more than this are drawn as lines; chords of round parts fold less
PALER = 0.25  # parts are mixed with this much white, so that the full colours of the rays stand out
GLASS_KIND = "glass"

OPACITY = {
    Kind.BARREL: 0.30, Kind.FRONT_RING: 0.55, Kind.ROD: 0.60, Kind.BACK: 0.38, Kind.SEAL: 0.55, Kind.TRAY: 0.34, Kind.MASK: 0.45,
    Kind.HOOD: 0.22, Kind.FLAG: 0.40, Kind.EXTENSION: 0.40, Kind.SOLID: 0.50,
}  # fmt: skip
GLASS_OPACITY = 0.30


def solids_of(assembly: Assembly) -> tuple[Solid, ...]:
    """Fixtures, parts and glass as drawn, in that order."""
    parts = [_solid_of_part(part) for part in (*assembly.fixtures, *assembly.parts)]
    colour = palette_colour(GLASS_KIND)
    glass = [_solid(slab.name, GLASS_KIND, slab_mesh(slab, SAGITTA_MM), colour, GLASS_OPACITY) for slab in assembly.slabs]
    return (*parts, *glass)


def _solid_of_part(part: Part) -> Solid:
    return _solid(part.name, str(part.kind), part_mesh(part, SAGITTA_MM), palette_colour(str(part.kind)), OPACITY[part.kind])


def _solid(name: str, kind: str, mesh: trimesh.Trimesh, colour: Colour, opacity: float) -> Solid:
    sharp = mesh.face_adjacency_edges[mesh.face_adjacency_angles > SHARP_RAD]
    return Solid(
        name=name,
        kind=kind,
        vertices_mm=np.array(mesh.vertices, dtype=np.float64),
        faces=np.array(mesh.faces, dtype=np.int64),
        edges_mm=np.array(mesh.vertices[sharp], dtype=np.float64),
        colour=colour,
        opacity=opacity,
    )


def palette_colour(kind: str) -> Colour:
    """The colour of a kind of part, or of glass, as in every other picture, a little paler."""
    full = np.array(rgb_of(GLASS_COLOUR if kind == GLASS_KIND else part_colour(Kind(kind))))
    r, g, b = full + PALER * (1.0 - full) if kind != GLASS_KIND else 0.8 * full
    return float(r), float(g), float(b)
