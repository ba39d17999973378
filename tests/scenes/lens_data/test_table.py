"""A table of measures: its columns are keys of state rows, its numbers as people write them."""

import pytest

from scenes.scene_file.errors import SceneError
from tests.scenes.lens_data.samples_made import lens_of, table_of

COMMA = "focus_mm,focal_mm,pupil_behind_front_mm,half_field_deg,front_travel_mm\ninfinity,25,46.5,35.8,0\n400,25,48,36.9,2.5\n"


@pytest.mark.parametrize(
    "text",
    [
        COMMA,
        "\ufeff# measured on the bench\n" + COMMA.replace("\n", "\r\n"),
        COMMA.replace(",", ";").replace(".", ","),
        COMMA.replace(",", "\t"),
        COMMA.replace("infinity", "∞"),
    ],
    ids=["commas", "mark and comment", "decimal commas", "tabs", "sign"],
)
def test_separators_and_decimal_commas_do_not_matter(tmp_path, text):
    lens = lens_of(table_of(tmp_path, text, "bench.csv"))
    assert lens["focal_mm"] == 25.0
    assert lens["state"] == [
        {"focus_mm": "infinity", "pupil_behind_front_mm": 46.5, "front_travel_mm": 0.0, "half_field_deg": 35.8},
        {"focus_mm": 400.0, "pupil_behind_front_mm": 48.0, "front_travel_mm": 2.5, "half_field_deg": 36.9},
    ]


def test_a_pupil_measured_from_the_sensor_takes_the_travel_of_its_own_row(tmp_path):
    text = "focus_mm,focal_mm,pupil_from_sensor_mm,front_travel_mm\ninfinity,25,104,0\n1000,25,105,1.5\n400,25,107,4\n"
    rows = lens_of(table_of(tmp_path, text, "bench.csv"))["state"]
    assert [row["pupil_behind_front_mm"] for row in rows] == [46.0, 46.5, 47.0]  # 150 + 1.5 - 105, 150 + 4 - 107


def test_both_half_fields_are_written_as_a_table(tmp_path):
    text = "focus_mm,focal_mm,pupil_behind_front_mm,half_field_deg,half_field_vertical_deg\ninfinity,25,46,35.8,25.6\n"
    assert lens_of(table_of(tmp_path, text, "b.csv"))["state"][0]["half_field_deg"] == {"horizontal": 35.8, "vertical": 25.6}


def test_all_that_is_missing_is_asked_for_at_once(tmp_path):
    text = "focus_mm,half_field_deg\ninfinity,35\n400,36\n"
    with pytest.raises(SceneError) as told:
        table_of(tmp_path, text, "b.csv", f_number=None, front_diameter_mm=None)
    assert all(key in str(told.value) for key in ("focal_mm", "pupil_behind_front_mm", "--f-number", "--front-diameter-mm"))
    text = "focus_mm,focal_mm,pupil_from_sensor_mm\ninfinity,25,104\n400,25,107\n"
    with pytest.raises(SceneError) as told:
        table_of(tmp_path, text, "b.csv", front_to_sensor_mm=None, front_travel_mm=None)
    assert all(key in str(told.value) for key in ("--front-to-sensor-mm", "front_travel_mm"))


def test_a_half_field_that_nothing_holds_is_asked_about(tmp_path):
    text = "focus_mm,focal_mm,pupil_behind_front_mm,half_field_deg\ninfinity,25,46,71.6\n"
    table = table_of(tmp_path, text, "b.csv")
    assert any("if it is the full field, halve it; with --width-mm" in caution for caution in table.cautions)
    with pytest.raises(SceneError, match=r"half field of 71.6 deg, where 25 mm .* 36 mm wide give 35.8"):
        table_of(tmp_path, text, "b.csv", width_mm=36.0)


def test_a_zoom_is_told_by_its_focal_lengths(tmp_path):
    text = "focal_mm,focus_mm,pupil_behind_front_mm\n" + "".join(f"{f},{d},60\n" for f in (24, 35, 70) for d in ("infinity", 900))
    lens = lens_of(table_of(tmp_path, text, "zoom.csv"))
    assert [(row["focal_mm"], row["focus_mm"]) for row in lens["state"]] == [
        (f, d) for f in (24.0, 35.0, 70.0) for d in ("infinity", 900.0)
    ]
    assert "focal_mm" not in lens


@pytest.mark.parametrize("cell", ["46_5", "1_000", "4 6.5", "46.5 mm", "0x2e", "46.5.0"])
def test_a_cell_that_is_no_number_as_people_write_it_is_refused(tmp_path, cell):
    """46_5 is a slip for 46.5, and a number of 465 to Python."""
    with pytest.raises(SceneError, match="row 1: pupil_behind_front_mm: must be a number"):
        table_of(tmp_path, COMMA.replace("46.5", cell), "bench.csv")


@pytest.mark.parametrize("cell", ["#N/A", "#REF!", "#DIV/0!", "#WERT!", "###", "#"])
def test_a_row_that_begins_with_a_spreadsheets_error_is_a_row_and_no_remark(tmp_path, cell):
    """ECMA-376-1, 18.17.3, lists the errors (from memory); a cell too narrow for its number is written as ###."""
    with pytest.raises(SceneError, match="row 2: focus_mm: must be a number or infinity"):
        lens_of(table_of(tmp_path, COMMA.replace("\n400,", f"\n{cell},"), "bench.csv"))


@pytest.mark.parametrize("remark", ["# 600,25,47,36.5,1", "#600,25,47,36.5,1", "# a, b, c, d, e", "#measured, on the bench"])
def test_a_row_that_somebody_has_left_out_and_words_are_remarks(tmp_path, remark):
    head, *rows = COMMA.splitlines()
    text = "\n".join([head, rows[0], remark, rows[1], ""])
    assert len(lens_of(table_of(tmp_path, text, "bench.csv"))["state"]) == 2


TRAVEL = "focus_mm,focal_mm,pupil_behind_front_mm,front_travel_mm\ninfinity,25,46,0\n1000,25,50,1\n"
SHORT = "end at 1000 mm, while the lens focuses to 400 mm: nearer, the last one's pupil and field are used"


@pytest.mark.parametrize(
    ("rows", "close", "told_so"),
    [("", 400.0, True), ("#400,25,75,2\n", 400.0, True), ("400,25,75,2\n", 400.0, False), ("", 950.0, False), ("", None, False)],
    ids=["lost", "left out", "whole", "near enough", "not stated"],
)
def test_rows_that_end_before_the_nearest_focus_are_told(tmp_path, rows, close, told_so):
    cautions = table_of(tmp_path, TRAVEL + rows, "bench.csv", close_focus_mm=close).cautions
    assert any(SHORT in caution for caution in cautions) == told_so


def test_rows_of_one_zoom_position_that_end_before_the_others_are_told(tmp_path):
    text = "focal_mm,focus_mm,pupil_behind_front_mm\n" + "".join(f"{f},{d},60\n" for f in (24, 70) for d in ("infinity", 900, 400))
    short = text.replace("70,400,60\n", "")
    whole, lost = (table_of(tmp_path, one, "zoom.csv", close_focus_mm=400.0).cautions for one in (text, short))
    assert any("rows of a zoom position end at 900 mm, while the lens focuses to 400 mm" in caution for caution in lost)
    assert not any("while the lens focuses to" in caution for caution in whole)


@pytest.mark.parametrize(("focus", "told_so"), [("100.000", True), ("3000", False), ("400", False), ("380", False)])
def test_a_row_nearer_than_the_nearest_focus_is_told(tmp_path, focus, told_so):
    """100.000 with a point for thousands is read as 100: its neighbours would be blamed."""
    text = "focus_mm;focal_mm;pupil_behind_front_mm\ninfinity;25;46\n1000;25;50\n" + f"{focus};25;52\n450;25;53\n"
    cautions = table_of(tmp_path, text, "bench.csv", close_focus_mm=400.0, front_to_sensor_mm=80.0).cautions
    assert (
        any("a row stands at focus 100 mm, nearer than the 400 mm that the lens focuses to" in one for one in cautions) == told_so
    )


@pytest.mark.parametrize("remark", ["# far endinfinity,25,48,37.6,0", "# 2000,25,47,36,1", "# far end 2000,25,,36,1"])
def test_a_remark_with_the_values_of_a_row_is_told(tmp_path, remark):
    """A remark that lost its line end took the row behind it; its own text has none of that."""
    table = table_of(tmp_path, COMMA + remark + "\n", "bench.csv")
    assert any(remark in said and "a remark with the values of a row, and left out" in said for said in table.cautions)
    assert len(lens_of(table)["state"]) == 2


@pytest.mark.parametrize("remark", ["# measured by two of us, twice, in the cold, by hand", "# one, two", "# in mm, 25,x,1,2"])
def test_remarks_of_words_are_not_told(tmp_path, remark):
    table = table_of(tmp_path, COMMA + remark + "\n", "bench.csv")
    assert not [said for said in table.cautions if "remark" in said]
