"""Masks: sizes by similar triangles, drawings read back by a general CAD library, and cut-outs put back into the scene."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from geometry.body import Kind
from geometry.frame import Pose
from geometry.outline import Freeform
from raytrace.beam.clearance import beams_of
from raytrace.beam.clearance_plane import loop_clearance
from scenes.answers.answer import answer_data, answer_text
from scenes.io.dxf.outline import read_outline
from scenes.questions.masks.answer import MasksAnswer, answer
from scenes.questions.masks.command import command
from scenes.questions.masks.cut_files import dxf_bytes, engraving, page_mm, pdf_bytes, scene_tables, svg_bytes
from scenes.questions.masks.report import Rule, mask_report
from scenes.questions.masks.wanted import MARGIN_MM, Wanted
from scenes.runtime.engines import engine_of
from scenes.scene_file.errors import SceneError
from scenes.states.clear_rule import WALK_MM, has_room
from scenes.states.full_range import range_plans
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene
from scenes.states.numbers_told import NUMBERS_HEADING
from scenes.states.rooms import ClearRooms

ROOT = Path(__file__).parents[4]
SCENE = """
brimline = 1
title = "three lenses"

[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [360, 240]
offset_mm = [1.0, 0.0]

[[lens]]
name = "20"
focal_mm = 20
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = 36
close_focus_mm = 400

[[lens]]
name = "40"
focal_mm = 40
f_number = 2.0
front_diameter_mm = 80
front_to_sensor_mm = 160
pupil_behind_front_mm = [48, 52]

[[lens]]
name = "60 squeezed"
focal_mm = 60
squeeze = 2.0
f_number = 2.8
front_diameter_mm = 100
front_to_sensor_mm = 160
pupil_behind_front_mm = {{ horizontal = 55, vertical = 110 }}

[box]
mount = "clamp"
ahead_mm = 4
offset_mm = [0.0, 3.0]
{stage}
{masks}
[check]
f_numbers = [5.6]
"""
STAGE = """
[[box.stage]]
at_mm = 6
depth_mm = 6
opening_mm = [190, 160]
filter = { width_mm = 200, height_mm = 170, thickness_mm = 4 }
"""
MASK = """
[[box.mask]]
name = "plate"
at_mm = 20
thickness_mm = 2
opening_mm = [150, 84]
"""
FRONT_FACE_MM, REAR_FACE_MM = 26.0, 24.0  # ahead of the lens front


@pytest.fixture
def scene(tmp_path):
    def written(stage="", masks=MASK, name="scene.toml"):
        path = tmp_path / name
        path.write_text(SCENE.format(stage=stage, masks=masks))
        return path

    return written


def report_of(path, *lenses, **wanted):
    return mask_report(load_scene(path), Wanted(**wanted), lenses)


def far_lens_scene(path):
    """The same scene without a nearest focus, for closed forms at infinity."""
    path.write_text(path.read_text().replace("close_focus_mm = 400\n", ""))
    return path


def test_the_need_is_the_frame_scaled_to_the_mask_and_widened_by_the_open_pupil(scene):
    (mask,) = report_of(far_lens_scene(scene()), "20").lenses
    reach, radius = FRONT_FACE_MM + 36, 20 / 2.0 / 2  # at the widest stop, though [check] asks for another
    left, low, right, high = mask.need.bounds  # x to the operator's left, about the box, which stands 3 mm above the axis
    assert -left == pytest.approx(reach * 19 / 20 + radius, abs=0.03)
    assert right == pytest.approx(reach * 17 / 20 + radius, abs=0.03)
    assert (low, high) == pytest.approx((-reach * 12 / 20 - radius - 3, reach * 12 / 20 + radius - 3), abs=0.03)


def test_the_cut_out_adds_the_margin_all_round(scene):
    (mask,) = report_of(scene(), "20", margin_mm=4.0, corner_mm=0.0).lenses
    grown = np.array(mask.cutout.bounds) - np.array(mask.need.bounds)
    assert grown == pytest.approx([-4, -4, 4, 4], abs=0.02)


def test_a_pupil_known_by_bounds_is_served_at_its_deepest(scene):
    (mask,) = report_of(scene(), "40").lenses
    assert -mask.need.bounds[0] == pytest.approx((FRONT_FACE_MM + 52) * 19 / 40 + 10, abs=0.03)


def test_the_squeezed_lens_needs_its_two_pupils(scene):
    (mask,) = report_of(scene(), "60 squeezed").lenses
    assert -mask.need.bounds[0] == pytest.approx((FRONT_FACE_MM + 55) * 19 * 2 / 60 + 60 / 2.8 / 2 / 2, abs=0.03)
    assert mask.need.bounds[3] == pytest.approx((FRONT_FACE_MM + 110) * 12 / 60 + 60 / 2.8 / 2 - 3, abs=0.03)


def test_no_focus_between_the_ends_reaches_out_of_the_need(scene):
    path = scene()
    (mask,) = report_of(path, "20").lenses
    between = "f_numbers = [2.0]\nfocus_mm = [425, 500, 700, 1000, 2000, 5000]"
    path.write_text(path.read_text().replace("f_numbers = [5.6]", between))
    (more,) = report_of(path, "20").lenses
    assert more.need.difference(mask.need.buffer(0.03)).area == 0.0


def test_the_mask_of_today_is_clear_by_its_opening_less_the_beam(scene):
    (mask,) = report_of(far_lens_scene(scene()), "20").lenses
    assert mask.now_mm == pytest.approx(42 - ((FRONT_FACE_MM + 36) * 12 / 20 + 5 + 3), abs=0.03)


def test_taking_the_filter_out_is_told_and_can_be_cut_for(scene):
    path = far_lens_scene(scene(stage=STAGE))
    (fitted,), (also,) = (report_of(path, "20", also_empty=empty).lenses for empty in (False, True))
    assert -also.need.bounds[0] == pytest.approx((FRONT_FACE_MM + 36) * 19 / 20 + 5, abs=0.03)
    assert fitted.empty_mm >= also.need.bounds[2] - fitted.need.bounds[2] > 1.0
    assert also.short_empty_mm == 0.0
    report = report_of(path, "20", margin_mm=0.5, also_empty=False)
    assert engraving(report.masks[0])[-1] == "only with the filters in"
    assert not report_of(path, "20", margin_mm=0.5, also_empty=True).masks[0].filters_in
    page, _ = answer_text(MasksAnswer(report=report, title="")).split(f"\n\n{NUMBERS_HEADING}")
    assert "--as-fitted" in page.splitlines()[-1]
    assert "--as-fitted" in MasksAnswer(report=report, title="").next_step


def test_anamorphic_lenses_share_no_mask_when_asked_apart(scene):
    report = report_of(scene(), masks=2, split_anamorphic=True)
    assert [mask.lens_names for mask in report.masks] == [("20", "40"), ("60 squeezed",)]
    with pytest.raises(SceneError, match="must be at least 2 with --split-anamorphic"):
        report_of(scene(), masks=1, split_anamorphic=True)


@pytest.mark.parametrize(("beam", "cutout", "word"), [(120, 125, "too lax"), (90, 95, "too strict"), (108, 113, "right")])
def test_the_rule_of_the_lens_front_is_lax_where_it_would_darken_and_strict_where_it_forbids(beam, cutout, word):
    # Common practice: a mask opening smaller than the lens front diameter is suspect.
    assert Rule(front_mm=110, beam_mm=beam, cutout_mm=cutout).word == word


def test_a_lens_without_a_mask_needs_a_place(scene):
    with pytest.raises(SceneError, match="has no mask in this scene; say with --at"):
        report_of(scene(masks=""))
    assert len(report_of(scene(masks=""), at_mm=20.0).lenses) == 3


def test_a_general_cad_reader_finds_one_closed_polyline_of_the_right_size_in_mm(scene):
    for mask in report_of(scene(), masks=3).masks:
        document = ezdxf.read(io.StringIO(dxf_bytes(mask).decode()))
        assert document.units == ezdxf.units.MM
        assert not document.audit().has_errors
        (line,) = document.modelspace().query("LWPOLYLINE")
        assert line.closed
        assert line.dxf.layer == "CUT"
        drawn = shapely.Polygon([(x, y) for x, y, *_ in line])
        left, low, right, high = mask.cutout.bounds
        assert drawn.area == pytest.approx(mask.cutout.area, rel=1e-6)
        assert drawn.bounds == pytest.approx((-right, low, -left, high), abs=1e-4)  # drawn as the operator sees it
        assert {text.dxf.layer for text in document.modelspace().query("TEXT")} == {"ENGRAVE"}


def test_the_svg_has_the_same_closed_line_in_mm(scene):
    (mask,) = report_of(scene(), "20").masks
    root = ElementTree.fromstring(svg_bytes(mask))
    space = {"s": "http://www.w3.org/2000/svg"}
    width, view = float(root.attrib["width"].removesuffix("mm")), [float(v) for v in root.attrib["viewBox"].split()]
    assert width == view[2]  # a user unit is a millimetre
    (path,) = root.findall("s:g[@id='CUT']/s:path", space)
    assert path.attrib["d"].startswith("M")
    assert path.attrib["d"].endswith("Z")
    points = np.array(re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.attrib["d"]), dtype=float)
    assert shapely.Polygon(points).area == pytest.approx(mask.cutout.area, rel=1e-5)
    assert points[:, 1].min() == pytest.approx(-mask.cutout.bounds[3], abs=1e-3)  # the page's y runs down
    assert len(root.findall("s:g[@id='ENGRAVE']/s:text", space)) == 3


def test_the_page_shows_the_cut_out_at_its_true_size(scene):
    (mask,) = report_of(scene(), "20").masks
    data = pdf_bytes([mask], "three lenses").decode("latin-1")
    (width, height) = (float(v) for v in re.search(r"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data).groups())
    assert (width, height) == pytest.approx(np.array(page_mm(mask)) / 25.4 * 72, abs=0.01)
    scale = np.prod([float(factor) for factor in re.findall(r"([\d.]+) 0 0 [\d.]+ 0 0 cm", data)])
    moves = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+) [ml]\b", data), dtype=float) * scale / 72 * 25.4
    cut_size = np.array(mask.cutout.bounds)[2:] - np.array(mask.cutout.bounds)[:2]
    found = moves[: len(mask.cutout.exterior.coords) - 1]
    assert np.ptp(found, axis=0) == pytest.approx(cut_size, abs=0.01)
    assert "/PrintScaling /None" in data


def put_back(path, report, outlines):
    """The scene with these masks in place of its own."""
    folder = path.parent / "cut"
    folder.mkdir(exist_ok=True)
    for number, data in enumerate(outlines, 1):
        (folder / f"mask-{number}.dxf").write_bytes(data)
    text = path.read_text()
    masks = re.compile(r"\[\[box\.mask\]\]\n(?:(?!\[).*\n)*")
    parts = masks.sub("", text) + scene_tables(report.masks, "cut") + "\n"
    again = path.with_name("again.toml")
    again.write_text(parts)
    return load_scene(again)


def least_share_behind_mask(loaded, lens_name):
    """The least clear share on the rims of all guides if only the masks were there, over the lens's whole range."""
    lens = next(lens for lens in loaded.scene.lens if lens.name == lens_name)
    engine, least = engine_of("coverage"), 1.0
    for plan in range_plans(loaded, lens):
        places = [k for k, part in enumerate(plan.box.parts) if part.group.startswith("box.mask")]
        assert len(places) == 1
        for variant in plan.variants:
            for guide in plan.guides:
                shares = engine.shares(variant, guide.rim_points_mm(41), plan.box, seed=0, fine=True)
                least = min(least, float(shares.alone[:, places].min()))
    return least


def least_clearance_of_mask(loaded, lens_name):
    """As a state is judged with its filters as they are, over the lens's whole range [mm]."""
    lens = next(lens for lens in loaded.scene.lens if lens.name == lens_name)
    rooms = [room for plan in range_plans(loaded, lens) for room in judge_state(plan, margin=False).rooms]
    return min(room.room_mm for room in rooms if room.kind is Kind.MASK)


def least_plane_clearance_of_mask(loaded, lens_name):
    """As margins are counted, in the plane of the opening, from the section of the beam: over the lens's whole range [mm]."""
    lens = next(lens for lens in loaded.scene.lens if lens.name == lens_name)
    return min(plane_clearance_of_mask(plan) for plan in range_plans(loaded, lens))


def plane_clearance_of_mask(plan):
    """Least distance of the beams' sections to the cut-out, in its plane [mm]."""
    beams = [named.beam for named in beams_of(plan.variants, plan.guides, plan.box)]
    loops = [loop for part in plan.box.parts if part.kind is Kind.MASK for loop in part.body.inner]
    planes = [Pose(loop.pose.rotation, loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm]))) for loop in loops]
    return min(
        loop_clearance(loop.outline, plane, beam.section(plane)).distance_mm
        for loop, plane in zip(loops, planes, strict=True)
        for beam in beams
    )


def shrunk(mask, by_mm):
    """The drawing of a mask with its cut-out made smaller all round."""
    from dataclasses import replace

    smaller = mask.cutout.buffer(-by_mm)
    return dxf_bytes(replace(mask, cutout=smaller))


def assert_clear_and_tight(path, report):
    loaded = put_back(path, report, [dxf_bytes(mask) for mask in report.masks])
    for mask in report.masks:
        for name in mask.lens_names:
            assert least_share_behind_mask(loaded, name) == 1.0, (mask.name, name)
            assert has_room(least_plane_clearance_of_mask(loaded, name), report.wanted.margin_mm), (mask.name, name)
            own = next(lens for lens in report.lenses if lens.lens.name == name)
            if own.lens.front_glass_mm is None:  # the judgement tells too little room where a front ring cuts the pencils
                assert least_clearance_of_mask(loaded, name) > report.wanted.margin_mm / own.lean - 0.01, (mask.name, name)
    loaded = put_back(path, report, [shrunk(mask, report.wanted.margin_mm + 0.3) for mask in report.masks])
    for mask in report.masks:
        assert min(least_share_behind_mask(loaded, name) for name in mask.lens_names) < 1.0, mask.name


@pytest.mark.parametrize("masks", [1, 3])
def test_a_drawing_put_back_as_outline_is_clear_for_all_its_lenses_and_shrunk_past_the_margin_it_is_not(scene, masks):
    path = scene(stage=STAGE)
    assert_clear_and_tight(path, report_of(path, masks=masks, margin_mm=MARGIN_MM, also_empty=False))


def test_a_margin_below_the_room_of_a_fixed_pupil_is_told(scene):
    # At 400 mm m = 0.0557 and m L = f + m (2 f - c) + f m^2 = 15.4 mm, c = 160 - 36: the 20's farthest corner leans by 22.5 / 15.4,
    # so that 1 / hypot(1, 1.46) = 0.565 is left square to the beam's side.
    told = (
        "2.4 mm of margin leaves as little as 1.4 mm square to the beam's side, less than the 2.5 mm a fixed pupil can be out by: "
        "`brimline check` may call 20, 40, 60 squeezed tight behind a mask cut so; give pupil_walk, or leave --margin out"
    )
    assert report_of(scene(), margin_mm=2.4).notes[-1] == told
    assert not any("fixed pupil" in note for note in report_of(scene(), margin_mm=4.6).notes)


def least_spare_of_mask(loaded, lens_name):
    """By how much a mask misses what `check` asks for before it calls any state of the lens's range clear; 0 where it does not."""
    lens = next(lens for lens in loaded.scene.lens if lens.name == lens_name)
    lacks = []
    for plan in range_plans(loaded, lens):
        (part,) = (part for part in plan.box.parts if part.group.startswith("box.mask"))
        lacks.append(ClearRooms(plan.variants, plan.guides, plan.box).lacks_mm(part))
    return max(lacks)


def test_a_mask_cut_without_options_is_clear_in_check_with_the_filters_in_and_with_the_trays_empty(scene):
    path = far_lens_scene(scene(stage=STAGE))
    report = report_of(path, "20")
    show = put_back(path, report, [dxf_bytes(mask) for mask in report.masks])
    assert least_spare_of_mask(show, "20") == 0.0
    assert report.notes[1:] == ()
    # the glass at 40 deg and more draws the beam in by over a mm a side; that is said as the cost
    assert "that costs up to" in answer_text(MasksAnswer(report=report, title=""))


def test_a_mask_cut_without_options_is_clear_in_check_close_up_behind_a_front_ring(scene):
    # The judgement widens beams that a front ring cuts: what it calls clear asks for more than the beam and the room beside it.
    path = scene(stage=STAGE)
    path.write_text(path.read_text().replace("front_diameter_mm = 110\n", "front_diameter_mm = 110\nfront_glass_mm = 96\n"))
    report = report_of(path, "20")
    show = put_back(path, report, [dxf_bytes(mask) for mask in report.masks])
    assert least_spare_of_mask(show, "20") == 0.0


def test_a_mask_cut_as_fitted_says_that_it_is_tight_with_the_trays_empty(scene):
    path = far_lens_scene(scene(stage=STAGE))
    report = report_of(path, "20", also_empty=False)
    show = put_back(path, report, [dxf_bytes(mask) for mask in report.masks])
    assert least_spare_of_mask(show, "20") > 0.0
    assert "20 will then be tight behind a mask cut so; leave --as-fitted out" in report.notes[-1]


def test_a_mask_that_stands_turned_and_tilted_is_cut_for_it(scene):
    ahead = MASK.replace("at_mm = 20", "at_mm = 44")  # clear of the filter, leaning as it does
    path = scene(stage=STAGE, masks=f"{ahead}tilt_deg = 12\nturn_deg = 8\n")
    assert_clear_and_tight(path, report_of(path, masks=3, margin_mm=MARGIN_MM, also_empty=False))


@pytest.mark.slow
def test_the_demos_masks_put_back_are_clear_for_all_their_lenses_and_shrunk_past_the_margin_they_are_not(tmp_path):
    path = tmp_path / "demo.toml"
    path.write_text(Path("scenes/demo/demo.toml").read_text())
    assert_clear_and_tight(path, report_of(path, margin_mm=MARGIN_MM, also_empty=False))


@pytest.mark.slow
def test_masks_cut_for_empty_trays_are_clear_without_the_filters_too(tmp_path):
    path = tmp_path / "demo.toml"
    path.write_text(Path("scenes/demo/demo.toml").read_text())
    report = report_of(path, margin_mm=MARGIN_MM)
    path.write_text(re.sub(r"^filter = .*\n", "", path.read_text(), flags=re.MULTILINE))
    assert_clear_and_tight(path, report)


def test_a_drawing_put_back_keeps_its_shape_and_its_side(scene):
    (mask,) = report_of(scene(), "20").masks
    again = read_outline(dxf_bytes(mask), source="mask-1.dxf")
    assert isinstance(again, Freeform)
    assert again.shape.symmetric_difference(mask.cutout).area < 5.0  # a mirrored one would differ by 2 x 6 mm x height


def test_the_table_keeps_within_a_hundred_columns_and_the_json_says_the_same(scene):
    show = load_scene(scene(stage=STAGE))
    found = answer(show)
    lines, data = answer_text(found).splitlines(), json.loads(json.dumps(answer_data(found, show), allow_nan=False))
    assert max(map(len, lines)) <= 100
    row = next(line for line in lines if line.startswith("20 "))
    assert f"{data['lenses'][0]['cut_out']['width_mm']:.1f} x" in row
    assert [entry["masks"] for entry in data["sets"]] == [1, 2, 3]
    assert data["sets"][2]["excess_mm2"] == 0.0
    assert (data["brimline"], data["scene"]["title"]) == ("masks", "three lenses")
    assert {(state["lens"], state["focus_mm"]) for state in data["states"]} >= {("20", "infinity"), ("20", 400.0)}


def test_no_column_of_the_table_runs_off_the_page(scene):
    lines = answer_text(answer(load_scene(scene(stage=STAGE)))).splitlines()
    assert not [line for line in lines if line.endswith("…")]


def test_the_names_of_many_lenses_that_share_a_mask_are_all_on_the_page(scene):
    path = scene()
    names = [f"{focal} of the long set with a long name" for focal in (40, 60)]
    path.write_text(path.read_text().replace('name = "40"', f'name = "{names[0]}"').replace('"60 squeezed"', f'"{names[1]}"'))
    page = answer_text(answer(load_scene(path), masks=1))
    assert max(map(len, page.splitlines())) <= 100
    (shared,) = re.findall(r"^ +1 \*(.*?)^ +2 ", page, flags=re.DOTALL | re.MULTILINE)
    assert all(name in " ".join(shared.split()) for name in names)


def told(*args):
    done = CliRunner().invoke(command, [str(arg) for arg in args], standalone_mode=False, catch_exceptions=False)
    return done.return_value


def test_the_command_writes_what_it_says(scene, tmp_path):
    out = tmp_path / "cut here"
    assert told(scene(), "--masks", 2, "--out", out, "--format", "png", "--format", "pdf") == 0
    names = {
        "sheet-masks.pdf",
        "mask-1.dxf",
        "mask-2.dxf",
        "mask-1.svg",
        "mask-2.svg",
        "masks.pdf",
        "masks.png",
        "masks.json",
        "box-masks.toml",
    }
    written = {path.name for path in out.glob("[!.]*")}
    assert {name for name in written if not name.endswith(".csv")} == names  # the PDF to cut by keeps its name
    assert set(json.loads((out / "masks.json").read_text())["files"]) == written
    assert 'outline = "cut here/mask-1.dxf"' in (out / "box-masks.toml").read_text()


def test_no_drawing_of_an_earlier_set_is_left_to_be_cut_by_mistake(scene, tmp_path):
    out, path = tmp_path / "cut", scene()
    told(path, "--masks", 2, "--out", out)
    (out / "my notes.txt").write_text("keep")
    told(path, "--masks", 1, "--out", out)
    assert sorted(file.name for file in out.glob("mask-*")) == ["mask-1.dxf", "mask-1.svg"]
    assert (out / "my notes.txt").read_text() == "keep"


def test_drawings_have_the_same_bytes_whatever_the_process(scene, tmp_path):
    command = [sys.executable, "-m", "scenes.cli", "masks", str(scene()), "--masks", "2", "--out", str(tmp_path / "cut")]
    left = []
    for seed in ("1", "2"):  # of what Python orders sets by
        subprocess.run(command, env={**os.environ, "PYTHONHASHSEED": seed}, cwd=ROOT, check=True, capture_output=True)
        left.append({path.name: path.read_bytes() for path in (tmp_path / "cut").iterdir()})
    assert {Path(name).suffix for name in left[0]} >= {".dxf", ".svg", ".pdf", ".json"}
    assert left[0] == left[1]


def test_the_margin_unless_said_is_the_room_that_the_check_asks_for():
    assert MARGIN_MM == WALK_MM
