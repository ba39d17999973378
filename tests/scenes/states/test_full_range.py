"""Which states hold a lens's whole range."""

import numpy as np
import pytest

from raytrace.beam.clearance import beams_of
from scenes.states.full_range import range_plans, zoomed_mm
from scenes.states.load import load_scene
from scenes.states.state import Setting, guides_of, pixel_grid, plan_state

SCENE = """
brimline = 1
title = "A zoom"

[camera]
width_mm = 36
height_mm = 24
pixels = [1200, 800]

[[lens]]
name = "zoom"
focal_mm = 20
f_number = 4.0
front_diameter_mm = 130
pupil_behind_front_mm = 40
{rows}

[box]
mount = "rods-15"
ahead_mm = 4

[[box.mask]]
at_mm = 20
opening_mm = [200, 160]
"""
WIDE, LONG = (20.0, 39.5, 40.0), (80.0, 13.9, 160.0)  # focal length, half field, pupil depth
Z_MM = 26.0


def lens_of(tmp_path, *, fields):
    rows = [
        f"[[lens.state]]\nfocal_mm = {focal}\npupil_behind_front_mm = {depth}\n" + (f"half_field_deg = {field}\n" if fields else "")
        for focal, field, depth in (WIDE, LONG)
    ]
    path = tmp_path / "zoom.toml"
    path.write_text(SCENE.format(rows="\n".join(rows)))
    loaded = load_scene(path)
    return loaded, loaded.scene.lens[0]


def half_width_mm(share):
    """Half the beam's width at the plane for a zoom `share` of the way from wide to long.

    The depth runs straight, the field straight along atan(w / 2f), what a lens of that focal length sees of 36 mm.
    """
    focal, _, depth = (low + share * (high - low) for low, high in zip(WIDE, LONG, strict=True))
    wide, here, long = (np.arctan(18.0 / f) for f in (WIDE[0], focal, LONG[0]))
    field = WIDE[1] + (LONG[1] - WIDE[1]) * (wide - here) / (wide - long)
    return np.tan(np.radians(field)) * (depth + Z_MM) + focal / 4.0 / 2


def test_a_zoom_with_stated_fields_is_held_by_its_states_all_the_way_between_its_rows(tmp_path):
    loaded, lens = lens_of(tmp_path, fields=True)
    widest = max(half_width_mm(share) for share in np.linspace(0, 1, 1001))
    ends = [
        named.beam.section_at(Z_MM).bounds[2]
        for plan in range_plans(loaded, lens)
        for named in beams_of(plan.variants, plan.guides, plan.box)
    ]
    assert max(ends) == pytest.approx(widest, abs=0.2)


def test_a_field_between_two_rows_runs_with_what_the_focal_length_says(tmp_path):
    loaded, lens = lens_of(tmp_path, fields=True)
    for share in (0.25, 0.5, 0.75):
        setting = Setting(focal_mm=20.0 + 60.0 * share, focus_mm=np.inf, f_number=4.0)
        grid = pixel_grid(loaded.scene.camera)
        plan = plan_state(loaded.scene, lens, loaded.resources, setting, grid=grid, guides=guides_of(loaded.scene.camera, grid))
        (named,) = beams_of(plan.variants, plan.guides, plan.box)
        assert named.beam.section_at(Z_MM).bounds[2] == pytest.approx(half_width_mm(share), abs=0.05)


def test_rows_that_state_no_field_hold_what_lies_between_them(tmp_path):
    _, lens = lens_of(tmp_path, fields=False)
    assert zoomed_mm(lens) == (20.0, 80.0)


# A field that is a guess, at close focus. D = f (2 + m + 1/m) and tan(field) = x / (m L), L = D - c with c = front to sensor less
# the pupil's depth (Jacobson et al., Manual of Photography; Newton's form of the thin-lens law), so m L = f + m (2 f - c) + f m^2:
# with c > 2 f it is least at m = (c - 2 f) / (2 f), between infinity and life size. A ray from the edge R of the pupil to the
# object point X = x / m passes d ahead of the pupil at R + (X - R) d / L.

PRIME = """
brimline = 1
title = "A retrofocus lens at close focus"

[camera]
width_mm = 36
height_mm = 24
pixels = [60, 40]

[[lens]]
name = "prime"
focal_mm = {focal}
f_number = {f_number}
front_diameter_mm = 60
front_to_sensor_mm = 160
pupil_behind_front_mm = 30
close_focus_mm = {close}
{more}

[box]
mount = "rods-15"
ahead_mm = 4

[[box.mask]]
at_mm = 44
opening_mm = [100, 100]
"""
C_MM, D_MM = 160.0 - 30.0, 30.0 + 48.0  # c, and the pupil to the plane looked at


def prime(tmp_path, *, focal, f_number, close, more=""):
    path = tmp_path / "prime.toml"
    path.write_text(PRIME.format(focal=focal, f_number=f_number, close=close, more=more))
    loaded = load_scene(path)
    return loaded, loaded.scene.lens[0]


def reached_mm(loaded, lens, z_mm):
    """Half width and half height over all states of the range."""
    bounds = [
        named.beam.section_at(z_mm).bounds
        for plan in range_plans(loaded, lens)
        for named in beams_of(plan.variants, plan.guides, plan.box)
    ]
    return max(b[2] for b in bounds), max(b[3] for b in bounds)


def half_mm(x, focal, f_number, m, c=C_MM, d=D_MM):
    pupil, length = focal / f_number / 2, focal * (2 + m + 1 / m) - c
    return pupil + (x / m - pupil) * d / length


@pytest.mark.parametrize("f_number", [8.0, 4.0])  # a wide pupil moves the widest focus toward infinity
@pytest.mark.parametrize("close", [213.3, 205.0])
def test_a_beam_that_is_widest_at_a_focus_in_between_is_in_the_range(tmp_path, f_number, close):
    loaded, lens = prime(tmp_path, focal=50, f_number=f_number, close=close)
    b = close / 50 - 2
    nearest = 2 / (b + np.sqrt(b * b - 4))
    along = np.linspace(1e-4, nearest, 20001)
    for x, reached in zip((18.0, 12.0), reached_mm(loaded, lens, 48.0), strict=True):
        widest = half_mm(x, 50, f_number, along).max()
        assert widest == pytest.approx(reached, abs=0.02)
    across = half_mm(18.0, 50, f_number, along)
    assert across.max() > max(across[0], across[-1]) + 0.2


def test_a_range_whose_ends_are_widest_gets_no_focus_more(tmp_path):
    loaded, lens = prime(tmp_path, focal=75, f_number=8, close=400)  # c < 2 f
    assert [plan.focus_mm for plan in range_plans(loaded, lens)] == [np.inf, 400.0]


def test_every_focus_that_a_row_names_is_in_the_range(tmp_path):
    rows = "".join(f"[[lens.state]]\nfocus_mm = {d}\npupil_behind_front_mm = 30\n" for d in (900, 400))
    loaded, lens = prime(tmp_path, focal=75, f_number=8, close=320, more=rows)
    assert {np.inf, 900.0, 400.0, 320.0} <= {plan.focus_mm for plan in range_plans(loaded, lens)}


def test_a_front_that_comes_out_with_focus_is_looked_at_between_its_rows(tmp_path):
    rows = "".join(f"[[lens.state]]\nfocus_mm = {d}\nfront_travel_mm = {t}\n" for d, t in (('"infinity"', 0), (213.3, 3)))
    loaded, lens = prime(tmp_path, focal=50, f_number=8, close=213.3, more=rows)
    # The travel runs straight in 1 / D; the box on rods stays, so the front comes nearer to the plane and moves c on.
    m = np.linspace(1e-4, 0.77, 20001)
    distance = 50 * (2 + m + 1 / m)
    m, distance = m[distance >= 213.3], distance[distance >= 213.3]
    travel = 3 * 213.3 / distance
    across = half_mm(18.0, 50, 8, m, c=C_MM + travel, d=D_MM - travel)
    assert across.max() > max(across[0], across[-1]) + 0.5
    reached = max(
        named.beam.section_at(48.0 - 3 * 213.3 / plan.focus_mm).bounds[2]
        for plan in range_plans(loaded, lens)
        for named in beams_of(plan.variants, plan.guides, plan.box)
    )
    assert reached == pytest.approx(across.max(), abs=0.02)
