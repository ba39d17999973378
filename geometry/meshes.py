"""Triangle meshes of bodies and slabs, to draw, weigh, cut and trace: closed, outward normals, in frame coordinates."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.body import Block, Body, Loop, Part, Slab, Tube
from geometry.errors import GeometryError
from geometry.frame import Pose
from geometry.outline import SAGITTA_MM, Circle, Freeform, Outline, RoundedRectangle, is_convex, to_shape

if TYPE_CHECKING:
    import trimesh  # elsewhere where it is used: it takes a third of a second to load, and processes that only judge need none

REACH_MM = 3000.0  # half width of the flange that leaves no way round: catches rays up to 85 deg off axis 250 mm ahead of the lens
SAME_PLANE_MM = 1e-9  # loops closer than this lie in one plane: a millionth of what can be measured
_QUARTER_TURNS = np.array([[[1, 0], [0, 1]], [[0, -1], [1, 0]], [[-1, 0], [0, -1]], [[0, 1], [-1, 0]]], dtype=np.float64)


def part_mesh(part: Part, sagitta_mm: float = SAGITTA_MM) -> trimesh.Trimesh:
    """The part as a mesh; watertight for tubes and blocks, as imported for surfaces."""
    return body_mesh(part.body, sagitta_mm)


def body_mesh(body: Body, sagitta_mm: float = SAGITTA_MM) -> trimesh.Trimesh:
    """The body as a mesh; round outlines as inscribed chords, so that an opening never grows."""
    import trimesh

    if isinstance(body, Tube):
        return _tube_mesh(body.inner, body.outer, sagitta_mm)
    if isinstance(body, Block):
        return trimesh.convex.convex_hull(body.corners_mm)
    return trimesh.Trimesh(body.vertices_mm, body.faces, process=False)


def body_triangles(body: Body, sagitta_mm: float = SAGITTA_MM) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """(vertices (V, 3) [mm], faces (F, 3)) of `body_mesh`; of plain loops without loading the library that meshes are made with."""
    if isinstance(body, Tube) and not _is_drawn(loops := _all_round(body.inner, body.outer)):
        return _wrapped(loops, sagitta_mm)
    mesh = body_mesh(body, sagitta_mm)
    return np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64)


def slab_mesh(slab: Slab, sagitta_mm: float = SAGITTA_MM) -> trimesh.Trimesh:
    """The glass as a closed plate."""
    return _prism(to_shape(slab.outline, sagitta_mm), -slab.thickness_mm / 2, slab.thickness_mm / 2, slab.pose)


def trace_mesh(part: Part, reach_mm: float = REACH_MM, sagitta_mm: float = SAGITTA_MM) -> trimesh.Trimesh:
    """What stops rays: the part itself, widened to `reach_mm` on all sides where nothing may pass round it."""
    body = part.body
    if not isinstance(body, Tube) or body.bounded:
        return body_mesh(body, sagitta_mm)
    far = RoundedRectangle(2 * reach_mm, 2 * reach_mm)
    ends = tuple(Loop(loop.pose, far, loop.z_mm) for loop in _ends(body.inner))
    return _tube_mesh(body.inner, ends, sagitta_mm)


def assembly_mesh(
    parts: Sequence[Part], *, for_tracing: bool = False, reach_mm: float = REACH_MM, sagitta_mm: float = SAGITTA_MM
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """(vertices (V, 3) [mm], faces (F, 3), part_of_face (F,)) of all parts in one mesh; indices count `parts`."""
    meshes = [trace_mesh(p, reach_mm, sagitta_mm) if for_tracing else part_mesh(p, sagitta_mm) for p in parts]
    if not meshes:
        return np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64)
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes[:-1])])
    faces = np.concatenate([np.asarray(m.faces, dtype=np.int64) + s for m, s in zip(meshes, starts, strict=True)])
    vertices = np.concatenate([np.asarray(m.vertices, dtype=np.float64) for m in meshes])
    return vertices, faces, np.repeat(np.arange(len(meshes)), [len(m.faces) for m in meshes])


def matched_loops(outlines: Sequence[Circle | RoundedRectangle], sagitta_mm: float = SAGITTA_MM) -> tuple[NDArray[np.float64], ...]:
    """Loops (K, 2) [mm] of equal length, counter-clockwise, whose points with one index share one outward normal.

    Two such loops in parallel planes, joined index by index, give their convex hull; in one plane, the ring between them.
    Sharp corners repeat a point.
    """
    steps = max(_quarter_steps(_rolled(outline)[1], sagitta_mm) for outline in outlines)
    angles = np.pi / 2 * np.arange(steps + 1) / max(steps, 1)
    quarter = np.column_stack([np.cos(angles), np.sin(angles)])
    quarter[-1] = (0.0, 1.0) if steps else quarter[-1]  # neighbouring arcs must meet in the very same point
    return tuple(_rolled_loop(*_rolled(outline), quarter) for outline in outlines)


def _rolled(outline: Circle | RoundedRectangle) -> tuple[NDArray[np.float64], float]:
    """(half size of the rectangle that the corner circle's centre visits, corner radius) [mm]."""
    if isinstance(outline, Circle):
        return np.zeros(2), outline.radius_mm
    return np.array([outline.width_mm, outline.height_mm]) / 2 - outline.corner_mm, outline.corner_mm


def _quarter_steps(radius_mm: float, sagitta_mm: float) -> int:
    if radius_mm <= 0:
        return 0
    widest = 2 * np.arccos(max(1 - sagitta_mm / radius_mm, 0.5))
    return max(int(np.ceil(np.pi / 2 / widest)), 1)


def _rolled_loop(half_mm: NDArray[np.float64], radius_mm: float, quarter: NDArray[np.float64]) -> NDArray[np.float64]:
    signs = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    arcs = [sign * half_mm + radius_mm * (quarter @ turn.T) for sign, turn in zip(signs, _QUARTER_TURNS, strict=True)]
    return np.concatenate(arcs) + 0.0  # no negative zeros: equal points must have equal bytes


def _tube_mesh(inner: tuple[Loop, ...], outer: tuple[Loop, ...], sagitta_mm: float) -> trimesh.Trimesh:
    import trimesh

    loops = _all_round(inner, outer)
    if not _is_drawn(loops):
        return trimesh.Trimesh(*_wrapped(loops, sagitta_mm), process=False)
    if _is_prism(inner, outer):
        hole, rim = inner[0].outline, outer[0].outline
        shape = to_shape(rim, sagitta_mm).difference(to_shape(hole, sagitta_mm))
        return _prism(shape, inner[0].z_mm, inner[-1].z_mm, inner[0].pose)
    return trimesh.boolean.difference([_filled(outer, sagitta_mm), _filled(inner, sagitta_mm)], engine="manifold")


def _all_round(inner: tuple[Loop, ...], outer: tuple[Loop, ...]) -> tuple[Loop, ...]:
    """Up the inside and down the outside."""
    return (*inner, *outer[::-1])


def _is_drawn(loops: tuple[Loop, ...]) -> bool:
    return any(isinstance(loop.outline, Freeform) for loop in loops)


def _wrapped(loops: tuple[Loop, ...], sagitta_mm: float) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The closed skin through the loops in turn and back to the first, as vertices and faces."""
    flat = matched_loops([loop.outline for loop in loops if not isinstance(loop.outline, Freeform)], sagitta_mm)
    local = [np.column_stack([points, np.full(len(points), loop.z_mm)]) for loop, points in zip(loops, flat, strict=True)]
    placed = [loop.pose.points_to_frame(points) for loop, points in zip(loops, local, strict=True)]
    poses = {id(loop.pose): k for k, loop in enumerate(loops)}
    owner = np.repeat([poses[id(loop.pose)] for loop in loops], len(flat[0]))
    _, first, merged = np.unique(np.column_stack([np.concatenate(local), owner]), axis=0, return_index=True, return_inverse=True)
    faces = merged.reshape(-1)[_torus_faces(len(loops), len(flat[0]))]
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return np.concatenate(placed)[first], faces[whole]


def _torus_faces(loops: int, points: int) -> NDArray[np.int64]:
    """Faces (2 loops points, 3) of a grid closed both ways, outward when it runs up the inside and down the outside."""
    grid = np.arange(loops * points).reshape(loops, points)
    here, along = grid, np.roll(grid, -1, axis=1)
    up, both = np.roll(grid, -1, axis=0), np.roll(np.roll(grid, -1, axis=0), -1, axis=1)
    first, second = np.stack([here, up, both], axis=-1), np.stack([here, both, along], axis=-1)
    return np.concatenate([first.reshape(-1, 3), second.reshape(-1, 3)])


def _ends(loops: tuple[Loop, ...]) -> tuple[Loop, ...]:
    return loops if len(loops) < 2 else (loops[0], loops[-1])


def _is_prism(inner: tuple[Loop, ...], outer: tuple[Loop, ...]) -> bool:
    """Whether all inner loops are one outline and all outer loops another, between the same two planes of one pose."""
    one_pose = all(loop.pose is inner[0].pose for loop in (*inner, *outer))
    one_shape = all(len({_key(loop.outline) for loop in loops}) == 1 for loops in (inner, outer))
    gaps = [abs(a.z_mm - b.z_mm) for a, b in zip(_ends(inner), _ends(outer), strict=False)]
    return one_pose and one_shape and len(inner) > 1 and len(outer) > 1 and max(gaps) < SAME_PLANE_MM


def _key(outline: Outline) -> object:
    return outline.shape.wkb if isinstance(outline, Freeform) else outline


def _prism(shape: shapely.Geometry, rear_mm: float, front_mm: float, place: Pose) -> trimesh.Trimesh:
    """The shape pushed out from one plane of the pose to another; a shape in several pieces gives as many bodies."""
    import trimesh

    pieces = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, shapely.Polygon) and not p.is_empty]
    # ears cut off a ring whose hole has a corner level with one outside can leave a mesh that no solid has
    bodies = [trimesh.creation.extrude_polygon(p, front_mm - rear_mm, engine="manifold") for p in pieces]
    starts = np.cumsum([0, *(len(b.vertices) for b in bodies[:-1])])
    points = np.concatenate([b.vertices for b in bodies]) + np.array([0.0, 0.0, rear_mm])
    faces = np.concatenate([b.faces + s for b, s in zip(bodies, starts, strict=True)])
    return trimesh.Trimesh(place.points_to_frame(points), faces, process=False)


def _filled(loops: tuple[Loop, ...], sagitta_mm: float) -> trimesh.Trimesh:
    """The solid that the loops enclose: hulls between neighbours, joined."""
    import trimesh

    if not all(is_convex(loop.outline) for loop in loops):
        raise GeometryError("an opening that changes from rear to front must be convex in both places; give it one outline")
    rings = [np.concatenate(loop.points_mm(sagitta_mm)) for loop in loops]
    hulls = [trimesh.convex.convex_hull(np.concatenate(pair)) for pair in pairwise(rings)]
    return hulls[0] if len(hulls) == 1 else trimesh.boolean.union(hulls, engine="manifold")
