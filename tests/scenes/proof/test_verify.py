"""Proofs of clear frames and their verifier: it accepts what holds, refuses what was spoiled, shares no code with the judgement."""

import ast
import copy
import json
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geometry.frame import pose
from raytrace.judge.judgement import judge
from raytrace.judge.proof import proof_of
from raytrace.optics.camera import Guide
from scenes.proof.errors import NotProvableError
from scenes.proof.known_keys import KNOWN
from scenes.proof.plain_scene import Lens, Plate
from scenes.proof.verify import ALONE, PROVED, REFUSED, Rays, find, guide_holds, main, shown
from scenes.questions.check.proof import proved
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.fields import table_of
from scenes.scene_file.tables.scene import Scene
from scenes.states.judgement import empty_judgement_of, judgement_of
from scenes.states.load import load_scene, plans_of
from scenes.states.state import states_of
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.optics.snell import at, bend
from tests.scenes.proof.plain import proof_data, setting_of
from tests.scenes.random_boxes import random_scene as random_file

ROOT = Path(__file__).parents[3]
SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.8
front_diameter_mm = 90
front_glass_mm = 80
front_to_sensor_mm = 120
pupil_behind_front_mm = [38, 40]
close_focus_mm = 400
[box]
ahead_mm = 3
offset_mm = [0.4, -0.3]
back = { width_mm = 190, height_mm = 160, bore_mm = 110 }
seal = { kind = "donut" }
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 8
opening_mm = [120, 94]
corner_mm = 5
tilt_deg = 2.0
filter = { width_mm = 140, height_mm = 110, thickness_mm = 4 }
[[box.mask]]
name = "mask"
at_mm = 26
opening_mm = [132, 96]
corner_mm = 8
turn_deg = 1.5
[box.hood]
at_mm = 30
depth_mm = 50
rear_mm = [160, 120]
front_mm = [230, 170]
[[box.flag]]
name = "top flag"
side = "top"
angle_deg = 48
length_mm = 90
width_mm = 240
extension = { length_mm = 40, angle_deg = 5 }
[check]
focus_mm = ["infinity", "close"]
"""
MORE = '[[box.flag]]\nname = "left flag"\nside = "left"\nangle_deg = 60\nlength_mm = 90\nwidth_mm = 150\n[check]'


def states(text=SCENE):
    return list(states_of(parse_scene(text, source="scene.toml"), Resources()))


def is_clear(state, guide):
    judged = judgement_of(state, guide), empty_judgement_of(state, guide)
    return all(one is None or one.clear for one in judged)


@pytest.fixture(scope="module")
def entries():
    made = [proved(state, state.guides[0], tomllib.loads(SCENE)) for state in states()]
    assert [finding.word for finding, _ in made] == [PROVED, PROVED], made
    return [json.loads(json.dumps(entry)) for _, entry in made]


def said(entry, text=SCENE):
    return find(tomllib.loads(text), entry)


# What it rests on


def test_the_verifier_imports_nothing_of_the_program_but_itself():
    for path in (ROOT / "scenes/proof").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) else []
            tops = {name.split(".")[0] for name in names}
            assert not tops & {"geometry", "raytrace"}, path
            assert all(name.startswith("scenes.proof") for name in names if name.startswith("scenes")), path


@pytest.mark.parametrize("seed", range(12))
def test_the_bound_on_rays_is_no_less_than_traced_rays_reach_and_hardly_more(seed):
    """Source: rays by Snell's law in vector form (tests/raytrace/optics/snell.py), face by face."""
    rng = np.random.default_rng(seed)
    depth, object_z = rng.uniform(20, 60), np.inf if seed % 2 else rng.uniform(250, 600)
    depths, half = np.array([depth / (1.0 + 0.6 * (seed % 3 == 0)), depth]), np.array([rng.uniform(2, 9), rng.uniform(2, 9)])
    focals = rng.uniform(25, 40), rng.uniform(20, 30)
    lens = Lens(((depths[0],) * 2, (depths[1],) * 2), tuple(half), object_z, math.inf, lambda *_: focals)
    rectangle = np.array([[-18.0, 15.0], [-10.0, 12.0]])
    places = [
        (pose(ahead_mm=z, tilt_deg=rng.uniform(-6, 6), turn_deg=30.0), rng.uniform(2, 6), n) for z, n in ((15, 1.5), (40, 1.7))
    ]
    plates = tuple(Plate(p.rotation, p.origin_mm, d, n, (200.0, 200.0), False) for p, d, n in places)
    u = np.concatenate([np.stack(np.meshgrid(*(np.linspace(*side, 13) for side in rectangle)), -1).reshape(-1, 2)])
    turns = np.linspace(0, 2 * np.pi, 49)
    disc = np.column_stack([np.cos(turns), np.sin(turns)]) * half
    x, u = np.repeat(disc[None], len(u), 0).reshape(-1, 2), np.repeat(u, len(disc), 0)
    tangent = u / focals
    slope = tangent if np.isinf(object_z) else (tangent * (object_z + depths[1]) - x) / (object_z + depths)
    point = np.column_stack([x + slope * (-depths.min() + depths), np.full(len(x), -depths.min())])
    way = np.column_stack([slope, np.ones(len(x))])
    for p, d, n in places:
        axis = np.tile(p.rotation[:, 2], (len(point), 1))
        for side, ratio in ((-1, 1 / n), (1, n)):
            face = p.origin_mm + side * d / 2 * p.rotation[:, 2]
            point = point + (((face - point) * axis).sum(1) / (way * axis).sum(1))[:, None] * way
            way = bend(way / np.linalg.norm(way, axis=1)[:, None], axis, ratio)
    there = at(point, way / way[:, 2:], 120.0)
    rays = Rays(lens, rectangle, plates)
    for _ in range(6):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        reach, sideways = float((there @ normal).max()), float(np.hypot(*normal[:2]))
        assert not rays.within((120.0, 2), 1.0, normal[None], np.array([reach - 1e-5]))[0]
        assert rays.within((120.0, 2), 1.0, normal[None], np.array([reach + 0.08 * sideways]))[0]


WALK = ((0.0, 40.0, 1.0, 1.0), (15.0, 41.0, 0.97, 1.01), (40.0, 44.0, 0.9, 1.04))
BENT = {
    "walking": {"walk": WALK},
    "walking, barrel": {"walk": WALK, "distortion": (-0.06, 0.01)},
    "pincushion": {"distortion": (0.05, 0.0)},
    "equidistant": {"projection": "equidistant"},
    "stereographic, barrel": {"projection": "stereographic", "distortion": (-0.03, 0.0)},
}


@pytest.mark.parametrize("object_z", [math.inf, 300.0])
@pytest.mark.parametrize("kind", BENT)
def test_the_bound_holds_for_pupils_that_walk_and_pictures_that_are_bent(kind, object_z):
    """Rays from fields to the picture and into the pupil, the way round that needs no inverse; Snell's law as above.

    Source of the projections: r = f t, 2 f tan(t / 2); of the distortion r (1 + k1 r^2 + k2 r^4): docs/physics.md.
    """
    rng = np.random.default_rng(5)
    walk, focal, radius, half_diagonal = BENT[kind].get("walk", ()), 25.0, 6.0, 21.6
    lens = Lens(
        ((40.0, 40.0),) * 2, (radius,) * 2, object_z, math.inf, lambda *_: (focal, focal), half_diagonal=half_diagonal, **BENT[kind]
    )
    rectangle = np.array([[-17.0, 13.0], [-9.0, 11.0]])
    field, turn = (g.ravel() for g in np.meshgrid(np.linspace(0.0, 1.0, 500), np.linspace(0, 2 * np.pi, 1000)))
    r = {"equidistant": focal * field, "stereographic": 2 * focal * np.tan(field / 2)}.get(lens.projection, focal * np.tan(field))
    k1, k2 = lens.distortion
    share = r / half_diagonal
    picture = (r * (1 + k1 * share**2 + k2 * share**4))[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    seen = ((picture > rectangle[:, 0]) & (picture < rectangle[:, 1])).all(axis=1)
    field, toward = field[seen], np.column_stack([np.cos(turn), np.sin(turn)])[seen]
    table = np.array(walk or [(0.0, 40.0, 1.0, 1.0), (90.0, 40.0, 1.0, 1.0)])
    depth, along, across = (np.interp(np.degrees(field), table[:, 0], table[:, k]) for k in (1, 2, 3))
    along = along / (np.cos(field) if walk else 1.0)
    side = np.column_stack([-toward[:, 1], toward[:, 0]])
    tangent, rays = np.tan(field)[:, None] * toward, Rays(lens, rectangle, ())
    for _ in range(12):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        a, b = along * (toward @ normal[:2]), across * (side @ normal[:2])  # the point of the pupil's rim farthest that way
        x = radius * ((along * a)[:, None] * toward + (across * b)[:, None] * side) / np.hypot(a, b)[:, None]
        slope = tangent if math.isinf(object_z) else (tangent * (object_z + 40.0) - x) / (object_z + depth)[:, None]
        reach = float(((x + slope * (60.0 + depth)[:, None]) @ normal[:2]).max()) + 60.0 * normal[2]
        assert not rays.within((60.0, 0), 1.0, normal[None], np.array([reach - 1e-6]))[0]
        assert rays.within((60.0, 0), 1.0, normal[None], np.array([reach + 0.8]))[0]


# What holds


def test_lenses_with_bounds_and_front_ring_at_both_foci_through_a_leaning_filter_are_proved(entries):
    assert [said(entry).word for entry in entries] == [PROVED, PROVED]
    for entry, state in zip(entries, states(), strict=True):
        judged = judgement_of(state, state.guides[0]), empty_judgement_of(state, state.guides[0])
        judged_mm = min(found.room_mm for found in judged)
        assert judged_mm - 0.07 < said(entry).room_mm <= judged_mm


DEMOS = [
    ("demo.toml", 5),
    pytest.param("demo.toml", 1, marks=pytest.mark.slow),
    pytest.param("demo-36x24.toml", 1, marks=pytest.mark.slow),
]


@pytest.mark.parametrize(("demo", "step"), DEMOS)
def test_the_clear_guides_of_the_demo_are_proved_but_for_traced_pupils(demo, step):
    show = load_scene(ROOT / "scenes/demo" / demo)
    words = {}
    for state in plans_of(show)[step - 1 :: step]:
        guide = state.guides[0]
        if is_clear(state, guide):
            finding, _ = proved(state, guide, show.tables)
            words.setdefault(finding.word, []).append(finding)
    assert len(words[PROVED]) >= (10 if step == 1 else 2)
    assert all("traced" in one.why for one in words.pop(ALONE, ()))
    assert set(words) == {PROVED}


def random_proof(seed):
    """A random box with a guide narrowed until it is clear: the setting, and the proof's data; None where it is not for proofs."""
    scene = random_scene(np.random.default_rng(seed))
    guide = Guide(name="", half_width_mm=scene.width_mm / 2, half_height_mm=scene.height_mm / 2)
    boxes = [scene.box, replace(scene.box, glasses=())]
    scale = 0.93 * min(1.0 + (judge([scene.lens], guide, box).margin_percent or 0.0) / 100.0 for box in boxes)
    narrow = replace(guide, half_width_mm=guide.half_width_mm * scale, half_height_mm=guide.half_height_mm * scale)
    room_mm = min(judge([scene.lens], narrow, box, margin=False).room_mm for box in boxes)
    if room_mm <= 0.0:
        return None
    try:
        setting = setting_of(scene.lens, narrow, scene.box)
    except NotProvableError:
        return None
    proof = proof_of([scene.lens], narrow, scene.box, 0.8 * room_mm)
    assert proof is not None
    return setting, proof_data(proof), room_mm


def test_random_boxes_with_all_kinds_of_glass_and_openings_are_proved():
    found = [made for seed in range(1000, 1020) if (made := random_proof(seed)) is not None]
    assert len(found) > 4
    for setting, data, room_mm in found:
        assert guide_holds(setting, data) > 0.5 * room_mm - 0.06


@pytest.mark.slow
def test_clear_states_of_some_hundred_random_scene_files_are_proved():
    clear = 0
    for seed in range(100):
        text = random_file(seed)
        for state in states(text):
            if is_clear(state, state.guides[0]):
                clear += 1
                finding, _ = proved(state, state.guides[0], tomllib.loads(text))
                assert finding.word == PROVED, (seed, finding)
    assert clear > 50


@pytest.mark.parametrize(
    "lens",
    [
        "projection = 'equidistant'\npupil_behind_front_mm = 38",
        "distortion = [-0.03, 0.005]\npupil_behind_front_mm = 38",
        "pupil_walk = [[0, 38, 1, 1], [25, 39, 0.98, 1.01], [50, 42, 0.9, 1.02]]",
    ],
)
def test_pupils_that_walk_and_pictures_that_are_bent_are_proved_at_both_foci(lens):
    text = SCENE.replace("focal_mm = 25", "focal_mm = 34").replace("pupil_behind_front_mm = [38, 40]", lens)
    for state in states(text):
        assert is_clear(state, state.guides[0])
        assert proved(state, state.guides[0], tomllib.loads(text))[0].word == PROVED


# What does not


def spoiled(entry, spoil):
    other = copy.deepcopy(entry)
    spoil(other["proof"])
    return other


def rows_of(proof):
    return [row for part in proof["parts"] for row in part["rows"]]


def slack_mm(entry, row, way):
    """How far a plane may be moved before it is refused, by halving."""
    was, low, high = row[9], 0.0, 100.0
    for _ in range(18):
        row[9] = was + math.copysign((low + high) / 2, way)
        low, high = ((low + high) / 2, high) if said(entry).word == PROVED else (low, (low + high) / 2)
    row[9] = was
    return low


@pytest.mark.parametrize("by_mm", [0.01, -0.01])
def test_a_plane_moved_a_hundredth_past_its_slack_is_refused(entries, by_mm):
    entry = copy.deepcopy(entries[0])
    for k in range(0, len(rows_of(entry["proof"])), 60):
        row = rows_of(entry["proof"])[k]
        was, slack = row[9], slack_mm(entry, row, by_mm)
        row[9] = was + math.copysign(slack + 0.01, by_mm)
        assert said(entry).word == REFUSED
        row[9] = was
    assert said(entry).word == PROVED


def test_planes_a_tenth_into_the_light_and_a_room_a_hundredth_larger_than_they_leave_are_refused(entries):
    entry = copy.deepcopy(entries[0])
    for row in rows_of(entry["proof"])[::20]:
        row[9] -= 0.1  # the planes were laid 0.02 off the light
        assert "light crosses" in said(entry).why
        row[9] += 0.1
    entry["proof"]["room_mm"] += 0.01
    assert "leaves" in said(entry).why


@pytest.mark.parametrize(("place", "value"), [(0, 0.5), (0, -9), (1, 40), (3, 0.5), (3, -2), (2, -0.5), (2, 1.5)])
def test_planes_of_legs_openings_and_discs_that_there_are_not_are_refused(entries, place, value):
    """Else a plane would count for a leg whose light it was never held against."""
    for k in (0, -1):
        entry = copy.deepcopy(entries[0])
        rows_of(entry["proof"])[k][place] = value
        assert said(entry).word == REFUSED


def test_a_proof_without_one_of_its_rows_is_refused(entries):
    count = len(rows_of(entries[0]["proof"]))
    for k in range(0, count, 7):
        entry = copy.deepcopy(entries[0])
        row = rows_of(entry["proof"])[k]
        next(part for part in entry["proof"]["parts"] if row in part["rows"])["rows"].remove(row)
        assert said(entry).word == REFUSED, row


def test_an_arc_left_open_is_refused(entries):
    entry = copy.deepcopy(entries[0])
    bent = [row for row in rows_of(entry["proof"]) if row[4] < row[5]]
    bent[len(bent) // 2][5] -= 1e-6
    assert "do not close" in said(entry).why


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("place", [6, 8, 9])
def test_numbers_that_are_none_are_refused(entries, place, value):
    entry = copy.deepcopy(entries[0])
    rows_of(entry["proof"])[3][place] = value
    assert said(entry).word == REFUSED


@pytest.mark.parametrize(
    ("key", "value"), [("room_mm", math.nan), ("room_mm", 9.0), ("room_mm", -1.0), ("start_mm", math.nan), ("start_mm", -20.0)]
)
def test_another_room_or_start_is_refused(entries, key, value):
    assert said(spoiled(entries[0], lambda proof: proof.update({key: value}))).word == REFUSED


def test_rays_that_end_before_the_last_part_are_refused(entries):
    assert "end before" in said(spoiled(entries[0], lambda proof: proof.update(end_mm=proof["end_mm"] - 20.0))).why


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("angle_deg = 48", "angle_deg = 20"),
        ("at_mm = 26", "at_mm = 45"),
        ("opening_mm = [132, 96]", "opening_mm = [118, 96]"),
        ("offset_mm = [0.4, -0.3]", "offset_mm = [6.4, -0.3]"),
        ("ahead_mm = 3", "ahead_mm = 12"),
        ("corner_mm = 8", "corner_mm = 40"),
        ("turn_deg = 1.5", "turn_deg = 25"),
        ("[check]", MORE),
        ('[[box.flag]]\nname = "top flag"', '[[box.mask]]\nat_mm = 90\nopening_mm = [500, 500]\n[[box.flag]]\nname = "top flag"'),
        ("focal_mm = 25", "focal_mm = 24"),
        ("focal_mm = 25", "focal_mm = 21"),
        ("pupil_behind_front_mm = [38, 40]", "pupil_behind_front_mm = [38, 46]"),
        ("f_number = 2.8", "f_number = 4.0"),
        ("width_mm = 36", "width_mm = 39"),
        ('name = "25"', 'name = "26"'),
        ("pupil_behind_front_mm", "squeeze = 1.33\npupil_behind_front_mm"),
        ("[box]", "[[lens.state]]\nfocus_mm = 'infinity'\nhalf_field_deg = 39\n[box]"),
    ],
)
def test_a_proof_is_refused_for_a_scene_whose_parts_or_lens_were_changed(entries, was, now):
    assert was in SCENE
    assert said(entries[0], SCENE.replace(was, now, 1)).word == REFUSED


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("f_number = 2.8", "f_number = 1.4"),
        ("[check]", "[check]\nf_numbers = [5.6]"),
        ('focus_mm = ["infinity", "close"]', "focus_mm = [300]"),
    ],
)
def test_a_proof_is_refused_for_a_stop_or_focus_that_the_scene_looks_at_no_more(entries, was, now):
    """A lens that opens further than it did: the proof of its former widest stop said nothing of the light that it lets in now."""
    assert was in SCENE
    finding = said(entries[0], SCENE.replace(was, now, 1))
    assert (finding.word, finding.why) == (REFUSED, "it is of a focus or stop that the scene does not look at")


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("[check]", "[check]\nf_numbers = [2.0, 2.8, 5.6]"),  # the widest stands in for 2.0
        ('focus_mm = ["infinity", "close"]\n', ""),
        ('focus_mm = ["infinity", "close"]', 'focus_mm = [400, 900, "infinity"]'),
        ("close_focus_mm = 400\n", "[[lens.state]]\nfocus_mm = 'infinity'\n[[lens.state]]\nfocus_mm = 400\n"),
    ],
)
def test_a_proof_holds_in_whatever_words_the_scene_asks_for_its_focus_and_stop(entries, was, now):
    assert was in SCENE
    assert [said(entry, SCENE.replace(was, now, 1)).word for entry in entries] == [PROVED, PROVED]


@pytest.mark.parametrize("lens", ["", "squeeze = 1.33\n"])
def test_a_scene_that_check_refuses_since_its_distortion_folds_the_picture_is_refused(entries, lens):
    """r (1 - r^2 / 2) turns back at r = sqrt(2 / 3), within the half diagonal."""
    folded = SCENE.replace("close_focus_mm", f"{lens}distortion = [-0.5, 0.0]\nclose_focus_mm", 1)
    for entry in (entries[0], {**entries[0], "proof": None, "why": "its picture folds back"}):
        finding = said(entry, folded)
        assert (finding.word, "folds the picture back" in finding.why) == (REFUSED, True)


def test_changes_that_give_the_light_more_room_leave_the_proof_as_it_was(entries):
    for was, now in [("angle_deg = 48", "angle_deg = 60"), ("opening_mm = [132, 96]", "opening_mm = [150, 110]")]:
        assert said(entries[0], SCENE.replace(was, now, 1)).word == PROVED


@pytest.mark.parametrize(
    ("was", "now", "why"),
    [
        ("close_focus_mm", "squeeze = 1.33\ndistortion = [-0.02, 0.0]\nclose_focus_mm", "anamorphic"),
        ("close_focus_mm", "distortion = [-0.05, 0.1]\nclose_focus_mm", "turns between barrel and pincushion"),
        ("pupil_behind_front_mm = [38, 40]", "prescription = 'x.toml'", "prescription"),
        ("thickness_mm = 4 }", "thickness_mm = 4, kind = 'close-up', power_dioptre = 1 }", "close-up"),
        ("opening_mm = [132, 96]\ncorner_mm = 8", "outline = 'x.dxf'", "drawing"),
        ("[check]", "[[box.solid]]\nfile = 'x.stl'\n[check]", "mesh"),
        ("width_mm = 140, height_mm = 110", "width_mm = 80, height_mm = 110", "edge of a filter"),
    ],
)
def test_what_is_not_provable_rests_on_the_judgement_alone_and_says_why(entries, was, now, why):
    assert was in SCENE
    scene = SCENE.replace(was, now, 1)
    bare = said(entries[0] | {"proof": None}, scene)
    tried = shown(tomllib.loads(scene), entries[0])
    claimed = said(entries[0], scene)  # what was proved, and can be no more, is not let pass
    assert (bare.word, tried.word, claimed.word) == (ALONE, ALONE, REFUSED)
    assert all(why in one.why for one in (tried, claimed))


@pytest.mark.parametrize(
    "text",
    [
        '{"guides": ["x"]}',
        '{"guides": [null]}',
        '{"guides": 3}',
        "[1]",
        "null",
        '{"guides": ' + 20000 * "[",
        '{"guides": {"a": 1}}',
    ],
)
def test_a_file_that_is_no_proof_is_told_in_one_sentence(tmp_path, capsys, text):
    (tmp_path / "scene.toml").write_text(SCENE)
    (tmp_path / "proof.json").write_text(text)
    assert main([str(tmp_path / "scene.toml"), str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("error: ")
    assert said.count("\n") == 1
    assert "give a scene file, and the folder that check --prove has filled" in said


def test_a_proof_with_a_key_that_stands_twice_is_refused(tmp_path, capsys, entries):
    """RFC 8259, section 4: what a reader makes of such a key is open; Python's takes the last."""
    text = json.dumps({"guides": entries})
    (tmp_path / "scene.toml").write_text(SCENE)
    (tmp_path / "proof.json").write_text(text.replace('"guides": ', '"guides": [], "guides": ', 1))
    assert main([str(tmp_path / "scene.toml"), str(tmp_path)]) == 2
    assert 'the key "guides" stands twice in one object of the proof' in capsys.readouterr().err
    (tmp_path / "proof.json").write_text(text.replace('"focus_mm": ', '"focus_mm": 5, "focus_mm": ', 1))
    assert main([str(tmp_path / "scene.toml"), str(tmp_path)]) == 2


def test_a_scene_nested_without_end_is_told_in_one_sentence(tmp_path, capsys):
    (tmp_path / "scene.toml").write_text("a = " + 20000 * "[")
    (tmp_path / "proof.json").write_text('{"guides": []}')
    assert main([str(tmp_path / "scene.toml"), str(tmp_path)]) == 2
    assert capsys.readouterr().err.startswith("error: ")


@pytest.mark.parametrize(
    ("heading", "strange"), [("[[box.flags]]", "box.flags"), ("[[flag]]", "flag"), ("[[box.flag]]\ntilt = 4", "box.flag.tilt")]
)
def test_a_scene_with_a_key_that_no_scene_has_is_refused_by_the_verifier_itself(tmp_path, capsys, heading, strange):
    (tmp_path / "show.toml").write_text(f'{SCENE}\n{heading}\nside = "top"\nangle_deg = 0\nlength_mm = 200\nwidth_mm = 260\n')
    (tmp_path / "proof.json").write_text(json.dumps({"guides": []}))
    assert main([str(tmp_path / "show.toml"), str(tmp_path)]) == 2
    assert f"the scene has {strange}, which is no key of a scene" in capsys.readouterr().err


def test_what_a_scene_looks_at_and_a_proof_says_nothing_of_is_told(tmp_path, capsys, entries):
    """A second lens, dark or not, is added after the proof was made; of the first the entry of one focus is lost."""
    lens = SCENE[SCENE.index("[[lens]]") : SCENE.index("[box]")].replace('name = "25"', 'name = "14"')
    (tmp_path / "show.toml").write_text(SCENE.replace("[box]", f"{lens}[box]", 1))
    (tmp_path / "proof.json").write_text(json.dumps({"guides": entries[:1]}))
    assert main([str(tmp_path / "show.toml"), str(tmp_path)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert PROVED in said[0]
    guide = entries[0]["guide"]
    assert said[1] == f"the proof says nothing of 25: focus 400 mm, f/2.8, {guide}"
    assert said[2] == f"the proof says nothing of 14: infinity, f/2.8, {guide} | focus 400 mm, f/2.8, {guide}"


def test_an_entry_that_is_named_for_another_lens_is_refused(entries):
    assert said({**entries[0], "state": "21_inf_f2.8"}).word == REFUSED


def test_a_scene_whose_mesh_is_gone_is_refused_as_check_refuses_it(tmp_path, capsys):
    (tmp_path / "show.toml").write_text(f"{SCENE}\n[[box.solid]]\nfile = 'bracket.stl'\n")
    (tmp_path / "proof.json").write_text(json.dumps({"guides": []}))
    assert main([str(tmp_path / "show.toml"), str(tmp_path)]) == 2
    assert "the scene names the file bracket.stl, which is not there" in capsys.readouterr().err


def test_the_verifier_knows_the_keys_that_scenes_have_and_no_others():
    def told(model, path):
        yield path, set(model.model_fields)
        for key, field in model.model_fields.items():
            inner, here = table_of(field.annotation), f"{path}.{key}".removeprefix(".")
            if inner is not None and here in KNOWN:
                yield from told(inner, here)

    assert dict(told(Scene, "")) == KNOWN
