"""Which states are drawn in 3D: of each lens the one that its row of the answer is about, or all of them."""

from dataclasses import replace

from scenes.io.folders.result_folder import Staging
from scenes.questions.check import contact_sheet
from scenes.questions.check.one_state import StateRequest, record_state
from scenes.questions.check.output_folder import MOST_WAITING, Recorder
from scenes.runtime.worker_pool import WorkerDied
from scenes.states.clear_rule import Limits
from scenes.view3d.render import Drawers
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
    return Recorder(staging=asked.staging, request=replace(asked, all_3d=all_3d), drawers=Drawers())


def drawn(one):
    """Pictures that are asked for, as STATE/NAME, in the order in which they are."""
    for state in STATES:
        one.take(state, record_state(state, one.request))
    for call, take in one.views():
        take(call())
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
    (_, first), (call, second), (_, third) = one.views()
    first(WorkerDied(9))
    second(call())
    third(WorkerDied(9))
    names = ("box.png", "front.png")
    assert one.told() == tuple(f"20_in_the_frame/{n} was left out: the process that got it ready has ended" for n in names)
    assert (one.unready, [path.name for _, path, _ in one.waiting]) == (0, ["section.png"])


def test_while_states_are_checked_pictures_are_drawn_by_idle_lanes_alone_unless_too_many_wait(tmp_path):
    one = recorder(tmp_path, all_3d=True)
    assert one.draw_beside(idle=True) is None  # nothing waits
    one.waiting = [None]
    assert one.draw_beside(idle=False) is None
    assert one.draw_beside(idle=True) is not None
    one.waiting = [None] * (MOST_WAITING + 1)
    assert one.draw_beside(idle=False) is not None
    assert len(one.waiting) == MOST_WAITING  # a piece is one picture


def test_a_contact_sheet_that_cannot_be_drawn_is_told_and_costs_nothing_else(tmp_path, monkeypatch):
    one = recorder(tmp_path, all_3d=False)
    one.request = replace(one.request, flat=True, solid=False)
    one.take(STATES[0], record_state(STATES[0], one.request))
    monkeypatch.setattr(contact_sheet, "sheet_figure", lambda *_: 1 / 0)
    for call, take in one.steps("a show", ()):
        take(call())
    (words,) = one.told()
    assert words.startswith("sheet-1 was left out: ZeroDivisionError: division by zero")
