"""An index that no glass has, alone or with its Abbe number, is a slip; the glass of published lenses is not.

Published: the tables in tests/data with their own sources, and glasses of US 2007/0236805 ex. 4, US 5,742,439 ex. 1 and
US 5,537,259 ex. 1; the densest and the lightest of catalogues (2.1 / 17, 1.434 / 95) and plastics (1.585 / 29.9) from memory.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from raytrace.optics.prescription import Prescription, Surface
from scenes.cautions.glass_index import table_index_words
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import GlassTable, Resources
from scenes.scene_file.tables.prescription import glass_table, parse_prescription
from scenes.states.load import load_scene, plans_of
from scenes.states.state import states_of

REPOSITORY = Path(__file__).parents[3]
QUOTED = [(1.54075, 47.23), (1.43876, 94.99), (1.49702, 81.54), (1.65416, 39.63), (1.92286, 21.28), (1.883, 40.81), (1.84666, 23.8)]
KNOWN = [(2.1, 17.0), (2.001, 29.1), (1.434, 95.0), (1.585, 29.9), (1.4917, 57.4), (1.816, 46.6), (1.95906, 17.5)]


def table_of(*glasses):
    shapes = [shape for index, _ in glasses for shape in ((50.0, 3.0, index), (-50.0, 1.0, 1.0))]
    rows = [Surface(radius_mm=radius, thickness_mm=deep, index=index, semi_diameter_mm=20.0) for radius, deep, index in shapes]
    abbes = [abbe for _, number in glasses for abbe in (number, None)]
    return GlassTable(prescription=Prescription(tuple(rows), stop_index=0), vertex_behind_front_mm=3.0, abbes=tuple(abbes))


def published():
    for file in ("published_prescriptions.json", "published_wide_lenses.json"):
        for lens in json.loads((REPOSITORY / "tests" / "data" / file).read_text()).values():
            yield from ((row["nd"], row.get("vd")) for row in lens.get("rows", ()) if row["nd"] != 1)


def test_glass_of_published_lenses_and_of_catalogues_gets_no_word():
    glasses = [*published(), *QUOTED, *KNOWN]
    assert len(glasses) > 40
    assert list(table_index_words(table_of(*glasses))) == []


@pytest.mark.parametrize("index", [1.05, 1.16, 1.35, 2.2, 3.5])
def test_an_index_that_no_glass_has_is_told_with_its_row(index):
    (text,) = table_index_words(table_of((1.5168, 64.2), (index, None)))
    assert f"index = {index} in row 3, and optical glass has 1.4 to 2.15" in text


@pytest.mark.parametrize("glass", [(1.8168, 64.2), (1.5168, 24.2), (1.805, 55.4), (1.9168, 64.2), (1.5168, 94.2), (1.497, 21.6)])
def test_an_index_that_goes_with_another_abbe_number_is_told(glass):
    (text,) = table_index_words(table_of(glass, (1.5168, 64.2)))
    assert f"index = {glass[0]} with abbe = {glass[1]} in row 1, and no glass has both" in text


def test_a_lens_for_the_infrared_is_left_alone():
    assert list(table_index_words(table_of((4.0, None), (2.4, None)))) == []


def test_a_wrong_digit_in_a_prescription_file_is_told_of_its_lens(tmp_path):
    demo = (REPOSITORY / "scenes" / "demo" / "glass" / "double-gauss-50.toml").read_text()
    spoilt = demo.replace(
        "index = 1.79668, semi_diameter_mm = 38.0, abbe = 45.5", "index = 1.99668, semi_diameter_mm = 38.0, abbe = 45.5"
    )
    assert spoilt != demo
    assert list(table_index_words(glass_table(parse_prescription(demo, "g.toml")))) == []
    (text,) = table_index_words(glass_table(parse_prescription(spoilt, "g.toml")))
    assert "index = 1.99668 with abbe = 45.5 in row 1" in text
    (tmp_path / "g.toml").write_text(spoilt)
    lens = 'name = "50"\nfocal_mm = 47.15\nf_number = 1.41\nfront_diameter_mm = 80\nprescription = "g.toml"\n'
    (tmp_path / "s.toml").write_text(f'brimline = 1\n[camera]\nformat = "36x24"\n[[lens]]\n{lens}[box]\nahead_mm = 4\n')
    notes = [note.text for plan in plans_of(load_scene(tmp_path / "s.toml")) for note in plan.notes]
    assert any("no glass has both" in note for note in notes)


@pytest.mark.parametrize(
    ("index", "is_told"), [(2.2, True), (2.0, True), (1.35, True), (1.46, False), (1.5168, False), (1.9, False)]
)
def test_a_filter_of_no_filter_glass_is_told(index, is_told):
    lens = '[[lens]]\nname = "a"\nfocal_mm = 40\nf_number = 2\nfront_diameter_mm = 94\npupil_behind_front_mm = 50\n'
    tray = '[[box.stage]]\nname = "rear"\nat_mm = 8\ndepth_mm = 8\nopening_mm = [130, 95]\n'
    tray += f'filter = {{ size = "4x5.65", index = {index} }}\n'
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n{tray}', source="s.toml")
    texts = [note.text for note in states_of(scene, Resources())[0].notes if note.part == "rear"]
    assert any(f"filter.index = {index:g} is that of no filter glass" in text for text in texts) == is_told


def test_the_glass_map_has_no_gap():
    for index in np.linspace(1.4, 2.15, 76):
        assert list(table_index_words(table_of((float(index), None)))) == []
