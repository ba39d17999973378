"""CSV of an answer's tables, read back by Python's own reader."""

import csv
import io

from scenes.answers.csv_tables import csv_files

DATA = {
    "brimline": "flags",
    "states": [{"key": "24_inf", "f_number": 2.8}],
    "flags": [
        {"key": "right flag", "limit": {"clear_deg": 47.2, "part": None}, "files": ["a.png", "b.png"],
         "lights": [{"name": "sun"}, {"name": "moon, full"}]},
        {"key": "left flag", "limit": {"clear_deg": 30.0, "part": "hood"}, "closed": True, "lights": []},
    ],
    "empty": [],
    "files": ["x.png"],
}  # fmt: skip


def read(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_every_list_of_rows_is_a_file_and_nothing_else_is():
    assert list(dict(csv_files("flags", DATA))) == ["flags-states.csv", "flags-flags.csv", "flags-flags-lights.csv"]


def test_values_are_those_of_the_json():
    rows = read(dict(csv_files("flags", DATA))["flags-flags.csv"])
    assert [row["limit.clear_deg"] for row in rows] == ["47.2", "30.0"]
    assert [row["limit.part"] for row in rows] == ["", "hood"]  # nothing is an empty cell
    assert rows[0]["files"] == "a.png b.png"
    assert [row["closed"] for row in rows] == ["", "true"]


def test_rows_within_a_row_say_whose_they_are():
    rows = read(dict(csv_files("flags", DATA))["flags-flags-lights.csv"])
    assert rows == [{"of": "right flag", "name": "sun"}, {"of": "right flag", "name": "moon, full"}]
