"""A mesh that is damaged, cut short or out of all bounds is refused: metal that is lost in reading would let light through."""

import io
import json
import os
import struct
import zipfile

import numpy as np
import pytest
import trimesh

from scenes.io.reading import LARGEST_MESH, read_bytes, read_mesh
from scenes.scene_file.errors import SceneError

BRACKET = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
KINDS = ("stl", "obj", "ply", "3mf", "glb")


def complaint(call):
    with pytest.raises(SceneError) as caught:
        call()
    (one,) = caught.value.complaints
    assert "\n" not in str(one)
    return str(one)


def written(mesh, kind):
    data = mesh.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


@pytest.mark.parametrize("kind", [*KINDS, "stl_ascii"])
def test_a_whole_mesh_is_read_with_all_its_faces(tmp_path, kind):
    path = tmp_path / f"a.{kind.partition('_')[0]}"
    path.write_bytes(written(BRACKET, kind))
    assert len(read_mesh(path).faces) == len(BRACKET.faces)


def test_quads_count_as_two_triangles(tmp_path):
    path = tmp_path / "a.obj"
    path.write_text("v 0 0 0\nv 90 0 0\nv 90 90 0\nv 0 90 0\nf 1 2 3 4\n")
    assert len(read_mesh(path).faces) == 2


@pytest.mark.parametrize("kind", [*KINDS, "stl_ascii"])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.999])
def test_a_file_cut_short_is_refused_or_misses_no_more_than_its_last_faces_and_is_open(tmp_path, kind, share):
    path = tmp_path / f"a.{kind.partition('_')[0]}"
    data = written(BRACKET, kind)
    path.write_bytes(data[: int(share * len(data))])
    if kind != "obj":  # OBJ states no count and has no end; what is cut off shows as an open mesh
        complaint(lambda: read_mesh(path))
        return
    try:
        mesh = read_mesh(path)
    except SceneError:
        return
    assert not trimesh.Trimesh(mesh.vertices, mesh.faces).is_watertight


def test_an_stl_whose_head_counts_fewer_triangles_than_it_holds_is_refused(tmp_path):
    data = bytearray(written(BRACKET, "stl"))
    data[80:84] = (12).to_bytes(4, "little")
    (tmp_path / "a.stl").write_bytes(data)
    assert "states 12 triangles and its size holds 320" in complaint(lambda: read_mesh(tmp_path / "a.stl"))


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "3mf"])
def test_a_coordinate_that_is_no_number_is_refused_and_no_face_is_dropped_for_it(tmp_path, kind):
    path = tmp_path / f"a.{kind}"
    broken = trimesh.Trimesh(BRACKET.vertices.copy(), BRACKET.faces, process=False)
    broken.vertices[7] = np.nan
    path.write_bytes(written(broken, kind))
    complaint(lambda: read_mesh(path))


def package(model, relations=None):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", model)
        if relations is not None:
            archive.writestr("_rels/.rels", relations)
    return stream.getvalue()


HEAD = '<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
ONE = (
    '<object id="1" type="model"><mesh><vertices>'
    '<vertex x="0" y="0" z="0"/><vertex x="50" y="0" z="0"/><vertex x="0" y="50" z="0"/>'
    '</vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>'
)


def test_a_package_that_unpacks_to_more_than_is_read_is_refused_before_it_is_unpacked(tmp_path):
    path = tmp_path / "a.3mf"
    path.write_bytes(package(HEAD + " " * 250_000_000))
    assert path.stat().st_size < 1_000_000
    assert "it unpacks to 250 MB" in complaint(lambda: read_mesh(path))


def test_copies_of_copies_are_counted_before_they_are_made(tmp_path):
    parts = "".join(
        f'<object id="{n}" type="model"><components>{f"""<component objectid="{n - 1}"/>""" * 10}</components></object>'
        for n in range(2, 12)
    )
    path = tmp_path / "a.3mf"
    path.write_bytes(package(f'{HEAD}{ONE}{parts}</resources><build><item objectid="11"/></build></model>'))
    assert "bodies, and at most" in complaint(lambda: read_mesh(path))


def test_a_package_may_put_a_body_twice(tmp_path):
    path = tmp_path / "a.3mf"
    items = '<item objectid="1"/><item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 9"/>'
    path.write_bytes(package(f"{HEAD}{ONE}</resources><build>{items}</build></model>"))
    assert len(read_mesh(path).faces) == 2


LATTICE = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
MATERIALS = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"


@pytest.mark.parametrize(
    ("address", "needed", "inside", "words"),
    [
        (LATTICE, 'requiredextensions="x"', "", 'it needs the extension "x" of 3MF'),
        (LATTICE, "", '<x:beamlattice><x:beams><x:beam v1="0" v2="1"/></x:beams></x:beamlattice>', "made of more than triangles"),
        (MATERIALS, 'requiredextensions="x"', "", ""),
    ],
)
def test_a_package_that_needs_what_is_not_read_is_refused(tmp_path, address, needed, inside, words):
    # 3MF core specification, section 2.3.2: a consumer must fail where it does not know a required extension; bars of a lattice
    # are no triangles (3MF beam lattice extension 1.2, section 2)
    path = tmp_path / "a.3mf"
    head = HEAD.replace("<model ", f'<model xmlns:x="{address}" {needed} ')
    path.write_bytes(
        package(f'{head}{ONE.replace("</mesh>", inside + "</mesh>")}</resources><build><item objectid="1"/></build></model>')
    )
    assert words in complaint(lambda: read_mesh(path)) if words else len(read_mesh(path).faces) == 1


@pytest.mark.skipif(os.name == "nt", reason="no pipes with a name")
def test_a_pipe_is_refused_instead_of_waited_for(tmp_path):
    os.mkfifo(tmp_path / "a.stl")
    assert complaint(lambda: read_mesh(tmp_path / "a.stl")).endswith("is a pipe or a device; name a file")


def test_a_file_is_read_up_to_a_limit(tmp_path):
    with (tmp_path / "a.stl").open("wb") as stream:
        stream.truncate(LARGEST_MESH + 1)
    assert "must be at most 250 MB" in complaint(lambda: read_mesh(tmp_path / "a.stl"))
    (tmp_path / "b").write_bytes(b"12345")
    assert "at most" in complaint(lambda: read_bytes(tmp_path / "b", 4))


def test_an_error_that_quotes_the_file_is_cut_short(tmp_path):
    data = written(BRACKET, "3mf")
    start = data.index(b"3D/3dmodel.model")
    (tmp_path / "a.3mf").write_bytes(data[: start - 4] + b"\xff\x1f" + data[start - 2 :])  # the length of the name: 8191 bytes
    assert len(complaint(lambda: read_mesh(tmp_path / "a.3mf"))) < 1500


def test_a_number_spoilt_into_an_enormous_one_is_refused(tmp_path):
    spoilt = trimesh.Trimesh(BRACKET.vertices.copy(), BRACKET.faces, process=False)
    spoilt.vertices[7, 0] = -9.3e15  # a bit of its exponent
    (tmp_path / "a.stl").write_bytes(written(spoilt, "stl"))
    assert "a coordinate of 9.3e+15, farther out than any part" in complaint(lambda: read_mesh(tmp_path / "a.stl"))


def stl_with_a_corner_in_another_facet(data):
    lines = data.splitlines(keepends=True)
    corners = [number for number, line in enumerate(lines) if b"vertex" in line]
    return b"".join(line * (2 if number == corners[40] else 1) for number, line in enumerate(lines) if number != corners[10])


def cut_in_the_faces(data):
    faces = data.index(b"\nf ")
    return data[: data.index(b"\n", faces + (len(data) - faces) // 2)]


def package_in(unit):
    with zipfile.ZipFile(io.BytesIO(written(BRACKET, "3mf"))) as archive:
        model = archive.read("3D/3dmodel.model")
    assert b'unit="millimeter"' in model
    return package(model.replace(b'unit="millimeter"', f'unit="{unit}"'.encode()))


def glb_with(change):
    """The bracket as GLB with its JSON changed (glTF 2.0 specification, section 4.4: head, then JSON, then data)."""
    data = written(BRACKET, "glb")
    (size,) = struct.unpack("<I", data[12:16])
    tree = json.loads(data[20 : 20 + size])
    change(tree)
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text + data[20 + size :]
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


@pytest.mark.parametrize(
    ("kind", "data", "words"),
    [
        ("obj", cut_in_the_faces(written(BRACKET, "obj")), "corners belong to no face"),
        ("obj", written(BRACKET, "obj").replace(b"f 1 ", b"f 0 ", 1), "names a corner 0"),
        ("stl", stl_with_a_corner_in_another_facet(written(BRACKET, "stl_ascii")), "its facet 4 has not three corners"),
        (
            "ply",
            BRACKET.export(file_type="ply", encoding="ascii").replace(b"element face 320", b"element face 300"),
            "its header states 462 lines of data, 482 are there",
        ),
        ("3mf", package_in("yard"), 'states the unit "yard", which 3MF does not have'),
        ("glb", glb_with(lambda tree: tree["accessors"][0].update(count=30)), "it states 120 bytes of data where 3840 are"),
        ("glb", glb_with(lambda tree: tree["accessors"][1].update(sparse={"count": 1})), "it holds sparse data"),
        ("glb", glb_with(lambda tree: tree["nodes"][0].update(skin=0)), "a body bent by bones"),
        ("glb", glb_with(lambda tree: tree["meshes"][0]["primitives"][0].update(targets=[{}])), "morph targets"),
        (
            "glb",
            glb_with(lambda tree: tree["nodes"][0].update(extensions={"EXT_mesh_gpu_instancing": {}})),
            "copies of a body (EXT_mesh_gpu_instancing)",
        ),
    ],
)
def test_a_file_that_contradicts_itself_is_refused(tmp_path, kind, data, words):
    (tmp_path / f"a.{kind}").write_bytes(data)
    assert words in complaint(lambda: read_mesh(tmp_path / f"a.{kind}"))


def test_an_obj_may_count_its_corners_backwards(tmp_path):
    (tmp_path / "a.obj").write_text("v 0 0 0\nv 90 0 0\nv 0 90 0\nv 0 0 90\nf -4 -3 -2\nf -4 -2 -1\nf -4 -1 -3\nf -3 -1 -2\n")
    assert len(read_mesh(tmp_path / "a.obj").faces) == 4


def test_a_package_whose_relations_name_another_model_is_refused(tmp_path):
    # Open packaging conventions, and 3MF core specification, section 2.2.1: the package's relations name its model part.
    relation = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    head = '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    model = f'{HEAD}{ONE}</resources><build><item objectid="1"/></build></model>'
    path = tmp_path / "a.3mf"
    for target, words in (("/3D/other.model", 'its package names "3D/other.model" as its model'), ("/3D/3dmodel.model", "")):
        path.write_bytes(
            package(model, relations=f'{head}<Relationship Target="{target}" Id="r" Type="{relation}"/></Relationships>')
        )
        if words:
            assert words in complaint(lambda: read_mesh(path))
        else:
            assert len(read_mesh(path).faces) == 1
