"""The strongest ways of mirrored light through the box in 3D, gathered as plain arrays. Draws and opens nothing."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Kind
from raytrace.optics.lens import pencils_for
from scenes.questions.leaks.text import percent
from scenes.sheets.colours import OPENING_COLOURS, rgb_of
from scenes.view3d.content import Label, Line, Place, Scene3D, View
from scenes.view3d.solids import solids_of
from scenes.view3d.state_view import part_labels, pupil_lines

if TYPE_CHECKING:
    from raytrace.stray.picture import LeakPath
    from scenes.questions.leaks.report import LeakReport


WAYS = 4  # more lie on top of each other
NAMED = (Kind.BACK, Kind.SEAL, Kind.HOOD)  # parts that tell where one looks; with the way's that makes four labels
BEYOND_MM = 120.0  # how far outside the box a way is drawn
WIDEST_PX, THINNEST_PX = 7.0, 2.0
NOTE = (
    "Seen from the operator's left, a little behind the lens. Each line is the strongest ray of one path, from where it comes in "
    "to the lens front; thicker where more comes."
)


def leak_scene3d(report: LeakReport, title: tuple[str, ...]) -> Scene3D:
    """The box with its strongest mirrored ways, each labelled where it comes from; without ways the box alone."""
    ways = report.picture.paths[:WAYS]
    solids = solids_of(report.plan.assembly)
    return Scene3D(
        view=View.BESIDE,
        title=title,
        note=NOTE,
        solids=solids,
        rays=(),
        lines=(*pupil_lines(partial(pencils_for, report.lens)), *(_line(way, k, ways[0].peak) for k, way in enumerate(ways))),
        labels=(*part_labels(solid for solid in solids if solid.kind in NAMED)[:3], *(_label(way, report) for way in ways[:1])),
    )


def way_mm(way: LeakPath) -> FloatArray:
    """Corners (C, 3) of a way from the lens front out, its last stretch cut off where it is far outside [mm]."""
    corners = way.corners_mm
    last = corners[-1] - corners[-2]
    length = float(np.linalg.norm(last))
    return np.concatenate([corners[:-1], [corners[-2] + last * min(1.0, BEYOND_MM / max(length, 1e-9))]])


def _line(way: LeakPath, number: int, strongest: float) -> Line:
    colour = rgb_of(OPENING_COLOURS[number % len(OPENING_COLOURS)])
    width = THINNEST_PX + (WIDEST_PX - THINNEST_PX) * math.sqrt(way.peak / strongest)
    return Line(points_mm=way_mm(way), colour=colour, width_px=width)


def _label(way: LeakPath, report: LeakReport) -> Label:
    words = f"{report.picture.opening_names[way.opening]}: {percent(way.peak)} of the picture by {way.name}"
    return Label(text=words, anchor_mm=way_mm(way)[-1], place=Place.ABOVE)
