"""Parts stand, lean, turn and hang where the numbers say; every case here is lopsided."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geometry.body import Kind, Surface
from geometry.errors import GeometryError
from geometry.flags import extension, far_end, flag, hinge_line, hood_edge
from geometry.frame import pose
from geometry.outline import Circle, RoundedRectangle
from geometry.parts import back_plate, box_pose, filter_slab, hood, mask, opening, part_pose, seal, solid, tray

ROUNDING_MM = 1e-9
STRAIGHT = box_pose()
BLADE = {"hinge_mm": 60.0, "at_mm": 100.0, "length_mm": 50.0, "width_mm": 120.0, "thickness_mm": 2.0}


def sin(deg):
    return np.sin(np.radians(deg))


def cos(deg):
    return np.cos(np.radians(deg))


def inner_corners(blade):
    """The four corners of the face toward the axis: every second corner."""
    return blade.body.corners_mm[::2]


def test_the_back_plate_starts_where_the_box_is_put():
    plate = back_plate(box_pose(ahead_mm=4, back_thickness_mm=5), width_mm=190, height_mm=160, thickness_mm=5, bore_mm=130)
    rear, front = (loop.points_mm()[0] for loop in plate.body.outer)
    assert_allclose([rear[:, 2].max(), front[:, 2].min()], [4, 9])
    assert_allclose(np.ptp(rear[:, :2], axis=0), [190, 160])


def test_a_tilted_box_leans_its_top_toward_the_scene_about_the_back_plates_centre():
    box = box_pose(ahead_mm=4, tilt_deg=10, back_thickness_mm=6)
    assert_allclose(box.points_to_frame([0, 0, 3]), [0, 0, 7])  # the plate's centre stays: 4 + 6 / 2
    assert_allclose(box.points_to_frame([0, 80, 3]), [0, 80 * cos(10), 7 + 80 * sin(10)])


def test_a_box_offset_to_the_right_goes_to_minus_x():
    assert_allclose(box_pose(offset_right_mm=3, offset_up_mm=-2, ahead_mm=4).points_to_frame([0, 0, 0]), [-3, -2, 4])


def test_a_part_turns_and_tilts_about_its_own_centre_then_moves_then_the_box_tilts():
    # worked by hand: box tilted a quarter (y -> z, z -> -y) about (0, 0, 2), part's centre 30 ahead of the rear face
    box = box_pose(tilt_deg=90, back_thickness_mm=4, offset_up_mm=1, ahead_mm=5)
    place = part_pose(box, at_mm=26, depth_mm=8, turn_deg=90)
    assert_allclose(place.origin_mm, [0, -28 + 1, 2 + 5], atol=ROUNDING_MM)
    # the part's top (0, 10, 0) turns clockwise to (-10, 0, 0), which the tilt leaves in place
    assert_allclose(place.points_to_frame([0, 10, 0]) - place.origin_mm, [-10, 0, 0], atol=ROUNDING_MM)


def test_at_mm_is_where_the_rear_face_lies():
    part = tray(STRAIGHT, at_mm=10, depth_mm=8, opening=opening(size_mm=(138, 97), corner_mm=4))
    assert_allclose([loop.points_mm()[0][0, 2] for loop in part.body.inner], [10, 18])


def test_a_part_tilts_about_its_own_centre_not_about_the_box():
    part = mask(STRAIGHT, at_mm=46, thickness_mm=2, opening=opening(size_mm=(150, 84)), tilt_deg=20)
    assert_allclose(part.body.inner[0].pose.origin_mm, [0, 0, 47])
    points = np.concatenate([p for loop in part.body.inner for p in loop.points_mm()])
    assert points[points[:, 1] > 0][:, 2].mean() > 47 > points[points[:, 1] < 0][:, 2].mean()


def test_a_turned_trays_glass_turns_with_it():
    kwargs = {"at_mm": 10, "depth_mm": 8, "turn_deg": 12, "tilt_deg": 5}
    part = tray(box_pose(tilt_deg=3), opening=opening(size_mm=(138, 97)), **kwargs)
    glass = filter_slab(box_pose(tilt_deg=3), outline=RoundedRectangle(143.5, 101.6), thickness_mm=4, **kwargs)
    assert_allclose(glass.pose.origin_mm, part.body.inner[0].pose.origin_mm)
    assert_allclose(glass.pose.rotation, part.body.inner[0].pose.rotation)


def test_only_parts_with_a_stated_outside_leave_a_way_round():
    hole = opening(diameter_mm=120)
    assert not tray(STRAIGHT, at_mm=0, depth_mm=8, opening=hole).body.bounded
    assert tray(STRAIGHT, at_mm=0, depth_mm=8, opening=hole, outer_mm=(180, 160)).body.bounded
    assert not mask(STRAIGHT, at_mm=0, thickness_mm=1, opening=hole).body.bounded


def test_the_drawn_outside_is_wider_than_the_filter_it_holds():
    part = tray(STRAIGHT, at_mm=0, depth_mm=8, opening=opening(diameter_mm=90), holds=opening(size_mm=(143.5, 101.6)))
    assert part.body.outer[0].outline.width_mm > 143.5
    assert part.body.outer[0].outline.height_mm > 101.6


def test_a_right_flag_stands_at_minus_x_and_a_left_one_at_plus_x():
    right, left = (flag(STRAIGHT, side=side, angle_deg=25, **BLADE) for side in ("right", "left"))
    assert right.body.corners_mm[:, 0].max() < 0 < left.body.corners_mm[:, 0].min()


@pytest.mark.parametrize(("side", "axis", "sign"), [("top", 1, 1), ("bottom", 1, -1), ("right", 0, -1), ("left", 0, 1)])
def test_a_flag_opens_from_along_the_axis_to_straight_out(side, axis, sign):
    along, out = (flag(STRAIGHT, side=side, angle_deg=angle, **BLADE) for angle in (0, 90))
    face = inner_corners(along)
    assert_allclose(sign * face[:, axis], 60, atol=ROUNDING_MM)
    assert_allclose([face[:, 2].min(), face[:, 2].max()], [100, 150])
    face = inner_corners(out)
    assert_allclose([np.min(sign * face[:, axis]), np.max(sign * face[:, axis])], [60, 110])
    assert_allclose(face[:, 2], 100, atol=ROUNDING_MM)


def test_a_flags_thickness_lies_away_from_the_axis():
    blade = flag(STRAIGHT, side="top", angle_deg=40, **BLADE).body.corners_mm
    assert_allclose(blade[1::2] - blade[::2], np.tile([0, 2 * cos(40), -2 * sin(40)], (4, 1)), atol=ROUNDING_MM)


def test_a_flag_is_as_wide_as_stated_across_its_side():
    assert np.ptp(flag(STRAIGHT, side="top", angle_deg=40, **BLADE).body.corners_mm[:, 0]) == pytest.approx(120)
    assert np.ptp(flag(STRAIGHT, side="left", angle_deg=40, **BLADE).body.corners_mm[:, 1]) == pytest.approx(120)


def test_an_extension_in_line_goes_on_in_the_flags_plane():
    blade = extension(
        STRAIGHT, side="top", flag_angle_deg=40, flag_length_mm=50, hinge_mm=60, at_mm=100, angle_deg=0, length_mm=30, width_mm=90
    )
    tip = inner_corners(blade)[1]
    assert_allclose(tip, [tip[0], 60 + 80 * sin(40), 100 + 80 * cos(40)])  # one straight blade of 50 + 30


def test_an_extension_swings_outward():
    hung = {
        "side": "right",
        "flag_angle_deg": 40,
        "flag_length_mm": 50,
        "hinge_mm": 60,
        "at_mm": 100,
        "length_mm": 30,
        "width_mm": 90,
    }
    straight, swung = (extension(STRAIGHT, angle_deg=angle, **hung) for angle in (0, 25))
    assert swung.body.corners_mm[:, 0].min() < straight.body.corners_mm[:, 0].min()  # further to the right
    assert swung.kind is Kind.EXTENSION
    assert_allclose(hinge_line(swung), hinge_line(straight))
    assert_allclose(inner_corners(swung)[1, 0], -(60 + 50 * sin(40) + 30 * sin(65)))


def test_a_flags_far_end_by_hand():
    assert_allclose(far_end(hinge_mm=85, at_mm=118, angle_deg=30, length_mm=110), (85 + 55, 118 + 110 * np.sqrt(3) / 2))


def test_flags_hang_on_the_hoods_inner_front_edge():
    size = {"front_mm": (250, 170), "at_mm": 48, "depth_mm": 70}
    assert hood_edge("top", **size) == (85, 118)
    assert hood_edge("right", **size) == (125, 118)


def test_a_flag_moves_with_its_box():
    box = box_pose(ahead_mm=4, offset_right_mm=6, tilt_deg=9, back_thickness_mm=4)
    moved, still = flag(box, side="left", angle_deg=30, **BLADE), flag(STRAIGHT, side="left", angle_deg=30, **BLADE)
    assert_allclose(moved.body.corners_mm, box.points_to_frame(still.body.corners_mm))


def test_hood_walls_are_as_thick_as_stated_square_to_themselves():
    part = hood(STRAIGHT, at_mm=48, depth_mm=70, rear_mm=(170, 120), front_mm=(250, 170), wall_mm=3)
    inner, outer = ([loop.outline.width_mm / 2 for loop in loops] for loops in (part.body.inner, part.body.outer))
    slope_rad = np.arctan((125 - 85) / 70)  # of the side walls
    assert_allclose(np.subtract(outer, inner) * np.cos(slope_rad), 3)
    assert part.body.bounded


@pytest.mark.parametrize(("kind", "rear_mm", "front_mm"), [("ring", 0.0, 5.0), ("donut", -7.0, 5.0), ("bellows", -7.0, 5.0)])
def test_seals_reach_from_the_barrel_to_the_bore(kind, rear_mm, front_mm):
    (part,) = seal(STRAIGHT, kind=kind, inner_mm=114, outer_mm=130, back_thickness_mm=5, barrel_front_mm=-2)
    points = np.concatenate([p for loop in (*part.body.inner, *part.body.outer) for p in loop.points_mm()])
    radius = np.hypot(points[:, 0], points[:, 1])
    assert_allclose([points[:, 2].min(), points[:, 2].max()], [rear_mm, front_mm])  # soft ones grip 5 mm of barrel
    assert_allclose([radius.min(), radius.max()], [57, 65])


def test_no_seal_is_no_part():
    assert seal(STRAIGHT, kind="none", inner_mm=114, outer_mm=110, back_thickness_mm=5) == ()


def test_a_solid_keeps_the_frames_axes_and_goes_ahead_of_the_back_plates_centre():
    surface = Surface(np.array([[1.0, 2, 3], [4, 5, 6], [7, 8, 10]]), np.array([[0, 1, 2]]))
    part = solid(pose(), surface, at_mm=20, back_thickness_mm=4)
    assert_allclose(part.body.vertices_mm[0], [1, 2, 3 + 20 + 2])


def test_openings_are_round_or_rectangular():
    assert opening(diameter_mm=90) == Circle(45)
    assert opening(size_mm=(138, 97), corner_mm=4) == RoundedRectangle(138, 97, 4)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (opening, "an opening needs either width and height or a diameter: give one of the two"),
        (
            lambda: opening(size_mm=(1, 2), diameter_mm=3),
            "an opening needs either width and height or a diameter: give one of the two",
        ),
        (lambda: flag(STRAIGHT, side="top", angle_deg=0, **{**BLADE, "length_mm": 0}), "flag: length must be above 0 mm, found 0"),
        (lambda: tray(STRAIGHT, at_mm=0, depth_mm=-8, opening=Circle(9)), "tray: depth must be above 0 mm, found -8"),
        (
            lambda: back_plate(STRAIGHT, width_mm=120, height_mm=100, thickness_mm=4, bore_mm=110),
            (
                "back plate: the outside must be larger than the opening, found 120 x 100 mm round an opening of 110 x 110 mm; "
                "make the outside larger or the opening smaller"
            ),
        ),
        (
            lambda: seal(STRAIGHT, kind="ring", inner_mm=130, outer_mm=114, back_thickness_mm=4),
            (
                "seal: a seal must be wider outside than inside, found inner 130 mm and outer 114 mm; "
                "make the bore wider than the barrel or leave the seal out"
            ),
        ),
    ],
)
def test_parts_that_cannot_be_are_refused_in_one_sentence(make, words):
    with pytest.raises(GeometryError) as error:
        make()
    assert str(error.value) == words
