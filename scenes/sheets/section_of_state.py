"""The dimensioned cuts of a state: from its beams and parts to two sheets, from the side and from above. Saves nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from geometry.arrays import FloatArray
from geometry.meshes import slab_mesh
from raytrace.beam.clearance import beams_of, farthest_mm
from raytrace.beam.outline import Section
from raytrace.optics.lens import LensState, pencils_for
from scenes.sheets.cut_shapes import View
from scenes.sheets.section_sheet import SectionLens, SectionRay, section_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenes.states.state import StatePlan


STEP_MM = 4.0  # between depths at which the beam's edge is taken: it bends by less than a line's thickness in between
FAR_AWAY_MM = 1e4
SIDES_OF_LINE = {View.SIDE: (1, 1), View.TOP: (0, -1)}  # frame coordinate that the edge is measured in, and its sense on the sheet


def section_sheets(plan: StatePlan, title: str, subtitle: str) -> dict[str, Figure]:
    """The cuts from the side and from above of one state, by file name, each with the edge of the beam of all guides."""
    beams = beams_of(plan.variants, plan.guides, plan.box)
    depths = edge_depths_mm(plan)
    sections = [[named.beam.section_at(z) for named in beams] for z in depths]
    lens = _section_lens(plan)
    return {
        f"cut-{view}.png": section_figure(
            plan.assembly, beam_edges(depths, sections, view), axis=view.value, title=title, subtitle=subtitle, lens=lens
        )
        for view in View
    }


def edge_depths_mm(plan: StatePlan) -> list[float]:
    """Depths ahead of the lens front, rising, at which the beam's edge is taken: evenly, and at every face of glass [mm]."""
    far = farthest_mm(plan.box.parts)
    faces = [float(z) for slab in plan.assembly.slabs for z in np.asarray(slab_mesh(slab).vertices)[:, 2]]
    even = np.linspace(0.0, far, max(int(far / STEP_MM), 2))
    return sorted({round(float(z), 3) for z in (*even, *faces) if 0.0 <= z <= far})


def beam_edges(depths_mm: Sequence[float], sections: Sequence[Sequence[Section]], view: View) -> list[SectionRay]:
    """The two edges of the beam in a plane through the lens axis, as lines from the lens front on.

    sections holds the sections at each depth square to the axis; where none meets the plane, both lines end.
    """
    axis = SIDES_OF_LINE[view][0]
    found = [(z, *span) for z, at in zip(depths_mm, sections, strict=True) if (span := _span_mm(at, axis)) is not None]
    if len(found) < 2:
        return []
    z, low, high = np.array(found).T
    return [SectionRay(points_mm=_in_plane(edge, z, axis)) for edge in (high, low)]


def _in_plane(edge_mm: FloatArray, z_mm: FloatArray, axis: int) -> FloatArray:
    points = np.zeros((len(z_mm), 3))
    points[:, axis], points[:, 2] = edge_mm, z_mm
    return points


def _span_mm(sections: Sequence[Section], axis: int) -> tuple[float, float] | None:
    """How far the sections reach along a line through the lens axis, both ways [mm]."""
    ends = [end for section in sections for end in _crossed(section, axis)]
    return (min(ends), max(ends)) if ends else None


def _crossed(section: Section, axis: int) -> Iterator[float]:
    line = np.zeros((2, 2))
    line[:, axis] = -FAR_AWAY_MM, FAR_AWAY_MM
    within = shapely.intersection(section, shapely.LineString(line))
    yield from shapely.get_coordinates(within)[:, axis].tolist()


def _section_lens(plan: StatePlan) -> SectionLens:
    """The pupil on the axis of the middle one of the pupil depths in question."""
    lens: LensState = plan.variants[len(plan.variants) // 2]
    pencils = pencils_for(lens, np.zeros((1, 2)))
    radius = float(np.linalg.norm(pencils.axes_mm[0], axis=0).max())
    return SectionLens(name=plan.lens_name, pupil_z_mm=float(pencils.reference_z_mm[0, 1]), pupil_radius_mm=radius)
