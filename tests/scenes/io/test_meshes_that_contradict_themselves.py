"""A mesh file that says one thing twice, and differently, or what its format does not know: a body may be lost, or elsewhere."""

import io
import json
import struct
import zipfile

import numpy as np
import pytest

from scenes.io.meshes.arrays import mesh_arrays
from scenes.scene_file.errors import SceneError

CORNERS = np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]], dtype="<f4")
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], dtype="<u2")


def refusal_of(data, kind):
    try:
        mesh_arrays(data, kind, f"m.{kind}")
    except SceneError as error:
        return str(error)
    return ""


def glb(node=None, *, corners=CORNERS, view=None, primitive=None, **more):
    """A tetrahedron as binary glTF 2.0; its list of corners states the sizes of CORNERS, as the specification asks."""
    data = corners.tobytes() + FACES.tobytes()
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, **(node or {})}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, **(primitive or {})}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3", "min": [0, 0, 0], "max": [1, 2, 3]},
            {"bufferView": 1, "componentType": 5123, "count": 12, "type": "SCALAR"},
        ],
        "bufferViews": [{"buffer": 0, "byteLength": 48, **(view or {})}, {"buffer": 0, "byteOffset": 48, "byteLength": 24}],
        "buffers": [{"byteLength": 72}],
        **more,
    }
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


ACCESSORS = json.loads(glb()[20 : 20 + struct.unpack("<I", glb()[12:16])[0]])["accessors"]
MOVED = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 10, 20, 30, 1]
SPOILT_GLB = {
    "a corner spoilt": (glb(corners=np.where(CORNERS == 2, 0.02, CORNERS).astype("<f4")), "corners that reach to"),
    "corners blank, as in the place of packed ones": (glb(corners=0 * CORNERS), "corners that reach to"),
    "a place twice": (glb({"matrix": MOVED, "translation": [5, 0, 0]}), "states its place twice"),
    "a matrix that is no place": (glb({"matrix": [1, 0, 0, 0.5, *MOVED[4:]]}), "matrix that is no place"),
    "a body shrunk to a point": (glb({"scale": [0, 0, 0]}), "shrinks to nothing"),
    "a body pressed flat": (glb({"matrix": [0, *MOVED[1:]]}), "shrinks to nothing"),
    "a camera": (glb({"camera": 0}), "it holds a camera"),
    "packed corners": (glb(view={"extensions": {"EXT_meshopt_compression": {}}}), "needs EXT_meshopt_compression"),
    "packed triangles": (glb(primitive={"extensions": {"KHR_draco_mesh_compression": {}}}), "needs KHR_draco_mesh_compression"),
    "a turn that is none, which readers take for no turn": (glb({"rotation": [0, 0, 0, 0]}), "rotation that is no turn"),
    "a turn with a spoilt number": (glb({"rotation": [0.5, 0, 0, 0.5]}), "rotation that is no turn"),
    "a place under a spoilt name": (glb({"transaltion": [0, 0, 5]}), 'node has a "transaltion"'),
    "triangles under a spoilt name": (glb(primitive={"indicez": 1, "mode": 4}), 'primitive has a "indicez"'),
    "a start under a spoilt name": (glb(view={"byteOfset": 0}), 'bufferView has a "byteOfset"'),
    "a version that is not known": (glb(asset={"version": "3.0", "minVersion": "3.0"}), "of version 3.0"),
    "corners named by broken numbers": (
        glb(accessors=[*ACCESSORS[:1], {**ACCESSORS[1], "componentType": 5126, "count": 6}]),
        "5126",
    ),
    "a place of an extension's": (glb({"extensions": {"EXT_other_place": {}}}), "needs EXT_other_place"),
}


@pytest.mark.parametrize(("data", "words"), SPOILT_GLB.values(), ids=SPOILT_GLB.keys())
def test_a_glb_that_speaks_against_itself_is_refused(data, words):
    assert words in refusal_of(data, "glb")


@pytest.mark.parametrize(
    "node",
    [{}, {"matrix": MOVED}, {"translation": [5, 0, 0], "scale": [-1, 2, 1]}, {"rotation": [0, 0, 0.7071, 0.7071], "name": "a"}],
)
def test_a_glb_in_order_is_read(node):
    assert not refusal_of(glb(node), "glb")
    assert not refusal_of(glb(node, primitive={"extensions": {"KHR_materials_variants": {}}}), "glb")


@pytest.mark.parametrize("end", [0, 3])
def test_a_glb_whose_stated_sizes_are_rounded_is_read_at_either_end(end):
    """Its least corner is stated as 0, 0, 0: a rounding is one of the body's size, not of the end that it falls on."""
    corners = CORNERS.copy()
    corners[corners == end] += np.float32(1e-7 if end == 0 else 1e-3)
    assert not refusal_of(glb(corners=corners), "glb")


def package(item='<item objectid="1"/>', *, vertices=None, triangles=None, more=(), unit='unit="millimeter"', extra=""):
    """A tetrahedron as 3MF."""
    vertices = vertices or "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in CORNERS)
    triangles = triangles or "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in FACES)
    text = (
        f'<?xml version="1.0"?><model {unit} xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" '
        f'xmlns:s="http://example.org/slices"><metadata name="Title">t</metadata><resources><object id="1" type="model">'
        f"<mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh></object>{extra}</resources><build>{item}</build></model>"
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("3D/3dmodel.model", text)
        for name in more:
            archive.writestr(name, text)
    return stream.getvalue()


PLACE = "1 0 0 0 1 0 0 0 1 10 20 30"
VERTICES = "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in CORNERS)
ROUGH = '<object id="2" s:meshresolution="lowres"><components><component objectid="1"/></components></object>'
TWO_ONCE = '<object id="2"><components><component objectid="1"/><komponent objectid="1"/></components></object>'
SPOILT_3MF = {
    "a place by a spoilt name": (package(f'<item objectid="1" transfgrm="{PLACE}"/>'), 'an attribute "transfgrm"'),
    "a unit by a spoilt name": (package(unit='Unit="inch"'), 'an attribute "Unit"'),
    "a triangle by a spoilt name": (
        package(triangles='<triangme v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'),
        "triangme",
    ),
    "a copy by a spoilt name": (package('<item objectid="2"/>', extra=TWO_ONCE), "komponent"),
    "a body shrunk to a point": (package('<item objectid="1" transform="0 0 0 0 0 0 0 0 0 10 20 30"/>'), "shrinks to nothing"),
    "two models": (package(more=["Other/3D/3dmodel.model"]), "more than one model"),
    "corners twice": (package(vertices=f"{VERTICES}</vertices><vertices>{VERTICES}"), "two lists of corners"),
    "a place with an underscore": (package('<item objectid="1" transform="1 0 0 0 1 0 0 0 1 1_0 20 30"/>'), "1_0"),
    "a rough mesh in the place of slices": (package(extra=ROUGH), "stands for slices"),
    "a corner's number gone to its neighbour": (package(vertices='<vertex x="0 1" y="" z="0"/>' * 4), "no plain number"),
}


@pytest.mark.parametrize(("data", "words"), SPOILT_3MF.values(), ids=SPOILT_3MF.keys())
def test_a_package_that_holds_what_3mf_does_not_know_is_refused(data, words):
    assert words in refusal_of(data, "3mf")


@pytest.mark.parametrize("item", ['<item objectid="1" s:slices="3"/>', f'<item objectid="1" printable="1" transform="{PLACE}"/>'])
def test_a_package_with_what_other_programs_add_for_themselves_is_read(item):
    assert not refusal_of(package(item, extra='<s:slicestack id="7"><s:slice z="1"/></s:slicestack>'), "3mf")


PLY = (
    "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
    "element face 4\nproperty list uchar int vertex_indices\nend_header\n"
    "0 0 0\n1 0 0\n0 2 0\n0 0 3\n3 0 2 1\n3 0 1 3\n3 1 2 3\n3 0 3 2\n"
)
SPOILT_PLY = {
    "a number too many in a corner": (PLY.replace("0 2 0\n", "7 0 2 0\n", 1), "4 numbers where its header asks for 3"),
    "a corner of a face that is not counted": (PLY.replace("3 0 2 1\n", "3 0 2 1 3\n"), "5 numbers where its header asks for 4"),
    "a corner that its type cannot hold": (PLY.replace("float y", "uchar y").replace("0 2 0\n", "0 -2 0\n", 1), "property uchar y"),
    "a corner cut off by its type": (PLY.replace("float y", "int y").replace("0 2 0\n", "0 2.7 0\n", 1), "property int y"),
    "two lists of faces, of which its reader takes the last": (
        PLY.replace("end_header\n", "element face 1\nproperty list uchar int vertex_indices\nend_header\n") + "3 0 1 2\n",
        'its element "face" twice',
    ),
    "two properties of one name": (PLY.replace("float z", "float x"), 'states "x" twice'),
}


@pytest.mark.parametrize(("text", "words"), SPOILT_PLY.values(), ids=SPOILT_PLY.keys())
def test_a_ply_with_a_row_of_another_length_is_refused(text, words):
    assert not refusal_of(PLY.encode(), "ply")
    assert words in refusal_of(text.encode(), "ply")


def test_an_ascii_stl_whose_corner_has_run_into_the_next_is_refused():
    facet = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    whole = f"solid a\n{4 * facet}endsolid a\n"
    assert not refusal_of(whole.encode(), "stl")
    spoilt = whole.replace("vertex 0 0 0\nvertex 1 0 0", "vertex 0 0\nvertex 0 1 0 0", 1)
    assert "has not three corners of three numbers" in refusal_of(spoilt.encode(), "stl")


FACET = b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 40 0 0\nvertex 0 40 0\nendloop\nendfacet\nendsolid a\n"
MANY = {
    "copies of a 3MF": (package('<item objectid="1"/>' * 2_000), "3mf"),
    "empty bodies of a 3MF": (
        package(extra="".join(f'<object id="{n}"><mesh><vertices/><triangles/></mesh></object>' for n in range(2, 2_002))),
        "3mf",
    ),
    "nodes of a GLB": (glb(nodes=[{"mesh": 0}] * 2_001, scenes=[{"nodes": [*range(2_001)]}]), "glb"),
    "solids of an STL": (FACET * 2_001, "stl"),
}


@pytest.mark.parametrize(("data", "kind"), MANY.values(), ids=MANY.keys())
def test_thousands_of_bodies_are_refused_for_their_reader_takes_minutes(data, kind):
    assert "bodies, and at most 2000 are read" in refusal_of(data, kind)


def test_a_glb_whose_nodes_lie_in_several_others_is_refused_for_it_could_hold_bodies_without_end():
    """glTF 2.0 specification, section 3.5.2: nodes are trees, and none has more than one parent."""
    levels = [[*range(10 * level, 10 * level + 10)] for level in range(14)]
    nodes = [{"children": levels[level + 1]} if level < 13 else {"mesh": 0} for level in range(14) for _ in range(10)]
    assert "lies in two others" in refusal_of(glb(nodes=nodes, scenes=[{"nodes": levels[0]}]), "glb")
