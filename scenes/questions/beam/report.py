"""The beam of every state in one plane of the box, its size, and the parts that stand there: values for tables and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import trimesh
from shapely.geometry.base import BaseGeometry
from shapely.ops import polygonize

from geometry.body import Block, Kind, Part, Surface
from geometry.frame import Pose
from geometry.meshes import part_mesh
from geometry.parts import part_pose
from raytrace.beam.beam import lens_section, union
from raytrace.beam.clearance_plane import slice_distance
from raytrace.beam.hull_cut import hull_cut, mesh_cut
from raytrace.beam.outline import Section, SectionSize, section_size
from scenes.states.state import State

SAGITTA_MM = 0.002  # chords of round openings: a tenth of what the beam itself is good to
JOIN_DECIMALS = 6  # ends of cut lines nearer than a millionth of a millimetre are one point


@dataclass(frozen=True, slots=True, kw_only=True)
class PartInPlane:
    """A part's material in the plane (x to the operator's left, y up) [mm], and how far it stays out of the beam there."""

    name: str
    kind: Kind
    material: BaseGeometry
    clearance_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StateInPlane:
    """One state's beam in the plane: all its guides, the worst over its pupil depths; and the parts it meets there."""

    plan: State
    section: Section
    size: SectionSize
    parts: tuple[PartInPlane, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamInPlane:
    """The beam of all states in a plane square to the box, `at_mm` ahead of the back plate's rear face."""

    at_mm: float
    states: tuple[StateInPlane, ...]
    section: Section
    size: SectionSize
    parts: tuple[PartInPlane, ...]


def beam_in_plane(plans: Sequence[State], at_mm: float) -> BeamInPlane:
    """The beam of some states where `at_mm` of the scene file lies."""
    return _together(at_mm, tuple(_state(plan, box_plane(plan, at_mm)) for plan in plans))


def by_lens(beam: BeamInPlane) -> dict[str, BeamInPlane]:
    """The beam of each lens by itself, over its zooms, focuses and stops, with the parts that it meets."""
    groups: dict[str, list[StateInPlane]] = {}
    for state in beam.states:
        groups.setdefault(state.plan.lens_name, []).append(state)
    return {lens: _together(beam.at_mm, tuple(states)) for lens, states in groups.items()}


def _together(at_mm: float, states: tuple[StateInPlane, ...]) -> BeamInPlane:
    whole = union([state.section for state in states])
    return BeamInPlane(at_mm=at_mm, states=states, section=whole, size=section_size(whole), parts=_nearest_parts(states))


def box_plane(plan: State, at_mm: float) -> Pose:
    """The plane square to the box where `at_mm` lies, as the box is fitted to the state's lens."""
    return part_pose(plan.place, at_mm=at_mm, depth_mm=0.0)


def _state(plan: State, plane: Pose) -> StateInPlane:
    section = lens_section(plan.variants, plan.guides, plan.box, plane)
    cuts = [(part, material_in(part, plane)) for part in plan.assembly.parts]
    parts = [
        PartInPlane(name=part.name, kind=part.kind, material=cut, clearance_mm=slice_distance(cut, section, plane).distance_mm)
        for part, cut in cuts
        if not cut.is_empty
    ]
    return StateInPlane(plan=plan, section=section, size=section_size(section), parts=tuple(parts))


def _nearest_parts(states: Sequence[StateInPlane]) -> tuple[PartInPlane, ...]:
    """Every part once, with the least clearance that any state leaves it; shapes that differ between lenses are kept apart."""
    found: dict[tuple[str, bytes], PartInPlane] = {}
    for part in (part for state in states for part in state.parts):
        key = (part.name, shapely.to_wkb(shapely.normalize(shapely.set_precision(part.material, 1e-3))))
        if key not in found or part.clearance_mm < found[key].clearance_mm:
            found[key] = part
    return tuple(found.values())


def material_in(part: Part, plane: Pose) -> BaseGeometry:
    """What of a part lies in a plane, in the plane's own coordinates; lines where a mesh is not closed."""
    match part.body:
        case Block():
            return hull_cut(part.body.corners_mm, plane)
        case Surface():
            return mesh_cut(part.body.vertices_mm, part.body.faces, plane)
    mesh = part_mesh(part, SAGITTA_MM)
    heights = plane.points_to_part(mesh.vertices)[:, 2]
    if heights.min() > 0 or heights.max() < 0:
        return shapely.Polygon()
    return _filled(_cut_lines(mesh, _inside(plane, float(heights.min()), float(heights.max()))))


def _inside(plane: Pose, low_mm: float, high_mm: float) -> Pose:
    """The plane, moved a hair off a face that lies in it: a cut along a face has no lines."""
    hair = min(1e-4, (high_mm - low_mm) / 10)
    step = hair if abs(low_mm) < hair else (-hair if abs(high_mm) < hair else 0.0)
    return Pose(plane.rotation, plane.points_to_frame(np.array([0.0, 0.0, step])))


def _cut_lines(mesh: trimesh.Trimesh, plane: Pose) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    segments = trimesh.intersections.mesh_plane(mesh, plane.rotation[:, 2], plane.origin_mm)  # type: ignore[no-untyped-call]
    flat = np.round(plane.points_to_part(np.asarray(segments))[..., :2], JOIN_DECIMALS)
    return flat[np.any(flat[:, 0] != flat[:, 1], axis=1)]


def _filled(lines: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> BaseGeometry:
    """The faces between closed lines that lie inside an odd number of them: material, not openings."""
    faces = list(polygonize(shapely.MultiLineString(list(lines))))
    rings = [shapely.Polygon(ring) for face in faces for ring in (face.exterior, *face.interiors)]
    distinct = {shapely.to_wkb(shapely.normalize(ring)): ring for ring in rings}
    inside = [sum(ring.covers(face.representative_point()) for ring in distinct.values()) for face in faces]
    return shapely.union_all([face for face, count in zip(faces, inside, strict=True) if count % 2 == 1])
