"""Traces of a body whose triangles are gone, or that moves: its name, its corners, its lists. A clear frame would rest on them."""

import io
import json
import re
import struct
import zipfile

import numpy as np
import pytest
import trimesh
from trimesh.visual.texture import TextureVisuals

from scenes.io.meshes.arrays import mesh_arrays
from scenes.scene_file.errors import SceneError

BRACKET = trimesh.creation.box((40, 30, 20))
ROD = trimesh.creation.box((260, 4, 4))
ROD = trimesh.Trimesh(ROD.vertices, ROD.faces[::-1], process=False)  # exporters write a list once that two bodies have alike
KINDS = ("stl", "stl_ascii", "obj", "ply", "3mf", "glb")


def refusal_of(data, kind):
    """The one sentence; empty where the mesh is read."""
    try:
        mesh_arrays(data if isinstance(data, bytes) else data.encode(), kind, f"m.{kind}")
    except SceneError as error:
        return str(error)
    return ""


def both(faces):
    """Corners of bracket and rod in one mesh, with these faces."""
    return trimesh.Trimesh([*BRACKET.vertices, *ROD.vertices], faces, process=False)


OF_BRACKET = BRACKET.faces
OF_BOTH = np.concatenate([BRACKET.faces, ROD.faces + len(BRACKET.vertices)])


@pytest.mark.parametrize("kind", ["obj", "ply", "3mf", "glb"])
def test_corners_of_a_rod_whose_faces_are_lost_are_refused_in_every_format_that_has_such(kind):
    assert not refusal_of(both(OF_BOTH).export(file_type=kind), kind)
    assert "8 of its 16 corners belong to no face" in refusal_of(both(OF_BRACKET).export(file_type=kind), kind)


def test_corners_that_no_face_uses_are_refused_in_a_ply_as_text_and_in_one_with_texture_which_its_reader_takes_apart():
    assert "8 of its 16 corners" in refusal_of(both(OF_BRACKET).export(file_type="ply", encoding="ascii"), "ply")
    textured = (
        both(OF_BRACKET)
        .export(file_type="ply", encoding="ascii")
        .replace(b"property float z\n", b"property float z\nproperty float s\nproperty float t\n")
    )
    head, _, rows = textured.partition(b"end_header\n")
    lines = [line + b" 0.5 0.5" if number < 16 else line for number, line in enumerate(rows.splitlines())]
    assert "8 of its 16 corners" in refusal_of(head + b"end_header\n" + b"\n".join(lines) + b"\n", "ply")


def obj_of(*bodies):
    """Name line and mesh of each body; None where nothing lies under the name."""
    lines, before = [], 0
    for name, mesh in bodies:
        lines.append(name)
        if mesh is not None:
            lines += [f"v {x:g} {y:g} {z:g}" for x, y, z in mesh.vertices]
            lines += [f"f {a + 1 + before} {b + 1 + before} {c + 1 + before}" for a, b, c in mesh.faces]
            before += len(mesh.vertices)
    return "\n".join(lines) + "\n"


EMPTY_OBJ = {
    "a body at the end": obj_of(("o bracket", BRACKET), ("o rod", None)),
    "a body before another": obj_of(("o rod", None), ("o bracket", BRACKET)),
    "a body with its material": obj_of(("o rod\nusemtl black\ns off", None), ("o bracket", BRACKET)),
    "a body with its normals": obj_of(("o rod\nvt 0 0\nvn 0 0 1", None), ("o bracket", BRACKET)),
    "a group": obj_of(("g bracket", BRACKET), ("g rod", None)),
    "a group in a body": obj_of(("o rod\ng rod_black", None), ("o bracket\ng bracket_black", BRACKET)),
}


@pytest.mark.parametrize("text", EMPTY_OBJ.values(), ids=EMPTY_OBJ.keys())
def test_a_named_body_of_an_obj_with_nothing_under_its_name_is_refused(text):
    refused = refusal_of(text, "obj")
    assert 'its body "rod" has no triangles' in refused or 'its body "rod_black" has no triangles' in refused


CORNERS_FIRST = obj_of(("g default", BRACKET)).replace("\nf ", "\ng bracket stand\nusemtl black\nf ", 1)
USUAL_OBJ = {
    "corners in a group of no name's": CORNERS_FIRST + "g default\n",
    "a body and a group of it": obj_of(("o bracket\ng bracket_black", BRACKET), ("g rod\no rod", ROD)),
    "a group that ends": obj_of(("g bracket", BRACKET), ("g", None)),
}


@pytest.mark.parametrize("text", USUAL_OBJ.values(), ids=USUAL_OBJ.keys())
def test_names_as_drawing_programs_set_them_about_a_body_are_read(text):
    assert not refusal_of(text, "obj")


def stl_of(*bodies):
    lines = []
    for name, mesh in bodies:
        lines.append(f"solid {name}")
        for triangle in [] if mesh is None else mesh.triangles:
            corners = [f"vertex {x:g} {y:g} {z:g}" for x, y, z in triangle]
            lines += ["facet normal 0 0 0", "outer loop", *corners, "endloop", "endfacet"]
        lines.append(f"endsolid {name}")
    return "\n".join(lines) + "\n"


def test_a_solid_of_an_stl_without_facets_is_refused_wherever_it_stands():
    assert not refusal_of(stl_of(("bracket", BRACKET), ("solid rod", ROD)), "stl")
    for bodies in ((("bracket", BRACKET), ("Rod", None)), (("Rod", None), ("bracket", BRACKET))):
        assert 'its body "Rod" has no triangles' in refusal_of(stl_of(*bodies), "stl")
    unended = stl_of(("Rod", None), ("bracket", BRACKET)).replace("endsolid Rod\n", "")
    assert 'its body "Rod" has no triangles' in refusal_of(unended, "stl")


def test_an_stl_that_stops_within_the_name_of_its_last_solid_is_refused_for_others_may_have_followed():
    whole = stl_of(("bracket", BRACKET), ("Rod", ROD))
    first = whole.index("endsolid bracket")
    for letters in range(len("endsolid "), len("endsolid bracket")):
        assert 'cut short within the line that ends its solid "bracket"' in refusal_of(whole[: first + letters], "stl")
    for left in ("endsolid", "endsolid R"):
        assert 'that ends its solid "rod"' in refusal_of(whole[: whole.index("endsolid Rod")] + left, "stl")


@pytest.mark.parametrize(
    ("opens", "closes"),
    [
        ("bracket", " bracket"),
        ("Bracket", " BRACKET"),
        ("bracket", ""),
        ("bracket", " bracket\n"),
        ("bracket exported in mm", " bracket"),
        ("", ""),
        ("bracket", "\n"),
        ("bracket", " b\r\n"),
        ("bracket", " part"),
    ],
)
def test_an_stl_whose_solid_ends_as_programs_end_it_is_read(opens, closes):
    """Some repeat the name, some its first word, some nothing, with a line end behind it or without (common practice)."""
    text = stl_of((opens, BRACKET))
    assert not refusal_of(text[: text.rindex("endsolid")] + f"endsolid{closes}", "stl")


CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"


def mesh_of_3mf(mesh, triangles=True):
    corners = "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in mesh.vertices)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces) if triangles else ""
    return f"<mesh><vertices>{corners}</vertices><triangles>{faces}</triangles></mesh>"


def package(rod):
    """A bracket and an object of the name rod as 3MF."""
    model = (
        f'<?xml version="1.0"?><model unit="millimeter" xmlns="{CORE}"><resources><object id="1">{mesh_of_3mf(BRACKET)}</object>'
        f'<object id="2" name="rod">{rod}</object></resources><build><item objectid="1"/><item objectid="2"/></build></model>'
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("3D/3dmodel.model", model)
    return stream.getvalue()


EMPTY_3MF = {
    "corners alone": mesh_of_3mf(ROD, triangles=False),
    "neither corners nor triangles": "<mesh><vertices/><triangles/></mesh>",
    "no mesh": "",
    "no parts": "<components/>",
}


def test_a_3mf_whose_triangles_name_a_corner_that_their_own_body_lacks_is_refused():
    """Its reader would take the first corner of the next body; 3MF core specification, 4.1.4.1: indices of the mesh's own list."""
    whole = mesh_of_3mf(ROD)
    lost = re.sub(r"<vertex [^>]*/>", "", whole, count=1)
    model = package(whole)
    assert not refusal_of(model, "3mf")
    assert "names a corner that its body lacks" in refusal_of(package(lost), "3mf")


def test_an_obj_of_which_a_blank_parts_a_number_is_refused():
    text = trimesh.exchange.obj.export_obj(ROD)
    parted = re.sub(r"^(v \S+ \S*?\d)(\d\S*)", r"\1 \2", text, count=1, flags=re.MULTILINE)
    assert parted != text
    assert "have 3 numbers, and some 4" in refusal_of(parted, "obj")


@pytest.mark.parametrize("rod", EMPTY_3MF.values(), ids=EMPTY_3MF.keys())
def test_an_object_of_a_3mf_without_triangles_is_refused(rod):
    """3MF core specification 1.3, chapter 4: at least one triangle in a mesh, and one component among components (from memory)."""
    assert 'its body "rod" has no triangles' in refusal_of(package(rod), "3mf")


def test_an_object_of_a_3mf_that_is_put_together_of_others_is_read():
    assert not refusal_of(package('<components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 0 50 0"/></components>'), "3mf")


def glb(change, bodies=(("bracket", BRACKET), ("rod", ROD)), more=b""):
    """Bodies as GLB with its JSON changed and bytes added to its data (glTF 2.0 specification, section 4.4)."""
    scene = trimesh.Scene()
    for name, mesh in bodies:
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    data = scene.export(file_type="glb")
    (size,) = struct.unpack("<I", data[12:16])
    tree, binary = json.loads(data[20 : 20 + size]), data[28 + size :] + more
    tree["buffers"][0]["byteLength"] = len(binary)
    change(tree)
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(binary), b"BIN\0") + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def node_of(tree, name):
    return next(number for number, node in enumerate(tree["nodes"]) if node.get("name") == name)


def rod_of(tree):
    return tree["meshes"][tree["nodes"][node_of(tree, "rod")]["mesh"]]


def without_primitives(tree):
    rod_of(tree)["primitives"] = []


def with_no_count(tree):
    one = rod_of(tree)["primitives"][0]
    tree["accessors"].append({**tree["accessors"][one["indices"]], "count": 0})
    one["indices"] = len(tree["accessors"]) - 1


def without_rod(tree):
    """Its mesh and node lost, as where nodes are pruned; its lists are left."""
    number = node_of(tree, "rod")
    tree["meshes"].remove(rod_of(tree))
    tree["nodes"][number] = {"name": "rod"}


def without_corners_of_rod(tree):
    """Its lists as well, so that their bytes are all that is left."""
    one = rod_of(tree)["primitives"][0]
    lists = [tree["accessors"][number] for number in (one["indices"], *one["attributes"].values())]
    without_rod(tree)
    bracket = tree["meshes"][0]["primitives"][0]
    kept = [accessor for accessor in tree["accessors"] if accessor not in lists]
    bracket["indices"] = kept.index(tree["accessors"][bracket["indices"]])
    bracket["attributes"] = {key: kept.index(tree["accessors"][value]) for key, value in bracket["attributes"].items()}
    tree["accessors"] = kept


def without_bytes_of_rod(tree):
    """And the stretches that the bytes lie in."""
    without_corners_of_rod(tree)
    named = [accessor["bufferView"] for accessor in tree["accessors"]]
    tree["bufferViews"] = [tree["bufferViews"][view] for view in named]
    for view, accessor in enumerate(tree["accessors"]):
        accessor["bufferView"] = view


LOST_IN_GLB = {
    "a mesh of no primitives": (without_primitives, 'its body "rod" has no triangles'),
    "triangles counted 0": (with_no_count, 'its body "rod" has no triangles'),
    "lists that no body uses": (without_rod, "that no body uses"),
    "a stretch of bytes that nothing names": (without_corners_of_rod, "bytes of data that nothing names"),
    "bytes in no stretch": (without_bytes_of_rod, "bytes of data that nothing names"),
}


@pytest.mark.parametrize(("change", "words"), LOST_IN_GLB.values(), ids=LOST_IN_GLB.keys())
def test_a_glb_that_holds_traces_of_a_rod_whose_triangles_are_lost_is_refused(change, words):
    """glTF 2.0 specification, chapter 5: a mesh has at least one primitive, and a list at least one entry."""
    assert not refusal_of(glb(own_words), "glb")
    assert words in refusal_of(glb(change), "glb")


def shared_corners(tree):
    """Two colours of one body: the rod's triangles lie in two primitives, on one list of corners."""
    one = rod_of(tree)["primitives"][0]
    whole = tree["accessors"][one["indices"]]
    size = {5121: 1, 5123: 2, 5125: 4}[whole["componentType"]]
    half = whole["count"] // 2
    tree["accessors"].append({**whole, "count": half, "byteOffset": half * size})
    whole["count"] = half
    rod_of(tree)["primitives"].append({**one, "indices": len(tree["accessors"]) - 1})


def empty_nodes(tree):
    """A node of no mesh, as groups and points to aim at are exported: in the scene, and over a body."""
    tree["nodes"] += [{"name": "target"}, {"name": "group", "children": [node_of(tree, "rod")], "translation": [0, 1, 0]}]
    tree["scenes"][0]["nodes"] = [node_of(tree, name) for name in ("bracket", "target", "group")]


def own_words(tree):
    for node in tree["nodes"]:
        node["extras"] = {"position": [0, 5, 0]}
    tree["asset"]["extras"] = {"made": "by hand"}


@pytest.mark.parametrize("change", [shared_corners, empty_nodes, own_words])
def test_a_glb_in_order_is_read_with_all_its_triangles(change):
    assert len(mesh_arrays(glb(change), "glb", "m.glb").faces) == len(BRACKET.faces) + len(ROD.faces)


def moved(name, path="translation"):
    """A change that swings a node by 60 mm (glTF 2.0 specification, section 3.11), its times and places behind the other data."""

    def change(tree):
        end = tree["buffers"][0]["byteLength"] - len(MOVES)
        views, lists = len(tree["bufferViews"]), len(tree["accessors"])
        tree["bufferViews"] += [{"buffer": 0, "byteOffset": end + at, "byteLength": size} for at, size in ((0, 8), (8, 24))]
        tree["accessors"] += [
            {"bufferView": views, "componentType": 5126, "count": 2, "type": "SCALAR", "min": [0], "max": [1]},
            {"bufferView": views + 1, "componentType": 5126, "count": 2, "type": "VEC3"},
        ]
        empty_nodes(tree)
        target = {"node": node_of(tree, name), "path": path}
        if path == "pointer":
            pointer = {"pointer": f"/nodes/{node_of(tree, name)}/translation"}
            target = {"path": path, "extensions": {"KHR_animation_pointer": pointer}}
        tree["animations"] = [{"samplers": [{"input": lists, "output": lists + 1}], "channels": [{"sampler": 0, "target": target}]}]

    return change


MOVES = struct.pack("<8f", 0, 1, 0, 0, 0, 0, -0.06, 0)


@pytest.mark.parametrize(("name", "path"), [("rod", "translation"), ("group", "translation"), ("rod", "pointer")])
def test_a_glb_whose_animation_moves_a_body_or_what_it_hangs_on_is_refused(name, path):
    assert f'its animation moves "{name}"' in refusal_of(glb(moved(name, path), more=MOVES), "glb")


def test_a_glb_whose_animation_moves_no_body_is_read():
    assert not refusal_of(glb(moved("target"), more=MOVES), "glb")


@pytest.mark.parametrize("key", ["position", "pose", "offset"])
def test_a_glb_node_with_a_key_that_gltf_does_not_have_is_refused_for_it_may_be_its_place(key):
    def change(tree):
        tree["nodes"][node_of(tree, "rod")][key] = [0, -0.06, 0]

    assert f'a node has a "{key}", which glTF does not know' in refusal_of(glb(change), "glb")


def coloured():
    mesh = BRACKET.copy()
    mesh.visual.vertex_colors = np.tile([255, 0, 0, 255], (8, 1))
    return mesh


def textured():
    mesh = trimesh.creation.icosphere(radius=30.0)
    mesh.visual = TextureVisuals(uv=np.random.default_rng(1).random((len(mesh.vertices), 2)))
    return mesh


SHAPES = {
    "box": BRACKET,
    "ring": trimesh.creation.annulus(20, 40, 10),
    "sphere in rings": trimesh.creation.uv_sphere(radius=30),
    "two bodies": BRACKET + trimesh.creation.torus(50, 10),
    "colours": coloured(),
    "texture": textured(),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("mesh", SHAPES.values(), ids=SHAPES.keys())
def test_usual_shapes_are_read_from_every_format(mesh, kind):
    data = mesh.export(file_type=kind)
    read = mesh_arrays(data if isinstance(data, bytes) else data.encode(), kind.partition("_")[0], "m")
    assert len(read.faces) == len(mesh.faces)


@pytest.mark.parametrize("kind", ["obj", "ply", "glb"])
def test_normals_and_places_of_bodies_leave_a_mesh_readable(kind):
    option = {"ply": {"vertex_normal": True}}.get(kind, {"include_normals": True})
    assert not refusal_of(BRACKET.export(file_type=kind, **option), kind)
    scene = trimesh.Scene()
    turned = trimesh.transformations.rotation_matrix(1.0, [1, 0, 0])
    scene.add_geometry(BRACKET, node_name="bracket", transform=turned)
    scene.add_geometry(ROD, node_name="rod", parent_node_name="bracket", transform=turned)
    assert not refusal_of(scene.export(file_type=kind), kind)


@pytest.mark.parametrize("last", ["o", "g", "o ", "\to", "g\t"])
def test_an_obj_that_stops_within_the_line_that_names_its_next_body_is_refused(last):
    whole = BRACKET.export(file_type="obj").rstrip() + "\n"
    assert not refusal_of(whole, "obj")
    assert f'it is cut short: its last line is "{last.strip()}" without a name or an end' in refusal_of(whole + last, "obj")
    assert not refusal_of(whole + last + "\n", "obj")  # a group without a name is "default" (format's appendix B1, from memory)


@pytest.mark.parametrize(("end", "is_told"), [("", True), ("\n", False), ("\r\n", False)])
def test_an_obj_whose_last_line_alone_has_no_end_is_told(end, is_told):
    data = (BRACKET.export(file_type="obj").rstrip() + end).encode()
    assert any("the last line of its file has no end" in said for said in mesh_arrays(data, "obj", "m.obj").doubts) == is_told


@pytest.mark.parametrize("kind", ["ply", "glb"])
@pytest.mark.parametrize("blank", [0.0, 1e-40])
def test_corners_that_a_lost_block_has_put_on_the_origin_are_refused(kind, blank):
    """A grid of 5 x 5 over a plate, so that most of its triangles keep their area."""
    plate = trimesh.creation.box((80, 60, 4)).subdivide().subdivide()
    at = np.argsort(plate.vertices[:, 0])[:3]
    assert not refusal_of(plate.export(file_type=kind), kind)
    corners = plate.vertices.copy()
    corners[at] = blank
    said = refusal_of(trimesh.Trimesh(corners, plate.faces, process=False).export(file_type=kind), kind)
    assert "3 of its corners lie on 0, 0, 0 and no others coincide" in said
    corners[at[:2]] = plate.vertices[at[:2]]
    assert not refusal_of(trimesh.Trimesh(corners, plate.faces, process=False).export(file_type=kind), kind)


def test_a_corner_on_the_origin_of_a_mesh_whose_triangles_have_corners_of_their_own_is_no_lost_block():
    """As texture and shading make them: the corner of the box that lies there stands in the file once for each triangle."""
    box = BRACKET.copy()
    box.apply_translation((20, 15, 10))
    apart = trimesh.Trimesh(box.triangles.reshape(-1, 3), np.arange(36).reshape(-1, 3), process=False)
    assert not refusal_of(apart.export(file_type="ply"), "ply")
