"""A wrong number in a row of a walking pupil turns a dark frame clear: it gets a word, and the walks of published lenses none.

The published walks are traced here through the tables in tests/data (patents and M. Laikin, Lens Design, 4th ed.), their
sizes as their rims leave them.
"""

import json
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.prescription import Prescription, Surface
from raytrace.optics.prescription_pupil import PupilTable, pupil_table
from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

DATA = Path(__file__).parents[2] / "data"
TABLES = {
    name: table
    for file in ("published_prescriptions.json", "published_wide_lenses.json")
    for name, table in json.loads((DATA / file).read_text()).items()
}
WALK = ((0, 33, 1, 1), (15, 32.2, 1.01, 1.0), (30, 29.6, 1.05, 1.01), (45, 25.4, 1.1, 1.02))  # invented


def told(rows):
    """The cautions about a walk."""
    listed = ", ".join(f"[{', '.join(f'{value:g}' for value in row)}]" for row in rows)
    lens = f'[[lens]]\nname = "24"\nfocal_mm = 24\nf_number = 2\nfront_diameter_mm = 95\npupil_walk = [{listed}]\n'
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n', source="s.toml")
    return [
        note.text
        for note in doubtful_notes(scene, scene.lens[0])
        if note.text.startswith("pupil_walk") and "goes to" not in note.text
    ]


def changed(**rows):
    """The walk with some rows otherwise: `row2=(30, ...)`."""
    return [rows.get(f"row{number}", row) for number, row in enumerate(WALK)]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (
            changed(row2=(30, 29.6, 0.55, 0.51), row3=(45, 25.4, 0.6, 0.52)),
            "sagittal, which stays near 1; is it half a diameter? It would be 1.1 x 1.02",
        ),
        (changed(row2=(30, 29.6, 1.05, 0.51)), "sizes of 1.05 x 0.51 at 30 deg"),
        (
            changed(row2=(30, 29.6, 0.55, 1.01)),
            "a tangential size of 0.55 at 30 deg and 1.1 at 45 deg: what the rims of a lens have cut",
        ),
        (changed(row2=(30, 29.6, 0.11, 1.01)), "a tangential size of 0.11 at 30 deg after 1.01 at 15 deg, a fraction of the pupil"),
        (
            [(0, 44, 1, 1), (15, 45, 1, 1), (30, 49, 1, 1), (41, 45, 1, 1)],
            "ends at 45 mm at 41 deg, far out of line with 49 mm",
        ),
        (
            [(0, 40, 1, 1), (15, 39.5, 1, 1), (30, 38.5, 1, 1), (40, 37.3, 1, 1), (47, 26.5, 1, 1)],
            "ends at 26.5 mm at 47 deg, far out of line with 37.3 mm",
        ),
        (
            [(0, 34, 1, 1), (20, 31, 1, 1), (40, 25, 1, 1), (56, 2, 1, 1)],
            "ends at 2 mm at 56 deg, far out of line with 25 mm",
        ),
        (
            [(0, 40, 1, 1), (15, 39.5, 1, 1), (30, 38.5, 1, 1), (40, 37.3, 1, 1), (47, 32.6, 1, 1)],
            "ends at 32.6 mm at 47 deg, far out of line with 37.3 mm",
        ),
        (
            [(0, 45, 1, 1), (15, 44.2, 1, 1), (30, 34.6, 1.01, 1), (44, 34.4, 1.03, 1)],
            "= 34.6 mm at 30 deg is far out of line with the rows beside it, 44.2 and 34.4 mm",
        ),
        (
            [(0, 45, 1, 1), (15, 44.2, 1, 1), (30, 32.6, 1.01, 1), (44, 30.4, 1.03, 1)],
            "= 32.6 mm at 30 deg is far out of line with the rows beside it, 44.2 and 30.4 mm",
        ),
        (changed(row2=(30, 19.6, 1.05, 1.01)), "= 19.6 mm at 30 deg is far out of line with the rows beside it, 32.2 and 25.4 mm"),
        (changed(row2=(30, 19.6, 1.05, 1.01), row3=(45, 22.4, 1.1, 1.02)), "= 19.6 mm at 30 deg is far out of line"),
        (changed(row2=(30, 19.6, 1.05, 1.01), row3=(45, 18.9, 1.1, 1.02)), "= 19.6 mm at 30 deg is far out of line"),
    ],
)
def test_a_walk_with_wrong_numbers_is_told_with_the_row_it_is_in(rows, words):
    (text,) = told(rows)
    assert words in text


def test_a_walk_that_runs_smoothly_gets_no_word():
    assert told(WALK) == []


@pytest.mark.parametrize("step_deg", [5.0, 10.0, 15.0])
@pytest.mark.parametrize("name", TABLES)
def test_the_walk_of_a_published_lens_gets_no_word(name, step_deg):
    rows = published_walk(TABLES[name], step_deg)
    assert all(told(rows[:end]) == [] for end in range(2, len(rows) + 1))


def published_walk(table, step_deg):
    """Rows of a walk of about 33 mm, as a scene has them: to where a third of its height is left, as in a dark corner."""
    found = traced(prescription(table), step_deg)
    across, up = (turn(found.spoke_rad) * found.radii_mm for turn in (np.cos, np.sin))
    sagittal, tangential = (np.ptp(one, axis=1) / 2 / found.axial_radius_mm for one in (across, up))
    tangential = tangential * np.cos(found.chief_rad)
    scale = 33.0 / found.crossing_mm[0]
    rows = list(zip(np.degrees(found.field_rad), scale * found.crossing_mm, tangential, sagittal, strict=True))
    lit = [row for row in rows if min(row[2:]) > 1 / 3]
    return [(0.0, 33.0, 1.0, 1.0), *lit[1:]]


def traced(lens: Prescription, step_deg: float) -> PupilTable:
    """The pupils of a lens at a row's fields, as far as a ray gets through; a stop without a size is taken as f/4."""
    f_number = 4.0 if np.isinf(lens.surfaces[lens.stop_index].semi_diameter_mm) else None
    pupils = partial(pupil_table, lens, f_number)
    for last_deg in range(80, 10, -5):
        try:
            return pupils(np.radians(np.arange(0.0, last_deg + 0.1, step_deg)))
        except GeometryError:
            continue
    raise AssertionError("no ray gets through")


def prescription(table) -> Prescription:
    surfaces = tuple(
        Surface(
            radius_mm=row["R"] if row["R"] is not None else np.inf,
            thickness_mm=row["t"],
            index=row["nd"],
            semi_diameter_mm=row["semi_diameter"] or np.inf,
        )
        for row in table["rows"]
    )
    return Prescription(surfaces=surfaces, stop_index=table["stop_row_1based"] - 1)
