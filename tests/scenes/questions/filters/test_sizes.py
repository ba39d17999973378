"""Filters: glass sizes by similar triangles and Snell's law, trade rules, close-up sums, what a stage more and an offset cost."""

import json
import math

import pytest
from click.testing import CliRunner

from scenes.answers.answer import answer_data, answer_text
from scenes.changes.stages import outermost, with_stage_added
from scenes.questions.filters.answer import answer
from scenes.questions.filters.command import command
from scenes.questions.filters.costs import costs_of, costs_without_close_ups, mount_of, off_axis_costs, standings
from scenes.questions.filters.effects import close_ups, corner_losses, graded_answers
from scenes.questions.filters.sizes import fits_holder, gathered, smallest, stage_needs, widest_served
from scenes.questions.filters.text import rod_words
from scenes.scene_file.catalogue import filter_sizes
from scenes.states.full_range import ranged
from scenes.states.load import load_scene

SCENE = """
brimline = 1
title = "two lenses"

[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [360, 240]
offset_mm = [1.0, 0.0]

[[lens]]
name = "40"
focal_mm = 40
f_number = 2.0
front_diameter_mm = 80
front_to_sensor_mm = 160
pupil_behind_front_mm = 50

[[lens]]
name = "20"
focal_mm = 20
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = 36

[box]
mount = "rods-15"
ahead_mm = 4
offset_mm = [0.0, {up}]
{extra}
[[box.stage]]
name = "rear"
at_mm = 6
depth_mm = 6
opening_mm = [190, 160]
filter = {{ {rear} }}

[[box.stage]]
name = "front"
at_mm = 14
depth_mm = 10
turn_deg = {turn}
opening_mm = [190, 160]
{front}

[[box.mask]]
name = "plate"
at_mm = 26
thickness_mm = 2
opening_mm = [170, 110]

[check]
f_numbers = [5.6]
"""
CLEAR = 'size = "6x6", thickness_mm = 4'
INDEX, THICKNESS_MM = 1.5168, 4.0
IN_SPACE = 1 / math.hypot(1, 12 / 20)  # of what is left in the plane of an opening, the distance from the beam's upper side
RIGHT, LEFT, HIGH = 19 / 20, 17 / 20, 12 / 20  # tangents of the 20's edges; its picture lies 1 mm to the right


@pytest.fixture
def scene(tmp_path):
    def written(rear=CLEAR, front="", up=0.0, extra="", turn=0):
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format(rear=rear, front=front, up=up, extra=extra, turn=turn))
        return load_scene(path)

    return written


def ranged_of(loaded, *names):
    return [ranged(loaded, lens) for lens in loaded.scene.lens if not names or lens.name in names]


def stages_of(loaded):
    held = ranged_of(loaded)
    return gathered(loaded.scene, held, [stage_needs(loaded.scene, one) for one in held])


def needs_of(loaded, stage):
    answer = next(answer for answer in stages_of(loaded) if answer.name == stage)
    return {need.lens.name: need for need in answer.needs}


def at_far_face_mm(tangent, rear_face_mm, pupil_mm=36.0, radius_mm=5.0):
    """Reach of an edge at a plate's far face: straight to the near face, by Snell's law inside."""
    inside = math.asin(math.sin(math.atan(tangent)) / INDEX)
    return (rear_face_mm + pupil_mm) * tangent + radius_mm + THICKNESS_MM * math.tan(inside)


def test_the_glass_must_hold_the_beam_at_its_far_face_twice_over_on_the_wider_side(scene):
    need = needs_of(scene(), "rear")["20"]
    near_face = 4 + 6 + (6 - THICKNESS_MM) / 2
    assert need.upright_mm[0] == pytest.approx(2 * at_far_face_mm(RIGHT, near_face), abs=0.05)
    assert need.upright_mm[1] == pytest.approx(2 * at_far_face_mm(HIGH, near_face), abs=0.05)


def test_a_tray_farther_out_is_sized_for_the_nearer_one_empty(scene):
    need = needs_of(scene(), "front")["20"]
    near_face = 4 + 14 + (10 - THICKNESS_MM) / 2
    assert need.upright_mm[0] == pytest.approx(2 * at_far_face_mm(RIGHT, near_face), abs=0.05)
    assert need.now_mm is None


def test_the_room_of_a_tray_is_that_of_its_front_edge_with_the_trays_empty(scene):
    need = needs_of(scene(), "front")["20"]
    front_edge = 4 + 14 + 10
    across, upright = (190 / 2 - ((front_edge + 36) * RIGHT + 5), 160 / 2 - ((front_edge + 36) * HIGH + 5))  # straight rays
    assert need.tray_mm == pytest.approx(min(across, upright), abs=0.05)


def test_a_box_off_the_axis_needs_larger_glass(scene):
    high, level = needs_of(scene(up=4.0), "rear")["20"], needs_of(scene(), "rear")["20"]
    assert high.upright_mm[1] - level.upright_mm[1] == pytest.approx(8.0, abs=0.02)


def test_glass_that_turns_must_hold_the_farthest_corner(scene):
    need = needs_of(scene(), "rear")["20"]
    near_face = 4 + 6 + (6 - THICKNESS_MM) / 2
    slope = math.hypot(RIGHT, HIGH)
    corner = (near_face + 36) * slope + 5 + THICKNESS_MM * math.tan(math.asin(math.sin(math.atan(slope)) / INDEX))
    assert need.turned_mm == pytest.approx(2 * corner, abs=0.05)  # the pupil's edge in the corner's own direction


def test_the_room_of_a_catalogue_size_is_half_what_it_is_larger(scene):
    need = needs_of(scene(), "rear")["20"]
    for room in need.sizes:
        size = room.size
        if size.width_mm is not None:
            sides = [(size.width_mm - need.upright_mm[0]) / 2, (size.height_mm - need.upright_mm[1]) / 2]
            if min(sides) > 0:
                assert room.fitted_mm == pytest.approx(min(sides), abs=0.01)
            assert room.turned_mm == pytest.approx((min(size.width_mm, size.height_mm) - need.turned_mm) / 2, abs=0.01)
    assert next(room for room in need.sizes if room.size.name == "6x6").fitted_mm == pytest.approx(need.now_mm)


def test_the_smallest_size_that_leaves_the_margin_is_named(scene):
    need = needs_of(scene(), "rear")["40"]
    # At most (11 + 4 + 50) x 19 / 40 + 10 = 41 mm to the right, 29 mm up; the corner lies 47 mm out.
    assert smallest(need.sizes, 2.5, turned=False).size.name == "4x4"
    assert smallest(need.sizes, 2.5, turned=True).size.name == "4x4"
    assert smallest(need.sizes, 2.5, turned=True, round_glass=True).size.name == "round-4.5in"
    assert smallest(need.sizes, 200.0, turned=False) is None


@pytest.mark.parametrize("turn", [0, 20, 35, 90])
def test_a_size_in_a_tray_that_is_turned_has_the_room_it_has_turned(scene, turn):
    """Each corner of the beam, taken into the axes of the glass by hand, against the glass's own sides."""
    need = needs_of(scene(turn=turn), "front")["20"]
    near_face = 4 + 14 + (10 - THICKNESS_MM) / 2
    turned = math.radians(turn)
    corners = [(right, up) for right in (RIGHT, 0.0, -LEFT) for up in (HIGH, 0.0, -HIGH) if right or up]  # and middles of sides
    for room in (room for room in need.sizes if room.size.width_mm is not None):
        found = []
        for right, up in corners:
            slope = math.hypot(right, up)
            out = (near_face + 36) + THICKNESS_MM * math.tan(math.asin(math.sin(math.atan(slope)) / INDEX)) / slope
            # clockwise as the operator sees it: the glass's own axes run (cos, -sin) and (sin, cos)
            across = out * (right * math.cos(turned) - up * math.sin(turned))
            upright = out * (right * math.sin(turned) + up * math.cos(turned))
            found += [room.size.width_mm / 2 - abs(across) - 5, room.size.height_mm / 2 - abs(upright) - 5]
        if min(found) > 0:
            assert room.fitted_mm == pytest.approx(min(found), abs=0.06)
        assert (room.fitted_mm > 0) == (min(found) > 0)
        assert room.turned_mm <= room.fitted_mm + 0.01


def test_the_state_that_decides_a_size_is_told_and_how_much_of_it_is_a_guess(scene):
    loaded = scene(extra="")
    told = answer_text(answer(loaded))
    assert "20: 4x5.65, decided by 20, infinity, f/2." in told


def test_the_widest_lens_of_a_size_is_named_with_those_it_does_not_serve(scene):
    loaded = scene()
    answer = next(answer for answer in stages_of(loaded) if answer.name == "rear")
    assert [need.lens.name for need in answer.needs] == ["20", "40"]
    sizes = filter_sizes()
    assert widest_served(answer, sizes["6x6"], 2.5, turned=False) == ("20", ())
    assert widest_served(answer, sizes["4x4"], 2.5, turned=False) == ("40", ())
    assert widest_served(answer, sizes["4x4"], 60.0, turned=False) == (None, ())


def test_a_holder_takes_glass_of_its_height_and_narrower_glass():
    # Common practice: a holder takes any filter of its own height, narrower ones too.
    sizes = filter_sizes()
    assert fits_holder(sizes["4x5.65"], 101.6, 143.51)
    assert fits_holder(sizes["4x4"], 101.6, 143.51)
    assert not fits_holder(sizes["5x5"], 101.6, 143.51)
    assert not fits_holder(sizes["4x5.65"], 101.6, 101.6)
    assert fits_holder(sizes["round-138"], 101.6) is None


def test_the_density_of_a_filter_is_told_at_the_lenss_own_corner(scene):
    loaded = scene(rear='size = "6x6", kind = "density", density = 0.6')
    wide = next(corner for corner in corner_losses(ranged_of(loaded)) if corner.lens.name == "20")
    assert wide.field_deg == pytest.approx(math.degrees(math.atan(math.hypot(RIGHT, HIGH))), abs=1e-6)
    assert wide.fitted[0][1] == pytest.approx(wide.usual[1])
    # Handbook bounds (package tmm 0.2.0, n = 1.5168, D 0.6): 0.272 at 45 deg, 0.547 at 60 deg; this corner lies at 48.
    assert 0.27205 < wide.usual[1] < 0.54674


def test_close_up_lenses_add_and_focus_at_their_focal_length_when_the_main_lens_is_at_infinity(scene):
    loaded = scene()
    for found in close_ups(ranged_of(loaded), [1.0, 1.0]):
        assert found.power_dioptre == 2.0
        assert found.sharp_mm == pytest.approx(500.0)
        # From the focal plane of a thin lens rays leave parallel: the picture is 500 mm x its tangent wide, wherever the lens.
        assert found.field_mm == pytest.approx(500.0 * 36 / found.focal_mm)


def test_two_close_up_lenses_apart_have_a_little_less_power(scene):
    one, two = (f'size = "6x6", thickness_mm = 2, kind = "close-up", power_dioptre = {power}' for power in (1, 2))
    loaded = scene(rear=one, front=f"filter = {{ {two} }}")  # their middles stand 19 - 9 = 10 mm apart
    found = close_ups(ranged_of(loaded))[0]
    assert found.spaced_dioptre == pytest.approx(2.98)  # P1 + P2 - d P1 P2
    assert found.sharp_mm == pytest.approx(335.570470, abs=1e-5)


def test_a_stage_more_costs_a_masks_clearance_its_depth_times_the_edges_tangent(scene):
    loaded = scene()
    lenses = [lens for lens in loaded.scene.lens if lens.name == "20"]
    held = ranged_of(loaded, "20")
    (cost,) = costs_of(held, standings(held), with_stage_added(loaded.scene, 8.0, lenses[0]))
    assert cost.now.part == cost.then.part == "plate"
    assert cost.now.clearance_mm - cost.then.clearance_mm == pytest.approx(8.0 * HIGH * IN_SPACE, abs=0.1)


def test_what_stands_ahead_of_the_last_stage_moves_on_and_nothing_else(scene):
    one = scene().scene
    box = with_stage_added(one, 8.0, one.lens[0]).box
    assert [stage.at_mm for stage in box.stage] == [6, 14, 24]
    assert box.mask[0].at_mm == 34
    assert outermost(box).name == "added stage"


def test_rods_lower_than_the_box_is_made_for_put_it_low(scene):
    # Common practice: light rods run 85 mm below the lens axis.
    loaded = scene(extra="rod_drop_mm = 87", up=-2.0)
    held = ranged_of(loaded)
    found = mount_of(loaded.scene, off_axis_costs(loaded.scene, held, standings(held)))
    assert found.expected_up_mm == pytest.approx(-2.0)
    assert "which puts the box 2 mm below it. The scene has it off axis, 2 mm below." in rod_words(found)
    wide = next(cost for cost in found.costs if cost.lens.name == "20")
    assert wide.then.clearance_mm - wide.now.clearance_mm == pytest.approx(2.0 * IN_SPACE, abs=0.05)


def test_a_box_on_axis_has_no_cost(scene):
    loaded = scene()
    held = ranged_of(loaded)
    found = mount_of(loaded.scene, off_axis_costs(loaded.scene, held, standings(held)))
    assert found.costs == ()
    assert rod_words(found).endswith("The scene has it on axis.")


def test_a_graduated_filter_of_the_scene_is_used_as_it_stands(scene):
    loaded = scene(front='filter = { size = "6x6", kind = "graduated", density = 0.9, edge_mm = 5 }', turn=90)
    answers = graded_answers(loaded, [lens for lens in loaded.scene.lens if lens.name == "20"])
    assert {(answer.stage_name, answer.turn_deg, answer.tried) for answer in answers} == {("front", 90.0, False)}
    assert [answer.f_number for answer in answers] == [2.0, 5.6, 8.0]
    # 5 mm to the right on the glass 23 mm ahead: 5 x 20 / 59 in the picture, seen from its middle 1 mm to the right.
    assert answers[-1].edge.middle_mm == pytest.approx(5 * 20 / 59 - 1, abs=0.35)


def test_a_stop_that_shows_the_same_edge_as_one_of_the_scene_is_left_out(scene, tmp_path):
    scene()
    path = tmp_path / "scene.toml"
    path.write_text(path.read_text().replace("f_numbers = [5.6]", "f_numbers = [2.2, 5.6]"))
    loaded = load_scene(path)
    answers = graded_answers(loaded, loaded.scene.lens[:1])
    assert [answer.f_number for answer in answers] == [2.2, 5.6, 8.0]  # not the widest, 2.0, a quarter of a stop away


def test_the_table_keeps_within_a_hundred_columns_and_says_what_the_json_says(scene):
    loaded = scene(up=1.0)
    found = answer(loaded, close_ups=[2.0])
    lines, data = answer_text(found).splitlines(), json.loads(json.dumps(answer_data(found, loaded), allow_nan=False))
    assert max(map(len, lines)) <= 100
    need = data["stages"][0]["lenses"][0]
    assert any(f"{need['upright_mm'][0]:.1f} x {need['upright_mm'][1]:.1f}" in line for line in lines)
    assert data["close_ups"][0]["sharp_from_close_up_mm"] == 500.0
    assert data["close_ups"][0]["focus_mm"] == data["close_ups"][0]["width_without_mm"] == "infinity"
    assert [filter_["filter"] for filter_ in data["corner_loss"][0]["fitted_stops"]] == ["rear filter"]
    assert {(state["lens"], state["f_number"]) for state in data["states"]} == {("40", 2.0), ("20", 2.0)}
    assert data["next_step"] in " ".join(line.strip() for line in lines)


def test_the_command_writes_pictures_beside_its_json(scene, tmp_path):
    scene()
    args = [str(tmp_path / "scene.toml"), "--lens", "20", "--out", str(tmp_path / "out")]
    assert CliRunner().invoke(command, args, standalone_mode=False, catch_exceptions=False).return_value == 0
    names = {"filters.json", "filter-sizes.png", "graduated.png"}
    written = {path.name for path in (tmp_path / "out").glob("[!.]*")}
    assert {name for name in written if not name.endswith(".csv")} == names
    assert set(json.loads((tmp_path / "out" / "filters.json").read_text())["files"]) == written


def test_a_negative_close_up_lens_leaves_nothing_sharp_at_infinity_and_says_so(scene):
    # 1 / s' = 1 / s + D / 1000 has no distance s' in front of the lens for s infinite and D below 0.
    found = answer(scene(), lenses=["40"], close_ups=[-1.0])
    assert any("nothing" in line and line.startswith("  40") for line in answer_text(found).splitlines())
    assert found.data()["close_ups"][0]["sharp_from_close_up_mm"] is None


def test_fitted_close_up_lenses_are_held_against_the_box_without_them(scene):
    loaded = scene(rear='size = "6x6", thickness_mm = 4, kind = "close-up", power_dioptre = 2')
    (cost,) = costs_without_close_ups(ranged_of(loaded, "20"), standings(ranged_of(loaded)))
    # Without it the beam goes straight: 36 mm pupil to front, 4 + 28 mm to the mask's far face, 12 / 20 up, 5 mm pupil.
    assert cost.then.clearance_mm == pytest.approx((55 - ((36 + 4 + 28) * HIGH + 5)) * IN_SPACE, abs=0.05)
    # With it, a ray that crosses the lens (at 13 mm) at height h bends in by h D / 1000 a mm; the pupil's upper edge has most.
    height = (36 + 13) * HIGH + 5
    bent = HIGH - height * 2 / 1000
    assert cost.now.clearance_mm == pytest.approx((55 - (height + (32 - 13) * bent)) / math.hypot(1, bent), abs=0.05)
