"""Flags against a beam with straight sides: angles by plane trigonometry."""

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq

from geometry.flags import LEAST_DEG, MOST_DEG, Bars, Hinge, boards
from geometry.frame import Side, pose
from raytrace.stray.flag_window import (
    depths_mm,
    farther_out_mm,
    hinge_clearance_mm,
    lowest_out_mm,
    profile,
    touch_of,
    widest_touch,
)

PLATE_MM = 0.01  # thin enough to be a line
EXACT_DEG = 0.05  # the beam is taken 0.02 mm larger, at tips a few tens of mm out


def wedge(hinge, bars, *, gap_mm, slope):
    """Sections of a beam whose edge on the hinge's side lies `gap_mm` inside the hinge and runs outward by `slope`."""
    found = {}
    for depth in depths_mm(bars).tolist():
        edge = hinge.out_mm - gap_mm + slope * depth
        far = {Side.TOP: (-50, -60, 50, edge), Side.LEFT: (-60, -50, edge, 50), Side.RIGHT: (-edge, -50, 60, 50)}
        found[depth] = shapely.box(*far.get(hinge.side, (-50, -edge, 50, 60)))
    return found


def tip_angle(reach_mm, gap_mm, slope):
    """Where a line's tip touches the edge: L sin(a - b) = -g cos b, tan b = slope. Source: plane trigonometry."""
    lean = np.arctan(slope)
    return np.degrees(lean - np.arcsin(gap_mm * np.cos(lean) / reach_mm))


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize(("gap_mm", "slope"), [(8.0, 0.5), (20.0, 0.2), (3.0, 1.1), (40.0, 0.0)])
def test_a_flag_touches_where_trigonometry_says(side, gap_mm, slope):
    hinge = Hinge(box=pose(), side=side, out_mm=70.0, at_mm=80.0)
    bars = Bars(length_mm=100.0, width_mm=300.0, thickness_mm=PLATE_MM)
    touch = touch_of(bars, hinge, [wedge(hinge, bars, gap_mm=gap_mm, slope=slope)])
    assert touch.angle_deg == pytest.approx(tip_angle(100.0, gap_mm, slope), abs=EXACT_DEG)
    assert touch.where == side.value
    assert np.hypot(*touch.at_mm) == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("bend_deg", [-50.0, 0.0, 25.0])
def test_an_extension_touches_where_trigonometry_says(bend_deg):
    hinge = Hinge(box=pose(), side=Side.TOP, out_mm=70.0, at_mm=80.0)
    bars = Bars(length_mm=90.0, width_mm=300.0, thickness_mm=PLATE_MM, extension_mm=60.0, extension_deg=bend_deg)
    cuts = wedge(hinge, bars, gap_mm=10.0, slope=0.5)
    tip = np.array([90.0, 0.0]) + 60.0 * np.array([np.cos(np.radians(bend_deg)), np.sin(np.radians(bend_deg))])
    turned = np.degrees(np.arctan2(tip[1], tip[0]))
    # the flag's own end, or the extension's tip, whichever meets the beam at the wider angle
    ends = tip_angle(90.0, 10.0, 0.5), tip_angle(np.hypot(*tip), 10.0, 0.5) - turned
    touch = touch_of(bars, hinge, [cuts])
    assert touch.angle_deg == pytest.approx(max(ends), abs=EXACT_DEG)
    assert touch.blade == int(ends[1] > ends[0])


def test_a_flag_narrower_than_the_beam_meets_only_what_lies_before_it():
    hinge = Hinge(box=pose(), side=Side.TOP, out_mm=70.0, at_mm=0.0)
    bars = Bars(length_mm=100.0, width_mm=20.0, thickness_mm=PLATE_MM)
    # the beam's top falls 1 mm per mm away from the middle, where it is 5 mm below the hinge: 5 mm at the flag's own middle
    roof = shapely.Polygon([(0.0, 65.0), (-60.0, 5.0), (60.0, 5.0)])
    beside = shapely.affinity.translate(roof, 30.0, 0.0)  # its ridge beside the flag: 65 - 20 = 45 at the flag's edge
    for shape, gap in ((roof, 5.0), (beside, 25.0)):
        touch = touch_of(bars, hinge, [dict.fromkeys(depths_mm(bars).tolist(), shape)])
        assert touch.angle_deg == pytest.approx(-np.degrees(np.arcsin(gap / 100.0)), abs=EXACT_DEG)  # plane trigonometry


def test_a_beam_out_of_reach_is_never_met_and_one_over_the_hinge_always():
    bars = Bars(length_mm=20.0, width_mm=300.0, thickness_mm=PLATE_MM)
    assert widest_touch(bars, shapely.box(0.0, -90.0, 100.0, -40.0)).angle_deg == -np.inf
    assert widest_touch(bars, shapely.box(-5.0, -90.0, 100.0, 5.0)).angle_deg == np.inf


def test_the_bars_are_the_outlines_of_the_parts_that_stop_light():
    hinge = Hinge(box=pose(right_mm=3.0, up_mm=-2.0, ahead_mm=11.0, tilt_deg=4.0), side=Side.RIGHT, out_mm=70.0, at_mm=30.0)
    bars = Bars(length_mm=90.0, width_mm=120.0, thickness_mm=2.0, extension_mm=40.0, extension_deg=-20.0)
    shapes = bars.shapes(np.array([33.0]))[:, 0]
    for part, outline in zip(boards(hinge, bars, 33.0), shapes, strict=True):
        seen = hinge.to_box(part.body.corners_mm)
        assert np.unique(np.abs(seen[:, 0]).round(6)).tolist() == [60.0]
        gap = np.linalg.norm(seen[:, None, 1:] - outline[None], axis=-1)
        assert gap.min(axis=1).max() < 1e-9
        assert gap.min(axis=0).max() < 1e-9


@pytest.mark.parametrize(("gap_mm", "slope"), [(1.5, 0.0), (0.8, 0.4), (2.9, 0.2)])
def test_a_blade_thicker_than_the_hinge_is_clear_opens_only_until_its_inner_corner_dips_in(gap_mm, slope):
    hinge = Hinge(box=pose(), side=Side.LEFT, out_mm=70.0, at_mm=80.0)
    bars = Bars(length_mm=100.0, width_mm=300.0, thickness_mm=4.0)
    cuts = wedge(hinge, bars, gap_mm=gap_mm, slope=slope)
    touch = touch_of(bars, hinge, [cuts])

    # The corner beside the hinge, 4 mm square to the blade, is at (-4 sin a, 4 cos a); the edge of the beam runs -g + s ahead.
    def apart(angle):
        return 4 * np.cos(angle) + gap_mm + slope * 4 * np.sin(angle)

    assert touch.most_deg == pytest.approx(np.degrees(brentq(apart, np.pi / 2, np.pi)), abs=0.6)  # 0.02 mm of a 4 mm corner's way
    assert touch.angle_deg == pytest.approx(tip_angle(100.0, gap_mm, slope), abs=EXACT_DEG)
    region = profile(cuts, hinge, 300.0)
    assert hinge_clearance_mm(region) == pytest.approx(gap_mm * np.cos(np.arctan(slope)), abs=0.03)
    assert farther_out_mm(bars, region) == pytest.approx(4.0 - gap_mm, abs=0.03)
    assert widest_touch(bars, shapely.affinity.translate(region, yoff=-farther_out_mm(bars, region) - 1e-3)).most_deg == 180.0


def test_a_thin_blade_folds_right_back_however_close_its_hinge_is():
    hinge = Hinge(box=pose(), side=Side.TOP, out_mm=70.0, at_mm=80.0)
    bars = Bars(length_mm=100.0, width_mm=300.0, thickness_mm=PLATE_MM)
    assert touch_of(bars, hinge, [wedge(hinge, bars, gap_mm=0.2, slope=0.3)]).most_deg == 180.0


@pytest.mark.parametrize("bend_deg", [-170.0, -60.0, 0.0, 40.0])
def test_no_place_of_a_flag_behind_its_hinge_lies_lower_than_is_said(bend_deg):
    bars = Bars(length_mm=150.0, width_mm=100.0, thickness_mm=2.0, extension_mm=90.0, extension_deg=bend_deg)
    rng = np.random.default_rng(4)
    shapes = bars.shapes(rng.uniform(LEAST_DEG, MOST_DEG, 20_000))
    share = rng.dirichlet(np.ones(4), shapes.shape[:2])[..., None]
    places = (share * shapes).sum(axis=2).reshape(-1, 2)
    for ahead_mm in (0.0, 3.0):
        least = places[places[:, 0] <= ahead_mm, 1].min()
        assert least - 12.0 < lowest_out_mm(bars, ahead_mm) <= least
