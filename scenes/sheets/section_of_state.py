"""The dimensioned cuts of a state: from its beams and parts to two sheets, from the side and from above. Saves nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from geometry.meshes import slab_mesh
from raytrace.beam.clearance import beams_of, farthest_mm
from raytrace.beam.outline import Section
from raytrace.optics.lens import LensState, pencils_for
from scenes.sheets.cut_planes import inside, planes_of
from scenes.sheets.cut_shapes import CutPlane
from scenes.sheets.section_sheet import Callout, PartNote, SectionLens, SectionRay, section_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from scenes.states.state import State


STEP_MM = 16.0  # between depths at which the beam's edge is taken: between faces of glass its rays run straight
FAR_AWAY_MM = 1e4
OVERRUN = 0.14  # of the box's length: how far the beam is drawn past the last part
LEAST_OVERRUN_MM = 20.0


def section_sheets(
    plan: State,
    title: str,
    subtitle: str,
    notes: Mapping[str, PartNote] | None = None,
    callout: Callout | None = None,
    verdict: str = "",
    *,
    drawn: Sequence[CutPlane] = (),
) -> dict[str, Figure]:
    """Cuts of one state by file name without ending: through the worst place, from the side and from above, with the beam's edges.

    The verdict is said only on the sheet that shows the place it is about; no sheet of its own where that is the side or the top.
    drawn: only these planes.
    """
    depths, sections = beam_sections(plan)
    lens = _section_lens(plan)
    planes = planes_of(None if callout is None else inside(plan, callout.part, callout.point_mm))
    worst = planes[0]

    def sheet(plane: CutPlane) -> Figure:
        shows = plane is worst and callout is not None
        elsewhere = f"The tightest place is on cut-{worst.name}. " if callout is not None and not shows and not drawn else ""
        return section_figure(
            plan.assembly,
            beam_edges(depths, sections, plane),
            plane=plane,
            title=f"{title}: {verdict}" if verdict and (shows or callout is None) else title,
            subtitle=f"{elsewhere}{subtitle}",
            lens=lens,
            notes=notes,
            callout=callout if shows else None,
        )

    return {f"cut-{plane.name}": sheet(plane) for plane in drawn or planes}


def beam_sections(plan: State) -> tuple[list[float], list[list[Section]]]:
    """Depths ahead of the lens front [mm], and the beam of each guide and pupil depth cut square to the axis at each."""
    beams, depths = beams_of(plan.variants, plan.guides, plan.box), edge_depths_mm(plan)
    return depths, [[named.beam.section_at(z) for named in beams] for z in depths]


def edge_depths_mm(plan: State) -> list[float]:
    """Depths ahead of the lens front, rising, at which the beam's edge is taken: evenly, and at every face of glass [mm]."""
    far = farthest_mm(plan.box.parts)
    faces = [float(z) for slab in plan.assembly.slabs for z in np.asarray(slab_mesh(slab).vertices)[:, 2]]
    even = np.linspace(0.0, far, max(int(far / STEP_MM), 2))
    return sorted({round(float(z), 3) for z in (*even, *faces) if 0.0 <= z <= far})


def beam_edges(depths_mm: Sequence[float], sections: Sequence[Sequence[Section]], plane: CutPlane) -> list[SectionRay]:
    """The two edges of the beam in a plane through the lens axis, as lines from the lens front to past the last part.

    sections holds the sections at each depth square to the axis; where none meets the plane, both lines end.
    """
    found = [(z, *span) for z, at in zip(depths_mm, sections, strict=True) if (span := _span_mm(at, plane)) is not None]
    if len(found) < 2:
        return []
    z, low, high = np.array([*found, *_beyond(found)]).T
    return [SectionRay(points_mm=np.column_stack([np.outer(edge, plane.up), z])) for edge in (high, low)]


def _beyond(found: Sequence[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Past the last part both edges run on straight."""
    before, last = np.array(found[-2]), np.array(found[-1])
    over = max(OVERRUN * (last[0] - found[0][0]), LEAST_OVERRUN_MM)
    z, low, high = (last + (last - before) * over / max(float(last[0] - before[0]), 1e-9)).tolist()
    return [(z, low, high)]


def _span_mm(sections: Sequence[Section], plane: CutPlane) -> tuple[float, float] | None:
    """How far the sections reach along the plane's line through the lens axis, both ways [mm]."""
    line = shapely.LineString(np.outer([-FAR_AWAY_MM, FAR_AWAY_MM], plane.up))
    places = [shapely.get_coordinates(shapely.intersection(section, line)) for section in sections]
    along = np.concatenate(places) @ np.array(plane.up) if places else np.zeros(0)
    return (float(along.min()), float(along.max())) if len(along) else None


def _section_lens(plan: State) -> SectionLens:
    """The pupil on the axis of the middle one of the pupil depths in question."""
    lens: LensState = plan.variants[len(plan.variants) // 2]
    pencils = pencils_for(lens, np.zeros((1, 2)))
    radius = float(np.linalg.norm(pencils.axes_mm[0], axis=0).max())
    return SectionLens(name=plan.lens_name, pupil_z_mm=float(pencils.reference_z_mm[0, 1]), pupil_radius_mm=radius)
