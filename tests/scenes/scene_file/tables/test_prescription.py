"""Prescription files: the two shipped ones against three other programs, and what a wrong table is told."""

from importlib.resources import files

import pytest

from raytrace.optics.prescription import first_order
from scenes.scene_file.errors import SceneError
from scenes.scene_file.tables.prescription import glass_table, parse_prescription

ROWS = """source = "a table"
vertex_behind_front_mm = 2
stop_row = 2
rows = [
    { radius_mm = 50, thickness_mm = 4, index = 1.5 },
    { radius_mm = "flat", thickness_mm = 5, semi_diameter_mm = 8 },
    { radius_mm = -50, thickness_mm = 0 },
]
"""


def shipped(name):
    return files("scenes").joinpath("demo", "glass", name).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "focal_mm", "back_focus_mm", "entrance_pupil_mm", "pupil_diameter_mm"),
    [
        # optiland 0.6.3 and rayoptics 0.9.8 agree on these to every digit printed
        ("double-gauss-50.toml", 49.899990782, 36.972501074, 24.977673630, 35.423488271),
        ("retrofocus-28.toml", 28.001232564, 37.513993052, 21.062049392, 8.201458285),
    ],
)
def test_shipped_tables_are_the_published_lenses(name, focal_mm, back_focus_mm, entrance_pupil_mm, pupil_diameter_mm):
    order = first_order(glass_table(parse_prescription(shipped(name), name)).prescription)
    found = (order.focal_mm, order.back_focus_mm, order.entrance_pupil_mm, order.pupil_diameter_mm)
    assert found == pytest.approx((focal_mm, back_focus_mm, entrance_pupil_mm, pupil_diameter_mm), abs=2e-9)


def test_the_vertex_is_not_scaled_but_the_rows_are():
    table = glass_table(parse_prescription(ROWS + "scale = 0.5\n", "g.toml"))
    assert table.vertex_behind_front_mm == 2.0
    assert [s.thickness_mm for s in table.prescription.surfaces] == [2.0, 2.5, 0.0]
    assert table.prescription.stop_index == 1


@pytest.mark.parametrize(
    ("right", "wrong", "sentence"),
    [
        ('"flat"', '"plane"', 'g.toml:6: rows[2].radius_mm: must be a plain number in mm or "flat", got "plane"'),
        ('"flat"', "inf", 'g.toml:6: rows[2].radius_mm: must be a finite number, got inf; write "flat"'),
        ("radius_mm = 50", "radius_mm = 0", 'g.toml:5: rows[1].radius_mm: must not be 0; write "flat" for a plane'),
        ("stop_row = 2", "stop_row = 4", "g.toml:3: stop_row: must be 1 to 3, the number of rows, got 4"),
        (", semi_diameter_mm = 8", "", "g.toml:6: rows[2].semi_diameter_mm: is missing; the stop's row needs it, wide open"),
        ("index = 1.5", "index = 1", "g.toml:4: rows: must hold glass: every row has the same index"),
        ('source = "a table"\n', "", "g.toml: source: is missing"),
    ],
)
def test_wrong_tables_are_told_what_to_do(right, wrong, sentence):
    assert right in ROWS
    with pytest.raises(SceneError) as caught:
        parse_prescription(ROWS.replace(right, wrong), "g.toml")
    assert str(caught.value) == sentence


@pytest.mark.parametrize("row", [1, 5, 8])
def test_a_stop_on_glass_is_refused_where_a_bare_row_stands_in_air(row):
    # US Patent 4,099,850 has its stop in row 7, in air; a flat surface between air and air does nothing to light but end it
    text = shipped("retrofocus-28.toml")
    assert text.count("stop_row = 7") == 1
    assert parse_prescription(text, "g.toml").stop_row == 7
    with pytest.raises(SceneError) as caught:
        parse_prescription(text.replace("stop_row = 7", f"stop_row = {row}"), "g.toml")
    (one,) = caught.value.complaints
    assert f"stop_row: is {row}, a surface of glass, but row 7 is flat with air on both sides, as only a stop is: write 7" in str(
        one
    )
