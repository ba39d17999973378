"""STL, 3MF and STEP read back by other readers: trimesh, lib3mf, cascadio (Open CASCADE), and a parser of this file's own."""

import io
import re
from math import pi

import numpy as np
import pytest
import trimesh

from geometry.frame import pose
from geometry.polyhedra import plate, volume_mm3
from geometry.rings import circle_ring, rectangle_ring
from geometry.unfold import ends_of
from scenes.io.solid_files import stl_bytes, threemf_bytes
from scenes.io.step_text import step_bytes
from tests.geometry.test_polyhedra import hood

PLATE = plate(rectangle_ring(190, 160, 6), [circle_ring(65), circle_ring(3, (80, 60))], 4, sagitta_mm=0.02)
PLATE_MM3 = 4 * (190 * 160 - (4 - pi) * 36 - pi * (65**2 + 9))
HOOD = hood(ends_of((120, 120), (180, 180), 100), 2).placed(pose(ahead_mm=50, tilt_deg=3))
NAMED = [('P01 back "plate" & <co>', PLATE), ("P02 Haube é", HOOD)]
SAME = 1e-6


def test_an_stl_is_read_closed_with_the_volume_of_the_formula():
    data = stl_bytes(PLATE)
    found = trimesh.load(io.BytesIO(data), file_type="stl")
    assert found.is_watertight
    assert found.volume == pytest.approx(PLATE_MM3, rel=SAME)
    assert len(data) == 84 + 50 * len(found.faces)  # the layout of binary STL
    assert not data.startswith(b"solid")


def test_a_3mf_is_read_with_its_names_in_mm_and_closed(tmp_path):
    path = tmp_path / "box.3mf"
    path.write_bytes(threemf_bytes(NAMED, "Title & more"))
    scene = trimesh.load(path)
    assert list(scene.geometry) == [name for name, _ in NAMED]
    assert [one.volume for one in scene.geometry.values()] == pytest.approx([PLATE_MM3, volume_mm3(HOOD)], rel=SAME)
    assert all(one.is_watertight for one in scene.geometry.values())
    assert scene.units == "millimeter"


def test_lib3mf_reads_a_3mf_without_a_warning_as_solids_turned_outward(tmp_path):
    lib3mf = pytest.importorskip("lib3mf")
    path = tmp_path / "box.3mf"
    path.write_bytes(threemf_bytes(NAMED, "box"))
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0  # a misspelt unit would be one
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    meshes, names = model.GetMeshObjects(), []
    while meshes.MoveNext():
        one = meshes.GetCurrentMeshObject()
        names.append(one.GetName())
        assert one.IsManifoldAndOriented()
    assert names == [name for name, _ in NAMED]


def test_open_cascade_reads_each_part_of_a_step_file_as_a_solid_of_that_volume(tmp_path):
    cascadio = pytest.importorskip("cascadio")
    path, read = tmp_path / "box.step", tmp_path / "box.glb"
    path.write_bytes(step_bytes(NAMED, "box"))
    assert cascadio.step_to_glb(str(path), str(read)) == 0  # 1 is failure: it raises nothing
    scene = trimesh.load(read)
    assert list(scene.geometry) == [name for name, _ in NAMED]
    found = [one.volume * 1e9 for one in scene.geometry.values()]  # GLB is in metres
    assert found == pytest.approx([PLATE_MM3, volume_mm3(HOOD)], rel=SAME)


def entities(text):
    return {int(number): body for number, body in re.findall(r"^#(\d+)=(.*);$", text, re.MULTILINE)}


@pytest.mark.parametrize("solid", [PLATE, HOOD], ids=["plate", "hood"])
def test_the_shell_of_a_step_file_is_closed_and_its_faces_lie_in_their_planes(solid):
    """By ISO 10303-42: every edge curve of a closed shell is used twice, once each way; all of a face lies in its surface."""
    known = entities(step_bytes([("part", solid)], "part").decode("ascii"))
    numbers = {body: [int(n) for n in re.findall(r"#(\d+)", body)] for body in known.values()}
    used = {}
    for body in known.values():
        if body.startswith("ORIENTED_EDGE"):
            used.setdefault(numbers[body][0], []).append(body.endswith(".T.)"))
    assert used
    assert all(sorted(ways) == [False, True] for ways in used.values())
    refs = {number for body in known.values() for number in numbers[body]}
    assert refs <= set(known)
    vertices, faces = (
        sum(b.startswith("VERTEX_POINT") for b in known.values()),
        sum(b.startswith("ADVANCED_FACE") for b in known.values()),
    )
    holes = sum(b.startswith("FACE_BOUND") for b in known.values())
    genus = 1 if solid is HOOD else 2
    assert vertices - len(used) + faces - holes == 2 - 2 * genus  # Euler and Poincare


def test_every_point_of_a_face_lies_in_the_plane_that_the_file_gives_it():
    known = entities(step_bytes([("hood", HOOD)], "hood").decode("ascii"))

    def triple(number):
        return np.array([float(v) for v in re.search(r"\(([-\d.,]+)\)", known[number])[1].split(",")])

    def numbers(number):
        return [int(n) for n in re.findall(r"#(\d+)", known[number])]

    checked = 0
    for number, body in known.items():
        if not body.startswith("ADVANCED_FACE"):
            continue
        *bounds, plane = numbers(number)
        origin, normal, across = (triple(n) for n in numbers(numbers(plane)[0]))
        assert abs(normal @ across) < 1e-9
        for bound in bounds:
            for oriented in numbers(numbers(bound)[0]):
                for vertex in numbers(numbers(oriented)[0])[:2]:
                    assert abs((triple(numbers(vertex)[0]) - origin) @ normal) < 1e-6
                    checked += 1
    assert checked == 2 * (2 * 8 + 8 * 4)


def test_a_step_file_states_millimetres_and_ascii_alone():
    data = step_bytes(NAMED, "Kästen")
    text = data.decode("ascii")
    assert text.startswith("ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION")
    assert "SI_UNIT(.MILLI.,.METRE.)" in text
    assert "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'))" in text
    assert r"'K\X2\00E4\X0\sten'" in text
    assert text.endswith("END-ISO-10303-21;\n")


def test_the_same_solids_are_the_same_bytes():
    assert threemf_bytes(NAMED, "t") == threemf_bytes(NAMED, "t")
    assert step_bytes(NAMED, "t") == step_bytes(NAMED, "t")
