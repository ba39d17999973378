"""Which states hold a lens's whole range."""

import numpy as np
import pytest

from raytrace.clearance import beams_of
from scenes.plan import load_scene
from scenes.range_plans import range_plans, zoomed_mm

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
WIDE, LONG = (20.0, 42.0, 40.0), (80.0, 12.7, 160.0)  # focal length, half field, pupil depth
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
    """Half the beam's width at the plane for a zoom `share` of the way from wide to long, where field and depth run straight."""
    focal, field, depth = (low + share * (high - low) for low, high in zip(WIDE, LONG, strict=True))
    return np.tan(np.radians(field)) * (depth + Z_MM) + focal / 4.0 / 2


def test_a_zoom_with_stated_fields_is_held_by_its_states_all_the_way_between_its_rows(tmp_path):
    loaded, lens = lens_of(tmp_path, fields=True)
    widest = max(half_width_mm(share) for share in np.linspace(0, 1, 1001))
    assert widest > max(half_width_mm(0.0), half_width_mm(1.0)) + 10  # such a zoom sees most in between
    ends = [
        named.beam.section_at(Z_MM).bounds[2]
        for plan in range_plans(loaded, lens)
        for named in beams_of(plan.variants, plan.guides, plan.box)
    ]
    assert max(ends) == pytest.approx(widest, abs=0.2)


def test_rows_that_state_no_field_hold_what_lies_between_them(tmp_path):
    _, lens = lens_of(tmp_path, fields=False)
    assert zoomed_mm(lens) == (20.0, 80.0)
