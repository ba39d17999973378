"""A ray trace of its own for checks: Snell's law on 3D vectors, straight lines to spheres, written apart from the program.

The frame's axis: z runs toward the scene, the first vertex at z = 0, so that light travels toward negative z and what the
lens tables call a positive radius has its centre at negative z. Paraxial data come from rays close to the axis.
Sources: Snell's law in vector form, any optics text; the line-sphere quadratic, any geometry text.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

TABLES = json.loads((Path(__file__).parents[2] / "data" / "published_prescriptions.json").read_text("utf-8"))
NEAR_AXIS = 1e-5


@dataclass(frozen=True)
class Table:
    """radius (0 for flat), thickness, index behind and half diameter (inf unknown) of each row; the stop's row from 0."""

    rows: tuple[tuple[float, float, float, float], ...]
    stop: int

    @property
    def vertices(self):
        return -np.concatenate([[0.0], np.cumsum([row[1] for row in self.rows[:-1]])])


def patent(name, scale):
    table = TABLES[name]
    rows = tuple(
        ((row["R"] or 0.0) * scale, row["t"] * scale, row["nd"], (row["semi_diameter"] or np.inf) * scale) for row in table["rows"]
    )
    return Table(rows, table["stop_row_1based"] - 1)


def meet(point, way, vertex, radius):
    """Where lines (N, 3) meet a sphere through (0, 0, vertex), on the vertex's side, and the unit normal toward +z."""
    if radius == 0.0:
        there = point + ((vertex - point[:, 2]) / way[:, 2])[:, None] * way
        return there, np.tile([0.0, 0.0, 1.0], (len(point), 1))
    centre = np.array([0.0, 0.0, vertex - radius])
    rel = point - centre
    half = np.sum(rel * way, axis=1)
    root = np.sqrt(half**2 - (np.sum(rel * rel, axis=1) - radius**2))
    both = [point + (-half + sign * root)[:, None] * way for sign in (-1, 1)]
    first = np.abs(both[0][:, 2] - vertex) < np.abs(both[1][:, 2] - vertex)
    there = np.where(first[:, None], *both)
    return there, (there - centre) / radius


def bend(way, normal, ratio):
    """Snell's law: the part along the surface is multiplied by the ratio of indices; nan where reflection is total."""
    along = ratio * (way - np.sum(way * normal, axis=1)[:, None] * normal)
    rest = np.sqrt(1.0 - np.sum(along * along, axis=1))
    return along + (np.sign(np.sum(way * normal, axis=1)) * rest)[:, None] * normal


def run(table, point, way, first, last):
    """Rays from before row `first` to behind row `last` (either way round); points on each row, and where they end up."""
    step = 1 if last >= first else -1
    index = [1.0, *(row[2] for row in table.rows)]
    hits = {}
    for k in range(first, last + step, step):
        before, after = (index[k], index[k + 1]) if step > 0 else (index[k + 1], index[k])
        point, normal = meet(point, way, table.vertices[k], table.rows[k][0])
        way = bend(way, normal, before / after)
        hits[k] = point
    return hits, point, way


def at(point, way, z):
    return point + ((z - point[:, 2]) / way[:, 2])[:, None] * way


def crossing(point, way):
    """z at which rays in the plane x = 0 cross the axis."""
    return point[:, 2] - point[:, 1] / way[:, 1] * way[:, 2]


def image_of(table, object_z):
    """z of the paraxial image of an axial point; of the rear focus for inf."""
    last = len(table.rows) - 1
    if np.isinf(object_z):
        point, way = np.array([[0.0, NEAR_AXIS, 1.0]]), np.array([[0.0, 0.0, -1.0]])
    else:
        point, way = np.array([[0.0, 0.0, object_z]]), unit([[0.0, NEAR_AXIS, -object_z]])
    return float(crossing(*run(table, point, way, 0, last)[1:])[0])


def unit(v):
    v = np.asarray(v, dtype=np.float64)
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def object_for(table, focus):
    """z of the object plane that is sharp `focus` from its image plane, the lens moved as a whole: by bisection."""
    if np.isinf(focus):
        return np.inf
    low, high = focus / 3, focus
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if middle - image_of(table, middle) < focus else (low, middle)
    return (low + high) / 2


def chief(table, tan_stop, image_z):
    """Rays from the centre of the stop, both ways: image height, and point and way (toward the scene) in front of the lens."""
    tan_stop = np.atleast_1d(tan_stop)
    count = len(tan_stop)
    start = np.tile([0.0, 0.0, table.vertices[table.stop]], (count, 1))
    back = unit(np.column_stack([np.zeros(count), -tan_stop, -np.ones(count)]))
    _, point, way = run(table, start, back, table.stop, len(table.rows) - 1)
    height = -at(point, way, image_z)[:, 1]
    _, point, way = run(table, start, -back, table.stop - 1, 0) if table.stop else ({}, start, -back)
    return height, point, way


def chief_to(table, height, image_z, steepest=1.2):
    """The chief ray that lands at an image height: tangent at the stop by bisection, point and way in front of the lens."""
    low, high = 0.0, steepest
    for _ in range(60):
        middle = (low + high) / 2
        with np.errstate(invalid="ignore"):  # a ray that glass reflects totally is too steep
            found = chief(table, middle, image_z)[0][0]
        low, high = (middle, high) if found < height else (low, middle)
    _, point, way = chief(table, low, image_z)
    return point[0], way[0]


def share_lost(table, picture_mm, focus, pupil_diameter, opening, rays=400):
    """Share of the light of a picture point (right, up) that an opening's edges take, by a grid of rays over V1's plane.

    opening: z from V1 of its rear face, thickness, half width, half height.
    """
    image_object = object_for(table, focus)
    point, way = chief_to(table, float(np.hypot(*picture_mm)), image_of(table, image_object))
    # the stop as wide as the paraxial pupil asks
    near = run(table, np.array([[0.0, NEAR_AXIS, 1.0]]), np.array([[0.0, 0.0, -1.0]]), 0, table.stop)[0][table.stop]
    limits = [row[3] for row in table.rows]
    limits[table.stop] = pupil_diameter / 2 * near[0, 1] / NEAR_AXIS
    side = 1.6 * max(pupil_diameter / 2, 1.0) / way[2]
    steps = (np.arange(rays) + 0.5) / rays * 2 * side - side
    x, y = (g.ravel() for g in np.meshgrid(steps, steps))
    starts = np.column_stack([x, y + at(point[None], way[None], 0.0)[0, 1], np.zeros_like(x)])
    target = None if np.isinf(image_object) else at(point[None], way[None], image_object)[0]
    toward = np.tile(way, (len(starts), 1)) if target is None else unit(target - starts)
    with np.errstate(invalid="ignore"):
        hits = run(table, starts, -toward, 0, len(table.rows) - 1)[0]
    lit = np.all([np.hypot(hits[k][:, 0], hits[k][:, 1]) <= limits[k] for k in hits], axis=0)
    assert max(np.abs(x[lit]).max(), np.abs(y[lit]).max()) < 0.99 * side, "the grid must hold the pupil"
    turn = np.arctan2(picture_mm[1], picture_mm[0])
    stopped = np.zeros(len(starts), dtype=bool)
    z, thick, half_width, half_height = opening
    for face in (z, z + thick):
        there = at(starts, toward, face)
        radial, across = np.sign(way[1]) * there[:, 1], there[:, 0]
        right = radial * np.cos(turn) - across * np.sin(turn)
        up = radial * np.sin(turn) + across * np.cos(turn)
        stopped |= (np.abs(right) > half_width) | (np.abs(up) > half_height)
    return float((lit & stopped).sum() / lit.sum())
