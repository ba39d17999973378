"""A lens prescription file: the surface table of a published lens. TOML text -> frozen values; opens no file."""

import math
from collections.abc import Iterator
from itertools import pairwise

from raytrace.optics.prescription import Prescription, Surface
from scenes.scene_file.messages import plain
from scenes.scene_file.parse import read_model, read_toml
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.fields import FLAT, Fault, Table, mm, part, quantity, text

BARE = "flat with air on both sides, as only a stop is"
LEAST_RADIUS_MM = 0.1  # a smaller sphere is a slip of the keyboard, not a lens surface


class GlassRow(Table):
    """One surface, counted from the scene side, and what follows it."""

    radius_mm: float = mm(
        'Radius of curvature, positive where its centre lies toward the image; "flat" for a plane or a bare stop. Times scale.',
        -1e7,
        1e7,
        **{"x-words": (FLAT,)},
    )
    thickness_mm: float = mm("From this surface to the next along the axis; of the last row 0 will do. Times scale.", 0.0, 5000.0)
    index: float = quantity("Refractive index of what follows this surface; 1 is air.", 1.0, 4.5, 1.0)
    semi_diameter_mm: float | None = mm(
        "Half the clear diameter, where known: the surface's own rim; needed for the stop. Times scale.", 0.1, 1000.0, None
    )
    abbe: float | None = quantity(
        "Abbe number, where the table gives it; held against the index, no light is worked out by it.", 5.0, 120.0, None
    )

    def faults(self) -> Iterator[Fault]:
        """A sphere has a radius."""
        if abs(self.radius_mm) < LEAST_RADIUS_MM:
            yield ("radius_mm",), f'must not be {plain(self.radius_mm)}; write "{FLAT}" for a plane'


class GlassFile(Table):
    """The surface table of a published lens, and how it sits in its barrel."""

    source: str = text("Where the table was published, such as a patent's number and example.", longest=300)
    scale: float = quantity("All lengths of the rows are multiplied by this: the lens's size against the table's.", 1e-4, 1e4, 1.0)
    vertex_behind_front_mm: float = mm(
        "How far the first surface's vertex lies behind the lens's front rim; not scaled.", -100.0, 500.0
    )
    stop_row: int = quantity("Row of the aperture stop, counted from 1.", 1, 200)
    rows: tuple[GlassRow, ...] = part("Surfaces from the scene side to the image side.")

    def faults(self) -> Iterator[Fault]:
        """The stop is one of the rows and has a size; there is glass; the lens ends in air."""
        if not self.rows:
            yield ("rows",), "must hold at least two surfaces"
        elif self.stop_row > len(self.rows):
            yield ("stop_row",), f"must be 1 to {len(self.rows)}, the number of rows, got {self.stop_row}"
        elif self.rows[self.stop_row - 1].semi_diameter_mm is None:
            yield ("rows", self.stop_row - 1, "semi_diameter_mm"), "is missing; the stop's row needs it, wide open"
        elif all(a.index == b.index for a, b in pairwise(self.rows)):
            yield ("rows",), "must hold glass: every row has the same index"
        elif self.rows[-1].index != 1.0:
            yield ("rows", len(self.rows) - 1, "index"), f"must be 1: behind the lens is air, got {plain(self.rows[-1].index)}"
        elif (bare := self._bare_rows()) and self.stop_row not in bare:
            way_out = f"write {bare[0]}, or, if that is no stop, take the row out and add its thickness to the one before"
            yield (
                ("stop_row",),
                f"is {self.stop_row}, a surface of glass, but row {bare[0]} is {BARE}: {way_out}",
            )

    def _bare_rows(self) -> list[int]:
        """Rows, counted from 1, that are flat with air on both sides."""
        ahead = [1.0, *(row.index for row in self.rows[:-1])]
        return [
            number
            for number, (row, before) in enumerate(zip(self.rows, ahead, strict=True), 1)
            if math.isinf(row.radius_mm) and row.index == before == 1.0
        ]


def parse_prescription(text: str, source: str) -> GlassFile:
    """The lens table that a TOML text describes; SceneError with every complaint if it cannot be used.

    `source` is the name that complaints give the text, usually the file's.
    """
    return read_model(GlassFile, read_toml(text, source, GlassFile), text, source)


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
    return GlassTable(
        prescription=table, vertex_behind_front_mm=file.vertex_behind_front_mm, abbes=tuple(row.abbe for row in file.rows)
    )
