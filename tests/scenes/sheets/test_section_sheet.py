"""Cuts through a box against closed forms, and the sheet that shows them: data, words and places, never pixels."""

import itertools

import numpy as np
import pytest
import shapely
import trimesh
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.lines import Line2D

from geometry import fixtures, flags, parts
from geometry.body import Assembly, Kind, Part, Surface
from geometry.outline import RoundedRectangle
from scenes.sheets.cut_shapes import SIDE, TOP, cut_box, flat_points, mesh_section, plane_through
from scenes.sheets.leaders import spread, uncrossed
from scenes.sheets.section_sheet import Callout, PartNote, SectionLens, SectionRay, section_figure

LENS = SectionLens(name="18", pupil_z_mm=-38.0, pupil_radius_mm=4.5)


def ray(axis, start_mm, slope, to_mm=300.0, blocked=False):
    points = np.array([[0.0, 0.0, -38.0], [0.0, 0.0, to_mm]])
    points[:, 1 if axis == "side" else 0] = [start_mm, start_mm + slope * (to_mm + 38.0)]
    return SectionRay(points_mm=points, blocked=blocked)


def box_parts(box, long=""):
    hinge_mm, at_mm = flags.hood_edge("right", front_mm=(250, 170), at_mm=48, depth_mm=70)
    opening = parts.opening(size_mm=(138, 97), corner_mm=4)
    return (
        parts.back_plate(box, width_mm=190, height_mm=160, thickness_mm=4, bore_mm=130),
        *parts.seal(box, kind="donut", inner_mm=114, outer_mm=130, back_thickness_mm=4, barrel_front_mm=-4),
        parts.tray(box, at_mm=10, depth_mm=8, opening=opening, name=f"rear tray {long}"),
        parts.mask(box, at_mm=46, thickness_mm=1, opening=parts.opening(size_mm=(150, 84), corner_mm=6), name=f"mask {long}"),
        parts.hood(box, at_mm=48, depth_mm=70, rear_mm=(170, 120), front_mm=(250, 170)),
        flags.flag(box, side="right", angle_deg=30, hinge_mm=hinge_mm, at_mm=at_mm, length_mm=90, width_mm=150, name="right flag"),
    )


def assembly(long="", **placed):
    box = parts.box_pose(ahead_mm=4, back_thickness_mm=4, **placed)
    glass = parts.filter_slab(box, at_mm=12, depth_mm=4, outline=RoundedRectangle(143.5, 101.6), thickness_mm=4, name="density 0.6")
    lens = (fixtures.barrel(outside_mm=114), fixtures.front_ring(outside_mm=114, glass_mm=96))
    return Assembly(parts=box_parts(box, long), slabs=(glass,), fixtures=lens)


def part_of(cut, name):
    (found,) = [part for part in cut.parts if part.name.strip() == name]
    return found


def words_of(figure):
    return [text.get_text() for text in figure.texts]


def overlaps(figure):
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in figure.texts if text.get_text().strip()]
    sheet = figure.bbox.padded(1.0)
    clipped = [words for words, box in boxes if not (sheet.contains(*box.min) and sheet.contains(*box.max))]
    return clipped + [(a, b) for (a, p), (b, q) in itertools.combinations(boxes, 2) if p.padded(-1.0).overlaps(q.padded(-1.0))]


def test_plate_is_cut_into_two_rectangles_of_the_right_place_and_area():
    shape = part_of(cut_box(assembly(), SIDE), "back plate").shape
    assert shape.area == pytest.approx((160 - 130) * 4, abs=0.1)  # height less bore, times thickness; chords of 0.02 mm sagitta
    assert shape.bounds == pytest.approx((4, -80, 8, 80), abs=1e-4)
    assert len(shape.geoms) == 2


def test_hood_walls_run_from_the_rear_to_the_front_opening():
    shape = part_of(cut_box(assembly(), SIDE), "hood").shape
    upper = max(shape.geoms, key=lambda piece: piece.bounds[3])
    corners = np.asarray(upper.exterior.coords)
    assert np.hypot(*(corners - [52.0, 60.0]).T).min() < 1e-3  # 48 + 4 ahead; half of 120
    assert np.hypot(*(corners - [122.0, 85.0]).T).min() < 1e-3  # 118 + 4 ahead; half of 170


def test_flag_on_the_operators_right_lies_low_on_the_cut_from_above():
    cut = cut_box(assembly(), TOP)
    flag = part_of(cut, "right flag")
    assert flag.shape.bounds[1] == pytest.approx(
        -125 - 90 * 0.5 - 1.5 * np.cos(np.radians(30)), abs=1e-3
    )  # hinge, sine of 30, blade
    assert flag.shape.bounds[3] < 0


def test_what_the_cut_does_not_meet_is_named():
    assert cut_box(assembly(), SIDE).missed == ("right flag",)


def test_raised_box_lies_higher_on_the_cut_from_the_side():
    low, high = (part_of(cut_box(assembly(offset_up_mm=up), SIDE), "mask").shape.bounds for up in (0.0, 7.0))
    assert (high[1] - low[1], high[3] - low[3]) == pytest.approx((7.0, 7.0), abs=1e-4)


def test_box_offset_to_the_operators_right_lies_lower_on_the_cut_from_above():
    straight, moved = (part_of(cut_box(assembly(offset_right_mm=r), TOP), "mask").shape.bounds for r in (0.0, 5.0))
    assert moved[1] - straight[1] == pytest.approx(-5.0, abs=1e-4)


def test_distances_are_the_scenes_counted_from_the_lens_front_however_the_box_stands():
    # The back plate stands 4 mm ahead of the lens front: every at_mm of the scene, and 4.
    cut = cut_box(assembly(offset_up_mm=-3.0), SIDE)
    found = {name: part_of(cut, name).at_mm for name in ("back plate", "rear tray", "mask", "hood", "density 0.6")}
    assert found == pytest.approx({"back plate": 4, "rear tray": 14, "mask": 50, "hood": 52, "density 0.6": 16})
    assert cut.back_mm == pytest.approx(4)
    assert part_of(cut_box(assembly(), TOP), "right flag").at_mm == pytest.approx(122)  # its hinge, at the hood's front edge
    tilted = cut_box(assembly(tilt_deg=6.0), SIDE)
    apart = part_of(tilted, "mask").at_mm - part_of(tilted, "rear tray").at_mm
    assert apart == pytest.approx(36)  # along the box


def test_openings_are_given_as_a_workshop_orders_them():
    cut = cut_box(assembly(), SIDE)
    assert part_of(cut, "back plate").opening == "⌀ 130"
    assert part_of(cut, "rear tray").opening == "138 x 97"
    assert part_of(cut, "hood").opening == "170 x 120 to 250 x 170"
    assert part_of(cut, "seal").opening == "⌀ 114"  # a donut's waist, not its ends


def test_sizes_are_those_of_the_scene_to_the_thousandth():
    box = parts.box_pose(ahead_mm=4, offset_right_mm=7.0)
    opening = parts.opening(size_mm=(143.51, 101.625))
    made = (
        parts.back_plate(box, width_mm=190, height_mm=160, thickness_mm=4, bore_mm=113.96),
        parts.tray(box, at_mm=9.525, depth_mm=8, opening=opening, name="tray"),
    )
    cut = cut_box(Assembly(parts=made), SIDE)
    assert [part.opening for part in cut.parts] == ["⌀ 113.96", "143.51 x 101.625"]
    assert {way.words for way in cut.ways} == {"⌀ 113.96", "101.625"}
    assert "13.525" in words_of(section_figure(Assembly(parts=made), (), title="t"))  # 4 ahead of the lens front, and 9.525


def test_ways_through_measure_height_from_the_side_and_width_from_above():
    assert {"97", "84", "120", "170", "⌀ 130"} <= {way.words for way in cut_box(assembly(), SIDE).ways}
    assert {"138", "150", "250", "⌀ 130"} <= {way.words for way in cut_box(assembly(), TOP).ways}


def test_a_pipe_with_a_hole_keeps_its_hole():
    shape = mesh_section(trimesh.creation.annulus(r_min=10, r_max=20, height=30), SIDE)
    assert shape.area == pytest.approx(2 * 10 * 30, rel=1e-3)
    level = mesh_section(trimesh.creation.annulus(r_min=10, r_max=20, height=30).apply_transform(
        trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0])), SIDE)  # fmt: skip
    assert level.area == pytest.approx(np.pi * (20**2 - 10**2), rel=0.02)  # 32 chords round


def test_an_open_mesh_is_drawn_as_a_line():
    sheet = trimesh.Trimesh([[-20, 10, 0], [20, 10, 0], [20, 30, 40], [-20, 30, 40]], [[0, 1, 2], [0, 2, 3]])
    assert mesh_section(sheet, SIDE).length == pytest.approx(np.hypot(20, 40))
    body = Surface(np.asarray(sheet.vertices), np.asarray(sheet.faces))
    open_part = Part(name="bent sheet", kind=Kind.SOLID, body=body)
    figure = section_figure(Assembly(parts=(open_part,)), title="sheet")
    (axes,) = figure.axes
    assert [patch.get_label() for patch in axes.patches] == ["bent sheet"]


@pytest.mark.parametrize("plane", [SIDE, TOP])
@pytest.mark.parametrize("long", ["", "with a name that somebody wrote out in full, with all its attributes"])
def test_no_text_overlaps_another_or_leaves_the_sheet(plane, long):
    rays = [ray(plane.name, 4.5, 0.4), ray(plane.name, -4.5, -0.4), ray(plane.name, 0.0, 1.2, 40.0, blocked=True)]
    figure = section_figure(
        assembly(long, tilt_deg=2.0, offset_up_mm=3.0), rays, plane=plane, title=f"18 mm {long}", subtitle=long, lens=LENS
    )
    assert overlaps(figure) == []


def test_sheet_is_to_one_scale_and_holds_parts_rays_and_pupil():
    figure = section_figure(assembly(), [ray("side", 4.5, 0.4), ray("side", 0.0, 1.2, 40.0, True)], title="18 mm", lens=LENS)
    (axes,) = figure.axes
    box, size = axes.get_position(), figure.get_size_inches()
    across = np.ptp(axes.get_xlim()) / (box.width * size[0])
    upward = np.ptp(axes.get_ylim()) / (box.height * size[1])
    assert across == pytest.approx(upward)
    assert {patch.get_label().strip() for patch in axes.patches} >= {"back plate", "mask", "hood", "density 0.6", "barrel"}
    (pupil,) = [line for line in axes.lines if line.get_label() == "entrance pupil"]
    np.testing.assert_allclose(np.column_stack(pupil.get_data()), [[-38, -4.5], [-38, 4.5]])
    rays = [line for line in axes.lines if line.get_label() == "ray"]
    assert len({(line.get_color(), line.get_linestyle()) for line in rays}) == 2


def test_table_names_every_part_once_with_its_number():
    figure = section_figure(assembly(), title="18 mm")
    words = words_of(figure)
    cut = cut_box(assembly(), SIDE)
    for number, part in enumerate(cut.parts, 1):
        assert words.count(str(number)) >= 2  # at the part and in the table
        assert words.count(part.name.strip()) == 1
    assert any("Not in this cut: right flag." in text.replace("\n", " ") for text in words)
    assert any("Lengths in mm." in text for text in words)


def test_without_rays_nothing_is_said_of_clearances():
    assert not any("lear" in words for words in words_of(section_figure(assembly(), title="18 mm")) if "glass" not in words)


def called_out(point_mm=(-80.0, 60.0, 50.0)):
    words = Callout("mask ", "1.3 mm clear", point_mm)
    notes = {"mask ": PartNote(room="1.3 mm clear", where="top right, 50.0 mm ahead")}
    return section_figure(assembly(), plane=plane_through(point_mm, "worst"), title="18", notes=notes, callout=words)


def test_a_cut_through_a_corner_runs_through_it_with_its_place_up():
    plane = plane_through((-80.0, 60.0, 50.0), "worst")  # x is to the operator's left: this is at the top right
    assert plane.ends == ("top right", "bottom left")
    ((z, up),) = flat_points(np.array([[-80.0, 60.0, 50.0]]), plane)
    assert (z, up) == pytest.approx((50.0, 100.0))  # 3-4-5
    mask = part_of(cut_box(assembly(), plane), "mask").shape
    # the opening, 150 x 84 with round corners, on that diagonal: its upper edge, 42 up, is met 42 / 0.6 out
    assert min(piece.bounds[1] for piece in mask.geoms if piece.bounds[1] > 0) == pytest.approx(42 / 0.6, abs=0.3)


@pytest.mark.parametrize(
    "point_mm", [(-80.0, 60.0, 5.0), (80.0, 60.0, 5.0), (-80.0, -60.0, 5), (80.0, -60.0, 5.0), (0.0, -9.0, 0.0)]
)
def test_every_cut_has_its_top_up_and_is_seen_from_the_operators_right(point_mm):
    plane = plane_through(point_mm, "worst")
    ahead, up = np.array([0.0, 0.0, 1.0]), np.array([*plane.up, 0.0])
    assert up[1] > 0
    assert np.cross(plane.normal, up) == pytest.approx(ahead)  # right on the sheet, looking along the normal: away x up
    assert plane.normal[0] >= 0  # and that runs to the operator's left
    assert "operator's right" in plane.words


@pytest.mark.parametrize("point_mm", [(-80.0, 6.0, 5.0), (80.0, -6.0, 5.0)])
def test_a_level_cut_has_the_operators_left_up(point_mm):
    plane = plane_through(point_mm, "worst")
    assert plane.up[0] > 0
    assert plane.ends == ("left", "right")
    assert "seen from above" in plane.words


@pytest.mark.parametrize(("turned_deg", "nearest"), [(0.6, "level"), (14.8, "level"), (53.0, "upright"), (75.0, "upright")])
def test_a_cut_that_is_turned_says_by_how_much_and_is_called_neither_level_nor_upright(turned_deg, nearest):
    turn = np.radians(turned_deg)
    words = plane_through((100 * np.cos(turn), 100 * np.sin(turn), 5.0), "worst").words
    off = turned_deg if nearest == "level" else 90 - turned_deg
    assert words.startswith(f"Cut turned {off:.{0 if off > 1 else 1}f} deg from {nearest} through the lens axis")
    assert words.endswith("Lengths across are measured along this cut.")
    assert TOP.words.startswith("Level cut through")
    assert SIDE.words.startswith("Upright cut through")
    assert "along this cut" not in TOP.words + SIDE.words


def test_the_head_of_a_turned_cut_has_room_for_all_that_it_says():
    """Its third line is the longest of all cuts' heads: it takes two lines where the plane leans a long way off."""
    plane = plane_through((100 * np.cos(np.radians(117.0)), 100 * np.sin(np.radians(117.0)), 5.0), "worst")
    figure = section_figure(
        assembly(), plane=plane, title="50 patent, infinity, f/2: clear", subtitle="Nearest to the beam: mask, 3.8 mm"
    )
    assert overlaps(figure) == []
    assert any("\n" in words for words in words_of(figure) if words.startswith("Cut turned"))


def test_the_callout_stands_at_its_place_and_says_what_the_table_says():
    figure = called_out()
    (ring,) = [line for line in figure.axes[0].lines if line.get_label() == "pointed out"]
    assert np.column_stack(ring.get_data())[0] == pytest.approx([50.0, 100.0])
    assert "mask\n1.3 mm clear" in words_of(figure)
    assert "1.3 mm clear" in words_of(figure)  # its row of the table
    assert overlaps(figure) == []


@pytest.mark.parametrize("plane", [SIDE, TOP, plane_through((-80.0, 60.0, 5.0), "worst")])
def test_no_leader_crosses_another(plane):
    figure = section_figure(assembly(), plane=plane, title="18")
    lines = [
        np.column_stack(line.get_data()) for line in figure.artists if isinstance(line, Line2D) and line.get_linewidth() == 0.6
    ]
    assert len(lines) >= 8
    pairs = itertools.combinations([shapely.LineString(line) for line in lines], 2)
    assert not any(one.crosses(other) for one, other in pairs)


def test_crossing_leaders_change_heads():
    crossed = [((0.0, 10.0), (5.0, 0.0)), ((5.0, 10.0), (0.0, 0.0)), ((9.0, 10.0), (9.0, 0.0))]
    assert uncrossed(crossed) == [((5.0, 10.0), (5.0, 0.0)), ((0.0, 10.0), (0.0, 0.0)), ((9.0, 10.0), (9.0, 0.0))]


def test_a_box_without_parts_still_gives_a_sheet():
    assert "nothing yet" in words_of(section_figure(Assembly(parts=()), title="nothing yet"))


def test_spread_places_keep_their_distance_and_order():
    placed = spread([1.0, 1.1, 1.2, 30.0], 4.0, 0.0, 32.0)
    assert placed == pytest.approx([1.0, 5.0, 9.0, 30.0])
    assert spread([30.0, 31.0], 4.0, 0.0, 32.0) == pytest.approx([28.0, 32.0])
