"""What is odd about a box is told in one sentence with part, size and way out."""

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.body import Assembly
from geometry.checks import (
    assembly_notes,
    behind_notes,
    drawn_notes,
    filter_notes,
    mask_notes,
    seal_notes,
    size_notes,
)
from geometry.fixtures import barrel
from geometry.flags import flag
from geometry.frame import pose
from geometry.mesh_checks import lying_mesh_notes, mesh_notes, speck_notes, turned_mesh_notes
from geometry.mesh_import import surface_from_arrays
from geometry.notes import Note, Severity
from geometry.outline import Circle, Freeform, RoundedRectangle
from geometry.parts import back_plate, box_pose, filter_slab, mask, opening, seal, solid, tray

BOX = box_pose(ahead_mm=4, back_thickness_mm=4)
STAGE = {"at_mm": 10, "depth_mm": 8}
WINDOW = opening(size_mm=(138, 97), corner_mm=4)
INCH_4X565 = RoundedRectangle(5.65 * 25.4, 4 * 25.4)  # 1 in = 25.4 mm exactly


def glass(outline, thickness_mm=4.0, **more):
    return filter_slab(BOX, outline=outline, thickness_mm=thickness_mm, **STAGE, **more)


def holder(**more):
    return tray(BOX, **{**STAGE, "opening": WINDOW, "name": "rear tray", **more})


def test_a_filter_that_covers_its_opening_needs_no_word():
    assert filter_notes(holder(), glass(INCH_4X565)) == ()


def test_a_filter_too_narrow_for_its_opening_is_told_by_how_much():
    (note,) = filter_notes(holder(), glass(RoundedRectangle(101.6, 101.6)))
    assert note == Note(
        "filter",
        "does not cover the opening of rear tray: 36.4 mm too small from side to side; "  # 138 - 101.6
        "light passes beside the glass: take a larger filter or a smaller opening",
        Severity.FAULT,
    )


@pytest.mark.parametrize(("width", "words"), [(101.44, "0.2 mm too small from side to side"), (101.57, "a little too small")])
def test_a_gap_of_a_tenth_beside_the_glass_is_told(width, words):
    (note,) = filter_notes(holder(opening=opening(size_mm=(101.6, 90))), glass(RoundedRectangle(width, 143.5)))
    assert words in note.text
    assert note.severity is Severity.FAULT


def test_a_round_filter_as_wide_as_a_square_opening_leaves_its_corners_open():
    (note,) = filter_notes(holder(opening=opening(size_mm=(90, 90))), glass(Circle(45)))
    assert "the corners stay open" in note.text


def test_a_round_filter_of_exactly_the_openings_size_covers_it():
    assert filter_notes(holder(opening=Circle(45)), glass(Circle(45))) == ()


def test_a_filter_taller_than_its_holder_is_told_by_how_much():
    (note,) = filter_notes(holder(outer_mm=(180, 110)), glass(RoundedRectangle(165, 143.5)))
    assert (note.part, note.severity) == ("filter", Severity.FAULT)
    assert note.text.startswith("is 33.5 mm taller than its holder rear tray")  # 143.5 - 110


def test_a_holder_takes_a_narrower_filter_of_its_height():
    # common practice: a holder takes any filter of its own height, narrower ones too
    part = holder(outer_mm=(200, 104), opening=opening(size_mm=(95, 95)))
    assert filter_notes(part, glass(RoundedRectangle(101.6, 101.6))) == ()


def test_glass_thicker_than_its_tray_stands_out_of_it():
    (note,) = filter_notes(holder(), glass(INCH_4X565, thickness_mm=9.5))
    assert note.text == "is 9.5 mm thick and stands 1.5 mm out of rear tray; make the tray deeper"


def test_a_filter_is_matched_to_the_tray_it_turns_with():
    turned = holder(turn_deg=15, name="turned tray")
    small = glass(RoundedRectangle(90, 90), turn_deg=15)
    notes = assembly_notes(Assembly(parts=(turned,), slabs=(small,)))
    assert [n.part for n in notes] == ["filter"]
    assert assembly_notes(Assembly(parts=(holder(),), slabs=(small,))) == ()


def test_a_tray_behind_the_lens_front_is_told_by_how_much():
    part = tray(box_pose(ahead_mm=-15), at_mm=10, depth_mm=8, opening=WINDOW, name="rear tray")
    (note,) = behind_notes([part])
    assert note.part == "rear tray"
    assert note.text == "reaches 5.0 mm behind the lens front rim; move it or the box ahead by 5.0 mm, or tilt it less"


@pytest.mark.parametrize(("front_mm", "fault"), [(114, True), (97, False)])
def test_an_opening_behind_the_lens_front_that_does_not_go_over_it_is_a_fault(front_mm, fault):
    plate = mask(box_pose(ahead_mm=0), at_mm=-60, thickness_mm=1, opening=WINDOW, name="mask")
    (note,) = [note for note in assembly_notes(Assembly(parts=(plate,)), front_diameter_mm=front_mm) if "behind" in note.text]
    assert (note.severity, note.doubts_light) == ((Severity.FAULT, True) if fault else (Severity.CAUTION, False))
    assert ("its opening of 138 x 97 mm does not go over the lens front of 114 mm" in note.text) is fault


def test_a_tilted_filter_whose_edge_dips_behind_the_lens_front_is_told():
    slab = filter_slab(BOX, at_mm=0, depth_mm=8, outline=INCH_4X565, thickness_mm=4, tilt_deg=12)
    (note,) = behind_notes([], [slab])
    # centre at 4 + 4 = 8; bottom rear edge at 8 - 50.8 sin 12 - 2 cos 12 = -4.52
    assert "reaches 4.5 mm behind" in note.text


def test_a_barrel_may_reach_through_the_back_plate():
    plate = back_plate(box_pose(ahead_mm=-6), width_mm=190, height_mm=160, thickness_mm=4, bore_mm=130)
    assert assembly_notes(Assembly(parts=(plate,), fixtures=(barrel(outside_mm=114),))) == ()


def test_an_opening_typed_in_inches_is_noticed():
    (note,) = size_notes([mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(5.9, 3.3))])
    assert note.text == "measures only 5.9 x 3.3 mm; if that was meant in inches, write 149.9 x 83.8 mm"


def test_a_filter_typed_in_inches_is_noticed():
    (note,) = size_notes([], [glass(RoundedRectangle(5.65, 4))])
    assert "write 143.5 x 101.6 mm" in note.text


def test_a_flag_typed_in_micrometres_or_inches_is_noticed():
    (large,) = size_notes([flag(BOX, side="top", angle_deg=30, hinge_mm=85, at_mm=118, length_mm=110, width_mm=260000)])
    (small,) = size_notes([flag(BOX, side="top", angle_deg=30, hinge_mm=85, at_mm=118, length_mm=4.3, width_mm=10)])
    assert "260.0 m across" in large.text
    assert "10 mm across" in small.text
    assert "254 mm" in small.text


def test_a_mask_smaller_than_the_lens_front_is_suspect():
    # common practice, a rule of thumb: underexposure and misshapen bokeh are to be expected
    (note,) = mask_notes(mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 84, 6)), 114)
    assert note.severity is Severity.FACT
    assert "30.0 mm lower than the lens front (114 mm)" in note.text
    assert "narrower" not in note.text


def test_a_mask_smaller_both_ways_is_told_so_as_well():
    (note,) = mask_notes(mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(110, 84, 6)), 114)
    assert note.severity is Severity.FACT
    assert "is 4.0 mm narrower and 30.0 mm lower" in note.text


def test_a_mask_larger_than_the_lens_front_needs_no_word():
    assert mask_notes(mask(BOX, at_mm=46, thickness_mm=1, opening=RoundedRectangle(150, 120)), 114) == ()


def test_an_open_gap_round_the_barrel_is_told():
    plate = back_plate(BOX, width_mm=190, height_mm=160, thickness_mm=4, bore_mm=130)
    ring = seal(BOX, kind="ring", inner_mm=114, outer_mm=130, back_thickness_mm=4)
    (note,) = seal_notes([plate], barrel_mm=114, bore_mm=130)
    assert "gap of 8.0 mm all round" in note.text  # (130 - 114) / 2
    assert seal_notes([plate, *ring], barrel_mm=114, bore_mm=130) == ()


def test_a_bore_too_narrow_for_the_barrel_is_told():
    (note,) = seal_notes([], barrel_mm=136, bore_mm=130)
    assert "6.0 mm too narrow" in note.text


@given(st.floats(-40, 40), st.floats(-30, 30), st.floats(0, 40))
@settings(derandomize=True, deadline=None, max_examples=25)
def test_every_note_is_one_sentence_with_a_way_out(turn, tilt, at):
    parts = (
        tray(BOX, at_mm=at, depth_mm=8, opening=WINDOW, turn_deg=turn, name="tray"),
        mask(BOX, at_mm=20, thickness_mm=2, opening=RoundedRectangle(150, 84), tilt_deg=tilt),
    )
    for note in assembly_notes(Assembly(parts=parts), front_diameter_mm=114):
        assert ";" in note.text
        assert "\n" not in note.text
        assert note.text[0].islower()
        assert note.part in {"tray", "mask"}


def test_a_sound_box_needs_no_word():
    parts = (
        back_plate(BOX, width_mm=190, height_mm=160, thickness_mm=4, bore_mm=130),
        *seal(BOX, kind="donut", inner_mm=114, outer_mm=130, back_thickness_mm=4, barrel_front_mm=-4),
        holder(),
    )
    assert (
        assembly_notes(Assembly(parts=parts, slabs=(glass(INCH_4X565),), fixtures=(barrel(outside_mm=114),)), front_diameter_mm=90)
        == ()
    )


@pytest.mark.parametrize("count", [0, 3])
def test_sizes_of_nothing_are_fine(count):
    assert size_notes([], [filter_slab(pose(), at_mm=0, depth_mm=8, outline=INCH_4X565, thickness_mm=4)] * count) == ()


def imported(mesh):
    return solid(BOX, surface_from_arrays(mesh.vertices, mesh.faces, unit="mm"), at_mm=0, back_thickness_mm=4, name="bracket")


def test_an_open_mesh_is_told_with_the_number_of_its_open_edges():
    # a cube of 12 triangles without one of them: that one's three edges are open
    cube = trimesh.creation.box((40, 40, 40))
    assert mesh_notes([imported(cube)]) == ()
    box = Assembly(parts=(imported(trimesh.Trimesh(cube.vertices, cube.faces[1:], process=False)),), slabs=())
    (note,) = (note for note in assembly_notes(box) if "second face" in note.text)
    assert (note.part, note.severity) == ("bracket", Severity.CAUTION)
    assert note.text.startswith("its mesh is open: 3 edges have no second face")


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (shapely.box(-80, -50, 80, 40), []),
        (shapely.box(-80, -50, 79.5, 50), []),
        # x runs to the operator's left: 95 mm to the right
        (
            shapely.box(-95, -50, 70, 50),
            ["it reaches 70 mm to the left and 95 mm to the right; if it is drawn from the scene's side"],
        ),
        (shapely.box(-80, -50, 80, 50).union(shapely.box(-80, 60, 80, 62)), ["holds 2 cut-outs, and light passes through each"]),
    ],
)
def test_a_drawn_cut_out_that_may_be_seen_from_the_wrong_side_or_has_further_holes_is_told(shape, words):
    notes = drawn_notes(mask(BOX, at_mm=20, thickness_mm=1, opening=Freeform(shape)))
    assert len(notes) == len(words)
    assert all(note.severity is Severity.CAUTION and word in note.text for note, word in zip(notes, words, strict=True))


def test_a_corner_moved_along_a_straight_edge_is_no_longer_the_same_left_and_right_though_all_corners_lie_on_the_outline_opposite():
    tongue = [(-60, -40), (0, -40), (-6, -25), (6, -25), (10, -40), (60, -40), (60, 40), (-60, 40)]  # the second was at x -10
    (note,) = drawn_notes(mask(BOX, at_mm=20, thickness_mm=1, opening=Freeform(shapely.Polygon(tongue))))
    assert note.text.startswith("its cut-out is not the same left and right")


@pytest.mark.parametrize(("at_mm", "told"), [(60, False), (20, False), (-60, True)])
def test_a_mesh_behind_the_lens_front_is_told_for_its_z_may_be_turned_round(at_mm, told):
    # 40 mm deep about at_mm: ahead of the rim, ahead with its rear end at it, and behind
    bar = trimesh.creation.box(extents=(100, 20, 40))
    part = solid(pose(), surface_from_arrays(bar.vertices, bar.faces), at_mm=at_mm, name="bar")
    notes = turned_mesh_notes([part])
    assert [(note.part, note.severity) for note in notes] == [("bar", Severity.CAUTION)] * told
    assert all("from 40 to 80 mm, and can darken nothing there" in note.text for note in notes)


@pytest.mark.parametrize(
    ("extents", "centre", "told"),
    [
        ((150, 3, 100), (0, 0), True),  # a plate drawn with z up: the lens axis runs along it
        ((3, 150, 100), (0, 0), True),
        ((150, 100, 3), (0, 0), False),  # square to the axis, as a plate before the lens stands
        ((3, 150, 100), (90, 0), False),  # a bracket at the side
        ((80, 60, 70), (0, 0), False),
    ],
)
def test_a_plate_that_lies_along_the_axis_is_told_for_it_may_be_drawn_with_z_up(extents, centre, told):
    plate = trimesh.creation.box(extents=extents)
    part = solid(pose(), surface_from_arrays(plate.vertices + np.array([*centre, 0.0]), plate.faces), at_mm=80, name="plate")
    notes = lying_mesh_notes([part])
    assert [note.severity for note in notes] == [Severity.CAUTION] * told
    assert all("as if drawn with z up" in note.text for note in notes)


@pytest.mark.parametrize(("scale", "told"), [(1.0, False), (0.001, True)])
def test_a_body_in_another_unit_than_the_rest_of_its_file_is_told(scale, told):
    bracket, rod = trimesh.creation.box((180, 30, 4)), trimesh.creation.box((260 * scale, 8 * scale, 8 * scale))
    rod.apply_translation((0, 60 * scale, 40 * scale))
    both = trimesh.util.concatenate([bracket, rod])
    notes = speck_notes([solid(pose(), surface_from_arrays(both.vertices, both.faces), at_mm=0, name="bracket")])
    assert [note.severity for note in notes] == [Severity.CAUTION] * told
    assert all("a body of its mesh is only 0.26 mm across" in note.text for note in notes)


def test_a_mesh_of_loose_triangles_that_meet_is_closed():
    cube = trimesh.creation.box((40, 40, 40))
    loose = trimesh.Trimesh(cube.triangles.reshape(-1, 3), np.arange(36).reshape(-1, 3), process=False)
    assert mesh_notes([imported(loose)]) == ()
