"""A mesh file's bytes -> its arrays, as they stand: nothing repaired, nothing left out unsaid. Opens nothing."""

from __future__ import annotations

import io
import re
from typing import Any

import numpy as np

from scenes.io.library_remarks import in_one_line, remarks_of, short_words
from scenes.io.meshes.counts import MOST_FACES, stated_faces
from scenes.io.meshes.damage import DamagedMeshError, all_corners_used
from scenes.io.meshes.obj_text import obj_doubts, plain_obj
from scenes.io.meshes.zeroed import none_zeroed
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.resources import MeshArrays

FARTHEST = 1e6  # in the file's unit: a kilometre in mm. A slip of a unit gets its own words; this is a spoilt number
MESH_KINDS = ("stl", "obj", "ply", "3mf", "glb")
LEAST_ZEROS = 2  # of faces: one may be a slip of the program that wrote it
COUNTED_WHEN_READ = ("ply", "3mf")  # corners that no face uses; OBJ and GLB count them themselves, and STL has none

# Units that 3MF may state (3MF core specification, section 3.4, attribute unit), as the unit and factor that the importer knows.
STATED_UNITS = {
    "microns": ("mm", 1e-3), "micron": ("mm", 1e-3), "millimeters": ("mm", 1.0), "millimeter": ("mm", 1.0), "mm": ("mm", 1.0),
    "centimeters": ("cm", 1.0), "centimeter": ("cm", 1.0), "cm": ("cm", 1.0), "meters": ("m", 1.0), "meter": ("m", 1.0),
    "inches": ("in", 1.0), "inch": ("in", 1.0), "feet": ("in", 12.0), "foot": ("in", 12.0),
}  # fmt: skip

# How lines of remarks begin, and how these tell a unit: "# Units: inches", "comment unit = mm", "UNITS=cm" (common practice).
REMARKS: dict[str, bytes | tuple[bytes, ...]] = {"obj": b"#", "ply": (b"comment", b"obj_info"), "stl": b""}
UNIT_WORDS = re.compile(
    rb"\bunits?\b\s*(?:[:=]|is\b|in\b)?\s*((?:milli|centi)?met(?:er|re)s?|microns?|mm|cm|inch(?:es)?|feet|foot)\b", re.IGNORECASE
)
HEAD_BYTES, STL_HEAD_BYTES = 4_000, 80


def mesh_arrays(data: bytes, kind: str, source: str) -> MeshArrays:
    """Every body of the file together; SceneError with one sentence where that cannot be had whole."""
    try:
        expected = stated_faces(data, kind)
        _few_enough(expected, source)
        with remarks_of("trimesh"):
            mesh, unit = _loaded(plain_obj(data) if kind == "obj" else data, kind)
    except (SceneError, MemoryError):
        raise
    except Exception as error:  # noqa: BLE001 - readers of five formats fail in their own ways; to the user it is one fault
        why = short_words(error)
        raise _refusal(source, f"is no readable {kind.upper()} mesh: {why}") from None
    _whole(mesh, expected, source)
    if kind in COUNTED_WHEN_READ:
        _all_used(mesh, source, kind)
    _no_zeros(mesh, source)
    _none_zeroed(mesh, source, kind)
    mesh.merge_vertices()  # corners that coincide are one, else no mesh of an STL would be closed
    stated, factor = _stated_unit(kind, unit if kind == "3mf" else _remarked_unit(data, kind), source)
    return MeshArrays(
        vertices=np.array(mesh.vertices, dtype=np.float64) * factor,
        faces=np.array(mesh.faces, dtype=np.int64),
        unit=stated,
        doubts=obj_doubts(data) if kind == "obj" else (),
    )


def _refusal(source: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=source)])


def _few_enough(faces: int, source: str) -> None:
    if faces > MOST_FACES:
        raise _refusal(source, f"must be at most {MOST_FACES} triangles, all copies counted, found {faces}; export it coarser")


def _loaded(data: bytes, kind: str) -> tuple[Any, str | None]:
    """The file's mesh without any repair, and the unit that its reader found."""
    import trimesh

    # left to itself its reader of PLY splits corners by their texture, and drops those that no face uses
    own: dict[str, Any] = {"fix_texture": False} if kind == "ply" else {}
    scene = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False, **own)
    meshes = [piece for piece in scene.dump() if isinstance(piece, trimesh.Trimesh)]
    starts = np.cumsum([0, *(len(piece.vertices) for piece in meshes)])
    vertices = np.concatenate([np.zeros((0, 3)), *(np.asarray(piece.vertices) for piece in meshes)])
    faces = [np.asarray(piece.faces, dtype=np.int64) + start for piece, start in zip(meshes, starts, strict=False)]
    return trimesh.Trimesh(vertices, np.concatenate([np.zeros((0, 3), np.int64), *faces]), process=False), scene.units


def _no_zeros(mesh: Any, source: str) -> None:
    """Refuse faces that name one corner three times, as zeros of a disk that was never written do."""
    faces = np.asarray(mesh.faces)
    zeros = np.count_nonzero((faces == faces[:, :1]).all(axis=1))
    if zeros >= LEAST_ZEROS:
        raise _refusal(
            source, f"names one corner three times in {zeros} of its faces, as where a disk was never written; export it again"
        )


def _none_zeroed(mesh: Any, source: str, kind: str) -> None:
    try:
        none_zeroed(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    except DamagedMeshError as fault:
        raise _refusal(source, f"is no readable {kind.upper()} mesh: {fault}") from None


def _whole(mesh: Any, expected: int, source: str) -> None:
    if not len(mesh.faces):
        raise _refusal(source, "holds no triangles")
    if not np.isfinite(mesh.vertices).all():
        raise _refusal(source, "holds coordinates that are not numbers; export it again")
    farthest = float(np.abs(mesh.vertices).max())
    if farthest > FARTHEST:  # and what makes corners one that coincide would count over
        raise _refusal(source, f"is damaged: it holds a coordinate of {farthest:.3g}, farther out than any part; export it again")
    if mesh.faces.min() < 0 or mesh.faces.max() >= len(mesh.vertices):
        raise _refusal(source, "is damaged or cut short: faces name corners that it does not hold; export it again")
    if len(mesh.faces) != expected:
        raise _refusal(
            source, f"is damaged or cut short: it states {expected} triangles, {len(mesh.faces)} can be read; export it again"
        )


def _all_used(mesh: Any, source: str, kind: str) -> None:
    used = np.zeros(len(mesh.vertices), dtype=np.bool_)
    used[mesh.faces] = True
    try:
        all_corners_used(int(np.count_nonzero(used)), len(used))
    except DamagedMeshError as fault:
        raise _refusal(source, f"is no readable {kind.upper()} mesh: {fault}") from None


def _remarked_unit(data: bytes, kind: str) -> str | None:
    """The unit that the head of a file tells in a remark, as some programs write there; None where it tells none."""
    if kind not in REMARKS:
        return None
    head = data[:HEAD_BYTES] if kind != "stl" else data[:STL_HEAD_BYTES]
    told = next(
        (found for line in head.splitlines() if line.startswith(REMARKS[kind]) and (found := UNIT_WORDS.search(line))), None
    )
    return told[1].decode().lower().replace("metre", "meter") if told else None


def _stated_unit(kind: str, units: str | None, source: str) -> tuple[str | None, float]:
    """The unit a format fixes or states; STL, OBJ and PLY have none but in remarks, whatever a reader guesses."""
    if kind == "glb":
        return "m", 1.0  # glTF 2.0 specification, section 3.4: all linear distances are metres
    if not units:
        return None, 1.0
    if units.lower() not in STATED_UNITS:
        raise _refusal(source, f'states the unit "{in_one_line(units)[:20]}", which 3MF does not have; export it in millimetres')
    return STATED_UNITS[units.lower()]
