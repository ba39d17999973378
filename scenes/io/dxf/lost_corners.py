"""Corners that a cut-out seems to have lost, or that stand elsewhere: it would mirror itself but for them, or a number is gone.

Each is a caution. A polyline in the old form (R12) does not state how many corners it has: one that is lost leaves an outline as
whole as before, and a larger opening where the corner reached in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.checks import LOPSIDED_MM
from geometry.outline import apart_mm
from scenes.io.dxf.joined_lines import JOIN_MM, Line
from scenes.io.dxf.tags import Tag, numbered_tags, things

STRAIGHT = 1e-3  # sine of a turn: less is a corner that somebody left in a straight line
OPPOSITE_MM = 0.5  # of where a mirror shows a corner
MOST_LOST = 2  # corners; a cut-out of which more stand alone is meant so
MOST_GONE = 12  # numbers of a polyline's corners: a curve of chords that is lost takes more with it
LEAST_OPPOSITE, LEAST_UPRIGHT = 2, 4  # corners that do mirror each other: left and right, and up and down, which fewer are meant to
HANDLES, POLYLINE_THINGS = {5, 105}, {"VERTEX", "SEQEND"}  # DXF reference, "Common Group Codes": 5, and 105 of one kind of thing
MOST_CORNERS = 20_000
FEWEST_CORNERS = 3  # of a ring


@dataclass(frozen=True, slots=True)
class Mirror:
    """Which sides a cut-out shows the same, in the words of a caution, and how places are mirrored."""

    sides: str
    signs: tuple[float, float]
    least: int


ACROSS = Mirror("left and right", (-1.0, 1.0), LEAST_OPPOSITE)
UPRIGHT = Mirror("above and below", (1.0, -1.0), LEAST_UPRIGHT)


def mirror_doubts(rings: Sequence[Line], lines: Sequence[Line]) -> Iterator[str]:
    """One corner, or two, by which alone a cut-out is not the same left and right, or then above and below."""
    corners = _corners(rings, lines)
    if not 0 < len(corners) <= MOST_CORNERS:
        return
    edges = shapely.MultiLineString([np.concatenate([ring, ring[:1]]) for ring in rings])
    for mirror in (ACROSS, UPRIGHT):
        alone = _alone(corners, mirror)
        few = 0 < len(alone) <= MOST_LOST and len(corners) - len(alone) >= mirror.least
        if few and _apart_mm(edges, mirror) > LOPSIDED_MM:
            x, y = alone[0]
            yield (
                f"its cut-out has nothing opposite its corner at x {x:.4g}, y {y:.4g} mm, and would be the same {mirror.sides} but "
                "for that; has a corner been lost, or a number changed?"
            )
        if len(alone):
            return
        if mirror is ACROSS:
            yield from _curve_doubts(lines)


def _curve_doubts(lines: Sequence[Line]) -> Iterator[str]:
    """One line or curve, or two, that run otherwise than those opposite, though all corners have theirs: a bulge that was lost."""
    drawn = [shapely.LineString(line) for line in lines if len(line) > 1]
    places = shapely.get_coordinates(shapely.line_interpolate_point(drawn, 0.5, normalized=True))
    _, off_mm = shapely.STRtree(drawn).query_nearest(shapely.points(places * ACROSS.signs), return_distance=True, all_matches=False)
    alone = places[off_mm > OPPOSITE_MM]
    if 0 < len(alone) <= MOST_LOST and len(places) - len(alone) >= ACROSS.least and off_mm.max() > LOPSIDED_MM:
        x, y = alone[0]
        yield (
            f"its cut-out runs otherwise at x {x:.4g}, y {y:.4g} mm than opposite, and would be the same left and right but for "
            "that; has a curve been lost, or a number changed?"
        )


def _corners(rings: Sequence[Line], lines: Sequence[Line]) -> NDArray[np.float64]:
    """Where lines and curves of the rings meet at an angle (N, 2); not the points between the chords of a curve."""
    from scipy.spatial import cKDTree

    ends = np.array([line[k] for line in lines if len(line) for k in (0, -1)]).reshape(-1, 2)
    tree, found = cKDTree(ends), []
    for ring in rings:
        apart = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > JOIN_MM
        plain = ring[apart]
        if len(plain) < FEWEST_CORNERS:
            continue
        before, behind = plain - np.roll(plain, 1, axis=0), np.roll(plain, -1, axis=0) - plain
        crossed = before[:, 0] * behind[:, 1] - before[:, 1] * behind[:, 0]
        turns = np.abs(crossed) > STRAIGHT * np.hypot(*before.T) * np.hypot(*behind.T)
        found.append(plain[turns & (tree.query(plain)[0] <= 2.0 * JOIN_MM)])
    return np.concatenate(found) if found else np.zeros((0, 2))


def _alone(corners: NDArray[np.float64], mirror: Mirror) -> NDArray[np.float64]:
    """Corners (N, 2) that have none opposite."""
    from scipy.spatial import cKDTree

    return np.asarray(corners[cKDTree(corners).query(corners * mirror.signs)[0] > OPPOSITE_MM])


def _apart_mm(edges: shapely.MultiLineString, mirror: Mirror) -> float:
    """How far the outline lies from what a mirror shows of it, where it does most."""
    return apart_mm(edges, shapely.transform(edges, lambda places: places * mirror.signs))


def numbering_doubts(data: bytes) -> Iterator[str]:
    """The first polyline whose corners are numbered in a row, but for a few that nothing in the file has."""
    if b"VERTEX" not in data:
        return
    found = list(things([(code, value) for code, value, _ in numbered_tags(data)]))
    used = {number for _, own in found for number in _handles(own)}
    row: list[int] = []
    for head, own in [*found, ("", [])]:
        if head in POLYLINE_THINGS:
            row += _handles(own)
            continue
        lost = _lost(row, used)
        if lost:
            named = " and ".join(f"{number:X}" for number in lost[:MOST_LOST]) + (", among others" if len(lost) > MOST_LOST else "")
            yield (
                f"its file numbers the corners of a polyline in a row from {min(row):X} to {max(row):X}, and nothing in it has the "
                f"number {named}; has a corner been lost?"
            )
            return
        row = _handles(own) if head == "POLYLINE" else []


def _handles(own: Sequence[Tag]) -> list[int]:
    """The number of a thing; none where the file gives none."""
    stated = next((value for code, value in own if code in HANDLES), "")
    try:
        return [int(stated, 16)]
    except ValueError:
        return []


def _lost(row: Sequence[int], used: set[int]) -> list[int]:
    if not row or max(row) - min(row) > len(row) + MOST_GONE:
        return []
    lost = [number for number in range(min(row), max(row)) if number not in used]
    return lost if len(lost) < len(row) and len(lost) <= MOST_GONE else []
