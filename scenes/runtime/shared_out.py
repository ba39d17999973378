"""Work shared out to processes for the length of one question: the same function of many items, answers in the items' order.

On Linux the others are forked from this process, warm as it is, which takes milliseconds. Where that is not safe, as beside other
threads, or not to be had, they are started anew (scenes/runtime/worker_pool.py), which pays only where the work is long.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import signal
import struct
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Generic, NoReturn, TypeVar

from scenes.runtime.progress import Tick, silent
from scenes.runtime.worker_pool import Sharing, WorkerDied, memory_bytes
from scenes.runtime.worker_process import end_with_parent

Item = TypeVar("Item")
Made = TypeVar("Made")

FORKED_S, STARTED_S = 0.3, 6.0  # work that is longer is worth sharing: with forked processes, with some started anew
PROCESSES = "BRIMLINE_PROCESSES"  # set in the environment: how many processes a question may use at most
PROCESS_BYTES, SHARE_OF_MEMORY, MOST_PROCESSES = 0.7e9, 0.5, 16
NUMBER = struct.Struct("=q")
PLAIN = (str, bytes, int, float, complex, bool, type(None), type, Enum, list, dict, set)  # or may be changed: sent whole


def cores() -> int:
    """How many processes to use at most: as the environment says, else one for each core that this process may use."""
    said = os.environ.get(PROCESSES, "")
    if said.isascii() and said.isdigit():
        return max(int(said), 1)
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def shared_out(
    work: Callable[[Item], Made],
    items: Sequence[Item],
    *,
    each_s: float,
    tick: Tick = silent,
    words: Callable[[Item], str] = lambda _: "",
    elsewhere: bool = False,
) -> list[Made]:
    """What `work` makes of each item, in their order, by as many processes as there are cores; `tick` counts items done.

    each_s is about how long one takes. `work` and items pickle. An item, or what it holds, that comes back in an answer is this
    process's own object again. Whatever `work` raises is raised here: of several items the first one's. `elsewhere` leaves all work
    to others, where it wakes threads beside which nothing can be forked any more.
    """
    todo = tuple(items)
    count, told = processes_for(len(todo), each_s), _OneAtATime(tick, [words(item) for item in todo])
    if not _sharing and (count > 1 or (elsewhere and count)):
        with _marked():
            if can_fork():
                return _forked(work, todo, count, told, elsewhere=elsewhere)
            if count > 1 and each_s * len(todo) > STARTED_S and (data := _pickled(work)):
                return _started(data, todo, count, told)
    return [told.after(number, work(item)) for number, item in enumerate(todo)]


_sharing: list[bool] = []  # whether this process works on something shared out: what that shares out in turn stays here


@contextmanager
def _marked() -> Iterator[None]:
    _sharing.append(True)
    try:
        yield
    finally:
        _sharing.pop()


def processes_for(count: int, each_s: float) -> int:
    """How many processes to share so many items out to; 0 where one core, or little memory, is all there is, or little work."""
    room = min(cores(), int(SHARE_OF_MEMORY * memory_bytes() / PROCESS_BYTES), MOST_PROCESSES)
    return min(room, count) if room > 1 and count * each_s >= FORKED_S else 0


def can_fork() -> bool:
    """Whether a copy of this process would work: no other thread, whose locks it would hold for ever. Linux alone."""
    tasks = Path("/proc/self/task")
    return sys.platform == "linux" and threading.active_count() == 1 and tasks.exists() and len(list(tasks.iterdir())) == 1


@dataclass(frozen=True, slots=True)
class _Failure:
    """What an item raised, instead of what is made of it."""

    error: BaseException


class _OneAtATime:
    """Counts items done, from any thread."""

    def __init__(self, tick: Tick, names: Sequence[str]) -> None:
        self._tick, self._names, self._lock = tick, names, threading.Lock()

    def after(self, number: int, made: Made) -> Made:
        """What was made, once its item is counted."""
        with self._lock:
            self._tick(1, self._names[number])
        return made


# What comes back


def packed(made: object, item: object) -> bytes:
    """What was made of an item, to be sent: of what the item holds only where it is found."""
    return _Packing(item).packed(made)


def unpacked(data: bytes, item: object) -> Any:
    """What was made of an item; what the item holds is this process's own."""
    return _Unpacker(io.BytesIO(data), item).load()


class _Packing:
    """Where an item holds what, as it was before anything was made of it."""

    def __init__(self, item: object) -> None:
        self._held = _held(item)
        self.places = {id(thing): place for place, thing in enumerate(self._held)}

    def packed(self, made: object) -> bytes:
        stream = io.BytesIO()
        _Packer(stream, self.places).dump(made)
        return stream.getvalue()


class _Packer(pickle.Pickler):
    def __init__(self, stream: io.BytesIO, places: Mapping[int, int]) -> None:
        super().__init__(stream, protocol=pickle.HIGHEST_PROTOCOL)
        self._places = places

    def persistent_id(self, thing: object) -> int | None:
        return self._places.get(id(thing))


class _Unpacker(pickle.Unpickler):
    def __init__(self, stream: io.BytesIO, item: object) -> None:
        super().__init__(stream)
        self._held = _held(item)

    def persistent_load(self, place: int) -> object:
        return self._held[place]


def _held(item: object) -> list[object]:
    """An item with what it holds, elements of tuples and values of dataclasses, but for what is plain or may be changed."""
    found: list[object] = []
    for thing in _spread(item):
        found.append(thing)
        if is_dataclass(thing):
            found += [one for value in fields(thing) for one in _spread(getattr(thing, value.name))]
    return found


def _spread(thing: object) -> Iterator[object]:
    if isinstance(thing, PLAIN) or (isinstance(thing, tuple) and not thing):
        return
    yield thing
    if isinstance(thing, tuple):
        for one in thing:
            yield from _spread(one)


def _made_of(work: Callable[[Item], Made], item: Item) -> bytes:
    """What was made of an item, or what it raised, to be sent."""
    packing = _Packing(item)
    try:
        return packing.packed(work(item))
    except Exception as error:  # noqa: BLE001 - whatever it is, it is raised where the work was asked for
        return packed(_Failure(_sendable(error)), None)


def _sendable(error: Exception) -> Exception:
    """The error, or one in its words where it does not come through whole."""
    with suppress(Exception):
        if str(pickle.loads(pickle.dumps(error))) == str(error):
            return error
    return RuntimeError(" ".join(f"{type(error).__name__}: {error}".split()))


def _all_made(found: Sequence[Any]) -> list[Any]:
    for one in found:
        if isinstance(one, _Failure):
            raise one.error
    return list(found)


# Forked


class _Round(Generic[Item, Made]):
    """Items on their way: a pipe holds the numbers of those that nobody has taken yet, and every process takes from it."""

    def __init__(self, work: Callable[[Item], Made], items: Sequence[Item], told: _OneAtATime) -> None:
        self.work, self.items, self.told = work, items, told
        self.found: dict[int, Any] = {}
        self._todo, numbers = os.pipe()
        self._fill = threading.Thread(target=_filled, args=(numbers, len(items)), daemon=True)
        self._numbers = numbers

    def fill(self) -> None:
        """Begin to hand out numbers, once all processes are there."""
        self._fill.start()

    def forget_filling(self) -> None:
        """Leave it to the other process to hand out numbers."""
        os.close(self._numbers)

    def taken(self) -> Iterator[int]:
        """Numbers that this process is to work on."""
        while len(data := os.read(self._todo, NUMBER.size)) == NUMBER.size:
            yield NUMBER.unpack(data)[0]

    def stop(self) -> None:
        """Have nobody take any more."""
        for _ in self.taken():
            pass

    def close(self) -> None:
        os.close(self._todo)


def _filled(numbers: int, count: int) -> None:
    with suppress(OSError), os.fdopen(numbers, "wb", buffering=0) as stream:
        for number in range(count):
            stream.write(NUMBER.pack(number))


def _forked(work: Callable[[Item], Made], items: Sequence[Item], count: int, told: _OneAtATime, *, elsewhere: bool) -> list[Made]:
    work_round = _Round(work, items, told)
    with _children(work_round, count if elsewhere else count - 1) as readers:
        work_round.fill()
        for reader in readers:
            reader.start()
        for number in () if elsewhere else work_round.taken():
            try:
                work_round.found[number] = told.after(number, work(items[number]))
            except Exception as error:  # noqa: BLE001 - raised below, unless an item before this one fails too
                work_round.found[number] = _Failure(error)
                work_round.stop()
        for reader in readers:
            reader.join()
    made = work_round.found
    if not any(isinstance(one, _Failure) for one in made.values()):
        for number, item in enumerate(items):  # what a process had in hand that has ended
            if number not in made:
                made[number] = told.after(number, work(item))
    return _all_made([made[number] for number in sorted(made)])


@contextmanager
def _children(work_round: _Round[Any, Any], count: int) -> Iterator[list[threading.Thread]]:
    """Copies of this process at work, and threads that take what they make; all have ended when the block is left."""
    gc.freeze()  # what is there is not written to by looking for garbage, and so stays shared
    pids, readers, theirs = list[int](), list[threading.Thread](), list[int]()
    try:
        for _ in range(count):
            answers, asked = os.pipe()
            pid = os.fork()
            if not pid:
                _child(work_round, asked, [*theirs, answers])
            os.close(asked)
            pids.append(pid)
            theirs.append(answers)
            readers.append(threading.Thread(target=_read, args=(work_round, answers), daemon=True))
        yield readers
    finally:
        for pid in pids:
            with suppress(OSError):
                os.kill(pid, signal.SIGKILL)
            with suppress(OSError):
                os.waitpid(pid, 0)
        for reader in readers:
            if reader.is_alive():
                reader.join()
        work_round.close()
        gc.unfreeze()


def _child(work_round: _Round[Any, Any], asked: int, others: Sequence[int]) -> NoReturn:
    """Work until nothing is left, and end without a trace in the files and handlers that are the other process's."""
    status = 1
    try:
        os.setpgid(0, 0)  # Ctrl-C at the terminal is for the run, and the run ends its processes
        end_with_parent()  # one that is killed can end nobody
        for request in (signal.SIGINT, signal.SIGTERM, signal.SIGALRM):
            signal.signal(request, signal.SIG_DFL)
        work_round.forget_filling()
        for other in others:
            os.close(other)
        with os.fdopen(asked, "wb") as stream:
            for number in work_round.taken():
                data = _made_of(work_round.work, work_round.items[number])
                stream.write(NUMBER.pack(number) + NUMBER.pack(len(data)) + data)
                stream.flush()
        status = 0
    finally:
        os._exit(status)


def _read(work_round: _Round[Any, Any], answers: int) -> None:
    """Take what a process makes, until it ends."""
    with os.fdopen(answers, "rb") as stream:
        while len(head := stream.read(2 * NUMBER.size)) == 2 * NUMBER.size:
            number, size = (NUMBER.unpack(part)[0] for part in (head[: NUMBER.size], head[NUMBER.size :]))
            data = stream.read(size)
            if len(data) < size:
                return
            try:
                made = unpacked(data, work_round.items[number])
            except Exception as error:  # noqa: BLE001 - raised where the work was asked for
                made = _Failure(error)
            if isinstance(made, _Failure):
                work_round.stop()
            work_round.found[number] = work_round.told.after(number, made)


# Started anew


def _pickled(work: Callable[[Item], Made]) -> bytes:
    """The work as it is before anybody begins, for what it knows may grow meanwhile; empty where it does not pickle."""
    try:
        return pickle.dumps(work, protocol=pickle.HIGHEST_PROTOCOL)
    except Exception:  # noqa: BLE001 - whatever it holds: then it is done here
        return b""


def _started(data: bytes, items: Sequence[Any], count: int, told: _OneAtATime) -> list[Any]:
    found: dict[int, Any] = {}

    def take(number: int, made: bytes | WorkerDied) -> None:
        whole = _made_of(_work_in(data), items[number]) if isinstance(made, WorkerDied) else made
        found[number] = told.after(number, unpacked(whole, items[number]))

    with Sharing(lanes=count, workers=count - 1) as sharing:
        sharing.run([partial(_called, data, item) for item in items], take)
    return _all_made([found[number] for number in range(len(items))])


def _called(data: bytes, item: object, *, tick: Tick) -> bytes:  # noqa: ARG001 - a Call
    with _marked():
        return _made_of(_work_in(data), item)


@lru_cache(maxsize=1)
def _work_in(data: bytes) -> Callable[[Any], Any]:
    """The work, the same one for all items, so that it need not find out everything anew."""
    work: Callable[[Any], Any] = pickle.loads(data)
    return work
