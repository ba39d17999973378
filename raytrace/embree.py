"""The mesh way: the same rays and the same glass as the reference, but what stops them are triangles met by Embree.

For imported meshes and curved walls. Embree works in single precision: within about a thousandth of a millimetre of an edge its
answer is a toss-up.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.meshes import assembly_mesh
from raytrace.box import NO_PART, Box
from raytrace.optics.bundle import BoolArray, Bundle, Leg
from raytrace.optics.pencil import Pencils
from raytrace.reference import Stops, Tracer, sampled_shares
from raytrace.shares import Shares

# vertices (V, 3) [mm], faces (F, 3), index of each face's part (F,)
PartMeshes = tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]

OVERLAP_MM = 1e-3  # legs overlap by this: ten steps of single precision at a metre, so that no face falls between two legs
FAR_MM = 1e7  # stands for no end: beyond any part, yet harmless in single precision


def embree_shares(
    pencils: Pencils,
    box: Box,
    *,
    log2_rays: int = 8,
    rng: np.random.Generator,
    meshes: PartMeshes | None = None,
    alone: bool = False,
) -> Shares:
    """Light of every pencil by 2**log2_rays rays against triangles, with its standard error; the same rays as `reference_shares`.

    `meshes` are those of the box's parts, made here where not given: plates that leave no way round must reach out to where no ray
    goes. `Shares.alone` is (N, 0) unless `alone` asks for it: it costs one more trace per part.
    """
    tracer = mesh_tracer(meshes or assembly_mesh(box.parts, for_tracing=True), len(box.parts), alone=alone)
    return sampled_shares(pencils, box, tracer, engine="embree", log2_rays=log2_rays, rng=rng)


def mesh_tracer(meshes: PartMeshes, parts: int, *, alone: bool = False) -> Tracer:
    """The tracer that takes the first triangle met, and on request each part's triangles by themselves."""
    vertices, faces, part_of_face = meshes
    whole = triangle_scene(vertices, faces)
    single = [triangle_scene(vertices, faces[part_of_face == k]) for k in range(parts)] if alone else []

    def trace(bundle: Bundle, legs: Sequence[Leg]) -> Stops:
        face = first_face(whole, legs, bundle.alive)
        first = np.where(face >= 0, part_of_face[face] if len(faces) else 0, NO_PART).astype(np.int16)
        passes = [first_face(scene, legs, bundle.alive) < 0 for scene in single]
        return Stops(first_part=first, passes=np.stack(passes, axis=1) if passes else np.zeros((len(bundle), 0), dtype=np.bool_))

    return trace


def triangle_scene(vertices_mm: FloatArray, faces: NDArray[np.int64]) -> EmbreeScene | None:
    """Embree's search tree over triangles; None where there are none."""
    if len(faces) == 0:
        return None
    scene = EmbreeScene()
    TriangleMesh(scene, vertices_mm.astype(np.float32), faces.astype(np.int32))
    return scene


def first_face(scene: EmbreeScene | None, legs: Sequence[Leg], asked: BoolArray) -> NDArray[np.int64]:
    """Index of the first triangle met along all legs (N,), -1 where none is or where a ray is not `asked` about."""
    found = np.full(len(asked), -1, dtype=np.int64)
    if scene is None:
        return found
    for leg in legs:
        rays = np.flatnonzero(asked & (found < 0) & (leg.length_mm > 0))
        if len(rays):
            reach = np.minimum(leg.length_mm[rays] + OVERLAP_MM, FAR_MM).astype(np.float32)
            found[rays] = _run(scene, leg.origin[rays], leg.direction[rays], reach)
    return found


def _run(scene: EmbreeScene, origin: FloatArray, direction: FloatArray, reach_mm: NDArray[np.float32]) -> NDArray[np.int32]:
    return scene.run(origin.astype(np.float32), direction.astype(np.float32), dists=reach_mm, query="INTERSECT")
