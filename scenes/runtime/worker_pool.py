"""Work shared out to processes: this one works too, and each worker beside it is a child process that lives as long as the run.

Knows nothing of states or pictures. A worker gets one call at a time, and results are taken in the order of the calls, so that a
run leaves the same behind on any number of workers.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import IO, Any, Protocol, Self

from scenes.runtime.child_process import child_environment
from scenes.runtime.progress import Tick, silent
from scenes.runtime.worker_process import DONE, TICK, Copy, may_be_copied

Call = Callable[..., Any]  # takes `tick`; pickles, for another process may make it
Take = Callable[[int, Any], None]
Piece = Callable[[], None]
Aside = Callable[[bool], Piece | None]

UNKNOWN_MEMORY = 8e9  # bytes, where the system does not say
SHARE_OF_MEMORY = 0.5  # of the machine's, that all processes of a run may fill
MOST_PROCESSES = 16  # of a run: what one process does alone is half of it then


def memory_bytes() -> float:
    """The machine's memory."""
    try:
        return float(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, ValueError, OSError):
        return UNKNOWN_MEMORY


def processes_that_fit(bytes_each: float) -> int:
    """How many processes of such a size, this one among them, a run may have on this machine; 0 where not even one fits."""
    return min(int(SHARE_OF_MEMORY * memory_bytes() / bytes_each), MOST_PROCESSES)


@dataclass(frozen=True, slots=True)
class WorkerDied:
    """Instead of a result: the process at work on the call ended, and so did a second one after all others were done."""

    status: int


def no_aside(idle: bool) -> None:
    """An Aside without any work."""


def _nothing() -> None:
    """A piece without any work."""


class WorkerGone(Exception):  # noqa: N818 - it says what happened
    """A worker's process ended while at work."""

    def __init__(self, status: int) -> None:
        super().__init__(f"the process ended with status {status}")
        self.status = status


class _Process(Protocol):
    """What a worker needs of its process, as `subprocess.Popen` has it."""

    stdin: IO[bytes] | None
    stdout: IO[bytes] | None

    def kill(self) -> None: ...

    def wait(self) -> int: ...


class Worker:
    """A child process that makes calls one at a time; `warm`, its first, is what takes time before it can do anything else."""

    def __init__(self, warm: Piece) -> None:
        self._kept: tuple[Call, ...] = ()
        self._known: dict[int, int] = {}
        self._process: _Process = subprocess.Popen(
            [sys.executable, "-P", "-m", "scenes.runtime.worker_process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=child_environment(os.environ, ""),
            # In a group of its own: Ctrl-C at the terminal is for the run, and the run ends its workers.
            process_group=None if sys.platform == "win32" else 0,
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
        )
        self._send(warm)

    @classmethod
    def copy(cls, known: Sequence[Call]) -> Self:
        """A worker that has all that this process has loaded and kept, the calls known so far among it.

        Only for a process that may be copied.
        """
        made = cls.__new__(cls)
        made._kept = tuple(known)  # while these live, no later call can have the `id` of one of them
        made._known = {id(call): number for number, call in enumerate(made._kept)}
        made._process = Copy(known)
        return made

    def call(self, call: Call, tick: Tick) -> Any:
        """What a call comes to; WorkerGone where the process ends before it has said so."""
        self._send(call)
        while True:
            kind, what = self._answer()
            if kind == TICK:
                tick(*what)
            elif kind == DONE:
                return what
            else:
                raise what if isinstance(what, OSError) else RuntimeError(what)

    def _send(self, call: Callable[..., Any]) -> None:
        assert self._process.stdin is not None
        data = pickle.dumps(self._known.get(id(call), call), protocol=pickle.HIGHEST_PROTOCOL)
        try:
            self._process.stdin.write(data)
            self._process.stdin.flush()
        except OSError:
            raise WorkerGone(self._process.wait()) from None

    def _answer(self) -> tuple[str, Any]:
        assert self._process.stdout is not None
        try:
            kind, what = pickle.load(self._process.stdout)
        except (EOFError, pickle.UnpicklingError):  # the second where it ended amid an answer
            raise WorkerGone(self._process.wait()) from None
        return kind, what

    def kill(self) -> None:
        """End the process, whatever it is at; who waits for its answer is told."""
        self._process.kill()
        self._process.wait()

    def end(self) -> None:
        """End the process, which nobody waits for."""
        self.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            with suppress(OSError):  # what was not sent yet finds nobody
                assert pipe is not None
                pipe.close()


class _Round:
    """Calls on their way: which are still to be made, whose results wait for an earlier one, what is to be done aside."""

    def __init__(self, calls: Sequence[Call], take: Take, aside: Aside, tick: Tick) -> None:
        self.calls, self.take, self.aside = calls, take, aside
        self.todo = deque(range(len(calls)))
        self.open = len(calls)
        self.lost: dict[int, int] = {}  # with the status of the process
        self.errors: list[BaseException] = []
        self.stopped = False
        self._changed = threading.Condition()
        self._results: dict[int, Any] = {}
        self._taken = 0
        self._tick = tick

    def tick(self, steps: int, doing: str = "") -> None:
        """Count steps, from any thread."""
        with self._changed:
            self._tick(steps, doing)

    def next(self, able: Callable[[], bool]) -> int | Piece | None:
        """The number of a call, or a piece of work aside, or None once there is nothing left; waits where more may come."""
        with self._changed:
            while not self.stopped:
                has_call = bool(self.todo) and able()
                if piece := self.aside(not has_call):
                    return piece
                if has_call:
                    return self.todo.popleft()
                if not self.open:
                    return None
                self._changed.wait()
        return None

    def done(self, number: int, result: Any) -> None:
        """A result has come: it is taken, and so are those that waited for it."""
        with self._changed:
            self._results[number] = result
            while self._taken in self._results:
                self.take(self._taken, self._results.pop(self._taken))
                self._taken += 1
            self.open -= 1
            self._changed.notify_all()

    def lose(self, number: int, status: int) -> None:
        """A call has cost its process."""
        with self._changed:
            self.lost[number] = status
            self.open -= 1
            self._changed.notify_all()

    def again(self, number: int, result: Any) -> None:
        """The result of a lost call has come."""
        self.open += 1
        self.done(number, result)

    def stop(self, error: BaseException | None = None) -> None:
        """Nothing further is to be begun."""
        with self._changed:
            self.stopped = True
            if error is not None:
                self.errors.append(error)
            self._changed.notify_all()

    def wake(self) -> None:
        """Something has changed for those that wait."""
        with self._changed:
            self._changed.notify_all()


@dataclass(slots=True, kw_only=True)
class Sharing:
    """Lanes that work goes through: this process's own, one for each worker, and more that only do what is to be done aside.

    Workers start at the first round, fewer where the system allows no more. The first call of all is made in this process before a
    worker makes any: it compiles what the others then read from disk, or, where this process may be copied, have from it. Not so
    without `first_here`, where workers are copied at once, for they have all that they need and draw nothing; what costs its
    process is then made in this one, and without `here` all else only by workers, while there are any.
    """

    lanes: int = 1
    workers: int = 0
    copied: bool = True  # where it may be: not where the first call draws, for workers would only start after it
    first_here: bool = True
    here: bool = True
    warm: Piece = _nothing
    halt: Piece = _nothing  # ends work aside that is going on
    _workers: list[Worker | None] = field(default_factory=list)
    _prepared: bool = False

    def __enter__(self) -> Self:
        """Itself; its workers end with the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """End all workers."""
        self._end_workers()

    def run(self, calls: Sequence[Call], take: Take, *, aside: Aside = no_aside, tick: Tick = silent) -> None:
        """Make all calls and take each result, or that its process died, in the order of the calls.

        `aside` answers with a piece of work to be done here and now, or with None; it is told whether there is no call to make
        instead. Pieces, `take` and `tick` may come from any thread of this process, the latter two one at a time.
        """
        work = _Round(calls, take, aside, tick)
        copies = bool(calls) and not self._workers and self.workers > 0 and self.copied and self._may_copy()
        if calls and not self._workers and not copies and self.first_here:
            self._add_workers(self._started, self.workers)
        threads = [threading.Thread(target=self._lane, args=(work, k), daemon=True) for k in range(self.lanes - 1)]
        begun: list[threading.Thread] = []
        try:
            if copies:
                self._copy(work)
            self._begin(threads, begun)
            self._own_lane(work)
        except BaseException:  # Ctrl-C included: nothing goes on behind the user's back
            work.stop()
            self.halt()
            for worker in self._alive():
                worker.kill()
            raise
        finally:
            for thread in begun:
                thread.join()
        if work.errors:
            raise work.errors[0]
        if work.lost:
            self._again(work)

    def _begin(self, lanes: Sequence[threading.Thread], begun: list[threading.Thread]) -> None:
        """Begins as many lanes as the system allows; workers without one end, for nobody would ask them."""
        try:
            for lane in lanes:
                lane.start()
                begun.append(lane)
        except RuntimeError:
            for seat in range(len(begun), len(self._workers)):
                worker, self._workers[seat] = self._workers[seat], None
                if worker is not None:
                    worker.end()

    def _copy(self, work: _Round) -> None:
        """Makes the workers as copies of what this process is, once it has made the first call if that is to be made here."""
        if self.first_here:
            self._make(work, work.todo.popleft())
        self._prepared = True
        self._add_workers(partial(self._copied, work.calls), min(self.workers, len(work.todo)))

    def _add_workers(self, new: Callable[[], Worker | None], count: int) -> None:
        while len(self._workers) < count and (worker := new()) is not None:
            self._workers.append(worker)

    def _copied(self, calls: Sequence[Call]) -> Worker | None:
        """A worker that is a copy, or, after a first call that leaves threads behind, or takes much memory, one started anew."""
        if self._may_copy():
            with suppress(OSError):
                return Worker.copy(calls)
        return self._started() if self.first_here else None

    def _may_copy(self) -> bool:
        return may_be_copied(draws=self.first_here)

    def _started(self) -> Worker | None:
        """A worker started anew; None where the system allows no further process."""
        with suppress(OSError):
            return Worker(self.warm)
        return None

    def _make(self, work: _Round, number: int) -> None:
        work.done(number, work.calls[number](tick=work.tick))
        self._prepared = True

    def _own_lane(self, work: _Round) -> None:
        while (piece := work.next(lambda: self.here or not self._alive())) is not None:
            if isinstance(piece, int):
                self._make(work, piece)
            else:
                piece()
            work.wake()

    def _lane(self, work: _Round, seat: int) -> None:
        try:
            while (piece := work.next(lambda: self._prepared and self._worker(seat) is not None)) is not None:
                if isinstance(piece, int):
                    self._by_worker(work, piece, seat)
                else:
                    piece()
                    work.wake()
        except BaseException as error:  # noqa: BLE001 - whatever it is, it is raised where the work was asked for
            work.stop(error)

    def _by_worker(self, work: _Round, number: int, seat: int) -> None:
        worker = self._worker(seat)
        assert worker is not None
        try:
            result = worker.call(work.calls[number], work.tick)
        except WorkerGone as gone:
            self._workers[seat] = None  # what it needed may be too much beside the others: the run goes on with fewer
            worker.end()
            work.lose(number, gone.status)
        else:
            work.done(number, result)

    def _again(self, work: _Round) -> None:
        """Calls that cost their process, one after the other, when nothing else runs any more."""
        for number, status in work.lost.items():
            self._end_workers()
            work.again(number, self._alone(work, number, status) if self.first_here else work.calls[number](tick=work.tick))
        self._own_lane(work)

    def _alone(self, work: _Round, number: int, status: int) -> Any:
        """What a call comes to in a new process that has the machine to itself, or that it died, `status` where there is none."""
        if (worker := self._started()) is None:
            return WorkerDied(status)
        self._workers = [worker]
        try:
            return worker.call(work.calls[number], work.tick)
        except WorkerGone as gone:
            return WorkerDied(gone.status)

    def _end_workers(self) -> None:
        for worker in self._alive():
            worker.end()
        self._workers = [None] * len(self._workers)

    def _worker(self, seat: int) -> Worker | None:
        return self._workers[seat] if seat < len(self._workers) else None

    def _alive(self) -> list[Worker]:
        return [worker for worker in self._workers if worker is not None]
