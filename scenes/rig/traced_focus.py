"""A lens with a table, focused, and held against the focal length that its scene states."""

from __future__ import annotations

import math

from geometry.errors import GeometryError
from raytrace.optics.prescription import Prescription, first_order
from raytrace.optics.traced_picture import TracedFocus, TracedPicture, focus_of, glass_length_mm
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import GlassTable

FOCAL_PERCENT = 2.0  # focal lengths as engraved are rounded by about as much


def traced_focus(glass: GlassTable, focus_mm: float) -> TracedFocus:
    """The lens moved to focus; GeometryError where the plane in focus would lie in it."""
    focus = focus_of(glass.prescription, focus_mm)
    if focus.object_mm <= max(glass.vertex_behind_front_mm, 0.0):
        raise GeometryError(
            f"focus_mm: the object plane must lie ahead of the lens front, but {focus_mm:g} mm from the image plane puts it "
            f"{focus.object_mm:.4g} mm ahead of the first surface, {glass.vertex_behind_front_mm:g} mm behind the front"
        )
    return focus


def check_focal_mm(table: Prescription, stated_mm: float) -> None:
    """GeometryError where the stated focal length is not that of the table: one of the two belongs to another lens."""
    own_mm = first_order(table).focal_mm
    if abs(stated_mm / own_mm - 1.0) * 100.0 <= FOCAL_PERCENT:
        return
    raise GeometryError(
        f"focal_mm: must be that of the prescription, {plain(round(own_mm, 2))} mm, to {FOCAL_PERCENT:g} %, got "
        f"{plain(stated_mm)}; write focal_mm = {plain(round(own_mm, 2))}, or multiply the file's scale by "
        f"{plain(round(stated_mm / own_mm, 4))}"
    )


def check_half_field(picture: TracedPicture, half_width_mm: float, stated_deg: float | None) -> None:
    """GeometryError where a stated half field is not what the table sees at the edge of the picture's width."""
    if stated_deg is None or half_width_mm > picture.end_mm:
        return
    own_rad = float(picture.field_at(half_width_mm))
    if abs(math.tan(math.radians(stated_deg)) / math.tan(own_rad) - 1.0) * 100.0 <= FOCAL_PERCENT:
        return
    raise GeometryError(
        f"half_field_deg: must be what the prescription sees at the edge of the picture's width at this focus, "
        f"{math.degrees(own_rad):.2f} deg, to {FOCAL_PERCENT:g} % of its tangent, got {stated_deg:g}; leave out one of the two: "
        "where they differ, the measured field tells that the table is not this lens's"
    )


def length_mm(glass: GlassTable, focus: TracedFocus) -> float:
    """Front rim to image plane by the table [mm]."""
    return glass.vertex_behind_front_mm + glass_length_mm(glass.prescription) + focus.image_mm
