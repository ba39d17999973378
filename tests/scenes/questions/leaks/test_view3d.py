"""The 3D picture of mirrored ways: what is drawn, as data."""

from types import SimpleNamespace

import numpy as np
import pytest

from scenes.questions.leaks.advice import OpeningAdvice
from scenes.questions.leaks.view3d import BEYOND_MM, leak_scene3d, way_mm
from tests.scenes.check_made import lens, plan, wall_on_the_right


def way(peak, end_mm=(-300.0, 40.0, -400.0)):
    corners = np.array([[20.0, 5.0, 0.0], [22.0, 6.0, 30.0], [30.0, 10.0, 0.0], end_mm])
    return SimpleNamespace(opening=0, name="rear face of a filter", peak=peak, corners_mm=corners)


def report(*ways):
    picture = SimpleNamespace(paths=ways, opening_names=("ring gap",))
    return SimpleNamespace(plan=plan(wall_on_the_right(100.0)), lens=lens(), picture=picture)


def test_a_way_is_cut_off_outside_the_box_in_its_own_direction():
    shown = way_mm(way(0.1))
    last, full = shown[-1] - shown[-2], np.array([-330.0, 30.0, -400.0])
    assert np.linalg.norm(last) == pytest.approx(BEYOND_MM)
    assert last / BEYOND_MM == pytest.approx(full / np.linalg.norm(full))
    near = way(0.1, end_mm=(31.0, 10.0, -5.0))
    assert np.array_equal(way_mm(near), near.corners_mm)


def test_the_strongest_way_is_the_thickest_and_says_how_strong_it_is():
    scene = leak_scene3d(report(way(0.135), way(0.034)), ("50", "a show"))
    (*_, first, second) = scene.lines
    assert first.width_px > second.width_px
    assert scene.labels[-1].text == "ring gap: 13.5 % of the picture by rear face of a filter"


def test_a_change_that_lets_in_as_much_as_before_is_no_help():
    change = {"opening": "ring gap", "change": "tilt", "before": 0.02, "all_before": 0.02}
    assert OpeningAdvice(**change, after=0.005, all_after=0.005).helps
    assert not OpeningAdvice(**change, after=0.0199, all_after=0.0199).helps
    assert OpeningAdvice(**change, after=0.0, all_after=0.02).helps  # a slot taped while a larger gap stays
