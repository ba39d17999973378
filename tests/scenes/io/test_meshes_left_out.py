"""Bodies of a mesh file that its reader would put elsewhere or pass over: a bracket that is lost leaves a clear frame."""

import json
import struct

import numpy as np
import pytest
import trimesh

from scenes.io.meshes.arrays import mesh_arrays
from scenes.scene_file.errors import SceneError

BRACKET = trimesh.creation.box((40, 30, 20))


def refusal_of(data, kind):
    with pytest.raises(SceneError) as caught:
        mesh_arrays(data, kind, f"m.{kind}")
    return str(caught.value)


def obj_body(shift_mm, first):
    """One body as OBJ, its faces by the numbers of their corners from `first` on."""
    corners = "".join(f"v {x + shift_mm:g} {y:g} {z:g}\n" for x, y, z in BRACKET.vertices)
    return corners + "".join(f"f {a + first} {b + first} {c + first}\n" for a, b, c in BRACKET.faces)


def test_corners_that_count_back_are_those_before_the_face_so_that_the_first_of_two_bodies_stays_where_it_is():
    """Wavefront OBJ: a negative number counts back from the last corner that stands before it."""
    data = ("o left\n" + obj_body(50, -8) + "o right\n" + obj_body(-50, -8)).encode()
    assert np.allclose(mesh_arrays(data, "obj", "m.obj").vertices[:, 0].max(), 70)


SPOILT_OBJ = {
    "a line of no kind": (obj_body(0, 1).replace("\nf ", "\nF ", 1), 'a line "F"'),
    "another file": ("call more.obj\n" + obj_body(0, 1), "in another file"),
    "a bar of lines": (obj_body(0, 1) + "v -50 0 0\nv 50 0 0\nl 9 10\n", "it holds points or lines"),
    "a bar of points": (obj_body(0, 1) + "v -50 0 0\nv 50 0 0\np 9 10\n", "it holds points or lines"),
    "lines between corners of faces": (obj_body(0, 1) + "l 1 2\n", "it holds points or lines"),
    "two corners in a line": (obj_body(0, 1).replace("\nv", " v", 1), "a corner of it has 7 numbers"),
    "a corner by a number with an underscore": (obj_body(0, 1).replace("\nf 1 ", "\nf 0_1 ", 1), "0_1"),
    "no number": (obj_body(0, 1).replace("v -20 ", "v 1.#IND ", 1), "is no readable OBJ mesh"),
}


@pytest.mark.parametrize(("text", "words"), SPOILT_OBJ.values(), ids=SPOILT_OBJ.keys())
def test_an_obj_that_holds_what_cannot_be_read_is_refused(text, words):
    refused = refusal_of(text.encode(), "obj")
    assert words in refused or "is no readable OBJ mesh" in refused


# The Unicode Standard 15.0, section 5.8, table 5-1 (from memory): the ends of lines that a text may have.
@pytest.mark.parametrize("end", ["\r", "\v", "\f", "\u0085", "\u2028"], ids=["CR", "VT", "FF", "NEL", "LS"])
@pytest.mark.parametrize("line", ["# right", "g right", "usemtl black", "s off"])
def test_a_body_behind_a_remark_or_name_whose_line_ends_in_another_way_is_not_passed_over(line, end):
    text = obj_body(50, 1) + (line + "\n" + obj_body(-50, -8)).replace("\n", end)
    assert f"its line {text[: text.index(line)].count(chr(10)) + 1} ends as OBJ does not know" in refusal_of(text.encode(), "obj")


def test_line_ends_that_were_turned_twice_are_line_ends():
    assert len(mesh_arrays(obj_body(0, 1).replace("\n", "\r\r\n").encode(), "obj", "m.obj").faces) == 12


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("line", ["# from D:\\parts\\", "o C:\\brackets\\", "usemtl \\", "f 1 2 4 # seen \\"])
def test_a_remark_or_name_that_ends_with_a_backslash_is_refused_for_it_takes_the_next_face_with_it(line, end):
    """Wavefront OBJ: a line goes on behind a backslash at its end, as the path of a folder may have one."""
    text = obj_body(0, 1)
    swallowed = text.replace("\nf ", f"\n{line}\nf ", 1).replace("\n", end)
    assert "ends with a backslash, which joins the next line to it" in refusal_of(swallowed.encode(), "obj")
    a, b, c = BRACKET.faces[0] + 1
    gone_on = text.replace(f"f {a} {b} {c}\n", f"f {a} {b} \\\n {c}\n").replace("\n", end)
    assert len(mesh_arrays(gone_on.encode(), "obj", "m.obj").faces) == len(BRACKET.faces)


def test_a_copy_of_an_stl_whose_end_is_blank_is_refused():
    """As a copy interrupted on a laptop: the file has its length, and its last blocks are zeros."""
    whole = BRACKET.export(file_type="stl")
    assert "its triangle 8 holds nothing but zeros" in refusal_of(whole[: 84 + 7 * 50] + bytes(5 * 50), "stl")


def glb(**changes):
    """A box as binary glTF 2.0, with top-level keys replaced."""
    corners, faces = BRACKET.vertices.astype("<f4").tobytes(), BRACKET.faces.astype("<u4").tobytes()
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5125, "count": 36, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(corners)},
            {"buffer": 0, "byteOffset": len(corners), "byteLength": len(faces)},
        ],
        "buffers": [{"byteLength": len(corners) + len(faces)}],
    }
    text = json.dumps(tree | changes).encode()
    text += b" " * (-len(text) % 4)
    binary = corners + faces
    size = 12 + 8 + len(text) + 8 + len(binary)
    return (
        struct.pack("<4sIII4s", b"glTF", 2, size, len(text), b"JSON") + text + struct.pack("<I4s", len(binary), b"BIN\0") + binary
    )


MOVED = {"mesh": 0, "translation": [100, 0, 0]}
HIDDEN = {
    "in a second scene": {"scenes": [{"nodes": [0]}, {"nodes": [1]}], "nodes": [{"mesh": 0}, MOVED]},
    "in no scene": {"nodes": [{"mesh": 0}, MOVED]},
    "at no place": {"nodes": [{}]},
}


@pytest.mark.parametrize("changes", HIDDEN.values(), ids=HIDDEN.keys())
def test_a_glb_with_a_body_that_its_scene_does_not_show_is_refused(changes):
    assert "bodies that its scene does not show" in refusal_of(glb(**changes), "glb")


def test_a_glb_whose_bodies_all_show_is_read():
    shown = glb(scenes=[{"nodes": [0]}], nodes=[{"mesh": 0, "children": [1]}, MOVED])
    assert mesh_arrays(shown, "glb", "m.glb").vertices[:, 0].max() == pytest.approx(120)


def test_a_glb_with_corners_as_whole_numbers_is_refused_for_their_scale_is_an_extensions():
    whole = json.loads(glb()[20 : 20 + struct.unpack("<I", glb()[12:16])[0]])["accessors"]
    assert "not held as plain numbers" in refusal_of(glb(accessors=[{**whole[0], "componentType": 5125}, whole[1]]), "glb")


def ply_with(remark):
    text = BRACKET.export(file_type="ply", encoding="ascii")
    return text.replace(b"ply\nformat ascii 1.0\n", b"ply\nformat ascii 1.0\n" + remark, 1)


def stl_with(head):
    return head.ljust(80) + BRACKET.export(file_type="stl")[80:]


INCHES = {
    "OBJ": (b"# exported\n# Units: inches\n" + obj_body(0, 1).encode(), "obj", "in"),
    "PLY": (ply_with(b"comment unit = inch\n"), "ply", "in"),
    "PLY of a scanner": (ply_with(b"obj_info unit = inch\n"), "ply", "in"),
    "STL": (stl_with(b"COLOR=    UNITS=cm"), "stl", "cm"),
    "STL as text": (BRACKET.export(file_type="stl_ascii").replace("solid", "solid a, unit is metres", 1).encode(), "stl", "m"),
    "one that is mm": (b"# Unit in millimetres\n" + obj_body(0, 1).encode(), "obj", "mm"),
    "a word that is none": (b"# 3 units of each\n" + obj_body(0, 1).encode(), "obj", None),
    "a name that is none": (stl_with(b"camera unit mount"), "stl", None),
}


@pytest.mark.parametrize(("data", "kind", "unit"), INCHES.values(), ids=INCHES.keys())
def test_a_unit_that_a_file_tells_in_a_remark_counts_for_a_bracket_in_inches_is_not_to_be_taken_for_one_in_mm(data, kind, unit):
    assert mesh_arrays(data, kind, f"m.{kind}").unit == unit
