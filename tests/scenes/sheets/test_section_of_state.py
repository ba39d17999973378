"""The beam's edge on the dimensioned cuts against similar triangles."""

import numpy as np
import pytest

from raytrace.beam.clearance import beams_of
from raytrace.optics.camera import Guide
from scenes.sheets.cut_shapes import SIDE, TOP
from scenes.sheets.section_of_state import beam_edges, edge_depths_mm, section_sheets
from tests.scenes.check_made import FOCAL_MM, PUPIL_MM, RADIUS_MM, WALL_AT_MM, plan, wall_on_the_right

LOPSIDED = Guide(name="frame", half_width_mm=15, half_height_mm=9, centre_mm=(3.0, -2.0))  # right 18, left 12, top 7, bottom 11


@pytest.mark.parametrize(("view", "upper_mm", "lower_mm"), [(SIDE, 7.0, 11.0), (TOP, 12.0, 18.0)])
def test_the_edges_of_the_beam_run_from_the_pupil_rim_through_the_edges_of_the_frame(view, upper_mm, lower_mm):
    state = plan(wall_on_the_right(200.0), guides=(LOPSIDED,))
    depths = edge_depths_mm(state)
    sections = [[named.beam.section_at(z) for named in beams_of(state.variants, state.guides, state.box)] for z in depths]
    upper, lower = beam_edges(depths, sections, view)
    across = {SIDE: 1, TOP: 0}[view]
    for edge, field_mm, sense in ((upper, upper_mm, 1), (lower, lower_mm, -1)):
        z = edge.points_mm[:, 2]
        assert z[0] == 0.0
        assert z[-1] >= WALL_AT_MM
        # similar triangles: a pencil's middle climbs field / focal length, its rim lies one pupil radius beside it
        expected = sense * (field_mm / FOCAL_MM * (PUPIL_MM + z) + RADIUS_MM)
        assert edge.points_mm[:, across] == pytest.approx(expected, abs=0.01)


def test_both_cuts_are_drawn_to_scale_with_the_edges_of_the_beam():
    sheets = section_sheets(plan(wall_on_the_right(200.0), guides=(LOPSIDED,)), "20", "a wall")
    assert list(sheets) == ["cut-side", "cut-top"]
    for figure in sheets.values():
        (axes,) = [axes for axes in figure.axes if axes.get_label() == "section"]
        assert len([line for line in axes.lines if line.get_label() == "ray"]) == 2
        (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
        box = axes.get_position()
        wide, high = np.array(figure.get_size_inches()) * [box.width, box.height]
        assert (x1 - x0) / wide == pytest.approx((y1 - y0) / high)
