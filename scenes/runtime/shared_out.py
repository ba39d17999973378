"""Work shared out to processes for the length of one question: the same function of many items, answers in the items' order.

On Linux the others are copies of this process, warm as it is, which takes milliseconds. Where that is not safe, as beside other
threads, or not to be had, they are started anew, which pays only where the work is long. See scenes/runtime/worker_pool.py.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import lru_cache, partial
from typing import Any, TypeVar

import numpy as np

from scenes.runtime.progress import Tick, silent
from scenes.runtime.worker_pool import Sharing, WorkerDied, processes_that_fit
from scenes.runtime.worker_process import in_words, may_be_copied

Item = TypeVar("Item")
Made = TypeVar("Made")

FORKED_S, STARTED_S = 0.3, 6.0  # work that is longer is worth sharing: with copies of this process, with processes started anew
PROCESSES = "BRIMLINE_PROCESSES"  # set in the environment: how many processes a question may use at most
PROCESS_BYTES = 0.7e9  # what one takes at most
# Sent whole, for it is plain or may be changed; so are dataclasses that are not frozen.
WHOLE = (str, bytes, int, float, complex, bool, type(None), type, Enum, list, dict, set, np.ndarray)


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
    todo, count = tuple(items), processes_for(len(items), each_s)
    if not _sharing and (count > 1 or (elsewhere and count)):
        with _marked():
            if may_be_copied(draws=False):
                return _by_copies(_calls(work, todo, words), count, tick, elsewhere=elsewhere)
            if count > 1 and each_s * len(todo) > STARTED_S and (data := _pickled(work)):
                return _by_started(_calls(partial(_made_by, data), todo, words), count, tick)
    return list(_one_by_one(work, todo, words, tick))


def _one_by_one(work: Callable[[Item], Made], items: Sequence[Item], words: Callable[[Item], str], tick: Tick) -> Iterator[Made]:
    for item in items:
        yield work(item)
        tick(1, words(item))


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
    room = min(cores(), processes_that_fit(PROCESS_BYTES))
    return min(room, count) if room > 1 and count * each_s >= FORKED_S else 0


# What comes back


def packed(made: object, held_by_item: Sequence[object]) -> bytes:
    """What was made of an item, to be sent: of what the item held only where it is found."""
    stream = io.BytesIO()
    _Packer(stream, {id(thing): place for place, thing in enumerate(held_by_item)}).dump(made)
    return stream.getvalue()


def unpacked(data: bytes, held_by_item: Sequence[object]) -> Any:
    """What was made of an item; what the item held is this process's own."""
    return _Unpacker(io.BytesIO(data), held_by_item).load()


class _Packer(pickle.Pickler):
    def __init__(self, stream: io.BytesIO, places: Mapping[int, int]) -> None:
        super().__init__(stream, protocol=pickle.HIGHEST_PROTOCOL)
        self._places = places

    def persistent_id(self, thing: object) -> int | None:
        return self._places.get(id(thing))


class _Unpacker(pickle.Unpickler):
    def __init__(self, stream: io.BytesIO, held_by_item: Sequence[object]) -> None:
        super().__init__(stream)
        self._held = held_by_item

    def persistent_load(self, place: int) -> object:
        return self._held[place]


def held(item: object) -> tuple[object, ...]:
    """An item with what it holds, elements of tuples and values of frozen dataclasses, but for what is sent whole.

    Looked at once, before anybody works on the item: what work fills in would shift all places after it.
    """
    found: list[object] = []
    for thing in _spread(item):
        found.append(thing)
        if is_dataclass(thing):
            found += [one for value in fields(thing) for one in _spread(getattr(thing, value.name))]
    return tuple(found)


def _spread(thing: object) -> Iterator[object]:
    if isinstance(thing, WHOLE) or (isinstance(thing, tuple) and not thing) or not _stays(thing):
        return
    yield thing
    if isinstance(thing, tuple):
        for one in thing:
            yield from _spread(one)


def _stays(thing: object) -> bool:
    return not is_dataclass(thing) or bool(thing.__dataclass_params__.frozen)  # type: ignore[union-attr] # every dataclass has it


# Calls


@dataclass(frozen=True, slots=True)
class _Failure:
    """What an item raised, instead of what is made of it."""

    error: Exception


@dataclass(frozen=True, slots=True)
class _Packed:
    """What another process has made of an item."""

    data: bytes


@dataclass(frozen=True, slots=True)
class _Call:
    """Work on one item, for any process: another one packs what it makes."""

    work: Callable[[Any], Any]
    item: object
    held: tuple[object, ...]
    name: str
    asker: int  # the process

    def __call__(self, *, tick: Tick) -> Any:
        """What is made of the item, or a _Failure, or that _Packed."""
        elsewhere = os.getpid() != self.asker
        try:
            with _marked():
                made = self.work(self.item)
            answer = _Packed(packed(made, self.held)) if elsewhere else made
        except Exception as error:  # noqa: BLE001 - whatever it is, it is raised where the work was asked for
            answer = _Failure(_sendable(error) if elsewhere else error)
        tick(1, self.name)
        return answer

    def made(self, answer: Any) -> Any:
        """What is made of the item by an answer of this call; what it raised is raised."""
        if isinstance(answer, _Failure):
            raise answer.error
        return unpacked(answer.data, self.held) if isinstance(answer, _Packed) else answer


def _calls(work: Callable[[Item], Any], items: Sequence[Item], words: Callable[[Item], str]) -> list[_Call]:
    return [_Call(work, item, held(item), words(item), os.getpid()) for item in items]


def _sendable(error: Exception) -> Exception:
    """The error, or one in its words where it does not come through whole."""
    with suppress(Exception):
        if str(pickle.loads(pickle.dumps(error))) == str(error):
            return error
    return RuntimeError(in_words(error))


def _by_copies(calls: Sequence[_Call], count: int, tick: Tick, *, elsewhere: bool) -> list[Any]:
    workers = count if elsewhere else count - 1
    gc.freeze()  # what is there is not written to by looking for garbage, and so stays shared
    try:
        with Sharing(lanes=workers + 1, workers=workers, first_here=False, here=not elsewhere) as sharing:
            return _all_made(sharing, calls, tick)
    finally:
        gc.unfreeze()


def _by_started(calls: Sequence[_Call], count: int, tick: Tick) -> list[Any]:
    with Sharing(lanes=count, workers=count - 1) as sharing:
        return _all_made(sharing, calls, tick)


def _all_made(sharing: Sharing, calls: Sequence[_Call], tick: Tick) -> list[Any]:
    """What all calls come to, in their order; the first one that fails stops the others."""
    made: list[Any] = []

    def take(number: int, answer: Any) -> None:
        call = calls[number]
        made.append(call.made(call(tick=tick) if isinstance(answer, WorkerDied) else answer))

    sharing.run(calls, take, tick=tick)
    return made


def _pickled(work: Callable[[Item], Made]) -> bytes:
    """The work as it is before anybody begins, for what it knows may grow meanwhile; empty where it does not pickle."""
    try:
        return pickle.dumps(work, protocol=pickle.HIGHEST_PROTOCOL)
    except Exception:  # noqa: BLE001 - whatever it holds: then it is done here
        return b""


def _made_by(data: bytes, item: object) -> Any:
    return _work_in(data)(item)


@lru_cache(maxsize=1)
def _work_in(data: bytes) -> Callable[[Any], Any]:
    """The work, the same one for all items, so that it need not find out everything anew."""
    work: Callable[[Any], Any] = pickle.loads(data)
    return work
