"""A prescription file's values -> the surface table that rays are traced through."""

import math

from raytrace.prescription import Prescription, Surface
from scenes.model_glass import GlassFile
from scenes.resources import GlassTable


def glass_table(file: GlassFile) -> GlassTable:
    """The lens at its own scale, and how far its first vertex lies behind the front rim."""
    surfaces = tuple(
        Surface(
            radius_mm=row.radius_mm,
            thickness_mm=row.thickness_mm,
            index=row.index,
            semi_diameter_mm=math.inf if row.semi_diameter_mm is None else row.semi_diameter_mm,
        )
        for row in file.rows
    )
    table = Prescription(surfaces, stop_index=file.stop_row - 1, source=file.source).scaled(file.scale)
    return GlassTable(prescription=table, vertex_behind_front_mm=file.vertex_behind_front_mm)
