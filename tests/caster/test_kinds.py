"""Boxes of unusual kinds: by a caster that shares no code with the judgement, no clear is wrong and no margin loses light."""

from __future__ import annotations

import numpy as np
import pytest

from scenes.verdicts.loss_words import loss_words
from tests.caster.campaign import LOSS_STOPS, one
from tests.caster.cast import disc
from tests.caster.glass_rays import _through
from tests.caster.kernel import PLATE, SLAB, stopped_by
from tests.caster.kinds import EVERYTHING, KINDS
from tests.caster.lens_rays import Lens
from tests.caster.scene_parts import row
from tests.caster.zoom import at_setting

NO_TRIANGLES = np.zeros((0, 9))


def test_the_caster_counts_the_segment_of_a_disc_that_an_edge_cuts_off():
    """Source: area of a circular segment, r^2 (acos(d / r) - d / r sqrt(1 - (d / r)^2)), any handbook."""
    lens = Lens(
        focal=(24.0, 24.0), depth=(40.0, 40.0), radius=(6.0, 6.0), object_z=1e30, ring=np.inf, projection="rectilinear",
        distortion=(0.0, 0.0), half_diagonal=20.0,
    )  # fmt: skip
    origins, ways, _ = lens.rays(np.array([[-18.0, 0.0]]), disc(200_000))
    edge = (10.0 + 40.0) * 0.75 + 2.0  # 2 mm outside the chief ray at z = 10
    mask = row(PLATE, np.eye(3), [0.0, 0.0, 10.0], 1e-6, 1, edge, 500.0, 0.0)
    share = (stopped_by(origins, ways, mask[None], NO_TRIANGLES, 1e30) >= 0).mean()
    d = 2.0 / 6.0
    assert share == pytest.approx((np.arccos(d) - d * np.sqrt(1 - d * d)) / np.pi, abs=2e-4)


def test_the_caster_shifts_a_ray_by_a_plate_as_the_handbook_says():
    """Source: T sin t (1 - cos t / sqrt(n^2 - sin^2 t)), across the ray; Jenkins and White."""
    slab = row(SLAB, np.eye(3), [0.0, 0.0, 5.0], 2.0, 1.5)
    way = np.array([[0.75, 0.0, 1.0]])
    sine, cosine = 0.6, 0.8
    shift = 4.0 * sine * (1 - cosine / np.sqrt(1.5**2 - sine**2)) / cosine  # in a plane across the axis
    at = 0.75 * 20.0 - shift
    for edge, stops in ((at + 1e-6, False), (at - 1e-6, True)):
        mask = row(PLATE, np.eye(3), [0.0, 0.0, 20.0], 1e-9, 1, edge, 500.0, 0.0)
        assert (stopped_by(np.zeros((1, 3)), way, np.array([mask, slab]), NO_TRIANGLES, 1e30)[0] >= 0) == stops


@pytest.mark.parametrize("height", [0.3, 1.0, 2.4])
def test_the_caster_bends_a_ray_to_the_aplanatic_point_of_a_sphere(height):
    """Source: rays toward R n / n' behind the centre meet at R n' / n behind it, at any angle (Born and Wolf, 4.2.3)."""
    radius, index = 5.0, 1.7
    toward = np.array([0.0, 0.0, radius + radius * index])
    start = np.array([0.0, height, -3.0])
    way = (toward - start) / np.linalg.norm(toward - start)
    surface = np.array([[0.0, radius, 1.0, index, np.inf]])
    passed, at, bent = _through(tuple(start), tuple(way), surface, 0, 0, True)
    assert passed
    meets = at[2] - at[1] * bent[2] / bent[1]
    assert meets == pytest.approx(radius + radius / index, abs=1e-12)


def test_a_zoom_whose_rows_say_what_its_focal_lengths_do_sees_what_its_focal_length_says():
    """Source: tan(half field) = half width / focal length; halfway in 1 / focus between infinity and 2 m lie 4 m."""
    rows = [
        {"focal_mm": f, "focus_mm": focus, "pupil_behind_front_mm": depth, "half_field_deg": np.degrees(np.arctan(12.0 / f))}
        for f, focus, depth in ((20.0, "infinity", 30.0), (40.0, "infinity", 50.0), (20.0, 2000.0, 40.0), (40.0, 2000.0, 60.0))
    ]
    scene = {"camera": {"width_mm": 24.0, "height_mm": 18.0}, "lens": [{"state": rows}], "box": {}, "check": {"focus_mm": [4000.0]}}
    (lens,) = at_setting(scene, 25.0)["lens"]
    assert lens["field_focal_mm"] == pytest.approx(25.0, rel=1e-12)
    assert lens["pupil_behind_front_mm"] == pytest.approx(40.0)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "seed"), [("zoom", 0), ("zoom", 2), ("walk", 0), ("walk", 3), ("traced", 1)])
def test_the_loss_told_is_that_of_counted_rays(kind, seed, tmp_path):
    """Boxes that lose some light: zooms between their rows, walking pupils, lenses traced by the caster's own surfaces."""
    found = one(kind, seed, tmp_path, words=True)
    (told,) = found["words"]
    assert 0.02 < told["there"] < 2.0, found
    assert told["told"] == pytest.approx(told["there"], abs=LOSS_STOPS / 4)
    assert found["wrong"] == [], found


@pytest.mark.parametrize("kind", [*KINDS, EVERYTHING])
@pytest.mark.parametrize("seed", range(2))
def test_no_clear_and_no_margin_is_wrong_by_counted_rays(kind, seed, tmp_path):
    found = one(kind, seed, tmp_path)
    assert found["wrong"] == [], found


@pytest.mark.parametrize(("kind", "seed", "loss"), [("projection", 390003482, "none"), ("projection", 370006011, "<0.01 stop")])
def test_a_part_deep_in_the_widest_that_a_beam_may_be_is_not_called_shading_where_rays_hardly_meet_it(kind, seed, loss, tmp_path):
    """Flags that stand 2.5 and 1.2 mm in the beam as it is held: the caster's rays lose nothing, and 0.002 stop."""
    found = one(kind, seed, tmp_path, words=True)
    assert found["wrong"] == [], found
    (told,) = found["words"]
    assert found["guides"][0]["room"] < -1.0
    assert told["there"] == pytest.approx(told["told"], abs=0.001)
    assert told["word"] == "tight"
    assert loss_words(told["told"]) == loss


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_no_verdict_is_milder_than_counted_rays(kind, tmp_path):
    for seed in range(1000, 1003):
        found = one(kind, seed, tmp_path, words=True)
        assert found["wrong"] == [], found
