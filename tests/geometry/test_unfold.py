"""Hoods laid flat: worked examples (computed a second way with trimesh), and folded again by rotations of scipy's own."""

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation

from geometry.errors import GeometryError
from geometry.frame import Side
from geometry.unfold import (
    ORDER,
    Bending,
    Ends,
    ends_of,
    loose_panels,
    one_piece,
    outward,
    overlaps_itself,
    round_corner_mm,
    turn_rad,
    wall_corners_mm,
)

SQUARE = ends_of((120, 120), (180, 180), 100)
LOPSIDED = Ends(rear_mm=(-80, 80, -55, 55), front_mm=(-140, 120, -80, 110), depth_mm=120)  # to the left, right, low, high
PLAIN = Bending(thickness_mm=2)
FOLDED_MM = 0.01


def test_a_square_hood_unfolds_to_the_worked_fan():
    """120 to 180 over 100: corner edge 108.627805, fold 85.263764 deg, four panels of 62641.839053 mm2 in all (trimesh)."""
    flat = one_piece(SQUARE, PLAIN, 0)
    assert [bend.turn_deg for bend in flat.bends] == pytest.approx([85.263764] * 3, abs=1e-6)
    assert shapely.Polygon(flat.outline_mm).area == pytest.approx(62641.839053, abs=1e-5)
    assert np.linalg.norm(flat.bends[0].line_mm[1] - flat.bends[0].line_mm[0]) == pytest.approx(108.627805, abs=1e-6)
    assert np.ptp(flat.outline_mm, axis=0) == pytest.approx([323.982616, 527.658836], abs=1e-5)


def test_a_lopsided_hood_unfolds_to_the_worked_points():
    """Seen from the inside, front up, cut at top and right; points computed with trimesh and by hand."""
    flat = one_piece(LOPSIDED, PLAIN, 0)
    backs = [panel.corners_mm[1] for panel in flat.panels]
    fronts = [panel.corners_mm[2] for panel in flat.panels]
    assert np.array(backs) == pytest.approx(
        np.array([[153.124274, -46.399964], [202.047474, -144.921639], [173.634423, -302.378613], [103.692780, -387.279535]]),
        abs=1e-5,
    )
    assert np.array(fronts) == pytest.approx(
        np.array([[248.826946, 62.531201], [333.330654, -107.642602], [287.159447, -363.510184], [166.351153, -510.157231]]),
        abs=1e-5,
    )
    assert [b.turn_deg for b in flat.bends] == pytest.approx([79.261103, 84.766715, 86.302085], abs=1e-6)


@pytest.mark.parametrize(
    ("thickness", "radius", "k", "turn", "expected"),
    [(2, 2, 0.44, 90, 4.523893), (2, 3, 0.42, 90, 6.031858), (1.5, 1.5, 0.40, 60, 2.199115), (2, 3, 0.42, 120, 8.042477)],
)
def test_a_bend_takes_its_allowance(thickness, radius, k, turn, expected):
    """BA = turn (R + K T), worked by hand."""
    bending = Bending(thickness_mm=thickness, radius_mm=radius, k_factor=k)
    assert bending.allowance_mm(np.radians(turn)) == pytest.approx(expected, abs=1e-6)


def folded(flat, bending, ends):
    """Inner faces (K, 4, 3) of a flat's panels after every bend is made, the first where it belongs: matrices alone.

    A bend of inside radius R turns by t over the length t (R + K T): the panel after it is brought back to the line at which the
    bend begins, then moved by (R sin t, R (1 - cos t)) along and up, and turned by t about that line.
    """
    place, found = np.eye(4), []
    turns = [np.radians(bend.turn_deg) for bend in flat.bends]
    for k, panel in enumerate(flat.panels):
        points = np.column_stack([panel.corners_mm, np.zeros(4), np.ones(4)])
        found.append((points @ place.T)[:, :3])
        if k == len(turns):
            break
        here, after, turn = panel.corners_mm, flat.panels[k + 1].corners_mm, turns[k]
        along = (here[2] - here[1]) / np.linalg.norm(here[2] - here[1])
        away = np.array([along[1], -along[0]])
        gap = (after[0] - here[1]) @ away
        assert gap == pytest.approx(bending.allowance_mm(turn), abs=1e-9)
        back, turned, on = np.eye(4), np.eye(4), np.eye(4)
        back[:2, 3] = -(here[1] + gap * away)
        turned[:3, :3] = Rotation.from_rotvec(turn * np.array([*along, 0.0]) * -1).as_matrix()
        on[:3, 3] = [*(here[1] + bending.radius_mm * np.sin(turn) * away), bending.radius_mm * (1 - np.cos(turn))]
        place = place @ on @ turned @ back
    return _as_it_stands(np.array(found), wall_corners_mm(ends, Side.TOP), bending, turns)


def _as_it_stands(faces, top, bending, turns):
    """The first panel's plane and front edge put on the top wall's: the frame that everything is then compared in."""
    flat_axes, hood_axes = _axes(faces[0]), _axes(top)
    turned = (faces - faces[0][1]) @ flat_axes @ hood_axes.T
    setback = bending.setback_mm(turns[0])
    edge = (top[2] - top[1]) / np.linalg.norm(top[2] - top[1])
    rear = (top[0] - top[1]) / np.linalg.norm(top[0] - top[1])
    inward = rear - (rear @ edge) * edge
    start = top[1] + rear * setback / np.linalg.norm(inward)
    return turned + start


def _axes(corners):
    along = (corners[0] - corners[1]) / np.linalg.norm(corners[0] - corners[1])
    up = corners[2] - corners[1]
    up = up - (up @ along) * along
    up /= np.linalg.norm(up)
    return np.column_stack([along, up, np.cross(along, up)])


@pytest.mark.parametrize(
    "ends",
    [
        SQUARE,
        LOPSIDED,
        ends_of((190, 132), (300, 158), 55),
        ends_of((180, 140), (120, 100), 60),
        ends_of((200, 120), (150, 180), 50),
    ],
)
@pytest.mark.parametrize(
    "bending", [PLAIN, Bending(thickness_mm=2, radius_mm=2, k_factor=0.44), Bending(thickness_mm=1, radius_mm=3, k_factor=0.38)]
)
@pytest.mark.parametrize("tab_mm", [0.0, 12.0])
def test_a_flat_folded_again_is_the_hood(ends, bending, tab_mm):
    flat = one_piece(ends, bending, tab_mm)
    faces = folded(flat, bending, ends)
    for side, face in zip(ORDER, faces, strict=False):
        wall, normal = wall_corners_mm(ends, side), outward(ends, side)
        assert np.abs((face - wall[0]) @ normal).max() < FOLDED_MM, side  # in the wall's plane
        assert np.abs(face[:2, 2]).max() < FOLDED_MM, side  # rear edge on the rear plane
        assert np.abs(face[2:, 2] - ends.depth_mm).max() < FOLDED_MM, side
    setbacks = [bending.setback_mm(np.radians(bend.turn_deg)) for bend in flat.bends]
    for k in range(3):  # every bend begins as far from the hood's corner on both walls as the radius asks for
        corner = wall_corners_mm(ends, ORDER[k])[1:3]
        for at in (faces[k][1], faces[k + 1][0]):
            assert _from_line(at, corner) == pytest.approx(setbacks[k], abs=FOLDED_MM)


@pytest.mark.parametrize("ends", [SQUARE, LOPSIDED])
def test_the_tab_lies_on_the_outside_of_the_top_wall_and_nothing_of_it_inside(ends):
    bending = Bending(thickness_mm=2, radius_mm=2, k_factor=0.44)
    tab = folded(one_piece(ends, bending, 12.0), bending, ends)[4]
    off = (tab - wall_corners_mm(ends, Side.TOP)[0]) @ outward(ends, Side.TOP)
    assert off == pytest.approx([bending.thickness_mm] * 4, abs=FOLDED_MM)


def _from_line(point, line):
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    return np.linalg.norm(np.cross(point - line[0], along))


@pytest.mark.parametrize("ends", [SQUARE, LOPSIDED])
def test_loose_panels_meet_side_walls_of_the_inside_and_cover_their_edges(ends):
    top, left, bottom, right = loose_panels(ends, 3.0)
    for flat, side in ((right, Side.RIGHT), (left, Side.LEFT)):
        corners = wall_corners_mm(ends, side)
        assert np.linalg.norm(flat.outline_mm[1] - flat.outline_mm[0]) == pytest.approx(np.linalg.norm(corners[1] - corners[0]))
    inside = np.linalg.norm(np.subtract(*wall_corners_mm(ends, Side.TOP)[:2]))
    wider = np.linalg.norm(top.outline_mm[1] - top.outline_mm[0]) - inside
    angles = [np.pi - turn_rad(ends, Side.TOP, side) for side in (Side.LEFT, Side.RIGHT)]
    assert wider >= sum(3.0 / np.sin(angle) for angle in angles) - 1e-9
    assert bottom.outline_mm.shape == (4, 2)


def test_a_very_flat_hood_would_lie_on_itself():
    assert overlaps_itself(one_piece(ends_of((100, 100), (900, 900), 20), PLAIN, 60))
    assert not overlaps_itself(one_piece(SQUARE, PLAIN, 12))


def test_a_bend_too_round_for_its_wall_is_refused():
    with pytest.raises(GeometryError, match="too narrow to bend with a radius of 90 mm"):
        one_piece(SQUARE, Bending(thickness_mm=2, radius_mm=90, k_factor=0.4), 12)


def bent_corner_mm(ends, bending, height_mm):
    """The inside of the bend of top and left, cut across the axis: points (N, 2) from the corner into the hood, by the cylinder.

    A cylinder of the inside radius touches both walls; a line along its axis is cut by the plane at a height.
    """
    top, left = outward(ends, Side.TOP), outward(ends, Side.LEFT)
    _, low, high, _ = wall_corners_mm(ends, Side.TOP)
    along = (high - low) / np.linalg.norm(high - low)
    middle = low - bending.radius_mm * (top + left) / (1.0 + top @ left)  # as far from both walls as the radius
    angle = np.linspace(0.0, 1.0, 200)[:, None] * turn_rad(ends, Side.TOP, Side.LEFT)
    square = left - (left @ top) * top
    points = middle + bending.radius_mm * (np.cos(angle) * top + np.sin(angle) * square / np.linalg.norm(square))
    points = points + ((height_mm - points[:, 2]) / along[2])[:, None] * along
    corner = low + (height_mm - low[2]) / along[2] * along
    return np.abs((points - corner)[:, :2])


@pytest.mark.parametrize("radius", [0.5, 1.5, 12])
@pytest.mark.parametrize(
    "ends",
    [
        SQUARE,
        LOPSIDED,
        ends_of((367.4, 116.5), (376.4, 181.6), 30),
        ends_of((200, 120), (140, 180), 70),
        ends_of((90, 60), (90, 60), 40),
    ],
)
def test_a_round_corner_lets_through_no_more_than_the_bend_itself(ends, radius):
    """Against the cylinder that a brake leaves, cut across the axis at both ends and between; and not by much less."""
    bending = Bending(thickness_mm=1.5, radius_mm=radius, k_factor=0.4)
    corner = round_corner_mm(ends, bending)
    for height in (0.0, 0.4 * ends.depth_mm, ends.depth_mm):
        points = bent_corner_mm(ends, bending, height)
        assert points.max() <= corner + 1e-9
        free = corner - np.hypot(*(corner - points).T)  # of the round corner's circle: below 0 the point is in its material
        assert free.max() <= 1e-9
    assert round_corner_mm(ends, Bending(thickness_mm=1.5)) == 0.0


def test_the_round_corner_of_an_upright_hood_is_its_bends_radius():
    assert round_corner_mm(ends_of((90, 60), (90, 60), 40), Bending(thickness_mm=1.5, radius_mm=7.0)) == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("rear", "front", "depth", "radius"),
    [((82, 84), (145, 132), 35, 49), ((32, 175), (75, 212), 19, 22), ((125, 61), (286, 104), 16, 56)],
)
def test_a_flat_whose_bends_run_into_each_other_is_not_cut_from_one_sheet(rear, front, depth, radius):
    """The top wall's two bends, one of them past the tab's thickness, take more of its rear edge than there is.

    The flat's outline alone does not show it: its rear edge runs backward there.
    """
    ends, thick = ends_of(rear, front, depth), 1.5
    bending = Bending(thickness_mm=thick, radius_mm=radius, k_factor=0.4)
    flat, turn = one_piece(ends, bending, 12.0), turn_rad(ends, Side.TOP, Side.LEFT)
    slope = np.hypot((front[0] - rear[0]) / 2, np.hypot(depth, (front[1] - rear[1]) / 2)) / np.hypot(
        depth, (front[1] - rear[1]) / 2
    )
    taken = (2 * radius * np.tan(turn / 2) + thick / np.tan(turn)) * slope
    assert rear[0] < taken < 1.1 * rear[0]
    assert shapely.Polygon(flat.outline_mm).is_valid
    assert overlaps_itself(flat)
    assert not overlaps_itself(one_piece(ends, Bending(thickness_mm=thick, radius_mm=thick, k_factor=0.4), 12.0))
