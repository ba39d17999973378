"""Parts in each other's way are told with depth and direction; touching, hinges and rods' holders are not."""

from collections import OrderedDict

import numpy as np
import pytest
import trimesh

from geometry import overlap
from geometry.body import Kind, Part, Slab, Surface
from geometry.fixtures import RodSpec, barrel, front_ring, rods
from geometry.flags import extension, flag
from geometry.notes import Note, Severity
from geometry.outline import RoundedRectangle
from geometry.overlap import glass_overlap_notes, mean_depth_mm, overlap_notes
from geometry.parts import back_plate, box_pose, hood, mask, opening, seal, tray

BOX = box_pose(ahead_mm=4, tilt_deg=6, offset_up_mm=2, back_thickness_mm=4)
WINDOW = opening(size_mm=(138, 97), corner_mm=4)
FUNNEL = {"at_mm": 48, "depth_mm": 70, "rear_mm": (170, 120), "front_mm": (250, 170)}
PLATE = {"width_mm": 190, "height_mm": 160, "thickness_mm": 4, "bore_mm": 130}
HUNG = {"side": "top", "hinge_mm": 85, "at_mm": 118}


def stage(at_mm, name, **more):
    return tray(BOX, at_mm=at_mm, depth_mm=8, opening=WINDOW, name=name, **more)


def block(size, centre, name):
    mesh = trimesh.creation.box(size)
    return Part(name=name, kind=Kind.SOLID, body=Surface(mesh.vertices + np.array(centre), np.asarray(mesh.faces)))


def test_two_stages_in_one_place_are_told_with_depth_and_way_out():
    (note,) = overlap_notes([stage(10, "rear tray"), stage(15, "front tray")])
    assert note == Note(
        "rear tray",
        "overlaps front tray by up to 3.0 mm along the axis; "
        "move front tray ahead by 3.0 mm or move rear tray back by 3.0 mm, or make one of them shallower",
        Severity.FAULT,
        doubts_light=True,  # nobody knows where the two will stand
        said_again="overlaps front tray",
        size=note.size,
    )
    assert note.size == pytest.approx(3.0)


def test_the_one_that_stands_ahead_is_the_one_to_move_whatever_the_order():
    (note,) = overlap_notes([stage(15, "front tray"), stage(10, "rear tray")])
    assert note.part == "front tray"
    assert "move front tray ahead by 3.0 mm" in note.text


def test_a_mask_within_a_tray_is_moved_out_of_it_by_the_shorter_way():
    # tray from 14 to 22, mask from 16 to 17: 17 - 14 = 3 back, 22 - 16 = 6 ahead
    plate = mask(BOX, at_mm=16, thickness_mm=1, opening=WINDOW, name="mask")
    (note,) = overlap_notes([stage(14, "tray"), plate])
    assert note.text.endswith("; move mask back by 3.0 mm or move tray ahead by 3.0 mm, or make one of them shallower")


def test_a_part_that_runs_into_the_back_plate_is_the_one_to_move():
    # plate from 0 to 4, tray from 1 to 9: 4 - 1 = 3 ahead
    (note,) = overlap_notes([back_plate(BOX, **PLATE), stage(1, "tray")])
    assert note.text.endswith("; move tray ahead by 3.0 mm, or make one of them shallower")


def slab(at_mm, name="filter", **more):
    """A plate of 160 x 120 mm in the middle of a stage that stands at at_mm."""
    held = stage(at_mm, "its tray", **more)
    return Slab(name=name, pose=held.body.inner[0].pose, outline=RoundedRectangle(160, 120), thickness_mm=4)


def test_a_filter_in_its_own_tray_is_where_it_belongs():
    assert glass_overlap_notes([stage(10, "tray"), stage(20, "front tray")], [slab(10), slab(20, "front filter")]) == ()


def test_a_lens_barrel_through_a_filter_leaves_its_light_in_doubt():
    # the box tilts by 6 deg, 4 ahead of the front: a plate at -20 lies wholly behind the front rim
    (note,) = glass_overlap_notes([barrel(outside_mm=114, inside_mm=100)], [slab(-20)])
    assert (note.part, note.severity, note.doubts_light) == ("barrel", Severity.FAULT, True)
    assert note.text.startswith("stands in filter, by up to 4.0 mm of its thickness")


def test_a_tilted_tray_that_reaches_into_the_next_filter_leaves_its_light_in_doubt():
    tilted = stage(10, "rear tray", tilt_deg=8)
    (note,) = glass_overlap_notes([tilted], [slab(14)])
    assert note.part == "rear tray"
    assert glass_overlap_notes([tilted], [slab(60)]) == ()


def test_two_filters_in_one_place_leave_their_light_in_doubt():
    (note,) = glass_overlap_notes([], [slab(10), slab(12, "front filter")])
    assert (note.part, note.doubts_light) == ("front filter", True)
    assert "by up to 2.0 mm of its thickness" in note.text  # middles 2 apart, 4 thick each


def test_touching_is_not_overlapping():
    assert overlap_notes([stage(10, "rear tray"), stage(18, "front tray")]) == ()


def test_a_hundredth_of_a_millimetre_is_contact_and_a_third_is_not():
    assert overlap_notes([stage(10, "rear tray"), stage(17.99, "front tray")]) == ()
    assert len(overlap_notes([stage(10, "rear tray"), stage(17.7, "front tray")])) == 1


def test_mean_depth_of_a_thin_sheet_is_its_thickness():
    # 2 V / A of a 200 x 100 x 0.1 box: 2 * 2000 / (2 * (20000 + 20 + 10)) = 0.09985
    assert mean_depth_mm(trimesh.creation.box((200, 100, 0.1))) == pytest.approx(0.09985, abs=1e-5)


def test_a_mask_wider_than_the_hood_it_stands_in_cuts_its_walls():
    funnel = hood(BOX, **FUNNEL)
    fits = mask(BOX, at_mm=60, thickness_mm=1, opening=RoundedRectangle(160, 90))
    cuts = mask(BOX, at_mm=60, thickness_mm=1, opening=RoundedRectangle(182, 90))
    assert overlap_notes([funnel, fits]) == ()  # its outside is not stated, so it is taken to fit
    (note,) = overlap_notes([funnel, cuts])
    assert "overlaps mask" in note.text


def test_a_flag_and_its_extension_may_meet_at_their_hinges():
    blade = {"width_mm": 240, "thickness_mm": 1.5}
    parts = [
        hood(BOX, **FUNNEL),
        flag(BOX, angle_deg=90, length_mm=110, **HUNG, **blade),
        extension(BOX, flag_angle_deg=90, flag_length_mm=110, angle_deg=30, length_mm=70, **HUNG, **blade),
    ]
    assert overlap_notes(parts) == ()


def test_a_flag_folded_back_through_the_hood_is_told():
    (note,) = overlap_notes([hood(BOX, **FUNNEL), flag(BOX, angle_deg=205, length_mm=60, width_mm=240, **HUNG)])
    assert note.part == "hood"


def test_seal_barrel_ring_and_plate_meet_by_design():
    parts = [
        back_plate(BOX, **PLATE),
        *seal(BOX, kind="donut", inner_mm=114, outer_mm=130, back_thickness_mm=4, barrel_front_mm=-4),
        barrel(outside_mm=114),
        front_ring(outside_mm=114, glass_mm=96),
    ]
    assert overlap_notes(parts) == ()


def test_a_barrel_that_runs_into_a_tray_is_told():
    close = box_pose(ahead_mm=-20)
    parts = [
        barrel(outside_mm=114),
        tray(close, at_mm=10, depth_mm=8, opening=opening(size_mm=(100, 70)), holds=opening(size_mm=(143.5, 101.6))),
    ]
    (note,) = overlap_notes(parts)
    assert note.part == "barrel"
    assert "overlaps tray" in note.text


def test_rods_pass_the_back_plate_but_not_the_hood():
    pair = rods(RodSpec(name="rods-15", diameter_mm=15, spacing_mm=60, drop_mm=85), rear_mm=-200, front_mm=140)
    notes = overlap_notes([back_plate(BOX, **PLATE), hood(BOX, **FUNNEL), *pair])
    assert [note.part for note in notes] == ["hood", "hood"]
    assert "end the rods behind it or raise it by" in notes[0].text


def test_an_open_mesh_is_held_by_its_faces_and_said_to_be_held_by_these_alone():
    across = Part(name="bracket", kind=Kind.SOLID, body=Surface(np.eye(3) * 50, np.array([[0, 1, 2]])))
    (note,) = overlap_notes([across, stage(10, "tray")])
    assert (note.part, note.severity) == ("bracket", Severity.CAUTION)
    assert "1 triangle of its mesh closes no body, so overlaps were looked for along what is open alone" in note.text
    points = np.array([[60.0, -60, 22], [60, 60, 22], [90, 0, 22]])  # it stands in the middle of the tray's side
    through = Part(name="bracket", kind=Kind.SOLID, body=Surface(points, np.array([[0, 1, 2]])))
    fault, note = overlap_notes([stage(10, "tray", outer_mm=(190, 160)), through])
    assert (fault.part, fault.severity, note.severity) == ("tray", Severity.FAULT, Severity.CAUTION)
    assert fault.text.startswith("overlaps bracket by up to")


def test_an_open_mesh_that_lies_on_a_part_touches_it_and_what_stands_in_it_there_is_told_all_the_same():
    wall = block((100, 100, 4), (0, 0, 20), "wall")  # from 18 to 22 mm
    on = np.array([[-40.0, -40, 18], [40, -40, 18], [40, 40, 18], [-40, 40, 18]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    flat = Part(name="sheet", kind=Kind.SOLID, body=Surface(on, faces))
    assert [note.severity for note in overlap_notes([wall, flat])] == [Severity.CAUTION]
    lip = np.array([[-40.0, -40, 20], [40, -40, 20]])
    lipped = Part(
        name="sheet", kind=Kind.SOLID, body=Surface(np.concatenate([on, lip]), np.concatenate([faces, [[0, 1, 4], [1, 5, 4]]]))
    )
    assert [note.severity for note in overlap_notes([wall, lipped])] == [Severity.FAULT, Severity.CAUTION]


def test_a_mesh_of_too_many_open_faces_is_said_not_to_be_looked_at():
    ball = trimesh.creation.icosphere(5, radius=50.0)
    open_ball = Part(name="scan", kind=Kind.SOLID, body=Surface(np.asarray(ball.vertices), np.asarray(ball.faces)[1:]))
    (note,) = overlap_notes([open_ball, stage(10, "tray")])
    assert (note.part, note.severity) == ("scan", Severity.CAUTION)
    assert "whether it overlaps other parts was not looked at for 20479 triangles of its mesh" in note.text


def frame_of_bars(name, *, at_mm, gap_mm=0.0, turned=()):
    """A frame of 160 x 124 x 4 mm of four bars that touch and share edges of four faces, or stand apart by a gap."""
    bars = [((160, 16 - gap_mm, 4), (0, 54 + gap_mm / 2)), ((160, 16 - gap_mm, 4), (0, -54 - gap_mm / 2))]
    bars += [((16, 92, 4), (72, 0)), ((16, 92, 4), (-72, 0))]
    points, faces = [], []
    for number, (size, (x, y)) in enumerate(bars):
        mesh = trimesh.creation.box(size)
        points.append(mesh.vertices + np.array([x, y, at_mm]))
        faces.append((np.asarray(mesh.faces)[:, ::-1] if number in turned else np.asarray(mesh.faces)) + 8 * number)
    places, number = np.unique(np.concatenate(points), axis=0, return_inverse=True)  # corners that coincide are one, as in files
    return Part(name=name, kind=Kind.SOLID, body=Surface(places, number.reshape(-1)[np.concatenate(faces)]))


@pytest.mark.parametrize("turned", [(), (2,), (0, 1, 2, 3)])
def test_a_mesh_of_bodies_that_touch_is_held_against_every_part_as_one_whose_bodies_stand_apart_is(turned):
    # bodies that stand half a millimetre apart were held before: the same parts are told, as deep
    pair = rods(RodSpec(name="rods-15", diameter_mm=15, spacing_mm=60, drop_mm=60), rear_mm=-200, front_mm=140)
    ring = block((160, 124, 4), (0, 0, 14), "plate")
    others = [stage(10, "tray"), barrel(outside_mm=130, length_mm=100), hood(BOX, **{**FUNNEL, "at_mm": 8}), *pair, ring]
    for at_mm in (-3, 14, 40):
        touching, apart = (
            {(note.part, note.said_again, round(note.size, 1)) for note in overlap_notes([*others, part])}
            for part in (frame_of_bars("frame", at_mm=at_mm, turned=turned), frame_of_bars("frame", at_mm=at_mm, gap_mm=0.001))
        )
        assert touching == apart
        assert any("frame" in (part, again.removeprefix("overlaps ")) for part, again, _ in touching)


def test_a_mesh_of_bodies_that_touch_is_told_in_the_glass_that_it_stands_in():
    glass = Slab(name="filter", pose=BOX, outline=RoundedRectangle(143.5, 101.6), thickness_mm=4.0)
    middle_mm = float(BOX.origin_mm[2])
    (note,) = glass_overlap_notes([frame_of_bars("frame", at_mm=middle_mm)], [glass])
    assert (note.part, note.severity, note.doubts_light) == ("frame", Severity.FAULT, True)
    assert note.text.startswith("stands in filter")


def some_parts(seed):
    """Trays, masks, hood, flags and a barrel at random, close enough to meet: what a scene may ask for, meant or not."""
    draw = np.random.default_rng(seed)
    box = box_pose(ahead_mm=draw.uniform(-8, 6), tilt_deg=draw.uniform(-8, 8), offset_up_mm=2, back_thickness_mm=4)
    hole = opening(size_mm=tuple(draw.uniform(90, 140, 2)), corner_mm=4)
    outer = {} if draw.random() < 0.5 else {"outer_mm": (190, 160)}
    angle = draw.uniform(-20, 90)
    yield back_plate(box, **PLATE)
    yield tray(box, at_mm=draw.uniform(2, 20), depth_mm=8, opening=hole, name="tray", tilt_deg=draw.uniform(-6, 6), **outer)
    yield mask(box, at_mm=draw.uniform(20, 50), thickness_mm=1, opening=hole, name="mask")
    yield hood(box, **{**FUNNEL, "at_mm": draw.uniform(30, 50)})
    yield barrel(outside_mm=draw.uniform(80, 130), length_mm=100)
    yield flag(box, side="top", hinge_mm=85, at_mm=draw.uniform(100, 120), angle_deg=angle, length_mm=110, width_mm=260)
    yield block(draw.uniform(5, 60, 3), draw.uniform(-90, 90, 3), "bracket")


def test_parts_told_apart_by_their_corners_share_nothing_in_a_library_of_meshes(monkeypatch):
    # outside: manifold3d cuts the meshes of every pair; left out are those that hinges let meet
    looked_at = told = 0
    for seed in range(12):
        parts = list(some_parts(seed))
        with monkeypatch.context() as patch:
            patch.setattr(overlap, "_plainly_apart", lambda *_: False)
            patch.setattr(overlap, "_apart", OrderedDict())
            by_meshes = overlap_notes(parts)
        assert overlap_notes(parts) == by_meshes, seed
        told += len(by_meshes)
        looked_at += len(parts) * (len(parts) - 1) // 2
    assert looked_at > 200
    assert told > 20


def test_a_pair_of_the_same_parts_is_looked_at_once_and_one_that_moved_again(monkeypatch):
    looks = []
    monkeypatch.setattr(overlap, "_apart", OrderedDict())
    monkeypatch.setattr(overlap, "_plainly_apart", lambda *bodies: looks.append(bodies) or True)
    overlap_notes([stage(10, "rear"), stage(40, "front")])
    overlap_notes([stage(10, "rear"), stage(40, "front")])
    assert len(looks) == 1
    overlap_notes([stage(10, "rear"), stage(41, "front")])
    assert len(looks) == 2
