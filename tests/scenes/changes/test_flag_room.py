"""A flag's clear angle leaves the room of a fixed pupil as a distance in space: similar triangles against the blade's corners.

The upper side of the beam of a flat pupil is the plane y = f / 2N + h / f (z + p), h half the picture's height and p the pupil's
depth; what a blade wider than the beam leaves is the least distance of its corners from that plane (any geometry book).
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from scenes.changes.flag_bench import FlagBench
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene
from scenes.states.state import states_of

SCENE = """
brimline = 1

[camera]
width_mm = 36
height_mm = 24
pixels = [600, 400]

[[lens]]
name = "a"
focal_mm = {focal}
f_number = {stop}
front_diameter_mm = 114
pupil_behind_front_mm = {pupil}

[box]
ahead_mm = 4

[box.hood]
at_mm = 10
depth_mm = 50
rear_mm = [600, {rear}]
front_mm = [700, {front}]

[[box.flag]]
side = "top"
angle_deg = {angle}
length_mm = {length}
width_mm = 900
thickness_mm = 1
{extension}

[check]
focus_mm = ["infinity"]
"""
ROOM_MM, WIDER = 2.495, 1.02  # as clearances are told; and 2 % of the frame


def random_flag(rng):
    focal, stop, pupil = float(rng.uniform(20, 50)), float(rng.uniform(2, 8)), float(rng.uniform(30, 60))
    half = focal / stop / 2 + 12 / focal * (64 + pupil)  # of the beam at the hinge
    bend = None if rng.uniform() < 0.5 else (float(rng.uniform(20, 70)), float(rng.uniform(-30, 30)))
    hinge = half + float(rng.uniform(6, 30))
    return {"focal": focal, "stop": stop, "pupil": pupil, "hinge": hinge, "length": float(rng.uniform(60, 120)), "bend": bend}


def written(tmp_path, flag, angle):
    extension = "" if flag["bend"] is None else "extension = {{ length_mm = {}, angle_deg = {} }}".format(*flag["bend"])
    sizes = {key: flag[key] for key in ("focal", "stop", "pupil", "length")}
    path = tmp_path / "scene.toml"
    front = 2 * flag["hinge"]
    path.write_text(SCENE.format(**sizes, angle=angle, rear=front - 4, front=front, extension=extension))
    (state,) = states_of(load_scene(path).scene)
    return state


def room_mm(flag, hinge, angle_deg, scale=1.0):
    """The least distance of the blade's inner corners from the beam's upper side; hinge (z, y) in the frame."""
    slope = 12 / flag["focal"] * scale
    corners = [np.array(hinge)]
    turn = math.radians(angle_deg)
    corners.append(corners[-1] + flag["length"] * np.array([math.cos(turn), math.sin(turn)]))
    if flag["bend"] is not None:
        turn += math.radians(flag["bend"][1])
        corners.append(corners[-1] + flag["bend"][0] * np.array([math.cos(turn), math.sin(turn)]))
    beam = flag["focal"] / flag["stop"] / 2
    return min((y - beam - slope * (z + flag["pupil"])) / math.hypot(1, slope) for z, y in corners)


@pytest.mark.parametrize("seed", range(6))
def test_the_clear_angle_of_a_flag_leaves_its_room_in_space_and_a_degree_further_in_does_not(tmp_path, seed):
    flag = random_flag(np.random.default_rng(seed))
    bench = FlagBench(written(tmp_path, flag, 80.0))
    (place,) = bench.places
    hinge = (float(place.hinge.plane(0.0).origin_mm[2]), place.hinge.out_mm)

    def spare(angle):
        return min(room_mm(flag, hinge, angle) - ROOM_MM, room_mm(flag, hinge, angle, WIDER))

    exact = brentq(spare, -40.0, 89.0)
    found = bench.clear_deg(place.hinge, place.bars)
    assert exact - 0.01 <= found <= exact + 0.13
    flags = {"flag", "extension"}
    for angle, clear in ((found, True), (found - 1.0, False)):
        rooms = [room.room_mm for room in judge_state(written(tmp_path, flag, angle)).rooms if room.kind.value in flags]
        assert (min(rooms) > ROOM_MM) or not clear
        if not clear:
            assert min(rooms) < ROOM_MM + 0.05 or spare(angle) > -1e-9 or room_mm(flag, hinge, angle, WIDER) <= 0
