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
from scenes.questions.make.weights import GLASSES, glass_g_cm3, sagged_state
from scenes.scene_file.errors import SceneError
from scenes.states.judgement import judge_state
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
        "filter, 160 x 120 x 4 mm", "friction hinge", "screw and nut for 3.2 mm holes",
        "joint, back plate to tray", "joint, tray to mask", "joint, mask to hood", "rod, rods-15",
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


# nd and density [kg/m3] of refractiveindex.info-database, database/data/specs/schott/optical/NAME.yml
SHEETS = {
    "N-BK7": (1.5168, 2510), "F2": (1.62004, 3599), "SF5": (1.6727, 4070), "N-SF5": (1.67271, 2858), "SF11": (1.78472, 4740),
    "N-SF11": (1.78472, 3224), "SF6": (1.80518, 5180),
}  # fmt: skip


@pytest.mark.parametrize("name", SHEETS)
def test_a_known_glass_is_a_row_of_the_table(name):
    index, density = SHEETS[name]
    assert min(abs(known - index) + abs(g_cm3 - density / 1000) for known, g_cm3 in GLASSES) < 2e-3


@pytest.mark.parametrize("name", SHEETS)
def test_no_glass_is_taken_as_lighter_or_heavier_than_its_data_sheet_allows(name):
    index, density = SHEETS[name]
    low, high = glass_g_cm3(index)
    assert low <= density / 1000 + 2e-3
    assert high >= density / 1000 - 2e-3


def test_a_plastic_filter_is_weighed_as_glass_of_its_index_with_the_plastic_at_the_low_end():
    """Acrylic 1.491, 1.19 g/cm3, beside N-BK7 1.5168, 2.51 (data sheets): at 1.50 it may be either."""
    assert glass_g_cm3(1.50) == (1.19, 2.51)


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
    """Half the box at its heaviest on each 15 x 1.5 tube of 6061, 150 mm free; formulas: tests/geometry/test_cantilever.py."""
    (box,) = found.report.carried
    rod = Rod(diameter_mm=15, wall_mm=1.5, modulus_gpa=68.9, density_g_cm3=2.70)
    heaviest = [(thing.range_kg[1], thing.centre_mm[2] - 3) for thing in box.things]
    force, moment = G / 2 * sum(kg for kg, _ in heaviest), G / 2 * sum(kg * ahead for kg, ahead in heaviest)
    assert box.kg < box.range_kg[1] == pytest.approx(sum(kg for kg, _ in heaviest))
    assert box.sag.drop_mm == pytest.approx(sag(rod, 150, force, moment).drop_mm, rel=1e-9)
    assert box.sag.drop_mm > sag(rod, 150, box.kg * G / 2, box.kg * G / 2 * (box.ahead_mm - 3)).drop_mm
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
        (
            "[[make.hole]]\nat_mm = [99, 0]\ndiameter_mm = 6",
            "puts the hole over the edge of its plate, 200 x 170 mm, or against it",
        ),
        ("[[make.hole]]\nat_mm = [61, 0]\ndiameter_mm = 6", "puts the hole into the bore, 120 mm, or against it; move it out"),
        (
            "[[make.hole]]\nat_mm = [70, 70]\ndiameter_mm = 6\n[[make.hole]]\nat_mm = [75, 70]\ndiameter_mm = 6",
            "make.hole[2].at_mm: puts the hole into hole 1 or against it; leave 0.2 mm between them, or drill one",
        ),
        (
            "[[make.hole]]\nat_mm = [70, 70]\ndiameter_mm = 6\n[[make.hole]]\nat_mm = [70, 62]\ndiameter_mm = 10",
            "puts the hole into hole 1 or against it",
        ),
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
    (tray,) = (part for part in state.assembly.parts if part.name == "tray")
    frames = np.concatenate([solid.vertices_mm for name, solid in made.items() if name.startswith("tray, ")])
    judged = state.place.points_to_part(part_mesh(tray).vertices)
    assert [frames.min(axis=0), frames.max(axis=0)] == pytest.approx(np.array([judged.min(axis=0), judged.max(axis=0)]), abs=1e-6)
    free = np.abs(frames[:, :2]) < [95 - 1e-6, 80 - 1e-6]  # inside the outer edge: openings, pocket and screw holes
    assert (np.abs(frames[free.all(axis=1)][:, :2]) >= np.array([75, 55]) - 4).any(axis=1).all()  # none in the judged opening


def outsides(tmp_path, box, make=""):
    """Outer sizes by name, of parts whose outside a scene does not give."""
    scene = loaded(tmp_path, make, box='[box]\nmount = "clamp"\n' + box)
    made = parts_of(scene.scene, scene.resources).made
    return {part.name: tuple(np.ptp(part.own_solid().vertices_mm, axis=0)[:2].round(6)) for part in made}


FOR_75 = 'lenses = ["75"]\n'
HOOD = "[[box.hood]]\nat_mm = {}\ndepth_mm = 60\nrear_mm = [190, 150]\nfront_mm = [300, 230]\n{}"
MASK = '[[box.mask]]\nname = "mask"\nat_mm = 20\nopening_mm = [150, 110]\n'
TRAY = '[[box.stage]]\nname = "tray"\nat_mm = {}\ndepth_mm = 8\nopening_mm = [{}, 110]\n{}'
SECOND = """
[[lens]]
name = "75"
focal_mm = 75
f_number = 2.8
front_diameter_mm = 100
pupil_behind_front_mm = 40
"""


@pytest.mark.parametrize(
    ("box", "expected"),
    [
        (HOOD.format(24, "") + MASK, {"mask": (190 + 12, 150 + 12)}),  # the hood's rear edge, 6 mm of rim on each side
        (TRAY.format(8, 170, "") + MASK, {"mask": (170 + 12, 110 + 12), "tray": (170 + 12, 110 + 12)}),
        (TRAY.format(30, 170, "") + MASK, {"mask": (150 + 12, 110 + 12)}),  # the tray stands ahead of it
        (HOOD.format(-70, "") + MASK, {"mask": (150 + 12, 110 + 12)}),  # the hood ends behind it
        (HOOD.format(24, "") + TRAY.format(8, 170, ""), {"tray": (190 + 12, 150 + 12)}),  # no mask closes the hood
        (HOOD.format(24, "") + TRAY.format(8, 170, "") + MASK, {"tray": (170 + 12, 110 + 12), "mask": (202, 162)}),
        (HOOD.format(24, "") + TRAY.format(8, 170, "") + MASK + FOR_75 + SECOND, {"tray": (202, 162)}),
        (HOOD.format(24, FOR_75) + TRAY.format(8, 170, "") + MASK + FOR_75 + SECOND, {"tray": (182, 122)}),
    ],
    ids=["hood", "tray behind", "tray ahead", "hood behind", "no mask", "mask", "mask for another lens", "hood for another lens"],
)  # fmt: skip
def test_an_outside_that_is_not_given_reaches_the_rim_past_what_the_part_covers_where_it_stands(box, expected, tmp_path):
    found = outsides(tmp_path, box)
    assert {name: found[name] for name in expected} == expected


def test_a_mask_inside_a_hood_needs_an_outside_of_its_own(tmp_path):
    box = '[box]\nmount = "clamp"\n' + HOOD.format(10, "") + MASK
    with pytest.raises(SceneError, match="mask: stands inside the hood; give outer_mm"):
        answer(loaded(tmp_path, box=box))
    assert outsides(tmp_path, HOOD.format(10, "") + MASK + "outer_mm = [180, 140]\n")["mask"] == (180, 140)


def test_screws_are_bought_for_the_trays_that_are_screwed_and_named_by_their_holes(tmp_path):
    narrow = BOX.replace("outer_mm = [190, 160]", "outer_mm = [164, 124]")  # 1.75 mm beside the filter
    for box, count, word in ((BOX, 4, "screwed"), (narrow, 0, "glued")):
        found = answer(loaded(tmp_path, "\n[make]\nscrew_hole_mm = 4.2\n", box=box))
        screws = [one for one in found.report.bought if "screw" in one.name]
        assert [(one.name, one.count) for one in screws] == ([("screw and nut for 4.2 mm holes", count)] if count else [])
        assert any(f"a stack of frames {word} together" in words for words in found.data()["taken"])


def test_an_open_slot_is_not_drawn_and_that_is_told(tmp_path):
    box = BOX.replace("corner_mm = 4\n", 'corner_mm = 4\nslot_mm = 5\nslot_sides = ["top"]\n')
    told = answer(loaded(tmp_path, box=box)).data()["taken"]
    assert "tray: its gap of 5 mm at the top (slot_mm) is not drawn: the tray is made closed" in told


def test_a_lens_that_does_not_say_how_long_it_is_has_its_rods_told(tmp_path):
    way_out = "200 mm from the image plane to its front taken (front_to_sensor_mm, or rod_length_mm)"
    words = f"rods: 75 does not say how long it is; {way_out}"
    told = answer(loaded(tmp_path, SECOND)).data()["taken"]
    assert [one for one in told if one.startswith("rods: ")] == [words]
    assert words not in answer(loaded(tmp_path, SECOND + "[make]\nrod_length_mm = 100\n")).data()["taken"]


def test_a_mesh_weighs_as_its_closed_volume_or_nothing_and_both_are_told(tmp_path):
    cube = trimesh.creation.box((20, 20, 20), transform=trimesh.transformations.translation_matrix((0, 90, 200)))
    cube.export(tmp_path / "closed.stl")
    trimesh.Trimesh(np.add(cube.vertices, (50, 0, 0)), cube.faces[1:]).export(tmp_path / "open.stl")
    solids = "".join(f'[[box.solid]]\nname = "{name}"\nfile = "{name}.stl"\nunit = "mm"\n' for name in ("closed", "open"))
    found = answer(loaded(tmp_path, box=BOX + solids))
    things = {thing.name: thing.kg for thing in found.report.carried[0].things}
    assert (things["closed"], things["open"]) == (pytest.approx(8000 * 2.66e-6), 0.0)
    told = found.data()["taken"]
    assert "closed: a mesh, weighed as solid aluminium 5083-H111 (material)" in told
    assert "open: a mesh that is not closed: it counts as weighing nothing" in told


def test_words_that_do_not_fit_their_part_stand_above_it_on_its_own_drawing_and_nowhere_on_the_sheet(tmp_path):
    box = '[box]\nmount = "clamp"\n[[box.mask]]\nname = "slim"\nat_mm = 4\nopening_mm = [100, 80]\nouter_mm = [101, 81]\n'
    files = dict(answer(loaded(tmp_path, box=box)).files("out"))
    own, sheet = (
        [one for one in ezdxf.read(io.StringIO(files[name].decode())).modelspace().query("TEXT") if one.dxf.layer == "engrave"]
        for name in ("flats/P01-slim.dxf", "sheets/sheet-1.dxf")
    )
    assert own[0].dxf.text == "P01 slim"
    assert min(one.dxf.align_point.y for one in own) > 81 / 2
    assert sheet == []


def test_not_clear_names_the_part_of_the_box_as_drawn_and_the_bent_box_keeps_its_own(found):
    states = found.data()["lenses"][0]["states"]
    assert states[0]["part"] == found.report.carried[0].states[0].part == judge_state(found.states[0]).nearest.part
    bent = sagged_state(found.states[0], found.report.carried[0].sag)
    assert states[0]["sagged_part"] == judge_state(bent).nearest.part
