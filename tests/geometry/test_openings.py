"""Gaps of a box: which there are, how large, where they lie, and that nothing is closed on hearsay."""

import numpy as np
import pytest

from geometry import flags
from geometry import parts as build
from geometry.body import Assembly, Kind
from geometry.frame import right_up_to_frame
from geometry.openings import Fit, LensFront, OpeningKind, Slot
from geometry.walls import enclosure_of

BARREL_MM, BORE_MM = 100.0, 112.0
FRONT = LensFront(outside_mm=BARREL_MM, glass_mm=90.0)


def box_with(
    *,
    ahead_mm=-6.0,
    right_mm=0.0,
    up_mm=0.0,
    seal=None,
    inner_mm=BARREL_MM,
    outer_mm=BORE_MM,
    tray=True,
    back=True,
    hood=True,
    tray_outer_mm=None,
    **more,
):
    box = build.box_pose(ahead_mm=ahead_mm, offset_right_mm=right_mm, offset_up_mm=up_mm, back_thickness_mm=4.0)
    parts = []
    if back:
        parts.append(build.back_plate(box, width_mm=200, height_mm=180, thickness_mm=4.0, bore_mm=BORE_MM))
    if seal:
        parts += build.seal(box, kind=seal, inner_mm=inner_mm, outer_mm=outer_mm, back_thickness_mm=4.0, barrel_front_mm=-ahead_mm)
    if tray:
        parts.append(
            build.tray(box, at_mm=12, depth_mm=8, opening=build.opening(size_mm=(150, 120)), outer_mm=tray_outer_mm, **more)
        )
    if hood:
        parts.append(build.hood(box, at_mm=24, depth_mm=50, rear_mm=(160, 130), front_mm=(220, 160)))
    return box, Assembly(parts=tuple(parts))


def openings(made, *, soft=False, slots=()):
    box, assembly = made
    return {o.name: o for o in enclosure_of(assembly, Fit(box=box, front=FRONT, soft_seal=soft, slots=slots)).openings}


def kinds(found):
    return {o.kind for o in found.values()}


def test_ring_between_barrel_and_bore_has_the_area_of_the_ring():
    ring = openings(box_with())["ring gap"]
    # Area of a plane ring, pi (R^2 - r^2): the barrel reaches through the plate's rear face.
    assert ring.area_mm2 == pytest.approx(np.pi * (56**2 - 50**2), rel=1e-4)


def test_plate_ahead_of_the_barrel_leaves_a_cone_open():
    # Lateral area of a cone frustum, pi (r + R) sqrt((R - r)^2 + h^2), with h = 4 between rim and plate.
    ring = openings(box_with(ahead_mm=4.0))["ring gap"]
    assert ring.area_mm2 == pytest.approx(np.pi * 106 * np.hypot(6, 4), rel=1e-4)


@pytest.mark.parametrize("kind", ["donut", "bellows"])
@pytest.mark.parametrize("ahead_mm", [-6.0, 4.0])
def test_soft_seal_on_the_barrel_closes_the_ring_wherever_the_box_sits(kind, ahead_mm):
    found = openings(box_with(seal=kind, ahead_mm=ahead_mm, right_mm=1.0, up_mm=-2.0), soft=True)
    assert OpeningKind.RING not in kinds(found)


def test_rigid_ring_closes_only_where_it_grips_the_barrel():
    assert OpeningKind.RING not in kinds(openings(box_with(seal="ring")))
    assert OpeningKind.RING in kinds(openings(box_with(seal="ring", ahead_mm=4.0)))  # 4 mm of air between rim and ring
    assert OpeningKind.RING in kinds(openings(box_with(seal="ring", up_mm=1.0)))  # off centre: a sickle opens below


def test_ring_with_a_wider_inside_leaves_that_ring_open():
    found = openings(box_with(seal="ring", inner_mm=106.0))
    assert found["gap inside seal"].area_mm2 == pytest.approx(np.pi * (53**2 - 50**2), rel=1e-4)


def test_ring_smaller_than_the_bore_leaves_a_gap_round_it():
    found = openings(box_with(seal="ring", outer_mm=108.0))
    assert found["gap round seal"].area_mm2 == pytest.approx(np.pi * (56**2 - 54**2), rel=1e-4)


def test_soft_seal_that_does_not_reach_the_barrel_closes_nothing():
    assert "gap inside seal" in openings(box_with(seal="donut", inner_mm=104.0), soft=True)


def test_box_off_to_the_right_has_its_wide_gap_on_the_right():
    box, assembly = box_with(right_mm=3.0)
    ring = next(o for o in enclosure_of(assembly, Fit(box=box, front=FRONT)).openings if o.kind is OpeningKind.RING)
    centre = right_up_to_frame(ring.surface.vertices_mm[360:, :2].mean(axis=0))  # the bore's circle
    assert centre == pytest.approx([3.0, 0.0], abs=0.05)


def test_slot_is_as_long_as_its_tray_and_as_wide_as_said():
    found = openings(box_with(), slots=(Slot(tray="tray", side="top", width_mm=0.6),))
    # The tray's outside is drawn 15 mm wider than its 150 mm opening on each side.
    assert found["tray slot, top, lens side"].area_mm2 == pytest.approx(180 * 0.6, rel=1e-3)
    assert found["tray slot, top, scene side"].area_mm2 == pytest.approx(180 * 0.6, rel=1e-3)


@pytest.mark.parametrize(("side", "axis", "sign"), [("top", 1, 1), ("bottom", 1, -1), ("left", 0, 1), ("right", 0, -1)])
def test_slot_lies_on_the_side_named_as_the_operator_sees_it(side, axis, sign):
    found = openings(box_with(), slots=(Slot(tray="tray", side=side, width_mm=2.0),))
    points = found[f"tray slot, {side}, lens side"].surface.vertices_mm
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    assert sign * middle[axis] > 70
    assert abs(middle[1 - axis]) < 1
    assert middle[2] == pytest.approx(-6 + 12 - 1)  # half the slot behind the tray's rear face


def test_stated_outside_leaves_the_joints_open():
    found = openings(box_with(tray_outer_mm=(170.0, 140.0)))
    assert {n for n, o in found.items() if o.kind is OpeningKind.JOINT} == {
        "joint between back plate and tray",
        "joint between tray and hood",
    }


def test_box_without_a_back_plate_is_open_behind():
    assert OpeningKind.REAR in kinds(openings(box_with(back=False)))


def test_flag_alone_stands_in_the_open_air():
    flag = flags.flag(build.box_pose(), side="top", angle_deg=20, hinge_mm=60, at_mm=20, length_mm=80, width_mm=100)
    found = enclosure_of(Assembly(parts=(flag,)), Fit(box=build.box_pose(), front=FRONT)).openings
    assert [o.kind for o in found] == [OpeningKind.REST]


def test_every_part_stops_light_under_its_own_name():
    box, assembly = box_with(seal="ring")
    walls = enclosure_of(assembly, Fit(box=box, front=FRONT)).walls
    assert {"back plate", "seal", "tray", "hood", "box body", "barrel", "front ring"} <= {wall.name for wall in walls}
    assert Kind.TRAY in {wall.kind for wall in walls}


@pytest.mark.parametrize("tilt_deg", [0.0, 7.0])
@pytest.mark.parametrize("turn_deg", [0.0, 20.0])
def test_no_ray_finds_a_way_out_that_has_no_name(tilt_deg, turn_deg):
    from raytrace.stray.world import World

    box, assembly = box_with(seal="ring", ahead_mm=4.0, up_mm=2.0, tilt_deg=tilt_deg, turn_deg=turn_deg)
    fit = Fit(box=box, front=FRONT, slots=(Slot(tray="tray", side="left", width_mm=1.0),))
    world = World.of(enclosure_of(assembly, fit))
    rng = np.random.default_rng(6)
    direction = rng.normal(size=(200_000, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    start = rng.uniform([-34, -34, 1], [34, 34, 60], (200_000, 3))  # ahead of the front glass
    escape = world.escape(start, direction)
    assert (escape.opening == len(world.openings) - 1).sum() == 0
    assert {world.opening_names[k] for k in np.unique(escape.opening[escape.opening >= 0])} >= {"mouth", "gap inside seal"}
