"""Work shared out to forked processes, or to some started anew: the same answers in the same order, and no process left behind."""

import os
import pickle
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from scenes.runtime import shared_out as module
from scenes.runtime.blas import VARIABLES
from scenes.runtime.shared_out import held, packed, shared_out, unpacked
from scenes.scene_file.errors import Complaint, SceneError
from tests.scenes.runtime.test_worker_pool import is_gone

ROOT = Path(__file__).parents[3]
linux = pytest.mark.skipif(sys.platform != "linux", reason="forks")


@dataclass(frozen=True)
class Named:
    name: str
    held: tuple


@dataclass(frozen=True)
class Looked:
    found: Named | None = None


@dataclass
class Counted:
    count: int = 0


def small(number):
    if number > 2:
        time.sleep(0.4 if number == 4 else 0.0)
        raise ValueError(str(number))
    return number


def pid_after(number):
    time.sleep(0.2)
    return number, os.getpid()


def died_elsewhere(asker, number):
    if os.getpid() != asker:
        os._exit(9)
    time.sleep(0.1)
    return number


def answered_by_item(item):
    return [item, item.held, Named(item.name, item.held)]


def in_a_process_of_its_own(code, processes=2):
    """What a script prints that runs alone in its process: beside pytest's own threads nothing is forked."""
    start = f"from functools import partial\nfrom tests.scenes.runtime.test_shared_out import *\n{code}"
    environment = {**os.environ, **dict.fromkeys(VARIABLES, "1"), "PYTHONPATH": str(ROOT), module.PROCESSES: str(processes)}
    done = subprocess.run([sys.executable, "-c", start], capture_output=True, text=True, cwd=ROOT, env=environment, check=False)
    return done.stdout.strip() or done.stderr


@linux
@pytest.mark.parametrize("processes", [1, 2, 4])
def test_answers_come_in_the_order_of_the_items_from_any_number_of_processes(processes):
    code = "found = shared_out(pid_after, range(6), each_s=1.0); print([n for n, _ in found], len({pid for _, pid in found}))"
    found = in_a_process_of_its_own(code, processes)
    assert found == f"{list(range(6))} {processes}"


@linux
def test_the_first_item_that_fails_is_the_one_told():
    code = "try: shared_out(small, [1, 4, 3, 2], each_s=1.0)\nexcept ValueError as error: print(error)"
    assert in_a_process_of_its_own(code) == "4"


@linux
@pytest.mark.parametrize("elsewhere", [False, True])
def test_where_the_system_allows_no_further_process_all_is_made_here_and_nothing_stays_open(elsewhere):
    code = f"""
def refused(): raise BlockingIOError(11, "Resource temporarily unavailable")
before = len(os.listdir("/proc/self/fd"))
os.fork = refused
print({{pid for _, pid in shared_out(pid_after, range(3), each_s=1.0, elsewhere={elsewhere})}} == {{os.getpid()}},
      len(os.listdir("/proc/self/fd")) - before)"""
    assert in_a_process_of_its_own(code, 4) == "True 0"


@linux
def test_where_no_thread_can_be_had_all_is_made_here():
    code = """
import threading
def refused(_): raise RuntimeError("can't start new thread")
threading.Thread.start = refused
print({pid for _, pid in shared_out(pid_after, range(3), each_s=1.0, elsewhere=True)} == {os.getpid()})"""
    assert in_a_process_of_its_own(code, 4) == "True"


@linux
def test_what_a_process_had_in_hand_when_it_ended_is_made_here():
    code = "print(shared_out(partial(died_elsewhere, os.getpid()), range(5), each_s=1.0))"
    assert in_a_process_of_its_own(code) == str(list(range(5)))


@linux
def test_what_an_item_holds_comes_back_as_this_process_s_own():
    code = """
items = [Named(str(k), (k,)) for k in range(4)]
found = shared_out(answered_by_item, items, each_s=1.0)
print(all(one is item and held is item.held and new is not item and new.held is item.held
          for item, (one, held, new) in zip(items, found, strict=True)))"""
    assert in_a_process_of_its_own(code) == "True"


@linux
def test_what_work_has_changed_of_an_item_comes_back_changed():
    code = """
def filled(item):
    item["k"] = 1
    return item
print(shared_out(filled, [{}, {}], each_s=1.0, elsewhere=True))"""
    assert in_a_process_of_its_own(code) == "[{'k': 1}, {'k': 1}]"


@linux
def test_what_work_fills_in_of_an_item_moves_nothing_else_of_it():
    code = """
def filling(item):
    object.__setattr__(item[0], "found", Named("another's", (0,)))
    time.sleep(0.2 * int(item[1].name))
    return item[1]
looked = Looked()
items = [(looked, Named(str(k), (k,))) for k in range(4)]
print(all(one is item[1] for item, one in zip(items, shared_out(filling, items, each_s=1.0), strict=True)))"""
    assert in_a_process_of_its_own(code) == "True"


def test_what_an_item_holds_that_may_be_changed_comes_back_as_it_was_left():
    item = (Counted(), np.zeros(2))
    known = held(item)
    item[0].count, item[1][0] = 1, 1.0
    counted, array = unpacked(packed(list(item), known), held((Counted(), np.zeros(2))))
    assert counted == Counted(1)
    assert list(array) == [1.0, 0.0]


def test_what_was_not_of_the_item_comes_back_as_a_copy():
    item, other = Named("a", (1,)), Named("b", (2,))
    one, two = unpacked(packed((item, other), held(item)), held(item))
    assert one is item
    assert two is not other
    assert two == other


def test_beside_other_threads_work_is_shared_out_to_processes_started_anew(monkeypatch):
    monkeypatch.setattr(module, "may_be_copied", lambda **_: False)
    monkeypatch.setattr(module, "cores", lambda: 2)
    monkeypatch.setattr(module, "STARTED_S", 0.0)
    items, ticks = [Named(str(k), (k,)) for k in range(3)], []
    found = shared_out(answered_by_item, items, each_s=1.0, tick=lambda *told: ticks.append(told[0]))
    assert all(one is item for item, (one, *_) in zip(items, found, strict=True))
    assert ticks == [1, 1, 1]


def test_short_work_stays_in_this_process():
    assert {pid for _, pid in shared_out(pid_after, range(2), each_s=0.01)} == {os.getpid()}


@linux
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_no_process_outlives_who_asked_amid_its_work(tmp_path, number):
    code = f"""
from pathlib import Path; from scenes.cli import _end_as_by_ctrl_c
_end_as_by_ctrl_c()
def slow(k):
    Path({str(tmp_path)!r}, str(os.getpid())).touch()
    for _ in range(1200): time.sleep(0.05)
shared_out(slow, range(1000), each_s=1.0)"""
    start = f"from tests.scenes.runtime.test_shared_out import *\n{code}"
    environment = {**os.environ, **dict.fromkeys(VARIABLES, "1"), "PYTHONPATH": str(ROOT), module.PROCESSES: "3"}
    run = subprocess.Popen([sys.executable, "-c", start], cwd=ROOT, env=environment, stderr=subprocess.DEVNULL)
    end = time.monotonic() + 60.0
    while len(list(tmp_path.iterdir())) < 3 and time.monotonic() < end:
        time.sleep(0.02)
    run.send_signal(number)
    run.wait(20)
    end = time.monotonic() + 20.0  # amid an item, which takes a minute
    pids = [int(path.name) for path in tmp_path.iterdir()]
    while not all(map(is_gone, pids)) and time.monotonic() < end:
        time.sleep(0.05)
    assert len(pids) == 3
    assert all(map(is_gone, pids))


@linux
def test_a_library_that_can_draw_keeps_nobody_from_sharing_out_what_is_only_computed():
    code = "import PIL.Image; print(len({pid for _, pid in shared_out(pid_after, range(4), each_s=1.0)}))"
    assert in_a_process_of_its_own(code) == "2"


def test_a_complaint_about_the_scene_comes_back_from_another_process_as_one():
    complaints = (Complaint(where="lens 40", problem="has no mask", source="show.toml"), Complaint(where="", problem="no box"))
    back = pickle.loads(pickle.dumps(module._sendable(SceneError(complaints))))
    assert isinstance(back, SceneError)
    assert (back.complaints, str(back)) == (complaints, "show.toml: lens 40: has no mask\nscene: no box")
