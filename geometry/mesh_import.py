"""A mesh from a drawing program -> a surface in mm. Takes arrays, opens no file; asks when the unit is in doubt."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.body import Surface
from geometry.errors import GeometryError
from geometry.mesh_bodies import body_numbers

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}  # the inch is 25.4 mm exactly: international yard and pound, 1959
SMALLEST_MM = 30.0  # things worth importing for a box are larger than a thumb: common practice
LARGEST_MM = 3000.0  # and smaller than a room is high
UNIT_WORDS = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches"}


def surface_from_arrays(vertices: ArrayLike, faces: ArrayLike, *, unit: str | None = None, name: str = "mesh") -> Surface:
    """The mesh in mm: `vertices` (V, 3) in `unit` ("mm", "cm", "m" or "in"), `faces` (F, 3) indices; faces without area go.

    A body of which no face has area was thin, and is gone by the rounding of its numbers: an error, as it could be in the beam.
    A stated unit that makes a part of many units larger than parts in mm are is an error. Where no unit is stated, mm is taken if
    the size is that of a thing on a camera in mm; otherwise an error asks.
    """
    points, triangles = _checked(vertices, faces, name)
    size = float(np.ptp(points, axis=0).max())
    scale = MM_PER_UNIT[_unit(size, unit, name)]
    whole = np.linalg.norm(_doubled_areas(points, triangles), axis=-1) > 0
    if 2 * np.count_nonzero(whole) < len(whole):
        raise GeometryError(f"{name}: {np.count_nonzero(~whole)} of its {len(whole)} triangles have no area; export it again")
    if not whole.all() and (lost_at := _lost_body(points, triangles, whole)) is not None:
        at = ", ".join(f"{value:.4g}" for value in lost_at)
        raise GeometryError(
            f"{name}: all triangles of the body at {at} are without area, as numbers rounded too far make them; "
            "export it again with more decimals, or in mm"
        )
    return Surface(points * scale, triangles[whole])


def likely_units(size: float) -> tuple[str, ...]:
    """The units in which a thing of this largest size (as the file counts) could be something on a camera: most likely first.

    Millimetres win wherever they are possible: a thing that is 30 or more across in its file is taken to be in mm.
    """
    if SMALLEST_MM <= size <= LARGEST_MM:
        return ("mm",)
    return tuple(u for u in ("in", "cm", "m") if SMALLEST_MM <= size * MM_PER_UNIT[u] <= LARGEST_MM)


def _unit(size: float, unit: str | None, name: str) -> str:
    if unit is not None:
        if unit not in MM_PER_UNIT:
            raise GeometryError(f"{name}: unit must be one of {', '.join(MM_PER_UNIT)}, found {unit!r}")
        if unit != "mm" and size >= SMALLEST_MM:  # a part in mm would be called clear where it shades: it grows away from the beam
            raise GeometryError(
                f'{name}: unit "{unit}" makes it {size * MM_PER_UNIT[unit]:.0f} mm across, and its {size:.0f} units look like '
                'millimetres; set unit to "mm", or export it in mm'
            )
        return unit
    guess = likely_units(size)
    if guess == ("mm",):
        return "mm"
    raise GeometryError(f"{name}: no unit is stated and the mesh is {size:.3g} units across, which {_doubt(size, guess)}")


def _doubt(size: float, guess: tuple[str, ...]) -> str:
    if not guess:
        return "fits no usual unit; set unit to mm, cm, m or in, or export the mesh again"
    sizes = " or ".join(f"{UNIT_WORDS[u]} ({size * MM_PER_UNIT[u]:.0f} mm)" for u in guess)
    choices = ", ".join(f'"{u}"' for u in (*guess, "mm"))
    return f"looks like {sizes} rather than millimetres; set unit to one of {choices}"


def _checked(vertices: ArrayLike, faces: ArrayLike, name: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    points, triangles = np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.int64)
    if points.ndim != 2 or points.shape[1] != 3 or triangles.ndim != 2 or triangles.shape[1] != 3 or len(triangles) == 0:
        raise GeometryError(
            f"{name}: a mesh needs points of three coordinates and at least one triangle, found arrays of shape "
            f"{points.shape} and {triangles.shape}; export it as triangles"
        )
    if not np.isfinite(points).all():
        raise GeometryError(f"{name}: a mesh must have finite coordinates, found nan or inf; export it again")
    if triangles.min() < 0 or triangles.max() >= len(points):
        raise GeometryError(
            f"{name}: faces must point at the mesh's {len(points)} points, found indices {triangles.min()} to {triangles.max()}; "
            "export it again"
        )
    return points, triangles


def _lost_body(points: NDArray[np.float64], triangles: NDArray[np.int64], whole: NDArray[np.bool_]) -> NDArray[np.float64] | None:
    """A point (3,) of a body none of whose triangles has area; None where each has some."""
    body = body_numbers(points, triangles)
    lost = np.flatnonzero(~np.isin(body, body[whole]))
    return None if len(lost) == 0 else np.asarray(points[triangles[lost[0], 0]])


def _doubled_areas(points: NDArray[np.float64], triangles: NDArray[np.int64]) -> NDArray[np.float64]:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return np.cross(b - a, c - a)
