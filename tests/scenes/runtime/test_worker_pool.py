"""Calls shared out to processes: results in order, one process's end costs one call, and nothing goes on afterwards."""

import errno
import os
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from scenes.runtime.worker_pool import Sharing, WorkerDied
from tests.scenes import sharing_made as made


def shared(calls, *, workers=1, lanes=None, aside=None, tick=None):
    taken = []
    with Sharing(workers=workers, lanes=lanes or workers + 1) as sharing:
        more = {key: value for key, value in (("aside", aside), ("tick", tick)) if value is not None}
        sharing.run(calls, lambda number, result: taken.append((number, result)), **more)
    return taken


def test_without_workers_all_calls_are_made_here():
    assert shared([made.pid_of_maker] * 3, workers=0) == [(k, os.getpid()) for k in range(3)]


def test_results_are_taken_in_the_order_of_the_calls():
    calls = [partial(made.number_after, k, wait_s) for k, wait_s in enumerate((0.0, 1.0, 0.0, 0.0, 0.5, 0.0))]
    assert shared(calls, workers=2) == [(k, k) for k in range(6)]


def test_nobody_begins_before_the_first_call_has_been_made_here(tmp_path):
    calls = [partial(made.slow_mark, tmp_path / "mark"), *[partial(made.is_marked, tmp_path / "mark")] * 3]
    assert shared(calls, workers=2) == [(k, True) for k in range(4)]


def test_a_worker_takes_calls_and_its_steps_are_counted(tmp_path):
    steps = []
    calls = [made.pid_of_maker, *[partial(made.here_or, os.getpid(), tmp_path / "sign", made.no_more_than_a_name)] * 2]
    taken = shared(calls, tick=lambda n, doing="": steps.append(n))  # noqa: ARG005
    assert sorted(result for _, result in taken[1:]) == ["elsewhere", "here"]
    assert steps == [1]


def test_a_process_that_ends_costs_its_own_call_and_no_other(tmp_path):
    calls = [made.pid_of_maker, *[partial(made.here_or, os.getpid(), tmp_path / "sign", made.die)] * 3]
    taken = shared(calls)
    assert [number for number, _ in taken] == [0, 1, 2, 3]
    assert [result for _, result in taken if result == WorkerDied(9)] == [WorkerDied(9)]
    assert [result for _, result in taken[1:] if result != WorkerDied(9)] == ["here", "here"]


def test_an_error_elsewhere_is_raised_here(tmp_path):
    calls = [made.pid_of_maker, *[partial(made.here_or, os.getpid(), tmp_path / "sign", made.fail)] * 2]
    with pytest.raises(RuntimeError, match="KeyError: 'lost'"):
        shared(calls)


def test_a_full_disk_elsewhere_is_told_as_one(tmp_path):
    calls = [made.pid_of_maker, *[partial(made.here_or, os.getpid(), tmp_path / "sign", made.find_the_disk_full)] * 2]
    with pytest.raises(OSError, match="No space left") as caught:
        shared(calls)
    assert caught.value.errno == errno.ENOSPC


@pytest.mark.skipif(sys.platform == "win32", reason="asks for a process by signal 0")
def test_ctrl_c_ends_workers_at_once(tmp_path):
    calls = [made.pid_of_maker, *[partial(made.interrupted_here, os.getpid(), tmp_path / "sign")] * 2]
    with pytest.raises(KeyboardInterrupt):
        shared(calls)
    assert is_gone(int((tmp_path / "sign").read_text()))


def is_gone(pid):
    """Whether a process has ended, be it that nobody has asked for its status yet."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    status = Path(f"/proc/{pid}/stat")
    return status.exists() and status.read_text().rpartition(")")[2].split()[0] == "Z"


@pytest.mark.skipif(sys.platform == "win32", reason="asks for a process by signal 0")
def test_a_worker_does_not_outlive_who_asked(tmp_path):
    code = f"""
from functools import partial; from pathlib import Path; import os
from scenes.runtime.worker_pool import Sharing; from tests.scenes import sharing_made as made
sign = Path({str(tmp_path / "sign")!r})
with Sharing(workers=1, lanes=2) as sharing:
    calls = [made.pid_of_maker, *[partial(made.here_or, os.getpid(), sign, made.no_more_than_a_name)] * 2]
    sharing.run(calls, lambda number, result: None)
    os.kill(os.getpid(), 9)
"""
    subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[3], check=False)
    pid, end = int((tmp_path / "sign").read_text()), time.monotonic() + made.PATIENCE_S
    while not is_gone(pid) and time.monotonic() < end:
        time.sleep(0.02)
    assert is_gone(pid)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="the system does not tell how many threads there are")
@pytest.mark.parametrize(("threads", "seen"), [(1, "59.0"), (2, "60.0")])
def test_a_worker_is_a_copy_of_what_this_process_is_by_then_if_it_has_a_single_thread(tmp_path, threads, seen):
    code = f"""
from functools import partial; from pathlib import Path; import os, threading, time
from scenes.runtime.worker_pool import Sharing; from tests.scenes import sharing_made as made
made.PATIENCE_S = 59.0
for _ in range({threads - 1}):
    threading.Thread(target=time.sleep, args=(600,), daemon=True).start()
with Sharing(workers=1, lanes=2) as sharing:
    calls = [made.pid_of_maker, *[partial(made.here_or, os.getpid(), Path({str(tmp_path / "sign")!r}), made.patience)] * 2]
    sharing.run(calls, lambda number, result: print(result))
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[3], capture_output=True, text=True, check=True)
    assert seen in done.stdout.split()


def test_a_lane_without_a_worker_does_what_is_to_be_done_aside(tmp_path):
    pieces, threads = [(tmp_path / "sign").touch], []

    def aside(idle):
        threads.append(idle)
        return pieces.pop() if idle and pieces else None

    calls = [partial(made.here_or, os.getpid(), tmp_path / "sign", made.no_more_than_a_name)]
    assert shared(calls, workers=0, lanes=2, aside=aside) == [(0, "here")]
    assert set(threads) == {True, False}


def test_a_later_round_gets_its_own_results_though_its_calls_lie_where_earlier_ones_lay():
    with Sharing(workers=1, lanes=2) as sharing:
        for start in range(0, 60, 20):  # each round's calls are let go, so that the next ones take their place in memory
            taken = []
            calls = [partial(made.number_after, start + k, 0.001) for k in range(20)]
            sharing.run(calls, lambda _, result, taken=taken: taken.append(result))
            del calls
            assert taken == list(range(start, start + 20))
