"""Which parts stand in each other's way: overlap of their meshes, with touching and hinges let pass."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from geometry.apart import beyond, corners_of, least_overlap_mm, passes_through, slab_corners, ways_of
from geometry.arrays import cross_product
from geometry.body import Assembly, Block, Body, Kind, Loop, Part, Slab, Surface, Tube
from geometry.flags import hinge_line
from geometry.frame import Pose
from geometry.mesh_solids import KNOWN_SOLID, held_of
from geometry.meshes import body_mesh, part_mesh, slab_mesh
from geometry.notes import Note, Severity
from geometry.outline import Circle, Freeform, Outline, RoundedRectangle

if TYPE_CHECKING:
    import trimesh

Solids = tuple["trimesh.Trimesh", ...]

TOUCH_MM = 0.05  # mean depth up to which an overlap counts as contact: finer than sheet metal is cut
HINGE_MM = 8.0  # blades may meet the wall or blade they hang on within this distance of the hinge line: a usual hinge's knuckle
FAR_MOVE = 3.0  # a way this many times as long as the shortest is no advice
LEVEL_COSINE = float(np.cos(np.radians(0.5)))  # tilts within half a degree are one: less than a stage can be set to
LEAST_RIM_MM = 2.0  # material that must be there round an opening even where its outside is not given
CHECK_SAGITTA_MM = 0.01  # chords this close cannot make an overlap that counts
SURE_MM = 0.01  # so little in common, and twice the chords that corners are told by, is contact still
KEPT = 256  # meshes kept in a process: a box that is tried out with one part changed has the same others
PAIRS_KEPT = 4096  # pairs of parts of some twenty boxes

_STACKED = {Kind.BACK, Kind.SEAL, Kind.TRAY, Kind.MASK, Kind.BARREL, Kind.FRONT_RING}  # follow each other along the axis
_PASS_THROUGH = [  # pairs that are made to hold or go through each other
    {Kind.ROD, Kind.BACK},
    {Kind.SEAL, Kind.BARREL},
    {Kind.SEAL, Kind.FRONT_RING},
    {Kind.SEAL, Kind.BACK},
    {Kind.BARREL, Kind.FRONT_RING},
]
_STAY = {Kind.BARREL, Kind.FRONT_RING, Kind.BACK}  # lens and back plate are where they are: the other part moves
_BLADES = {Kind.FLAG, Kind.EXTENSION}
_DIRECTIONS = ("sideways", "up or down", "along the axis")


def overlap_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """A fault for each two parts that take up the same room, saying how deep and which way; also meshes not held in full."""
    closed = [part for part in parts if _has_solid(part.body)]
    solids_of = cache(lambda index, thin: _solids(_material(closed[index], thin)))
    keys = [_part_key(part) for part in closed]
    pairs = ((i, j) for i, j in combinations(range(len(closed)), 2) if not _known_apart(closed[i], closed[j], keys[i], keys[j]))
    found = [note for i, j in pairs if (note := _pair_note(closed, i, j, solids_of)) is not None]
    return (*found, *(note for part in parts for note in _half_held(part)))


def _has_solid(body: Body) -> bool:
    return not isinstance(body, Surface) or bool(held_of(body).solids)


def _half_held(part: Part) -> Iterator[Note]:
    """A mesh of which open faces are looked at as sheets, or not at all."""
    if not isinstance(part.body, Surface):
        return
    held = held_of(part.body)
    if held.left_out:
        text = (
            f"whether it overlaps other parts was not looked at for {held.left_out} triangles of its mesh, which close no body; "
            "close the mesh in the drawing program, or hold the part against its neighbours yourself"
        )
        yield Note(part.name, text, Severity.CAUTION)
    elif held.sheets:
        which = "1 triangle of its mesh closes" if held.sheets == 1 else f"{held.sheets} triangles of its mesh close"
        text = (
            f"{which} no body, so overlaps were looked for along what is open alone, and not for a part that stands wholly within "
            "it; close the mesh in the drawing program to have it held in full"
        )
        yield Note(part.name, text, Severity.CAUTION)


def assembly_overlaps(assembly: Assembly) -> tuple[Note, ...]:
    """The same of a whole assembly with its fixtures: worked out once, whoever asks."""
    held = _assemblies.get(id(assembly))
    if held is None:
        held = _assemblies[id(assembly)] = assembly, overlap_notes((*assembly.parts, *assembly.fixtures))
        if len(_assemblies) > KEPT:
            _assemblies.popitem(last=False)
    return held[1]


_assemblies: OrderedDict[int, tuple[Assembly, tuple[Note, ...]]] = OrderedDict()  # with themselves, so that no other gets their id


def glass_overlap_notes(parts: Sequence[Part], slabs: Sequence[Slab]) -> tuple[Note, ...]:
    """A fault for each filter that another part or filter stands in, its own tray aside: what light does there cannot be told."""
    found = []
    for place, slab in enumerate(slabs):
        near = [(part.name, _material(part, _is_open(part))) for part in parts if _may_meet(part, slab)]
        corners, ways = slab_corners(slab), np.concatenate([np.eye(3), ways_of(slab)])
        others: list[tuple[str, Body | Slab]] = [(name, body) for name, body in near if not _is_apart(corners, ways, body)]
        others += [(other.name, other) for other in slabs[place + 1 :] if not _is_apart(corners, ways, other)]
        for name, body in others:
            shared = _shared(_solids_of(body), _solids_of(slab))
            if shared is not None:
                span_mm = float(np.ptp(slab.pose.points_to_part(shared)[:, 2]))
                text = (
                    f"stands in {slab.name}, by up to {span_mm:.1f} mm of its thickness: no light can be told there; "
                    "move one of them along the axis, or tilt it less"
                )
                again = f"stands in {slab.name}"
                found.append(Note(name, text, Severity.FAULT, doubts_light=True, in_glass=True, said_again=again, size=span_mm))
    return tuple(found)


def _is_apart(glass: NDArray[np.float64], ways: NDArray[np.float64], other: Body | Slab) -> bool:
    """Whether corners alone show that something shares nothing that counts with a filter's (N, 3)."""
    points = slab_corners(other) if isinstance(other, Slab) else _corners(other)[0]
    if least_overlap_mm(glass, points, np.concatenate([ways, ways_of(other)])) <= SURE_MM:
        return True
    return not isinstance(other, Slab) and passes_through(glass, other, SURE_MM)


def _solids_of(thing: Body | Slab) -> Solids:
    return (slab_mesh(thing, CHECK_SAGITTA_MM),) if isinstance(thing, Slab) else _solids(thing)


def _may_meet(part: Part, slab: Slab) -> bool:
    """Whether a part is checked against a filter: it holds material, and is not the tray that holds it."""
    return _has_solid(part.body) and not (part.kind is Kind.TRAY and _is_centred_on(part, slab))


def holds(tray: Part, slab: Slab) -> bool:
    """Whether a tray shares the slab's centre and turn: that is how glass is put into a tray."""
    return (
        isinstance(tray.body, Tube)
        and _is_centred_on(tray, slab)
        and np.allclose(tray.body.inner[0].pose.rotation, slab.pose.rotation)
    )


def _is_centred_on(part: Part, slab: Slab) -> bool:
    return isinstance(part.body, Tube) and np.allclose(part.body.inner[0].pose.origin_mm, slab.pose.origin_mm)


def _is_open(part: Part) -> bool:
    """Whether only the rim round a part's opening is sure to be there."""
    return isinstance(part.body, Tube) and not part.body.bounded


def _shared(first: Solids, second: Solids) -> NDArray[np.float64] | None:
    """Corners (N, 3) of what two things share that is more than contact; None where there is no such."""
    found = [points for one in first for two in second if (points := _shared_of(one, two)) is not None]
    return np.concatenate(found) if found else None


def _shared_of(first: trimesh.Trimesh, second: trimesh.Trimesh) -> NDArray[np.float64] | None:
    import trimesh

    if np.any(first.bounds[0] > second.bounds[1]) or np.any(second.bounds[0] > first.bounds[1]):
        return None
    # of what is no solid the library would find nothing shared, without a word; meshes are known to be, also where bodies touch
    if not all(mesh.metadata.get(KNOWN_SOLID) or mesh.is_volume for mesh in (first, second)):
        raise ArithmeticError("a part or filter of the box has no closed mesh, so it cannot be held against others")
    shared = trimesh.boolean.intersection([first, second], engine="manifold", check_volume=False)
    if len(shared.faces) == 0 or mean_depth_mm(shared) <= TOUCH_MM:
        return None
    return np.asarray(shared.vertices)


def mean_depth_mm(mesh: trimesh.Trimesh) -> float:
    """Thickness of a thin closed sheet from its volume and surface: 2 V / A (a sheet of thickness t has V = A t / 2) [mm]."""
    with np.errstate(divide="ignore", invalid="ignore"):  # a sheet of no thickness at all has no middle to tell
        return float(2 * abs(mesh.volume) / mesh.area)


def _pair_note(parts: Sequence[Part], i: int, j: int, solids_of: Callable[[int, bool], Solids]) -> Note | None:
    a, b = parts[i], parts[j]
    shared = _shared(solids_of(i, _is_thin(a, b)), solids_of(j, _is_thin(b, a)))
    if shared is None or _is_hinge_contact(a, b, shared):
        return None
    axes = _axes(a, b)
    spans = np.ptp(axes.points_to_part(shared), axis=0)
    way = int(np.argmin(spans))
    # two parts cannot take up the same room: where they will stand, and what light they take there, is not known
    span_mm = float(spans[way])
    text, again = _sentence(a, b, axes, way, span_mm), f"overlaps {b.name}"
    return Note(a.name, text, Severity.FAULT, doubts_light=True, said_again=again, size=span_mm)


def _known_apart(a: Part, b: Part, *keys: object) -> bool:
    """Whether nothing is to be told of two parts, as kinds or corners alone show; once for parts of the same numbers.

    A box on lenses whose fronts stand alike, or with one part changed, has the same other pairs.
    """
    if {a.kind, b.kind} in _PASS_THROUGH:
        return True
    found = _apart.get(keys)
    if found is None:
        found = _plainly_apart(_material(a, _is_thin(a, b)), _material(b, _is_thin(b, a)), _hinges(a, b))
        if None not in keys:
            _apart[keys] = found
            if len(_apart) > PAIRS_KEPT:
                _apart.popitem(last=False)
    return found


_apart: OrderedDict[tuple[object, ...], bool] = OrderedDict()


def _part_key(part: Part) -> object:
    """All that tells whether a part stands apart from another; None for a mesh."""
    body, key = part.body, _key(part.body)
    return None if key is None else (part.kind, isinstance(body, Tube) and body.bounded, key)


def _plainly_apart(a: Body, b: Body, hinges_mm: Sequence[NDArray[np.float64]] = ()) -> bool:
    """Whether corners alone show that two bodies, hung on hinges (2, 3), share nothing that counts; else their meshes are made."""
    (one, one_ends), (two, two_ends) = _corners(a), _corners(b)
    if (np.minimum(one_ends[1], two_ends[1]) - np.maximum(one_ends[0], two_ends[0])).min() <= SURE_MM:
        return True
    ways = np.concatenate([np.eye(3), ways_of(a), ways_of(b)])
    if least_overlap_mm(one, two, ways[3:]) <= SURE_MM:
        return True
    if passes_through(one, b, SURE_MM) or passes_through(two, a, SURE_MM):
        return True
    return any(_meet_near(one, two, np.concatenate([ways, -ways]), hinge) for hinge in hinges_mm)


def _meet_near(one: NDArray[np.float64], two: NDArray[np.float64], ways: NDArray[np.float64], ends_mm: NDArray[np.float64]) -> bool:
    """Whether what either hull has beyond the near end of the other, along some direction, lies within a hinge's reach."""
    for points, others in ((one, two), (two, one)):
        for way, level in zip(ways, (others @ ways.T).min(axis=0), strict=True):
            if np.all(_line_distance(beyond(points, way, float(level)), ends_mm) <= HINGE_MM):
                return True
    return False


def _hinges(a: Part, b: Part) -> list[NDArray[np.float64]]:
    """The hinges (2, 3) at which two parts may meet."""
    hung = [p for p in (a, b) if p.kind in _BLADES and isinstance(p.body, Block)]
    return [hinge_line(p) for p in hung] if {a.kind, b.kind} <= _BLADES | {Kind.HOOD} else []


def _sentence(a: Part, b: Part, axes: Pose, way: int, span_mm: float) -> str:
    text = f"overlaps {b.name} by up to {span_mm:.1f} mm {_DIRECTIONS[way]}"
    if Kind.ROD in (a.kind, b.kind):
        return f"{text}; end the rods behind it or raise it by {span_mm:.1f} mm"
    if {a.kind, b.kind} <= _BLADES:
        return f"{text}; take one of them away, hinge it elsewhere, or open it to another angle"
    if way != 2:
        return f"{text}; move one of them or make it smaller by as much"
    return f"{text}; {_moves(a, b, axes)}"


def _moves(a: Part, b: Part, axes: Pose) -> str:
    """Which part to move, which way and how far, so that they stand clear of each other along the axis: the shortest ways first."""
    ends = {id(part): _ends_mm(part, axes) for part in (a, b)}
    ways = []
    for part, other in ((b, a), (a, b)):
        if part.kind not in _STAY:
            (rear, front), (other_rear, other_front) = ends[id(part)], ends[id(other)]
            ways += [(other_front - rear, f"move {part.name} ahead by"), (front - other_rear, f"move {part.name} back by")]
    if not ways:
        return "make one of them smaller"
    ways.sort(key=lambda way: way[0])
    most = 1 if {a.kind, b.kind} & _STAY else 2  # past lens or back plate there is no other way round
    near = [way for way in ways if way[0] <= FAR_MOVE * ways[0][0]][:most]
    last = "tilt one of them less" if _lean_apart(a, b) else "make one of them shallower"
    return f"{' or '.join(f'{words} {distance:.1f} mm' for distance, words in near)}, or {last}"


def _lean_apart(a: Part, b: Part) -> bool:
    """Whether two parts with openings are tilted against each other."""
    ahead = [part.body.inner[0].pose.rotation[:, 2] for part in (a, b) if isinstance(part.body, Tube)]
    return len(ahead) == 2 and float(ahead[0] @ ahead[1]) < LEVEL_COSINE


def _ends_mm(part: Part, axes: Pose) -> tuple[float, float]:
    """Where a part begins and ends along the axis [mm]."""
    ahead = axes.points_to_part(part_mesh(part, CHECK_SAGITTA_MM).vertices)[:, 2]
    return float(ahead.min()), float(ahead.max())


def _axes(a: Part, b: Part) -> Pose:
    """The axes in which the overlap is measured: those of a part with an opening, since plates are thin along their own axis."""
    poses = [p.body.inner[0].pose for p in (a, b) if isinstance(p.body, Tube)]
    return poses[0] if poses else Pose(np.eye(3), np.zeros(3))


def _is_thin(part: Part, other: Part) -> bool:
    """Whether only the rim round the part's opening is sure to meet the other: its outside is not stated and they do not stack."""
    return isinstance(part.body, Tube) and not part.body.bounded and other.kind not in _STACKED


def _corners(body: Body) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points (N, 3) whose hull holds a body, and where they begin and end (2, 3); once for bodies of the same numbers."""
    key = body.vertices_mm.tobytes() if isinstance(body, Surface) else _key(body)
    found = _points.get(key)
    if found is None:
        # a mesh as it is held: an open face that has no thickness would seem to share none with anything
        held = held_of(body).solids if isinstance(body, Surface) else ()
        points = np.concatenate([solid.vertices for solid in held]) if held else corners_of(body)
        found = _points[key] = points, np.array([points.min(axis=0), points.max(axis=0)])
        if len(_points) > KEPT:
            _points.popitem(last=False)
    return found


_points: OrderedDict[object, tuple[NDArray[np.float64], NDArray[np.float64]]] = OrderedDict()
_meshes: OrderedDict[object, trimesh.Trimesh] = OrderedDict()


def _solids(body: Body) -> Solids:
    """A body as closed meshes to look at, the same ones for bodies of the same numbers."""
    if isinstance(body, Surface):
        return held_of(body).solids
    key = _key(body)
    found = _meshes.get(key)
    if found is None:
        found = _meshes[key] = body_mesh(body, CHECK_SAGITTA_MM)
        if len(_meshes) > KEPT:
            _meshes.popitem(last=False)
    return (found,)


def _key(body: Body) -> object:
    """All numbers that a body's mesh hangs on, and which of its loops share a pose; None for a mesh, which is one already."""
    if isinstance(body, Surface):
        return None
    if isinstance(body, Block):
        return body.corners_mm.tobytes()
    loops = (*body.inner, *body.outer)
    poses = [id(loop.pose) for loop in loops]
    shared = tuple(poses.index(pose) for pose in poses)
    return len(body.inner), shared, tuple(_loop_key(loop) for loop in loops)


def _loop_key(loop: Loop) -> object:
    outline = loop.outline.shape.wkb if isinstance(loop.outline, Freeform) else loop.outline
    return loop.pose.rotation.tobytes(), loop.pose.origin_mm.tobytes(), loop.z_mm, outline


def _material(part: Part, thin: bool) -> Body:
    body = part.body
    if not (thin and isinstance(body, Tube)):
        return body
    return replace(body, outer=tuple(replace(loop, outline=_widened(loop.outline)) for loop in _ends(body.inner)))


def _ends(loops: tuple[Loop, ...]) -> tuple[Loop, ...]:
    return (loops[0], loops[-1])


def _widened(outline: Outline) -> Outline:
    if isinstance(outline, Circle):
        return Circle(outline.radius_mm + LEAST_RIM_MM)
    if isinstance(outline, RoundedRectangle):
        w, h = outline.width_mm + 2 * LEAST_RIM_MM, outline.height_mm + 2 * LEAST_RIM_MM
        return RoundedRectangle(w, h, outline.corner_mm + LEAST_RIM_MM)
    return Freeform(outline.shape.buffer(LEAST_RIM_MM))


def _is_hinge_contact(a: Part, b: Part, points_mm: NDArray[np.float64]) -> bool:
    """Whether the overlap lies at the hinge of a blade, with the hood or blade that carries it."""
    return any(bool(np.all(_line_distance(points_mm, hinge) <= HINGE_MM)) for hinge in _hinges(a, b))


def _line_distance(points_mm: NDArray[np.float64], ends_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    along = (ends_mm[1] - ends_mm[0]) / np.linalg.norm(ends_mm[1] - ends_mm[0])
    return np.linalg.norm(cross_product(points_mm - ends_mm[0], along), axis=-1)
