"""The whole check against circle segments, similar triangles and Beer's law."""

from dataclasses import replace

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.box import GlassKind
from raytrace.optics.camera import Guide
from scenes.runtime.engines import engine_of, seed_of
from scenes.states.clear_rule import Limits, Word
from scenes.verdicts.check import check_state, run_check
from scenes.verdicts.rooms import part_results
from tests.raytrace.made import block, plate_of_glass
from tests.scenes.check_made import FOCAL_MM, beam_right_mm, clear_share, gap_for_share, plan, wall_on_the_right

REFERENCE = engine_of("reference")


def judged(state, columns=12):
    return check_state(state, REFERENCE, columns=columns, limits=Limits(visible_loss_stops=0.1))[0]


def wall_that_leaves(share, x_mm=18.0):
    """A wall that leaves this share of the light at the picture's x."""
    return wall_on_the_right(beam_right_mm(x_mm) + gap_for_share(share))


@pytest.mark.parametrize(
    ("share", "word"),
    [(0.96, Word.TIGHT), (0.90, Word.SHADING), (0.52, Word.SHADING), (0.48, Word.IN_FRAME)],  # 0.06, 0.15, 0.94, 1.06 stops
)
def test_the_word_follows_the_loss_at_the_frame_edge(share, word):
    result = judged(plan(wall_that_leaves(share)))
    assert result.word is word
    assert result.blamed.worst.loss_stops == pytest.approx(-np.log2(share), abs=0.02)  # two decimals of a stop are shown


def test_a_wall_on_the_operators_right_is_blamed_on_the_right():
    worst = judged(plan(wall_that_leaves(0.8))).blamed.worst
    assert worst.where == "right"
    assert worst.x_mm == pytest.approx(18.0)
    assert (worst.blame.part, worst.others) == ("right flag", ())


def test_a_loss_that_starts_outside_the_outermost_pixel_centre_is_found():
    # Pixels of 3 mm: the outermost centre lies at 16.5 mm, where the beam is 7.5 mm further in, three pupil radii.
    assert clear_share(beam_right_mm(18) - beam_right_mm(16.5)) == 1
    assert judged(plan(wall_that_leaves(0.9))).word is Word.SHADING


def test_the_margin_ends_where_the_closed_form_loses_a_five_hundredth():
    touches_at_mm = 20.0
    wall = wall_that_leaves(1 - 0.002, x_mm=touches_at_mm)
    assert judged(plan(wall)).blamed.margin.percent == pytest.approx(100 * (touches_at_mm / 18 - 1), abs=0.5)


def test_the_margin_is_negative_by_how_much_the_frame_must_shrink():
    touches_at_mm = 15.0
    margin = judged(plan(wall_that_leaves(1 - 0.002, x_mm=touches_at_mm))).blamed.margin
    assert margin.percent == pytest.approx(100 * (touches_at_mm / 18 - 1), abs=0.7)


def test_a_state_without_parts_is_clear_with_capped_margin():
    result = judged(plan())
    assert result.word is Word.CLEAR
    assert (result.blamed.margin.percent, result.blamed.margin.capped) == (50.0, True)


def test_the_worst_pupil_depth_counts_and_the_range_is_told():
    shallow, deep = 38.0, 42.0
    wall_mm = beam_right_mm(18, 40.0)
    worst = judged(plan(wall_on_the_right(wall_mm), pupils=(shallow, 40.0, deep))).blamed.worst
    least, most = (-np.log2(clear_share(wall_mm - beam_right_mm(18, depth))) for depth in (shallow, deep))
    assert worst.loss_stops == pytest.approx(most, abs=0.03)
    assert worst.range_stops == pytest.approx((least, most), abs=0.03)


@pytest.mark.parametrize(("guess", "first"), [((12.0, 29.4), True), ((2.9, -8.0), False), (None, False)])
def test_a_box_is_changed_for_a_guessed_field_only_after_that_is_measured(guess, first):
    state = replace(plan(wall_that_leaves(0.8)), field_guess_percent=guess)
    step, plain = judged(state).blamed.next_step, judged(plan(wall_that_leaves(0.8))).blamed.next_step
    words = "first measure the field at this focus (assumed 29 % wider than at infinity); if that holds, "
    assert plain.startswith("open the right flag")
    assert step == (words + plain if first else plain)


def test_a_guide_away_from_the_wall_stays_clear_while_the_other_is_shaded():
    left = Guide(name="left half", half_width_mm=8, half_height_mm=10, centre_mm=(-9, 0))
    right = Guide(name="right half", half_width_mm=8, half_height_mm=10, centre_mm=(9, 0))
    result = judged(plan(wall_that_leaves(0.8, x_mm=17), guides=(left, right)))
    assert [guide.word for guide in result.guides] == [Word.CLEAR, Word.SHADING]
    assert result.blamed.guide == "right half"


def test_glass_that_dims_corners_is_no_vignetting_but_a_figure_of_its_own():
    corner_slope = np.hypot(18, 12) / FOCAL_MM
    result = judged(plan(glasses=[plate_of_glass(50, kind=GlassKind.DENSITY, density=0.6, size_mm=(900, 900))]))
    assert result.word is Word.CLEAR
    assert result.blamed.glass_corner_minus_axis_stops == pytest.approx(density_gain_stops(0.6, corner_slope), abs=0.01)


def density_gain_stops(density, slope, n=1.5168):
    """Extra loss of a dyed plate at a slant: Beer's law along the path, Fresnel's faces (Hecht, Optics, ch. 4), each face once."""

    def stops(sin):
        cos, inside = np.sqrt(1 - sin**2), np.sqrt(1 - (sin / n) ** 2)
        rs, rp = ((cos - n * inside) / (cos + n * inside)) ** 2, ((n * cos - inside) / (n * cos + inside)) ** 2
        faces = lambda r: (1 - r) ** 2  # noqa: E731 - two polarisations, one formula
        return inside, (faces(rs) + faces(rp)) / 2

    _, straight = stops(0.0)
    inside, slanted = stops(slope / np.hypot(1, slope))
    internal = density + np.log10(straight)
    return internal * (1 / inside - 1) / np.log10(2) + np.log2(straight / slanted)


def test_the_same_bytes_come_from_any_number_of_threads():
    state = plan(wall_that_leaves(0.7, x_mm=16.5))
    maps = [REFERENCE.map(state.variants[0], state.grid, state.box, seed=3, threads=n, tick=lambda *_: None) for n in (1, 3)]
    assert np.array_equal(maps[0].clear_share, maps[1].clear_share)
    assert 0.6 < maps[0].clear_share.min() < 0.8


def test_leaving_states_out_changes_nothing_in_the_others():
    one, two = plan(wall_that_leaves(0.7), key="a"), plan(wall_that_leaves(0.6), key="b")
    assert run_check([one, two], REFERENCE, columns=12).states[1] == run_check([two], REFERENCE, columns=12).states[0]
    assert seed_of("a") != seed_of("b")


def test_a_state_that_fails_keeps_the_others_and_says_why():
    class Fragile:
        name = "fragile"
        shares, columns = staticmethod(REFERENCE.shares), staticmethod(lambda *_: 12)

        def map(self, lens, grid, box, **more):
            if not box.parts:
                raise GeometryError("the box is empty")
            return REFERENCE.map(lens, grid, box, **more)

    check = run_check([plan(key="empty"), plan(wall_that_leaves(0.9), key="full")], Fragile())
    assert [state.key for state in check.states] == ["full"]
    assert [(state.key, state.why) for state in check.failed] == [("empty", "the box is empty")]
    assert check.exit_status == 2


def test_files_of_a_state_and_its_map_reach_the_keeper():
    kept = {}

    def keep(state_plan, state, map_):
        kept[state_plan.key] = map_.clear_share.shape
        return (f"{state.key}/map.npz",)

    check = run_check([plan(wall_that_leaves(0.9))], REFERENCE, columns=24, keep=keep)
    assert kept == {"20_inf_f4": (16, 24)}
    assert check.states[0].files == ("20_inf_f4/map.npz",)


def test_progress_counts_to_a_hundred_for_each_state_even_where_one_fails():
    steps = []
    broken = replace(plan(key="broken"), variants=())
    run_check([plan(), broken, plan(pupils=(38, 40, 42))], REFERENCE, columns=1, tick=lambda n, _="": steps.append(n))
    assert sum(steps) == 300


@pytest.mark.parametrize("name", ["mesh", pytest.param("coverage", marks=pytest.mark.slow)])
def test_the_other_ways_say_the_same_as_the_closed_form(name):
    result = check_state(plan(wall_that_leaves(0.8)), engine_of(name), columns=12, limits=Limits(visible_loss_stops=0.1))[0]
    assert result.word is Word.SHADING
    assert result.blamed.worst.loss_stops == pytest.approx(-np.log2(0.8), abs=0.02)


ACROSS = 1 / np.hypot(1.0, 18 / FOCAL_MM)  # a gap in the wall's plane, at right angles to the outermost ray


def test_clearance_of_a_part_is_its_distance_from_the_outermost_ray():
    gap_mm = 5.0
    outermost = beam_right_mm(18) + 2.5  # the pupil's radius beside its middle
    (part,) = judged(plan(wall_on_the_right(outermost + gap_mm))).parts
    assert part.clearance_mm == pytest.approx(gap_mm * ACROSS, abs=0.01)


def test_a_part_between_the_pixels_of_a_coarse_map_is_never_called_clear():
    # A post that darkens what it covers by a third of a stop and ends inside the frame; the bundles of the map's four columns, 5 mm
    # across and 45 mm apart where it stands, pass it by on both sides.
    post = block((-17.6, -20.0, 60.0), (-16.6, 20.0, 60.2), name="post")
    state, _ = check_state(plan(post), engine_of("coverage"), columns=4, limits=Limits(visible_loss_stops=0.1))
    assert state.word is Word.SHADING
    assert state.blamed.worst.loss_stops > 0.25


def test_the_room_of_a_part_is_how_much_wider_the_frame_may_be_before_its_edge_pencil_touches():
    # similar triangles: the rim of the pencil at 18 mm to the right reaches 18 / 20 * 100 + 2.5 = 92.5 mm in the wall's plane
    (part,), trouble = part_results(plan(wall_on_the_right(110.5)), rooms=True)
    assert not trouble
    assert part.clearance_mm == pytest.approx(18.0 * ACROSS, abs=0.01)
    assert part.room_percent == pytest.approx(100 * (110.5 - 92.5) / 90.0, abs=0.1)
