"""The workshop's folder of a small scene: volumes and masses by formulas, files read back, balance and sag by hand."""

import csv
import io
import json
import shutil
from math import pi

import ezdxf
import numpy as np
import pytest
import trimesh

from geometry.cantilever import Rod, sag
from geometry.meshes import part_mesh
from geometry.polyhedra import volume_mm3
from scenes.answers.table import Table
from scenes.cli import main
from scenes.questions.make.answer import answer
from scenes.questions.make.parts import parts_of
from scenes.questions.make.weights import glass_g_cm3, sagged_state
from scenes.scene_file.errors import SceneError
from tests.scenes.questions.make.small_box import BOX, HEAD, loaded

G = 9.80665
MORE = '\n[[make.hole]]\nat_mm = [70, 70]\ndiameter_mm = 6\n[[make.part]]\nof = "mask"\nmaterial = "abs"\n'


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    return loaded(tmp_path_factory.mktemp("make"), "\n[make]\nrod_length_mm = 150\n")


@pytest.fixture(scope="module")
def found(show):
    """Its answer."""
    return answer(show)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The folder that the command wrote."""
    tmp_path = tmp_path_factory.mktemp("make")
    loaded(tmp_path, MORE)
    assert main(["make", str(tmp_path / "scene.toml"), "--out", str(tmp_path / "out")]) == 0
    return tmp_path / "out"


def prismatoid(rear, front, depth):
    """h/6 (A + 4 M + B)."""
    return depth / 6 * (rear[0] * rear[1] + (rear[0] + front[0]) * (rear[1] + front[1]) + front[0] * front[1])


def formulas():
    """Volumes [mm3] of the parts by hand."""
    rims = [2 * 2 * np.hypot(1, (b - a) / 2 / 60) for a, b in ((190, 300), (150, 230))]
    outside = prismatoid((190 + rims[0], 150 + rims[1]), (300 + rims[0], 230 + rims[1]), 60)
    screws = 4 * pi * 1.6**2
    frame = 190 * 160 - (150 * 110 - (4 - pi) * 16) - screws
    return {
        "back plate": 4 * (200 * 170 - pi * 60**2),
        "tray, rear frame": 2 * frame,
        "tray, filter frame": 4 * (190 * 160 - 160.5 * 120.5 - screws),
        "tray, front frame": 2 * frame,
        "mask": 1.0 * (200 * 160 - (160 * 120 - (4 - pi) * 36)),
        "hood": outside - prismatoid((190, 150), (300, 230), 60),
        "top flag": 1.5 * 100 * 250,
        "top flag extension": 1.5 * 60 * 250,
    }


def test_every_part_has_the_volume_of_its_formula(show):
    found = {part.name: volume_mm3(part.solid()) for part in parts_of(show.scene, show.resources).made}
    assert found == pytest.approx(formulas(), rel=1e-9)


def test_the_written_solids_are_closed_and_as_large_as_the_formulas(folder):
    expected = formulas()
    expected["back plate"] -= 4 * pi * 3**2
    checked = 0
    for path in sorted((folder / "solids").glob("*-mm.stl")):
        found = trimesh.load(path)
        words = path.stem.removesuffix("-mm").split("-", 1)[1]
        name = next(name for name in expected if name.replace(", ", "-").replace(" ", "-") == words)
        assert found.is_watertight, name
        assert found.volume == pytest.approx(expected[name], rel=1e-6), name
        assert found.bounds[0, 2] == pytest.approx(0.0, abs=1e-4), name  # lies on the bed
        checked += 1
    assert checked == len(expected)


def test_the_whole_box_is_one_3mf_with_named_parts_where_they_stand(folder):
    scene = trimesh.load(folder / "box.3mf")
    names = list(scene.geometry)
    assert names[0] == "P01 back plate"
    assert len(names) == 8
    hood = scene.geometry["P06 hood"]
    assert hood.bounds[:, 2] == pytest.approx([24, 84], abs=1e-4)
    flag = scene.geometry["P07 top flag"]
    assert flag.bounds[0, 1] == pytest.approx(115, abs=1e-4)  # hinged at the hood's inner front edge, above the axis


def test_every_flat_is_audited_and_encloses_what_the_formula_says(folder):
    for path in sorted((folder / "flats").glob("*.dxf")):
        document = ezdxf.readfile(path)
        audit = document.audit()
        assert (audit.errors, audit.fixes) == ([], [])
        assert len(document.modelspace().query("DIMENSION")) == 2
        assert path.with_suffix(".svg").exists()
    mask = ezdxf.readfile(folder / "flats" / "P05-mask.dxf").modelspace()
    words = [one.dxf.text for one in mask.query("TEXT") if one.dxf.layer == "engrave"]
    assert any("P05 mask" in line for line in words)
    back = ezdxf.readfile(folder / "flats" / "P01-back-plate.dxf").modelspace()
    holes = {(round(c.dxf.center.x), round(c.dxf.center.y), c.dxf.radius) for c in back.query("CIRCLE")}
    assert holes == {(0, 0, 60.0), (70, 70, 3.0)}


def test_lists_hold_every_part_and_what_is_bought(folder):
    rows = list(csv.DictReader(io.StringIO((folder / "cut-list.csv").read_text())))
    assert {row["part"] for row in rows} == {f"P{number:02}" for number in range(1, 9)}
    bill = list(csv.DictReader(io.StringIO((folder / "bill-of-materials.csv").read_text())))
    assert [row["name"] for row in bill if row["remarks"] == "bought"] == [
        "filter, 160 x 120 x 4 mm", "friction hinge", "screw and nut, M3", "rod, rods-15",
    ]  # fmt: skip
    assert next(row for row in bill if row["name"] == "mask")["material"] == "ABS"


def test_masses_are_volume_times_the_densities_of_the_sources(folder):
    """5083 2.66 (Aluminum Association), ABS 1.04 (from memory); glass N-BK7 2.51 (data sheet)."""
    data = json.loads((folder / "make.json").read_text())
    found = {part["name"]: part["kg"] for part in data["parts"]}
    assert found["hood"] == pytest.approx(formulas()["hood"] * 2.66e-6, rel=1e-5)
    assert found["mask"] == pytest.approx(formulas()["mask"] * 1.04e-6, rel=1e-4)
    glass = next(thing for thing in data["lenses"][0]["things"] if thing["kind"] == "glass")
    assert glass["kg"] == pytest.approx(160 * 120 * 4 * 2.51e-6, rel=1e-5)


@pytest.mark.parametrize(("index", "density"), [(1.5168, 2.51), (1.523, 2.50), (1.458, 2.20), (1.62, 3.60)])
def test_glass_is_as_heavy_as_its_kind(index, density):
    assert glass_g_cm3(index) == density


def test_balance_and_moments_are_those_of_point_masses_by_hand(found):
    """Sum m z / sum m over the parts' own centres: those of plates are their middles, of the flag half way along it."""
    (box,) = found.report.carried
    made, volumes = found.report.parts.made, formulas()
    sin, cos = np.sin(np.radians(70)), np.cos(np.radians(70))
    middles = {  # ahead of the back plate's rear face, up
        "back plate": (2, 0), "tray, rear frame": (9, 0), "tray, filter frame": (12, 0), "tray, front frame": (15, 0),
        "mask": (20.5, 0),
        "top flag": (84 + 50 * cos - 0.75 * sin, 115 + 50 * sin + 0.75 * cos),
        "top flag extension": (84 + 130 * cos - 0.75 * sin, 115 + 130 * sin + 0.75 * cos),
    }  # fmt: skip
    z = next(thing.centre_mm[2] for thing in box.things if thing.name == "hood") - 3
    assert 24 + 30 < z < 24 + 35  # of a hood that widens ahead, a little past its middle
    rows = [(volumes[name] * 2.66e-6, *place) for name, place in middles.items()]
    rows += [(volumes["hood"] * 2.66e-6, z, 0), (160 * 120 * 4 * 2.51e-6, 12, 0)]
    masses, ahead, up = np.array(rows).T
    assert box.kg == pytest.approx(masses.sum(), rel=1e-6)
    assert box.ahead_mm - 3 == pytest.approx(masses @ ahead / masses.sum(), abs=1e-6)
    assert box.up_mm == pytest.approx(masses @ up / masses.sum(), abs=1e-6)
    assert box.lens_front_n_m == pytest.approx(masses.sum() * G * box.ahead_mm / 1000)
    assert len(made) == 8


def test_the_rods_bend_as_cantilevers_and_the_box_is_judged_where_they_leave_it(found):
    """Half the box on each 15 x 1.5 tube of 6061, 150 mm free: the formulas are held by tests/geometry/test_cantilever.py."""
    (box,) = found.report.carried
    rod = Rod(diameter_mm=15, wall_mm=1.5, modulus_gpa=68.9, density_g_cm3=2.70)
    force = box.kg * G / 2
    assert box.sag == sag(rod, 150, force, force * (box.ahead_mm - 3))
    assert box.rods_n_m == pytest.approx(box.kg * G * (box.ahead_mm - 3 + 150) / 1000)
    state, sagged = found.states[0], sagged_state(found.states[0], box.sag)
    low = sagged.place.origin_mm[1] - state.place.origin_mm[1]
    assert low == pytest.approx(-box.sag.drop_mm, abs=0.01)
    front, lower = (one.place.points_to_frame(np.array([0.0, 0.0, 84.0]))[1] for one in (state, sagged))
    assert lower < front - box.sag.drop_mm  # leaning forward, its front hangs lower still
    assert box.states[0].sagged_room_mm != box.states[0].room_mm


def test_a_camera_balances_farther_ahead_by_the_lever_rule(tmp_path):
    """m (z - z0) / (m + M)."""
    scene = loaded(tmp_path, "\n[make]\ncamera_kg = 10\ncamera_balance_mm = 120\n")
    (box,) = answer(scene).report.carried
    assert box.shift_mm == pytest.approx(box.kg * (box.ahead_mm + 120) / (box.kg + 10))


def test_wind_on_a_flag_is_the_drag_of_a_plate_at_its_middle(found):
    """rho/2 v^2 Cd A with 1.225 kg/m3, 10 m/s, Cd 1.2 on 250 x 160 mm; at the hinge times half its length."""
    (flag,) = found.report.wind
    assert flag.force_n == pytest.approx(0.5 * 1.225 * 100 * 1.2 * 0.25 * 0.16)
    assert flag.hinge_n_m == pytest.approx(flag.force_n * 0.08)
    assert flag.careful_n / flag.force_n == pytest.approx(1.3 / 1.2)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (
            '[make]\nmaterial = "aluminum-5083"',
            'make.material: "aluminum-5083" is no material known here; did you mean "aluminium-5083"?',
        ),
        ('[make]\nmaterial = "unobtainium"', "plywood, acrylic (one of your own goes into [[make.own]])"),
        ("[make]\nsheet_mm = [150, 150]", "does not fit a sheet of 150 x 150 mm"),
        ('[[make.part]]\nof = "hod"\nmaterial = "abs"', 'names no part of this box, "hod"; did you mean "hood"?'),
        ("[[make.hole]]\nat_mm = [99, 0]\ndiameter_mm = 6", "puts the hole over the edge of its plate, 200 x 170 mm"),
        ("[[make.hole]]\nat_mm = [61, 0]\ndiameter_mm = 6", "puts the hole into the bore, 120 mm; move it out"),
        ("[make]\ncamera_kg = 8", "camera_balance_mm: is missing; camera_kg alone says nothing of the balance"),
        ("[make]\nrim_mm = 0", "must be 1 to 200 mm, got 0"),
        ('[make]\nmaterial = "acrylic"\njoint = "bend"', "2 mm black acrylic, cast is not to be bent"),
        ('[make]\nprojektion = "first"', 'did you mean "projection"?'),
    ],
)
def test_what_cannot_be_made_is_told_in_a_sentence_and_nothing_is_lost(make, said, folder, tmp_path, capsys):
    out = tmp_path / "out"
    shutil.copytree(folder, out)
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    (tmp_path / "scene.toml").write_text(HEAD + BOX + f"\n{make}\n")
    assert main(["make", str(tmp_path / "scene.toml"), "--out", str(out)]) == 2
    (line,) = capsys.readouterr().err.strip().splitlines()[-1:]
    assert said in line
    assert before == {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}


def test_a_plate_of_no_thickness_is_refused_by_its_key(tmp_path):
    with pytest.raises(SceneError, match=r"hood.thickness_mm: must be 0.1 to 30 mm, got 0"):
        loaded(tmp_path, box=BOX.replace("thickness_mm = 2", "thickness_mm = 0"))


def test_a_bare_hood_is_made_too_and_every_default_is_told(tmp_path):
    found = answer(
        loaded(
            tmp_path,
            box='[box]\nmount = "clamp"\n[box.hood]\nat_mm = 5\ndepth_mm = 50\nrear_mm = [150, 120]\nfront_mm = [240, 180]\n',
        )
    )
    assert [part.name for part in found.report.parts.made] == ["hood"]
    assert found.report.carried[0].sag is None
    told = found.data()["taken"]
    for key in ("material", "joint", "bend_radius_mm", "k_factor", "sheet_mm", "paper", "projection"):
        assert any(key in words for words in told), key


def test_the_same_scene_is_the_same_folder(folder, tmp_path):
    loaded(tmp_path, MORE)
    main(["make", str(tmp_path / "scene.toml"), "--out", str(tmp_path / "out")])
    one, two = ({p.relative_to(at): p.read_bytes() for p in at.rglob("*") if p.is_file()} for at in (folder, tmp_path / "out"))
    assert one == two
    assert len(one) > 60


THICK = "filter = { diameter_mm = 138, thickness_mm = 6 }\n"


@pytest.mark.parametrize(
    "box",
    [
        '[[box.flag]]\nside = "left"\nangle_deg = 30\nlength_mm = 40\nwidth_mm = 50\nhinge_mm = 80\nat_mm = 10\n',
        "[box.hood]\nat_mm = 5\ndepth_mm = 10\nrear_mm = [100, 100]\nfront_mm = [900, 900]\n",
        f'[[box.stage]]\nname = "Ünï \\" $(x)"\nat_mm = 5\ndepth_mm = 6\nopening_diameter_mm = 120\n{THICK}',
    ],
    ids=["one flag", "a hood too flat for one piece", "glass as thick as its tray"],
)
def test_unusual_boxes_are_made_closed_too(box, tmp_path):
    found = answer(loaded(tmp_path, box=f'[box]\nmount = "rods-19"\n{box}'))
    files = dict(found.files("out"))
    solids = [trimesh.load(io.BytesIO(data), file_type="stl") for name, data in files.items() if name.endswith(".stl")]
    assert solids
    assert all(solid.is_watertight and solid.volume > 0 for solid in solids)
    assert files["drawings.pdf"].startswith(b"%PDF")


def test_a_filter_larger_than_its_tray_is_told(tmp_path):
    stage = "[[box.stage]]\nat_mm = 5\ndepth_mm = 9\nopening_mm = [80, 60]\nouter_mm = [100, 80]\n"
    scene = loaded(tmp_path, box=f"[box]\n{stage}filter = {{ width_mm = 120, height_mm = 70 }}\n")
    with pytest.raises(
        SceneError, match=r"stage 1: its filter with its play, 120.5 x 70.5 mm, is larger than its outside, 100 x 80 mm"
    ):
        answer(scene)


def test_the_tables_of_the_page_hold_values_for_notebooks(found):
    parts, carried, wind = (block.data() for block in found.blocks(written=False) if isinstance(block, Table))
    assert [row["name"] for row in parts] == list(formulas())
    assert carried[0]["kg"] == found.report.carried[0].kg
    assert wind[0]["force_n"] == found.report.wind[0].force_n


def test_what_is_made_is_what_is_judged_part_by_part(found):
    """Against the meshes of the state that the judgement looks at (geometry.meshes), moved back into the box."""
    state, checked = found.states[0], 0
    made = {part.name: part.solid() for part in found.report.parts.made}
    for part in state.assembly.parts:
        if part.name in made:
            corners = state.place.points_to_part(part_mesh(part).vertices)
            own = made[part.name].vertices_mm
            assert [corners.min(axis=0), corners.max(axis=0)] == pytest.approx(
                np.array([own.min(axis=0), own.max(axis=0)]), abs=1e-3
            )
            if len(own) <= 16:  # all flat: every corner of one is a corner of the other
                assert np.linalg.norm(own[:, None] - corners[None], axis=2).min(axis=1).max() < 1e-6
            checked += 1
    assert checked == 5
