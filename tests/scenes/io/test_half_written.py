"""Files of which a disk kept only a part, and bodies and cut-outs that are there and yet not where they belong."""

import io

import ezdxf
import pytest
import trimesh

from geometry.body import Kind, Part
from geometry.mesh_checks import twice_notes
from geometry.mesh_import import surface_from_arrays
from scenes.io.dxf.outline import read_outline
from scenes.io.meshes.arrays import mesh_arrays
from scenes.lens_data.files import readings_of
from scenes.scene_file.errors import SceneError

BOX = trimesh.creation.box((60, 40, 20)).export(file_type="obj").encode()


def padded(data, length, end):
    """The text with remarks up to just that many bytes, the last of them cut short."""
    left = length - len(data) - len(end) - 1
    return data + b"\n" + b"#" * (left - 1) + b"\n" + end


@pytest.mark.parametrize(
    ("end", "words"),
    [
        (b"# object ro", "ends? (?:with)?in (?:the middle of )?a line after 2048 bytes"),
        (b"# object ro" + bytes(300), "no text has"),
        (b"# object ro" + b"\xff" * 300, "no text has"),
    ],
)
def test_an_obj_whose_end_was_never_written_is_refused(end, words):
    """Sectors of disks hold 512 bytes."""
    whole = padded(BOX, 2048, b"# object\n")
    assert len(mesh_arrays(whole, "obj", "b.obj").faces) == 12
    with pytest.raises(SceneError, match=words):
        mesh_arrays(padded(BOX, 2048 if len(end) < 20 else 2050, end), "obj", "b.obj")


@pytest.mark.parametrize(("zeros", "refused"), [(0, False), (2, True), (12, True)])
def test_a_ply_whose_last_faces_are_zeros_is_refused(zeros, refused):
    faces = trimesh.creation.box((60, 40, 20)).faces.tolist() + [[0, 0, 0]] * zeros
    mesh = trimesh.Trimesh(trimesh.creation.box((60, 40, 20)).vertices, faces, process=False)
    data = mesh.export(file_type="ply")
    if refused:
        with pytest.raises(SceneError, match="one corner three times"):
            mesh_arrays(data, "ply", "b.ply")
    else:
        assert len(mesh_arrays(data, "ply", "b.ply").faces) == 12


def test_a_table_that_ends_within_a_number_at_a_sectors_end_is_refused(tmp_path):
    head, end = "focal_mm,focus_mm,pupil_behind_front_mm\n25,infinity,46.0\n", "25,400,4"
    text = head + "#" * (512 - len(head) - len(end) - 1) + "\n" + end
    (tmp_path / "a.csv").write_bytes(text.encode())
    assert len(text) == 512
    with pytest.raises(SceneError, match="ends within a line after 512 bytes"):
        readings_of(tmp_path / "a.csv")


@pytest.mark.parametrize(("moved_mm", "told"), [(0.0, True), (60.0, False)])
def test_a_body_that_lies_twice_in_one_place_is_told(moved_mm, told):
    one, other = trimesh.creation.box((60, 4, 4)), trimesh.creation.box((60, 4, 4)).apply_translation((0, moved_mm, 0))
    both = trimesh.util.concatenate([one, other])
    part = Part(name="rods", kind=Kind.SOLID, body=surface_from_arrays(both.vertices, both.faces), group="box.solid[1]")
    notes = twice_notes([part])
    assert [note.text.startswith("12 of its triangles lie in one place") for note in notes] == [True] * told


@pytest.mark.parametrize("name", ["_OPEN", "_DOT", "*D7"])
def test_a_cut_out_in_a_block_that_is_called_as_an_arrow_head_or_a_dimension_is_not_passed_over(name):
    def corners(width, height):
        return [(-width / 2, -height / 2), (width / 2, -height / 2), (width / 2, height / 2), (-width / 2, height / 2)]

    def read(*sizes):
        document = ezdxf.new("R2010")
        document.header["$INSUNITS"] = 4
        document.modelspace().add_lwpolyline(corners(160, 130), close=True)
        block = document.blocks.new(name)
        for size in sizes:
            block.add_lwpolyline(corners(*size), close=True)
        stream = io.StringIO()
        document.write(stream)
        return read_outline(stream.getvalue().encode(), "m.dxf")

    assert read((0.9, 0.3)).doubts == ()
    with pytest.raises(SceneError, match="is inserted nowhere"):
        read((0.9, 0.3), (90, 60))
