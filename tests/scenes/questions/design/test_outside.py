"""The outside of hoods whose walls lean, and what may be called the smallest; each against its closed form."""

import itertools
import math

import numpy as np
import pytest

from scenes.questions.design.answer import DesignAnswer
from scenes.questions.design.outside import outside_of
from scenes.questions.design.text import answer_words
from scenes.questions.make.parts import parts_of
from scenes.states.load import load_scene
from tests.scenes.questions.design.made import FREE_FRONT, designed, half_mm, hood, lens, scene, written

FREE_REAR = """
[[design.free]]
of = "box.hood.rear_mm"
from = [60, 50]
to = [{}, {}]
"""
FREE_DEPTH = """
[[design.free]]
of = "box.hood.depth_mm"
from = 40
to = 60
"""
AT_MM, DEPTH_MM, WALL_MM, ROOM_MM = 20, 60, 2.0, 2.5


def opened(tmp_path, free, rear=(170, 130), **more):
    """A design, its measures and its outside, of one lens in a hood of walls of 2 mm."""
    report = designed(tmp_path, scene(lens("20", 20, 2.0, 40), hood(at=AT_MM, depth=DEPTH_MM, rear=rear), free, **more))
    return report, {reason.path.removeprefix("box.hood[1]."): reason.value for reason in report.shown[0].reasons}


def leaning_mm(rear, front):
    """Outside of a hood by hand: its front and on each side a wall cut across, thickness over the cosine of its lean."""
    return front + 2 * WALL_MM / math.cos(math.atan2((front - rear) / 2, DEPTH_MM))


def test_a_hoods_rear_is_as_wide_as_its_front_where_that_makes_the_outside_smaller(tmp_path):
    report, found = opened(tmp_path, FREE_FRONT + FREE_REAR.format(300, 240))
    outside = report.shown[0].design.outside
    for side, size, half in (("width", outside.width_mm, 18), ("height", outside.height_mm, 12)):
        rear, front = found[f"rear_mm.{side}"], found[f"front_mm.{side}"]
        least = 2 * half_mm(half, 20, 2.0, 40, AT_MM, ROOM_MM)
        tried = [leaning_mm(least + (front - least) * share / 200, front) for share in range(201)]
        assert tried[0] - min(tried) > 0.3  # the narrowest rear that is clear makes a larger box
        assert size == pytest.approx(min(tried), abs=1e-6) == front + 2 * WALL_MM
        assert rear == front
    assert answer_words(report).startswith("The smallest box is ")


def test_a_rear_that_may_not_be_so_wide_is_opened_as_far_as_it_may(tmp_path):
    report, found = opened(tmp_path, FREE_FRONT + FREE_REAR.format(190, 140))
    assert found["rear_mm.width"] == 190
    assert report.shown[0].design.outside.width_mm == pytest.approx(leaning_mm(190, found["front_mm.width"]), abs=1e-6)


def test_a_limit_that_only_straight_walls_keep_is_kept(tmp_path):
    free = FREE_FRONT + FREE_REAR.format(300, 240)
    _, found = opened(tmp_path, free)
    straight = found["front_mm.width"] + 2 * WALL_MM
    limit = f'small = ["weight"]\n[design.limits]\nwidth_mm = {straight + 0.05}'
    report, _ = opened(tmp_path, free, design=limit)
    assert report.shown[0].design.outside.width_mm <= straight + 0.05
    assert answer_words(report).startswith("The smallest found box is ")  # by weight: nothing is certain


@pytest.mark.parametrize(("more", "said"), [("", "smallest box"), (FREE_DEPTH, "smallest found box")])
def test_a_box_is_called_the_smallest_only_where_no_other_free_measure_could_make_it_smaller(tmp_path, more, said):
    # a rear that is fixed and narrower: a wider front is always larger, but a deeper hood leans less
    report, found = opened(tmp_path, FREE_FRONT + more, rear=(130, 100))
    assert found["front_mm.width"] > 170
    assert answer_words(report).startswith(f"The {said} is ")


def test_the_sheets_of_a_design_are_true_cuts_that_measure_what_its_table_says(tmp_path):
    report, found = opened(tmp_path, FREE_FRONT)
    sheets = dict(DesignAnswer(report=report).sheets())
    assert list(sheets) == ["design-1", "design-1-side"]
    for name, kind, side in (("design-1", "Level", "width"), ("design-1-side", "Upright", "height")):
        figure = sheets[name]()
        words = [text.get_text() for text in itertools.chain(figure.texts, *(axes.texts for axes in figure.axes))]
        assert any(text.startswith(f"{kind} cut through the lens axis") for text in words)
        assert f"{found[f'front_mm.{side}']:g}" in words


MASK = """
[[box.mask]]
name = "mask"
at_mm = 15
opening_mm = [130, 100]
"""


def test_a_mask_without_an_outside_counts_as_it_is_made(tmp_path):
    """190 + 2 x 6 = 202 and 150 + 2 x 6 = 162 mm: the hood's rear edge with a rim on each side; the walls end at 194 and 154."""
    box = hood(at=AT_MM, depth=DEPTH_MM, rear=(190, 150), front=(190, 150)) + MASK
    show = load_scene(written(tmp_path, scene(lens("50", 50, 2.0, 40), box)))
    outside = outside_of(show.scene, show.scene.design, show.resources.outlines)
    assert (outside.width_mm, outside.height_mm) == (202, 162)
    assert outside.hoods_mm == (194, 154)


def masked_mm(rear, front):
    """Outside of a hood and of the mask of 130 mm behind it, each by hand."""
    return max(leaning_mm(rear, front), rear + 12, 130 + 12)


def masked(tmp_path, limit):
    """A design of a hood, both ends free, behind which a mask has no outside of its own."""
    free = FREE_FRONT + FREE_REAR.format(300, 240)
    box = hood(at=AT_MM, depth=DEPTH_MM, rear=(200, 150)) + MASK
    return designed(tmp_path, scene(lens("20", 20, 2.0, 40), box, free, design=f'small = ["front_area"]\n[design.limits]\n{limit}'))


def test_a_hood_with_a_narrow_rear_is_not_refused_where_only_that_keeps_the_limit(tmp_path):
    """Against every rear and front of the grid of 0.1 mm: by similar triangles clear, and by hand within the limit."""
    rear_least, front_least = (2 * half_mm(18, 20, 2.0, 40, at, ROOM_MM) for at in (AT_MM, AT_MM + DEPTH_MM))
    limit = front_least + 6.0
    grid = [n / 10 for n in range(math.ceil(10 * rear_least), 3001)]
    sizes = {
        (rear, front): masked_mm(rear, front) for front in grid if front_least <= front <= limit for rear in grid if rear <= limit
    }
    within = [rear for (rear, _), size in sizes.items() if size <= limit]
    assert 0 < max(within) < front_least - 2  # walls that do not lean would need a larger mask
    report = masked(tmp_path, f"width_mm = {limit}")
    found = report.shown[0].design.outside.width_mm
    assert found <= limit
    assert found == pytest.approx(min(sizes.values()), abs=2.0)
    assert found >= min(sizes.values()) - 0.1


def test_a_design_within_its_limits_stays_within_them_when_it_is_made(tmp_path):
    limits = {"width_mm": 240.0, "height_mm": 178.0}
    report = masked(tmp_path, "\n".join(f"{key} = {value}" for key, value in limits.items()))
    design = report.shown[0].design
    made = parts_of(design.scene, report.loaded.resources).made
    corners = np.concatenate([part.solid().vertices_mm for part in made])
    size = np.ptp(corners[:, :2], axis=0)
    assert size.tolist() == pytest.approx([design.outside.width_mm, design.outside.height_mm], abs=1e-6)
    assert (size <= [*limits.values()]).all()
