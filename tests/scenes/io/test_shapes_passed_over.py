"""Shapes that stand where the readers of meshes do not look: a body there is missing without a word, and its frame clear."""

import json
import struct

import numpy as np
import pytest
import trimesh

from scenes.io.meshes.arrays import mesh_arrays
from scenes.scene_file.errors import SceneError

CORNERS = np.array([[0, 0, 0], [10, 0, 0], [0, 20, 0], [0, 0, 30]], dtype="<f4")
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], dtype="<u2")
ROD = trimesh.creation.box((260, 4, 4))


def refusal_of(data, kind):
    """The one sentence; empty where the mesh is read."""
    try:
        mesh_arrays(data if isinstance(data, bytes) else data.encode(), kind, f"m.{kind}")
    except SceneError as error:
        return str(error)
    return ""


# PLY: G. Turk, The PLY polygon file format (1994): programs may add elements of their own

PLY = (
    "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
    "element face 4\nproperty list uchar int vertex_indices\nend_header\n"
    "0 0 0\n1 0 0\n0 2 0\n0 0 3\n3 0 2 1\n3 0 1 3\n3 1 2 3\n3 0 3 2\n"
)


def ply_with(header, rows):
    return PLY.replace("end_header\n", f"{header}\nend_header\n") + rows


CORNER_LIST = "property list uchar int vertex_indices"
OTHER_ELEMENTS = {
    "faces under another name": ply_with(f"element quad 1\n{CORNER_LIST}", "4 0 1 2 3\n"),
    "edges": ply_with("element edge 1\nproperty int vertex1\nproperty int vertex2", "0 3\n"),
    "corners under another name": ply_with("element vertex2 1\nproperty float x\nproperty float y\nproperty float z", "9 9 9\n"),
    "strips": ply_with(f"element tristrips 1\n{CORNER_LIST}", "4 0 1 2 3\n"),
    "balls": ply_with("element sphere 1\nproperty float radius", "9\n"),
    "a scanner's grid": ply_with(f"element range_grid 1\n{CORNER_LIST}", "1 0\n"),
}
FACE_LISTS = {
    "a list of other corners": ("vertex_indices2", "3 0 1 3"),
    "both names of corners": ("vertex_index", "3 0 1 3"),
}


@pytest.mark.parametrize("text", OTHER_ELEMENTS.values(), ids=OTHER_ELEMENTS.keys())
def test_a_ply_with_elements_that_may_be_shapes_and_that_its_reader_passes_over_is_refused(text):
    assert "cannot be read; export it as triangles alone" in refusal_of(text, "ply")


@pytest.mark.parametrize(("name", "row"), FACE_LISTS.values(), ids=FACE_LISTS.keys())
def test_a_ply_whose_faces_have_a_second_list_of_whole_numbers_is_refused(name, row):
    head, _, rows = PLY.partition("end_header\n")
    lines = [f"{line} {row}" if len(line.split()) == 4 else line for line in rows.splitlines()]
    text = f"{head}property list uchar int {name}\nend_header\n" + "\n".join(lines) + "\n"
    assert f'a list "{name}", which may be more corners' in refusal_of(text, "ply")


USUAL_PLY = {
    "a material": ply_with("element material 1\nproperty uchar red\nproperty float specular_power", "255 0.5\n"),
    "a camera": ply_with("element camera 1\nproperty float view_px\nproperty float view_py", "0 1\n"),
    "none of others": ply_with(f"element edge 0\nproperty int vertex1\nelement tristrips 0\n{CORNER_LIST}", ""),
    "a comment": PLY.replace("element vertex", "comment element quad 1, f 1 2 3\nobj_info made by hand\nelement vertex", 1),
    "the other name of corners": PLY.replace("vertex_indices", "vertex_index"),
}


@pytest.mark.parametrize("text", USUAL_PLY.values(), ids=USUAL_PLY.keys())
def test_a_ply_with_what_holds_no_shape_is_read(text):
    assert len(mesh_arrays(text.encode(), "ply", "m.ply").faces) == 4


def test_places_in_a_picture_are_no_second_list_of_corners():
    head, _, rows = PLY.partition("end_header\n")
    lines = [f"{line} 6 0 0 1 0 0 1" if len(line.split()) == 4 else line for line in rows.splitlines()]
    text = f"{head}property list uchar float texcoord\nend_header\n" + "\n".join(lines) + "\n"
    assert not refusal_of(text, "ply")


@pytest.mark.parametrize("kind", ["ply", "stl", "obj"])
def test_meshes_as_vtk_writes_them_are_read(tmp_path, kind):
    pyvista = pytest.importorskip("pyvista")
    pyvista.wrap(ROD).save(tmp_path / f"a.{kind}")
    assert len(mesh_arrays((tmp_path / f"a.{kind}").read_bytes(), kind, "m").faces) == len(ROD.faces)


# OBJ: free-form statements of the format (appendix B1, Advanced Visualizer manual; from memory)


def obj(more=""):
    corners = "".join(f"v {x:g} {y:g} {z:g}\n" for x, y, z in CORNERS)
    return corners + "".join(f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in FACES) + more


@pytest.mark.parametrize("line", ["vp 0.5 0.5", "deg 3 3", "parm u 0 1", "trim 0 1 1", "con 1 0 1 1 2 0 1 1"])
def test_what_is_left_of_a_surface_in_an_obj_is_refused(line):
    assert "free-form surfaces" in refusal_of(obj(line + "\n"), "obj")


@pytest.mark.parametrize("line", ["#v 0 0 -9.5e0", "# f 1 2 3", "  ## f 1/1/1 2//2 3/3", "# v 0 0 0 1 1 1\r"])
def test_a_corner_or_face_of_an_obj_behind_a_hash_is_refused(line):
    assert "its line 9 is a corner or face behind a #" in refusal_of(obj(line + "\n"), "obj")


@pytest.mark.parametrize("line", ["# 8 vertices", "# f v1/vt1 v2 v3", "# v 4.2", "# v 1 2 3 of it", "#", "s off # f 1 2 3"])
def test_remarks_of_an_obj_are_no_shapes(line):
    assert not refusal_of(obj(line + "\n"), "obj")


# GLB: glTF 2.0 specification, sections 3.2 to 3.7; RFC 8259, section 4, of names that stand twice


DATA = CORNERS.tobytes() + FACES.tobytes()


def glb(change=len, spoil=lambda text: text, data=DATA):
    tree = {
        "asset": {"version": "2.0", "generator": "by hand"},
        "extensionsUsed": ["KHR_materials_unlit"],
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "translation": [0, 0, 5]}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "material": 0}]}],
        "materials": [{"extensions": {"KHR_materials_unlit": {}}}],
        "textures": [],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": 12, "type": "SCALAR"},
        ],
        "bufferViews": [{"buffer": 0, "byteLength": 48}, {"buffer": 0, "byteOffset": 48, "byteLength": 24}],
        "buffers": [{"byteLength": len(data)}],
    }
    change(tree)
    text = spoil(json.dumps(tree)).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


TWICE = {
    "a place": ('"translation": [0, 0, 5]', '"translation": [0, 0, 5], "translation": [0, 60, 5]'),
    "corners": ('"POSITION": 0', '"POSITION": 1, "POSITION": 0'),
    "all bodies": ('"meshes":', '"meshes": [], "meshes":'),
}


@pytest.mark.parametrize(("once", "twice"), TWICE.values(), ids=TWICE.keys())
def test_a_glb_with_a_key_that_stands_twice_is_refused(once, twice):
    assert not refusal_of(glb(), "glb")
    assert "stands twice in one object" in refusal_of(glb(spoil=lambda text: text.replace(once, twice)), "glb")


def with_extension(key, name):
    return lambda tree: tree[key][0].update(extensions={name: {}})


def second_buffer(tree):
    tree["buffers"].append({"uri": "data:application/octet-stream;base64,AAAA", "byteLength": 3})


def turning(tree):
    """An animation that turns the body, under a spoilt name; its lists are of kinds that no body has."""
    tree["accessors"] += [
        {"bufferView": 2, "componentType": 5126, "count": 1, "type": "SCALAR"},
        {"bufferView": 3, "componentType": 5126, "count": 1, "type": "VEC4"},
    ]
    tree["bufferViews"] += [{"buffer": 0, "byteOffset": 72, "byteLength": 4}, {"buffer": 0, "byteOffset": 76, "byteLength": 16}]
    channel = {"sampler": 0, "target": {"node": 0, "path": "rotation"}}
    tree["animatons"] = [{"samplers": [{"input": 2, "output": 3}], "channels": [channel]}]


def node_by_itself(tree):
    """The body hangs on a node that moves it, and the scene names the body."""
    tree["nodes"].append({"children": [0], "translation": [0, -60, 0]})
    tree["scenes"][0]["nodes"] = [0]


PASSED_OVER = {
    "a body without the place of what it hangs on": (node_by_itself, "lies in another and stands by itself"),
    "a body that may be hidden": (with_extension("nodes", "KHR_node_visibility"), "it needs KHR_node_visibility"),
    "copies of a body": (with_extension("nodes", "EXT_mesh_gpu_instancing"), "copies of a body"),
    "packed data of a mesh": (with_extension("meshes", "EXT_more_of_it"), "it needs EXT_more_of_it"),
    "a list of an extension's": (with_extension("accessors", "KHR_accessor_float64"), "it needs KHR_accessor_float64"),
    "shapes of a scene's": (with_extension("scenes", "EXT_shapes"), "it needs EXT_shapes"),
    "data in words": (second_buffer, "data beside its own"),
    "data elsewhere": (lambda tree: tree["buffers"][0].update(uri="rod.bin"), "data beside its own"),
    "half a triangle": (lambda tree: tree["accessors"][1].update(count=11), "its triangles have 11 corners"),
    "a move under a spoilt name": (turning, 'a file has a "animatons"'),
}


@pytest.mark.parametrize(("change", "words"), PASSED_OVER.values(), ids=PASSED_OVER.keys())
def test_a_glb_with_shapes_where_its_reader_does_not_look_is_refused(change, words):
    more = struct.pack("<5f", 0, 0, 0, 0, 1) if change is turning else b""
    assert words in refusal_of(glb(change, data=DATA + more), "glb")


def shared_stretches(tree):
    """One stretch of data for the corners of all bodies, and one for their triangles, as some exporters write them."""
    rod = {"bufferView": 0, "byteOffset": 48, "componentType": 5126, "count": 8, "type": "VEC3"}
    tree["accessors"] += [rod, {"bufferView": 1, "byteOffset": 24, "componentType": 5123, "count": 36, "type": "SCALAR"}]
    tree["bufferViews"] = [{"buffer": 0, "byteOffset": 96, "byteLength": 144}, {"buffer": 0, "byteLength": 96}]
    tree["meshes"].append({"primitives": [{"attributes": {"POSITION": 2}, "indices": 3}]})
    tree["nodes"].append({"mesh": 1})
    tree["scenes"][0]["nodes"] = [0, 1]


def shared_stretches_of_a_lost_rod(tree):
    """Its mesh names lists of the first body instead."""
    shared_stretches(tree)
    tree["accessors"][2:] = tree["accessors"][:2]


def shared_stretches_of_a_lost_offset(tree):
    shared_stretches(tree)
    del tree["accessors"][2]["byteOffset"]


def test_what_is_left_of_a_body_in_a_stretch_of_data_that_others_lie_in_too_is_refused():
    faces, corners = ROD.faces.astype("<u2").tobytes(), ROD.vertices.astype("<f4").tobytes()
    data = FACES.tobytes() + faces + CORNERS.tobytes() + corners
    assert len(mesh_arrays(glb(shared_stretches, data=data), "glb", "m.glb").faces) == 16
    for lost in (shared_stretches_of_a_lost_rod, shared_stretches_of_a_lost_offset):
        assert "bytes of data that nothing names" in refusal_of(glb(lost, data=data), "glb")


def test_lights_in_a_scene_of_a_glb_are_no_shapes():
    assert not refusal_of(glb(with_extension("scenes", "EXT_lights_image_based")), "glb")
    assert not refusal_of(glb(lambda tree: tree.update(cameras=[], skins=[], images=[], samplers=[])), "glb")
