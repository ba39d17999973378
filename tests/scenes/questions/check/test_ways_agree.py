"""The three ways against each other on the demo show: they share no code beyond the pencils."""

from importlib.resources import files

import numpy as np
import pytest

from raytrace.optics.lens import pencils_for
from scenes.runtime.engines import engine_of
from scenes.states.load import load_scene, plans_of

SHOWS = ("demo.toml", "demo-36x24.toml")
SIGMAS = 5.0
SEEN = 0.007  # of the light: 0.01 stop, below what anybody sees
EPS = 2e-3  # floor of a standard error at 2**11 rays: an edge that cuts off one ray in two thousand may have cut none


def demo_plans():
    folder = files("scenes") / "demo"
    plans = [plan for show in SHOWS for plan in plans_of(load_scene(folder / show))]
    return plans[:: max(len(plans) // 8, 1)]  # every fourth: all lenses of the show, with focus and stop in turn


def shares(name, plan, points_mm):
    return engine_of(name).shares(plan.variants[0], points_mm, plan.box, seed=7, fine=True)


@pytest.mark.slow
def test_the_ways_agree_on_the_demo_within_their_errors():
    checked = 0
    for plan in demo_plans():
        points_mm = plan.grid.resized(18).points_mm * 1.05  # a little beyond the frame, where something always stands
        lit = pencils_for(plan.variants[0], points_mm).valid
        plain, mesh, areas = (shares(name, plan, points_mm) for name in ("reference", "mesh", "coverage"))
        for other in (mesh, areas):
            error = np.hypot(np.hypot(plain.stderr, other.stderr), EPS)
            difference = np.abs(plain.clear_share - other.clear_share)[lit]
            assert (difference / error[lit]).max() < SIGMAS, (plan.key, other.made.engine)
            assert difference.mean() < SEEN, (plan.key, other.made.engine)
        checked += int((plain.clear_share[lit] < 0.999).sum())
    assert checked > 20  # else the show would say nothing
