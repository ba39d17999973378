"""Which states are drawn in 3D: of each lens the one that its row of the answer is about, or all of them."""

from dataclasses import replace

import pytest

from scenes.io.files import Staging
from scenes.questions.check.one_state import StateRequest, record_state
from scenes.questions.check.output_folder import Recorder
from scenes.runtime.worker_pool import WorkerDied
from scenes.states.clear_rule import Limits
from tests.scenes.check_made import plan, wall_on_the_right

STATES = (
    plan(wall_on_the_right(400.0), key="20_far"),
    plan(wall_on_the_right(20.0), key="20_in_the_frame"),
    plan(wall_on_the_right(400.0), key="20_far_again"),
)


def recorder(folder, *, all_3d):
    limits = Limits(visible_loss_stops=0.1)
    asked = StateRequest(
        engine="reference", device="cpu", columns=12, limits=limits, threads=1, rooms=False, staging=Staging(folder), flat=False
    )
    return Recorder(staging=asked.staging, request=replace(asked, all_3d=all_3d), lanes=2)


def drawn(one):
    """Pictures that are asked for, as STATE/NAME, in the order in which they are."""
    for state in STATES:
        one.take(state, record_state(state, one.request))
    for number, call in enumerate(one.views()):
        one.take_views(number, call())
    assert one.unready == 0
    return [f"{path.parent.name}/{path.name}" for _, path, _ in one.waiting]


def test_the_worst_state_of_a_lens_is_drawn_in_3d_from_three_places_and_no_other_state(tmp_path):
    assert drawn(recorder(tmp_path, all_3d=False)) == [f"20_in_the_frame/{name}.png" for name in ("box", "section", "front")]


def test_with_all_3d_every_state_is_drawn_and_the_worst_from_the_front_too(tmp_path):
    every = [f"{state.key}/{name}.png" for state in STATES for name in ("box", "section")]
    assert drawn(recorder(tmp_path, all_3d=True)) == [*every, "20_in_the_frame/front.png"]


def test_pictures_whose_process_has_ended_are_told_and_waited_for_no_longer(tmp_path):
    one = recorder(tmp_path, all_3d=False)
    one.take(STATES[1], record_state(STATES[1], one.request))
    one.views()
    one.take_views(0, WorkerDied(9))
    assert one.told() == ("20_in_the_frame: no 3D pictures: the process that got them ready has ended",)
    assert (one.unready, one.waiting) == (0, [])


@pytest.mark.parametrize(("ready", "unready", "begins"), [(2, 1, False), (3, 1, True), (2, 0, True), (0, 0, False)])
def test_a_lane_begins_to_draw_once_its_share_is_ready_or_nothing_more_comes(tmp_path, ready, unready, begins):
    one = recorder(tmp_path, all_3d=False)
    one.unready = 2
    piece = one.draw_rest(lambda *_: None)  # 6 pictures for two lanes
    one.waiting, one.unready = [None] * ready, unready
    assert (piece(True) is not None) is begins
