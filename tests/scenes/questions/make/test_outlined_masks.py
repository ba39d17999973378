"""Boxes whose masks are cut after drawings: every number of every made file is finite, and Open CASCADE reads the solids."""

import io
import re
import warnings
import zipfile

import ezdxf
import numpy as np
import pytest
import trimesh

from geometry.flats import Flat
from geometry.polyhedra import Polyhedron, plate
from geometry.rings import polygon_ring, rectangle_ring
from scenes.cli import main
from scenes.io.finite_numbers import NotFiniteError
from scenes.io.flat_files import Drawn, dxf_of, svg_of
from scenes.io.solid_files import stl_bytes, threemf_bytes
from scenes.io.step_text import step_bytes
from scenes.questions.make.answer import answer
from tests.scenes.questions.make.small_box import HEAD, loaded

WINDOW = [(-70, -50), (70, -50), (70, 50), (-70, 50)]
MASK_MM3 = 1.0 * (200 * 160 - 140 * 100)  # by hand: a plate of 1 mm without its window
BOX = """
[box]
mount = "rods-15"
ahead_mm = 3
back = { width_mm = 200, height_mm = 170, thickness_mm = 4, bore_mm = 120 }
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 8
opening_mm = [150, 110]
outer_mm = [190, 160]
filter = { width_mm = 160, height_mm = 120, thickness_mm = 4 }
[[box.mask]]
name = "mask"
at_mm = 20
outline = "cut.dxf"
outer_mm = [200, 160]
"""


def lines(space):
    for start, end in zip(WINDOW, WINDOW[1:] + WINDOW[:1], strict=True):
        space.add_line(start, end)


def polyline(space):
    space.add_lwpolyline(WINDOW, close=True)


def repeated(space):
    space.add_lwpolyline([*WINDOW[:1], *WINDOW, *WINDOW[:1]], close=True)


def nearly_repeated(space):
    x, y = WINDOW[0]
    space.add_lwpolyline([*WINDOW, (x, y + 1e-8)], close=True)


@pytest.fixture(scope="module", params=[lines, polyline, repeated, nearly_repeated])
def files(request, tmp_path_factory):
    """What is made of a box whose mask has the window, drawn in one way or another."""
    tmp_path = tmp_path_factory.mktemp("outlined")
    document = ezdxf.new("R2010", units=4)
    request.param(document.modelspace())
    document.saveas(tmp_path / "cut.dxf")
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        return dict(answer(loaded(tmp_path, box=BOX)).files("out"))


def numbers_of(name, data):
    """Every number of a made file."""
    if name.endswith(".stl"):
        return np.frombuffer(data, offset=84, dtype=[("numbers", "<f4", 12), ("colour", "<u2")])["numbers"]
    if name.endswith(".3mf"):
        data = zipfile.ZipFile(io.BytesIO(data)).read("3D/3dmodel.model")
    words = re.findall(r"(?<![\w.])[-+]?(?:\d+\.?\d*(?:[eE][-+]?\d+)?|nan|inf)(?![\w.])", data.decode(), re.IGNORECASE)
    return np.array([float(word) for word in words])


def test_every_number_of_every_made_file_is_finite(files):
    looked_at = [name for name in files if name.endswith((".stl", ".3mf", ".step", ".dxf", ".svg", ".csv"))]
    assert {name.rsplit(".", 1)[1] for name in looked_at} == {"stl", "3mf", "step", "dxf", "svg", "csv"}
    for name in looked_at:
        numbers = numbers_of(name, files[name])
        assert len(numbers) > 3, name
        assert np.isfinite(numbers).all(), name
        assert not re.search(rb"\b(nan|inf)\b", files[name], re.IGNORECASE) or name.endswith((".stl", ".3mf")), name


def test_open_cascade_reads_a_mask_cut_after_a_drawing_with_the_volume_of_the_formula(files, tmp_path):
    cascadio = pytest.importorskip("cascadio")
    (name,) = (name for name in files if name.endswith("mask.step"))
    path, read = tmp_path / "mask.step", tmp_path / "mask.glb"
    path.write_bytes(files[name])
    assert cascadio.step_to_glb(str(path), str(read)) == 0  # 1 is failure: it raises nothing
    (solid,) = trimesh.load(read).geometry.values()
    assert solid.volume * 1e9 == pytest.approx(MASK_MM3, rel=1e-6)  # GLB is in metres


def test_the_outline_of_a_mask_is_drawn_again_with_each_corner_once(files):
    (name,) = (name for name in files if name.endswith("mask.dxf"))
    drawn = ezdxf.read(io.StringIO(files[name].decode())).modelspace().query("LWPOLYLINE[layer=='cut']")
    rings = [np.array(ring.get_points("xy")) for ring in drawn]
    window = next(ring for ring in rings if np.ptp(ring[:, 0]) == pytest.approx(140.0))
    assert len(window) == 4
    assert np.hypot(*(window - np.roll(window, 1, axis=0)).T).min() > 99.0


def spoilt(number):
    solid = plate(rectangle_ring(190, 160), [], 4)
    vertices = solid.vertices_mm.copy()
    vertices[2, 1] = number
    return Polyhedron(vertices, solid.faces)


@pytest.mark.parametrize("number", [np.nan, np.inf])
def test_writers_refuse_what_is_no_number(number):
    flat = Drawn(flats=[Flat(outer=polygon_ring(np.array([[0.0, 0.0], [number, 0.0], [10.0, 10.0]])))])
    with np.errstate(invalid="ignore"):
        for write in (
            lambda: step_bytes([("mask", spoilt(number))], "mask"),
            lambda: stl_bytes(spoilt(number)),
            lambda: threemf_bytes([("mask", spoilt(number))], "mask"),
            lambda: dxf_of(flat),
            lambda: svg_of(flat, "mask"),
        ):
            with pytest.raises(NotFiniteError, match="not written"):
                write()


def test_a_step_file_with_an_edge_without_length_is_refused():
    twice = polygon_ring(np.array([[0.0, 0.0], [0.0, 0.0], [10.0, 0.0], [10.0, 10.0]]))
    with pytest.raises(NotFiniteError, match="has no size, and so no direction; the file was not written"):
        step_bytes([("mask", plate(twice, [], 1))], "mask")


def test_masks_of_the_program_come_back_as_outlines_that_can_be_made(tmp_path):
    mask = '[[box.mask]]\nname = "mask"\nat_mm = 20\nopening_mm = [160, 120]\nouter_mm = [200, 160]\n'
    plain = BOX[: BOX.index("[[box.mask]]")] + mask
    (tmp_path / "scene.toml").write_text(HEAD + plain)
    assert main(["masks", str(tmp_path / "scene.toml"), "--out", str(tmp_path / "masks")]) in (0, 1)
    (drawing, *_) = sorted((tmp_path / "masks").glob("*.dxf"))
    (tmp_path / "cut.dxf").write_bytes(drawing.read_bytes())
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        made = dict(answer(loaded(tmp_path, box=BOX)).files("out"))
    steps = [name for name in made if name.endswith(".step")]
    assert len(steps) > 1
    assert all(np.isfinite(numbers_of(name, made[name])).all() and b"nan" not in made[name] for name in steps)
