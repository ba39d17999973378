"""No two commands disagree about what is clear: each one's answer is put into the scene and judged again, in boxes by chance."""

import itertools
import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from raytrace.box import Box
from raytrace.optics.lens import pencils_for
from scenes.answers.answer import answer_text
from scenes.changes.flag_cuts import Cut
from scenes.questions.filters.sizes import gathered, smallest, stage_needs
from scenes.questions.flags.answer import answer as flags
from scenes.questions.ghosts.answer import answer as ghosts
from scenes.questions.leaks.answer import answer as leaks
from scenes.questions.leaks.text import light_advice_words
from scenes.questions.masks.answer import answer as masks
from scenes.questions.tolerances.answer import answer as builds
from scenes.questions.widest.lens_family import family_states
from scenes.questions.widest.report import Fate, widest_report
from scenes.questions.widest.report import Wanted as FamilyWanted
from scenes.questions.widest.scene_lenses import catalogue
from scenes.questions.widest.wanted import wanted_of
from scenes.states.clear_rule import Word
from scenes.states.full_range import ranged
from scenes.states.judgement import judge_state
from scenes.states.keys import Setting
from scenes.states.lens_judgement import at_focus
from scenes.states.load import load_scene, plans_of
from scenes.states.select import widest_stops
from scenes.states.state import plan_state
from tests.scenes.random_boxes import random_scene

FEW, MANY = 2, 6  # boxes: quick, and among the slow tests


def seeds(first, quick=FEW, all_of=MANY):
    return [pytest.param(seed, marks=[pytest.mark.slow] if seed - first >= quick else []) for seed in range(first, first + all_of)]


def varied(seed):
    """A box by chance, looked at from infinity to close up, with a pupil of one of three kinds, or two pupils."""
    rng = np.random.default_rng(1000 + seed)
    text = random_scene(seed).replace('focus_mm = ["infinity"]', 'focus_mm = ["infinity", "close"]')
    depth = float(re.search(r"pupil_behind_front_mm = ([\d.]+)", text)[1])
    close = int(rng.choice([330, 420, 500, 900]))
    text = text.replace("close_focus_mm = 500", f"close_focus_mm = {close}")
    pupil = {
        0: f"pupil_behind_front_mm = {depth}",
        1: f"pupil_walk = [[0, {depth}, 1, 1], [30, {depth + 1.5}, 0.99, 1.01], [70, {depth + 3}, 0.98, 1.02]]",
        2: f"pupil_behind_front_mm = [{depth - 2}, {depth + 2}]",
        3: f"pupil_behind_front_mm = {depth}",
    }[int(rng.integers(0, 4))]
    return re.sub(r"pupil_behind_front_mm = [\d.]+", pupil, text)


def roomy(text, by_mm=(26.0, 34.0)):
    """The same box with wider trays, filters, hood and plate, so that its flags decide."""

    def wider(match):
        return f"{match[1]} = [{', '.join(f'{float(size) + by_mm[0]:.3f}' for size in match[2].split(','))}]"

    text = re.sub(r"(opening_mm|rear_mm|front_mm) = \[([\d., ]+)\]", wider, text)
    return re.sub(
        r"filter = \{[^}]*\}",
        lambda m: re.sub(r"(width_mm|height_mm) = ([\d.]+)", lambda n: f"{n[1]} = {float(n[2]) + by_mm[0]:.3f}", m[0]),
        text,
    )


@pytest.fixture
def show_of(tmp_path):
    number = itertools.count()

    def written(text):
        path = tmp_path / f"scene{next(number)}.toml"
        path.write_text(text)
        return load_scene(path)

    return written


def settings_between(show, count, seed=3):
    """The states checked at their widest stops, and as many at random focus distances between infinity and the nearest."""
    plans = widest_stops(plans_of(show))
    nearest = min(plan.focus_mm for plan in plans)
    inverse = np.random.default_rng(seed).uniform(0, 1 / nearest, count)
    return [*plans, *(at_focus(plans[0], float(1 / one)) for one in inverse)]


def flags_alone(state):
    """A state whose box is its flags."""
    parts = tuple(part for part in state.box.parts if part.kind.value in ("flag", "extension"))
    return replace(state, box=Box(parts=parts, glasses=state.box.glasses), notes=())


def clear_by_light(state):
    """As judged, but that parts may overlap: random flags meet each other, which `flags` tells apart from its angles."""
    judged = judge_state(state)
    return replace(judged, faults=tuple(fault for fault in judged.faults if "overlaps" not in fault.text)).clear


def with_angles(text, angles):
    """The scene with its flags at other angles, in their order."""
    left = iter(angles)
    return re.sub(r"(\[\[box\.flag\]\]\nside = \"\w+\"\nangle_deg = )[\d.-]+", lambda m: f"{m[1]}{next(left)}", text)


@pytest.mark.parametrize("seed", seeds(0))
def test_at_the_limits_of_flags_they_are_clear_at_every_focus_and_a_degree_further_in_not(show_of, seed):
    text = roomy(varied(seed))
    found = flags(show_of(text)).flags
    limits = [flag.clear_deg for flag in found]
    kept = [limit if math.isfinite(limit) else 90.0 for limit in limits]
    hopeless = {state.plan.focus_mm for flag in found for state in flag.hopeless}
    checked = 0
    for state in settings_between(show_of(with_angles(text, kept)), 5):
        if not hopeless:
            assert clear_by_light(flags_alone(state)), state
            checked += 1
    for number, limit in enumerate(limits):
        if not math.isfinite(limit) or limit < -28.9:
            continue
        further_in = [angle - (1.0 if k == number else 0.0) for k, angle in enumerate(kept)]
        states = settings_between(show_of(with_angles(text, further_in)), 24)
        assert not all(clear_by_light(flags_alone(state)) for state in states)
        checked += 1
    assert checked


@pytest.mark.parametrize("seed", seeds(20))
def test_the_scenes_lenses_are_clear_in_widest_where_check_calls_them_clear_and_only_there(show_of, seed):
    show = show_of(roomy(varied(seed), (3.0 * (seed % 8), 0)))
    (lens,) = catalogue(show, widest_stops(plans_of(show)), 8.0)
    states = settings_between(show, 6)
    judged = [judge_state(state).clear for state in states]
    if lens.fits[0].word is Word.CLEAR:
        assert all(judged)
    else:
        assert not all(judged)


@pytest.mark.parametrize("seed", seeds(40))
def test_the_shortest_lens_of_a_family_that_widest_lets_through_is_clear_and_a_tenth_shorter_is_not(show_of, seed):
    show = show_of(roomy(varied(seed), (12.0, 0)))
    report = widest_report(show, wanted_of(pupil="held", added_mm=8.0))
    (as_set,) = (one for one in report.setups if one.setup.masked and one.setup.flagged and not one.setup.added)
    told = [state for state in as_set.states if state.clear.fate is Fate.FOUND]
    assert isinstance(wanted_of(), FamilyWanted)
    for limit in told:
        plan = next(p for p in plans_of(show) if p.focus_mm == limit.focus_mm)
        clear = []
        for focal_mm in (limit.clear.focal_mm, limit.clear.focal_mm - 0.25):
            setting = Setting(focal_mm=plan.focal_mm, focus_mm=limit.focus_mm, f_number=limit.f_number)
            state = plan_state(show.scene, plan.lens, show.resources, setting, grid=plan.grid, guides=plan.guides)
            variants = family_states(report.family, plan.grid, focal_mm, limit.focus_mm, limit.f_number)
            clear.append(clear_by_light(replace(state, variants=variants, notes=())))
        assert clear == [True, False]


@pytest.mark.parametrize("seed", seeds(60))
def test_the_filter_size_told_holds_every_ray_and_the_next_smaller_does_not_keep_its_margin(show_of, seed):
    # Rays to the rear face of the glass nearest the lens run straight from the pupil: similar triangles, for an upright tray.
    text = re.sub(r"\ntilt_deg = [-\d.]+", "\ntilt_deg = 0", varied(seed))
    show = show_of(text)
    held = ranged(show, show.scene.lens[0])
    stage = gathered(show.scene, [held], [stage_needs(show.scene, held)])[0]
    (need,) = stage.needs
    margin_mm = 1.0
    right = smallest(need.sizes, margin_mm, turned=False)
    if right is None:
        pytest.skip("no catalogue size is large enough for this beam")
    thickness = show.scene.box.stage[0].filter.thickness_mm
    z_mm = 3.0 + show.scene.box.stage[0].at_mm + show.scene.box.stage[0].depth_mm / 2 - thickness / 2
    points = []
    for state in settings_between(show, 12):
        edge = np.concatenate([guide.rim_points_mm(17) for guide in state.guides])
        turns = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        rim = np.column_stack([np.cos(turns), np.sin(turns)])
        for lens in state.variants:
            pencils = pencils_for(lens, edge)
            points.append(pencils.at_plane_mm(pencils.crossing_mm(rim), z_mm).reshape(-1, 2))
    beam = np.concatenate(points)
    for room in need.sizes:
        size = room.size
        if size.diameter_mm is None:
            left = (np.array([size.width_mm, size.height_mm]) / 2 - np.abs(beam)).min()
            assert left >= room.fitted_mm - 0.02, size.name
            if room is right:
                assert left >= margin_mm - 0.02
            if _area(room) < _area(right):
                assert left < margin_mm + 0.6  # the beam at the front face, and trays empty, count too


def _area(room):
    return room.size.width_mm * room.size.height_mm


@pytest.mark.parametrize("seed", seeds(80))
def test_builds_without_tolerance_are_as_check_has_it(show_of, seed):
    text = roomy(varied(seed), (2.0 * (seed % 7), 0)) + '\n[[tolerance]]\nof = "box.ahead_mm"\nplus_minus = 0.0001\n'
    text = re.sub(r"pupil_behind_front_mm = \[([\d.]+), [\d.]+\]", r"pupil_behind_front_mm = \1", text)
    show = show_of(text)
    (lens,) = builds(show, count=8).found.lenses
    rooms = [room.room_mm for plan in widest_stops(plans_of(show)) for room in judge_state(plan).rooms]
    faults = any(judge_state(plan).faults for plan in widest_stops(plans_of(show)))
    if not faults:
        assert lens.nominal.clearance_mm == pytest.approx(min(rooms), abs=2e-3)
    assert (lens.nominal.clearance_mm > 0) == (min(rooms) > 0 and not faults)


@pytest.mark.parametrize("seed", seeds(100))
def test_a_mask_put_back_keeps_check_clear_at_every_focus(show_of, tmp_path, seed):
    text = roomy(varied(seed), (26.0, 0))
    at_mm = max(float(one) for one in re.findall(r"\nat_mm = ([\d.]+)\ndepth_mm = 8\n", text)) + 8.5
    text = re.sub(r"\n\[\[box\.flag\]\].*?(?=\n\[\[|\n\[check\])", "", text, flags=re.DOTALL)
    text = re.sub(r"\n\[box\.hood\].*?(?=\n\[\[|\n\[check\])", "", text, flags=re.DOTALL)
    found = masks(show_of(text), at_mm=at_mm, margin_mm=5.0, also_empty=True)
    name, data = next((name, data) for name, data in found.files(".") if name.endswith(".dxf"))
    (tmp_path / name).write_bytes(data)
    table = f'\n[[box.mask]]\nat_mm = {at_mm}\nthickness_mm = 1\noutline = "{name}"\n\n[check]'
    checked = 0
    for state in settings_between(show_of(text.replace("\n[check]", table)), 6):
        judged = judge_state(state)
        mask = next(room for room in judged.worst_rooms if room.kind.value == "mask")
        assert mask.room_mm >= judged.needed_mm - 0.005
        checked += 1
    assert checked > 6
    assert not shapely.is_empty(found.report.masks[0].cutout)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(120, 123))
def test_what_leaks_advises_is_as_promised(show_of, seed):
    text = roomy(varied(seed))
    show = show_of(text)
    before = [judge_state(state).clear for state in settings_between(show, 4)]
    (_, advice) = leaks(show, columns=64, solid=False).cases[0]
    for light in advice.lights:
        if isinstance(light, str) or light.to_angle_deg == light.angle_deg:
            continue
        names = [f"{side} flag" for side in re.findall(r"side = \"(\w+)\"", text)]
        now = [float(one) for one in re.findall(r"side = \"\w+\"\nangle_deg = ([\d.-]+)", text)]
        angles = [light.to_angle_deg if name == light.flag else angle for name, angle in zip(names, now, strict=True)]
        after = [judge_state(state).clear for state in settings_between(show_of(with_angles(text, angles)), 4)]
        assert all(then or not was for then, was in zip(after, before, strict=True))
        if not light.not_clear:
            assert all(after)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(140, 143))
def test_a_tilt_that_ghosts_call_clear_keeps_check_clear(show_of, seed):
    text = roomy(varied(seed), (14.0, 0))
    show = show_of(text)
    clear = {plan.key: judge_state(plan).clear for plan in widest_stops(plans_of(show))}
    for report in ghosts(show, grid=True).reports:
        for tilt in report.tilts:
            if not tilt.works or tilt.is_present or tilt.what == "all trays alike":
                continue
            then = report.tiltable.refit

            state = report.plan.with_box(then.tilted(tilt.keys, tilt.tilt_deg))
            assert judge_state(state).clear or not clear[report.plan.key]


# Leaks looks at the focus named first, close up; the flag has to come in farther at infinity.
FOCUSED = """
brimline = 1
[camera]
width_mm = 24.0
height_mm = 13.5
pixels = [320, 180]
[[lens]]
name = "35"
focal_mm = 35
f_number = 2.8
front_diameter_mm = 80
front_to_sensor_mm = 120
pupil_behind_front_mm = 60
close_focus_mm = 300
[box]
back = { width_mm = 160, height_mm = 140, bore_mm = 82 }
seal = { kind = "donut" }
[[box.stage]]
at_mm = 8
depth_mm = 8
opening_mm = [140, 110]
filter = { width_mm = 150, height_mm = 120 }
[box.hood]
at_mm = 18
depth_mm = 30
rear_mm = [150, 120]
front_mm = [170, 130]
[[box.flag]]
side = "top"
angle_deg = 80
length_mm = 140
width_mm = 400
[[light]]
name = "lamp"
azimuth_deg = 5
elevation_deg = 52
width_deg = 0.5
[check]
focus_mm = ["close", "infinity"]
"""


def test_leaks_and_flags_give_one_angle_for_a_flag_and_a_light_which_holds_at_every_focus(show_of):
    show = show_of(FOCUSED)
    ((window,),) = (light.windows for light in flags(show).lights)
    assert window.opens
    found = leaks(show, columns=64, solid=False)
    ((report, advice),) = found.cases
    assert window.decided_by.focus_mm > report.plan.focus_mm
    (light,) = advice.lights
    assert light.keeps_off
    assert light.to_angle_deg == window.cut_deg
    assert f"bring the top flag from 80 to {window.cut_deg:g} deg: off the glass" in answer_text(found)
    elsewhere = replace(light, off=Cut(angle_deg=light.to_angle_deg - 1.0, decided_by=window.decided_by))
    assert not elsewhere.keeps_off
    assert "off the glass here, not with 35, infinity, f/2.8" in light_advice_words(elsewhere)[0]
