"""Mistakes that newcomers make with a whole scene, drawings included: each gets a sentence that tells what to do."""

import re
import zipfile

import ezdxf
import pytest
import trimesh

from scenes.scene_file.errors import SceneError
from scenes.scene_file.examples import example_text
from scenes.states.load import load_scene, plans_of

EXAMPLE = example_text()
LENSES = EXAMPLE[EXAMPLE.index("[[lens]]") : EXAMPLE.index("[box]")]
OPENING = "opening_mm = [146, 104]\ncorner_mm = 6"  # of the mask


# 3MF core specification: unit of the model, objects, build
BOX_IN_INCHES = """<model unit="inch" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>
<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="4" y="0" z="0"/><vertex x="0" y="2" z="0"/>
<vertex x="0" y="0" z="1"/></vertices><triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>
<triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh></object></resources>
<build><item objectid="1"/></build></model>"""


def solid(rows):
    return "", f"\n[[box.solid]]\n{rows}\n"


MISTAKES = {
    "misspelt key": ("close_focus_mm = 700", "close_fokus_mm = 700", 'is no key of this table; did you mean "close_focus_mm"?'),
    "key in the wrong table": ("[box.stage.filter]", "[box.filter]", "is no key of this table; it belongs to [box.stage]"),
    "wrong unit": ("ahead_mm = 4", 'ahead_mm = "0.4 cm"', "write 4"),
    "negative size": ("[138, 97]", "[-138, 97]", "must be 5 to 600 mm, got -138; write 138, without the minus"),
    "missing lens": (LENSES, "", "lens: is missing; begin one with the lines `[[lens]]` and `name = \"21\"`"),
    "interval reversed": ("[38, 44]", "[44, 38]", "must be [least, most], got [44, 38]; write [38, 44]"),
    "wrong type": ("focal_mm = 21", "focal_mm = [21]", "must be a plain number in mm, got an array; write 21"),
    "unknown mount": ("rods-15", "tripod", '"tripod" is no mount of the catalogue; take one of rods-15,'),
    "lens named twice": ('name = "28-45"', 'name = "21"', "give each lens its own name"),
    "focus nearer than the front": ('"infinity", "close"', "120", "must lie beyond the front rim, 160 mm from the image plane"),
    "f-number 0": ("f_number = 2.0", "f_number = 0", "must be 0.5 to 64, got 0; for example f_number = 2.0"),
    "aspect without its point": ("aspect = 2.39", "aspect = 239", "write 2.39 if its point is missing"),
    "tilt 90": ("corner_mm = 4", "tilt_deg = 90", "must be -45 to 45 deg, got 90; it is the tilt about its own centre"),
    "unknown format": ('"36x24"', '"full frame"', "give width_mm and height_mm, or take one of super-35-4perf,"),
    "curly quotes": ('"36x24"', "\u201c36x24\u201d", 'write straight quotes, "..."'),
    "several values bare": ("[2.8]", "2.8, 4", "put several values in brackets, such as [2.8, 4]"),
    "empty file": (EXAMPLE, "", "holds no keys; write a commented scene to start from with `brimline new my-show.toml`"),
    "JSON": (EXAMPLE, '{"brimline": 1}', "a scene file is TOML"),
    "binary file": (EXAMPLE, "\x89PNG\0\0", "must be a text file, found a binary one"),
    "missing DXF": (OPENING, 'outline = "oen.dxf"', 'cannot be found; did you mean "open.dxf"?'),
    "open DXF outline": (OPENING, 'outline = "open.dxf"', "mm, a gap of 80 mm; close it: ends more than 0.01 mm apart"),
    "DXF in metres": (OPENING, 'outline = "metres.dxf"', "set its unit to mm ($INSUNITS = 4)"),
    "DXF in inches": (OPENING, 'outline = "inches.dxf"', "it looks drawn in inches (142 mm), save it in mm"),
    "no DXF": (OPENING, 'outline = "text.dxf"', "is no readable DXF drawing; export the cut-out as DXF again"),
    "STL in inches": (*solid('file = "inches.stl"'), "looks like inches (102 mm)"),  # 4 in
    "missing STL": (*solid('file = "inch.stl"'), 'did you mean "inches.stl"?'),
    "STL in mm called inches": (*solid('file = "mm.stl"\nunit = "in"'), 'its 90 units look like millimetres; set unit to "mm"'),
    "3MF in inches called mm": (*solid('file = "inches.3mf"\nunit = "mm"'), 'speaks against the file, which states "in"'),
    "mesh of another kind": (*solid('file = "part.step"'), "must end in .stl, .obj, .ply, .3mf or .glb"),
}  # fmt: skip
ODD_BOXES = {
    "filter too small": ('size = "4x5.65"\nthickness_mm = 4', 'size = "4x4"', "fault", "take a larger filter or a smaller opening"),
    "two flags on one side": ('side = "right"', 'side = "top"', "fault", "take one of them away, hinge it elsewhere"),
    "STL in inches called metres": (*solid('file = "inches.stl"\nunit = "m"'), "fault", "is 4.0 m across, larger than anything"),
    "STL in inches called mm": (*solid('file = "inches.stl"\nunit = "mm"'), "caution", 'if that is in inches (unit = "in"'),
    "opening typed in inches": ("[146, 104]\ncorner_mm = 6", "[5.75, 6.1]", "caution", "if that was meant in inches, write"),
}  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    trimesh.creation.box((4, 2, 1)).export(tmp_path / "inches.stl")
    trimesh.creation.box((90, 50, 20)).export(tmp_path / "mm.stl")
    with zipfile.ZipFile(tmp_path / "inches.3mf", "w") as package:
        package.writestr("3D/3dmodel.model", BOX_IN_INCHES)
    corners = [(-70, -40), (70, -40), (70, 40), (-70, 40)]
    drawing(tmp_path / "open.dxf", corners, unit=4, closed=False)
    drawing(tmp_path / "metres.dxf", corners, unit=6)
    drawing(tmp_path / "inches.dxf", [(x / 25, y / 25) for x, y in corners], unit=4)
    (tmp_path / "text.dxf").write_text("no drawing\n")
    return tmp_path


def drawing(path, corners, *, unit, closed=True):
    document = ezdxf.new(units=unit)  # $INSUNITS: 4 mm, 6 m (DXF reference)
    document.modelspace().add_lwpolyline(corners, close=closed)
    document.saveas(path)


def planned(folder, right, wrong):
    assert right in EXAMPLE
    path = folder / "show.toml"
    path.write_text(EXAMPLE.replace(right, wrong, 1) if right else EXAMPLE + wrong, encoding="utf-8")
    return plans_of(load_scene(path))


@pytest.mark.parametrize(("right", "wrong", "words"), MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_told_with_its_file_and_what_to_do(folder, right, wrong, words):
    with pytest.raises(SceneError) as caught:
        planned(folder, right, wrong)
    told = str(caught.value)
    assert words in told
    for line in told.splitlines():
        assert re.match(r"(\S*/)?show\.toml(:\d+)?: ", line)
        assert re.search(r"; |did you mean|must end in|take one of", line)


@pytest.mark.parametrize(("right", "wrong", "severity", "words"), ODD_BOXES.values(), ids=ODD_BOXES.keys())
def test_an_odd_box_is_told_as_a_note_with_what_to_do(folder, right, wrong, severity, words):
    notes = {note for plan in planned(folder, right, wrong) for note in plan.notes}
    assert severity in [note.severity for note in notes if words in note.text]


def test_a_folder_instead_of_a_file_names_the_scene_in_it(folder):
    (folder / "show.toml").write_text(EXAMPLE)
    with pytest.raises(SceneError) as caught:
        load_scene(folder)
    assert str(caught.value) == f'{folder}: is a folder, a file is needed; did you mean "{folder}/show.toml"?'
