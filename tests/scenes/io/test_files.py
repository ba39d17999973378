"""Files in, with a sentence for each that cannot be used; results out, whole or not at all."""

import errno
import io
import json
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import trimesh

from geometry.outline import area_mm2, contains
from scenes.cli import main
from scenes.io.dxf.outline import read_outline
from scenes.io.folders.kept_files import MANIFEST
from scenes.io.folders.left_results import RESULTS_KEY, RESULTS_NAME
from scenes.io.folders.result_folder import result_folder
from scenes.io.pictures import own_picture
from scenes.io.reading import Folder, read_mesh, read_text
from scenes.io.writing import write_new, write_whole
from scenes.scene_file.errors import SceneError


def complaint(call):
    with pytest.raises(SceneError) as caught:
        call()
    (one,) = caught.value.complaints
    return str(one)


def test_a_missing_file_names_the_nearest_one(tmp_path):
    (tmp_path / "my-show.toml").touch()
    assert complaint(lambda: read_text(tmp_path / "my-shwo.toml")).endswith('cannot be found; did you mean "my-show.toml"?')


def test_a_link_that_leads_nowhere_is_told_by_where_it_leads_and_never_meant_by_another_name(tmp_path):
    (tmp_path / "with_box.png").symlink_to(tmp_path / "card" / "1.png")
    led = complaint(lambda: read_text(tmp_path / "with_box.png"))
    assert led.endswith(f"cannot be found: it is a link, and {tmp_path / 'card' / '1.png'} is not there")
    assert "did you mean" not in complaint(lambda: read_text(tmp_path / "with_bx.png"))
    (tmp_path / "show.toml").symlink_to("gone.toml")
    assert complaint(lambda: read_text(tmp_path)).endswith("is a folder, a file is needed")


def test_a_missing_folder_is_named(tmp_path):
    assert "there is no folder" in complaint(lambda: read_text(tmp_path / "no" / "show.toml"))


def test_a_folder_is_no_scene(tmp_path):
    assert complaint(lambda: read_text(tmp_path)).endswith("is a folder, a file is needed")


def test_text_that_is_not_utf8_is_told_with_its_line(tmp_path):
    path = tmp_path / "s.toml"
    path.write_bytes(b'brimline = 1\ntitle = "D\xfcne"\n')
    assert complaint(lambda: read_text(path)) == f"{path}:2: must be UTF-8 text; save it as UTF-8"


@pytest.mark.parametrize(("blocks", "end", "is_cut"), [(8, "", True), (1, "", True), (8, "\n", False), (8.5, "", False)])
def test_a_scene_that_stops_in_a_line_where_a_block_of_the_disk_does_is_taken_for_half_saved(tmp_path, blocks, end, is_cut):
    path = tmp_path / "show.toml"
    kept = 'brimline = 1\n[box]\n[[box.flag]]\nname = "top flag"\n#'  # the flags behind it are lost, and this is TOML
    path.write_text(kept + "." * (int(blocks * 512) - len(kept) - len(end)) + end, newline="")
    if is_cut:
        assert "saved or copied by half" in complaint(lambda: read_text(path))
    else:
        assert read_text(path).startswith("brimline = 1")


def test_a_byte_order_mark_and_windows_line_ends_are_no_matter(tmp_path):
    path = tmp_path / "s.toml"
    path.write_bytes(b"\xef\xbb\xbfbrimline = 1\r\n")
    assert read_text(path) == "brimline = 1\n"


def drawing(draw, units=4):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = units
    draw(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def lopsided(scale=1.0):
    """A rectangle of 100 x 60 mm whose right edge lies 70 mm right of the origin."""
    corners = [(-30, -20), (70, -20), (70, 40), (-30, 40)]
    return lambda space: space.add_lwpolyline([(x * scale, y * scale) for x, y in corners], close=True)


@pytest.mark.parametrize(("units", "mm_per_unit"), [(4, 1.0), (1, 25.4), (5, 10.0), (6, 1000.0), (0, 1.0)])
def test_a_drawing_is_read_in_its_own_unit(units, mm_per_unit):
    outline = read_outline(drawing(lopsided(1 / mm_per_unit), units), "m.dxf")
    assert area_mm2(outline) == pytest.approx(6000, rel=1e-6)


def test_the_right_of_a_drawing_is_the_operators_right():
    outline = read_outline(drawing(lopsided()), "m.dxf")
    assert contains(outline, [[-60.0, 0.0], [60.0, 0.0]]).tolist() == [True, False]  # the frame's x runs to the left


def test_lines_and_arcs_that_meet_make_one_outline():
    def stadium(space):
        space.add_line((-30, 20), (30, 20))
        space.add_arc((30, 0), 20, -90, 90)
        space.add_line((30, -20), (-30, -20))
        space.add_arc((-30, 0), 20, 90, 270)

    assert area_mm2(read_outline(drawing(stadium), "m.dxf")) == pytest.approx(60 * 40 + np.pi * 20**2, rel=2e-4)


def test_bulges_of_a_polyline_are_arcs_and_never_grow_the_opening():
    def rounded(space):  # a bulge of 1 is a half circle: DXF reference, group code 42
        space.add_lwpolyline([(-30, -20, 0), (30, -20, 1), (30, 20, 0), (-30, 20, 1)], format="xyb", close=True)

    area, exact = area_mm2(read_outline(drawing(rounded), "m.dxf")), 60 * 40 + np.pi * 20**2
    assert exact * (1 - 2e-4) < area <= exact


def test_a_circle_is_an_outline():
    circle = drawing(lambda space: space.add_circle((0, 0), 45))
    assert area_mm2(read_outline(circle, "m.dxf")) == pytest.approx(np.pi * 45**2, rel=2e-4)


@pytest.mark.parametrize(
    ("draw", "words"),
    [
        (lambda space: space.add_line((0, 0), (50, 0)), "open between x 0.000, y 0.000 mm and x 50.000, y 0.000 mm"),
        (lambda space: [space.add_circle((0, 0), 40), space.add_circle((0, 0), 60)], "inside each other"),
        (lambda space: space.add_circle((90, 0), 40), "about its origin"),
        (lambda space: space.add_circle((0, 0), 2), "save it in mm"),
        (lambda space: space.add_text("mask"), "no closed outline"),
    ],
)
def test_a_drawing_that_is_no_cut_out_says_what_to_do(draw, words):
    assert words in complaint(lambda: read_outline(drawing(draw), "m.dxf"))


def test_a_file_that_is_no_drawing_is_told():
    assert complaint(lambda: read_outline(b"not a drawing", "m.dxf")).startswith("m.dxf: ")


BRACKET = trimesh.creation.box(extents=(30, 40, 50))  # volume 60 000


@pytest.mark.parametrize("kind", ["stl", "obj", "ply"])
def test_formats_without_a_unit_state_none(tmp_path, kind):
    path = tmp_path / f"bracket.{kind}"
    BRACKET.export(path)
    mesh = read_mesh(path)
    assert mesh.unit is None
    assert trimesh.Trimesh(mesh.vertices, mesh.faces).volume == pytest.approx(60_000)


def test_glb_is_in_metres_by_its_standard(tmp_path):
    path = tmp_path / "bracket.glb"
    trimesh.creation.box(extents=(0.03, 0.04, 0.05)).export(path)
    mesh = read_mesh(path)
    assert mesh.unit == "m"
    assert np.ptp(mesh.vertices, axis=0) == pytest.approx([0.03, 0.04, 0.05], rel=1e-6)


def test_3mf_says_its_unit(tmp_path):
    path = tmp_path / "bracket.3mf"
    BRACKET.export(path)
    mesh = read_mesh(path)
    assert (mesh.unit, len(mesh.faces)) == ("mm", 12)


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "3mf", "glb"])
def test_a_broken_mesh_is_one_sentence(tmp_path, kind):
    path = tmp_path / f"broken.{kind}"
    path.write_bytes(b"solid nothing here\x00\x01")
    assert "\n" not in complaint(lambda: read_mesh(path))


def test_files_are_looked_for_beside_the_scene(tmp_path):
    (tmp_path / "meshes").mkdir()
    BRACKET.export(tmp_path / "meshes" / "b.stl")
    assert len(Folder(tmp_path).mesh("meshes/b.stl").faces) == 12


@pytest.mark.parametrize("name", ["~b.stl", "~$b.stl"])
def test_a_file_whose_name_begins_with_a_tilde_is_no_ones_home(tmp_path, name):
    BRACKET.export(tmp_path / name)
    assert len(Folder(tmp_path).mesh(name).faces) == 12


def test_a_folder_and_a_picture_whose_names_begin_with_a_tilde_are_no_ones_home(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with result_folder(Path("~out"), "check") as staging:
        fill(staging, "first")
    assert names(tmp_path) == ["~out/18_inf_f2/map.txt", "~out/results.json"]
    assert own_picture(Path("~view.png")) == tmp_path / "~view.png"


def names(folder):
    return sorted(
        path.relative_to(folder).as_posix() for path in Path(folder).rglob("*") if path.is_file() and path.name != MANIFEST
    )


def fill(staging, text):
    staging.write("18_inf_f2/map.txt", text)
    files = [*staging.names(), RESULTS_NAME]
    staging.write(RESULTS_NAME, json.dumps({RESULTS_KEY: "check", "files": files}))


@pytest.fixture
def earlier(tmp_path):
    with result_folder(tmp_path / "out", "check") as staging:
        fill(staging, "earlier")
        staging.write("old/gone.txt", "of a state that the scene no longer has")
        fill(staging, "earlier")
    return tmp_path


def test_a_result_appears_whole(earlier):
    assert names(earlier) == ["out/18_inf_f2/map.txt", "out/old/gone.txt", "out/results.json"]


@pytest.mark.parametrize("trouble", [RuntimeError, KeyboardInterrupt])
def test_a_run_that_ends_early_leaves_the_earlier_result_and_nothing_else(earlier, trouble):
    before = names(earlier)

    def run():
        with result_folder(earlier / "out", "check") as staging:
            staging.write("18_inf_f2/map.txt", "half")
            raise trouble

    with pytest.raises(trouble):
        run()
    assert names(earlier) == before
    assert (earlier / "out/18_inf_f2/map.txt").read_text() == "earlier"


def test_a_new_result_replaces_the_earlier_but_keeps_peoples_own_files(earlier):
    (earlier / "out/my notes.txt").write_text("ask about the flag")
    with result_folder(earlier / "out", "check") as staging:
        fill(staging, "later")
    assert names(earlier) == ["out/18_inf_f2/map.txt", "out/my notes.txt", "out/results.json"]
    assert (earlier / "out/18_inf_f2/map.txt").read_text() == "later"


def test_a_drive_that_knows_neither_rights_nor_links_takes_a_new_result_and_a_picture(earlier, monkeypatch):
    """As network drives of desktops: chmod and link end with "Operation not supported", and all files have the same rights."""

    def refuse(*_, **__):
        raise OSError(errno.EOPNOTSUPP, "Operation not supported")

    (earlier / "out/my notes.txt").write_text("ask about the flag")
    monkeypatch.setattr("os.link", refuse)
    monkeypatch.setattr("os.chmod", refuse)
    with result_folder(earlier / "out", "check") as staging:
        fill(staging, "later")
    write_whole(earlier / "view.png", b"picture")
    assert names(earlier) == ["out/18_inf_f2/map.txt", "out/my notes.txt", "out/results.json", "view.png"]
    assert (earlier / "out/18_inf_f2/map.txt").read_text() == "later"


def test_a_private_file_that_cannot_stay_private_keeps_its_result_as_it_was(earlier, monkeypatch):
    (earlier / "out/my notes.txt").write_text("ask about the flag")
    (earlier / "out/my notes.txt").chmod(0o600)

    def refuse(*_, **__):
        raise OSError(errno.EOPNOTSUPP, "Operation not supported")

    monkeypatch.setattr("os.link", refuse)
    monkeypatch.setattr("os.chmod", refuse)

    def run():
        with result_folder(earlier / "out", "check") as staging:
            fill(staging, "later")

    assert "cannot be replaced" in complaint(run)
    assert (earlier / "out/18_inf_f2/map.txt").read_text() == "earlier"


def test_a_failing_swap_leaves_the_earlier_result_and_puts_the_new_one_beside_it(earlier, monkeypatch):
    def refuse(*_):
        raise OSError("disk broken")

    monkeypatch.setattr("scenes.io.folders.result_folder.carry_over", refuse)

    def run():
        with result_folder(earlier / "out", "check") as staging:
            fill(staging, "later")

    with pytest.raises(SceneError, match=r"cannot be replaced: disk broken.* the new result is in .*out-2"):
        run()
    assert (earlier / "out/18_inf_f2/map.txt").read_text() == "earlier"
    assert (earlier / "out-2/18_inf_f2/map.txt").read_text() == "later"
    assert sorted(path.name for path in earlier.iterdir()) == ["out", "out-2"]


def test_a_folder_of_other_files_is_refused_before_any_work(tmp_path):
    (tmp_path / "thesis.txt").touch()
    assert "holds other files" in complaint(lambda: result_folder(tmp_path, "check").__enter__())
    assert names(tmp_path) == ["thesis.txt"]


@pytest.mark.parametrize(("whose", "other"), [("check", "demo"), ("demo", "check")])
@pytest.mark.parametrize("version", [1, 2])
def test_results_that_another_command_would_replace_are_refused_and_stay(tmp_path, whose, other, version):
    left = {RESULTS_KEY: whose} if version == 2 else {"brimline_results": 1, **({"shows": []} if whose == "demo" else {})}
    out = tmp_path / "out"
    with result_folder(out, whose) as staging:
        staging.write("map.txt", "earlier")
        staging.write(RESULTS_NAME, json.dumps({"files": ["map.txt"], **left}))
    words = complaint(lambda: result_folder(out, other).__enter__())
    assert words.endswith(
        f"out: holds results of `brimline {whose}`, which those of `brimline {other}` would replace; "
        "name another folder, or move this one away first"
    )
    with result_folder(out, whose) as staging:
        staging.write(RESULTS_NAME, json.dumps({"files": [], **left}))
    assert names(tmp_path) == ["out/results.json"]


def test_another_question_leaves_the_results_that_lie_there_and_takes_away_only_its_own(earlier):
    def masks(*files):
        with result_folder(earlier / "out", "masks") as staging:
            for name in files:
                staging.write(name, "cut")
            staging.write("masks.json", json.dumps({RESULTS_KEY: "masks", "files": list(files)}))

    before = names(earlier)
    masks("mask-1.dxf", "mask-2.dxf")
    masks("mask-1.dxf")
    assert names(earlier) == sorted([*before, "out/mask-1.dxf", "out/masks.json"])


def test_the_demo_over_the_results_of_check_costs_nothing(earlier):
    before = names(earlier)
    assert main(["demo", "--out", str(earlier / "out")]) == 2
    assert names(earlier) == before
    assert (earlier / "out/18_inf_f2/map.txt").read_text() == "earlier"


def test_the_working_folder_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert "you are working in" in complaint(lambda: result_folder(Path(), "check").__enter__())


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").touch()
    assert complaint(lambda: result_folder(tmp_path / "out", "check").__enter__()).endswith("is a file; results need a folder")


def test_a_file_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    write_whole(tmp_path / "a.txt", b"first")
    monkeypatch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a.txt", b"second")
    assert names(tmp_path) == ["a.txt"]
    assert (tmp_path / "a.txt").read_bytes() == b"first"


def test_a_new_file_never_goes_over_one_that_is_there(tmp_path):
    write_new(tmp_path / "a.toml", "mine")
    assert "is there already" in complaint(lambda: write_new(tmp_path / "a.toml", "yours"))
    assert read_text(tmp_path / "a.toml") == "mine"
