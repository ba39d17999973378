"""A worker of a run: reads calls from its input and answers each, until nobody is left to ask.

A process of its own, whose first call prepares and gets no answer: only scenes/runtime/worker_pool.py starts
`python -m scenes.runtime.worker_process`. Or a copy of the process that asks, which has all that this one has loaded.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, NoReturn

from scenes.runtime.terminal import hush_libraries

DRAWING = {"matplotlib", "vtkmodules", "PIL"}
PARENT_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG of Linux's prctl(2)
TICK, DONE, FAILED = "tick", "done", "failed"  # what an answer begins with


def main() -> int:
    """Exit status 0 once the input has ended."""
    answers = os.fdopen(os.dup(1), "wb")
    hush_libraries()
    os.dup2(2, 1)  # what a library prints must not mix with answers
    calls = sys.stdin.buffer
    with suppress(EOFError, OSError):  # whoever asked is gone, which Windows tells as a wrong argument
        with suppress(Exception):  # a preparation that fails will fail again where it is told
            pickle.load(calls)()
        _answer_all(calls, answers, ())
    return 0


def may_be_copied(*, draws: bool) -> bool:
    """Whether this process is known to run a single thread, that of a library included, and, for a copy that draws, has not drawn.

    Another thread may hold locks that nobody would open in the copy. Drawing libraries keep fonts open, and two processes that read
    on in one open file would take the places from each other; a copy that only computes may have them loaded (trimesh loads one).
    """
    try:
        return len(list(Path("/proc/self/task").iterdir())) == 1 and not (draws and DRAWING & sys.modules.keys())
    except OSError:  # not Linux
        return False


class Copy:
    """A copy of this process that answers calls; those in `known` may be asked for by their number alone.

    OSError where the system allows no further process.
    """

    def __init__(self, known: Sequence[Callable[..., Any]]) -> None:
        self._number, stdin, stdout = _copied(known)
        self.stdin: IO[bytes] | None = stdin
        self.stdout: IO[bytes] | None = stdout
        self._status: int | None = None
        self._ended = threading.Lock()

    def kill(self) -> None:
        """End it, if it has not."""
        if self._status is None:
            with suppress(ProcessLookupError):
                os.kill(self._number, signal.SIGKILL)

    def wait(self) -> int:
        """Its status, once it has ended."""
        with self._ended:
            if self._status is None:
                self._status = os.waitstatus_to_exitcode(os.waitpid(self._number, 0)[1])
        return self._status


def _copied(known: Sequence[Callable[..., Any]]) -> tuple[int, IO[bytes], IO[bytes]]:
    """A copy: its number, where calls go and where answers come from."""
    ends = list[int]()
    try:
        ends += os.pipe()
        ends += os.pipe()
        child = os.fork()
    except OSError:
        for end in ends:
            os.close(end)
        raise
    calls_in, calls_out, answers_in, answers_out = ends
    if child == 0:
        _serve(calls_in, answers_out, known)
    os.close(calls_in)
    os.close(answers_out)
    return child, os.fdopen(calls_out, "wb"), os.fdopen(answers_in, "rb")


def _serve(calls_in: int, answers_out: int, known: Sequence[Callable[..., Any]]) -> NoReturn:
    status = 1
    try:
        os.setpgid(0, 0)  # Ctrl-C at the terminal is for the run, and the run ends its processes
        _end_with_parent()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGALRM):
            signal.signal(number, signal.SIG_DFL)
        _let_go(keep={1, 2, calls_in, answers_out})
        os.dup2(2, 1)
        with suppress(EOFError, OSError):
            _answer_all(os.fdopen(calls_in, "rb"), os.fdopen(answers_out, "wb"), known)
        status = 0
    finally:
        os._exit(status)  # nothing of what the parent has open or would do at its end is this one's


def _end_with_parent() -> None:
    """Have the system end this process with the one that asks, amid a call too: nothing is written or kept for nobody."""
    import ctypes

    with suppress(OSError, AttributeError):  # another C library: it ends after its call then
        ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGKILL)


def _let_go(keep: set[int]) -> None:
    """Hold no file, pipe or lock of the parent's any more. Their numbers stay taken: somebody may still close them."""
    nothing = os.open(os.devnull, os.O_RDONLY)
    for held in {int(path.name) for path in Path("/proc/self/fd").iterdir()} - keep - {nothing}:
        with suppress(OSError):  # the one that listed the others is closed by now
            os.fstat(held)
            os.dup2(nothing, held, inheritable=held == 0)


def _answer_all(calls: IO[bytes], answers: IO[bytes], known: Sequence[Callable[..., Any]]) -> NoReturn:
    while True:
        asked = pickle.load(calls)
        _answer(known[asked] if isinstance(asked, int) else asked, answers)


def _answer(call: Callable[..., Any], answers: IO[bytes]) -> None:
    def tick(steps: int, doing: str = "") -> None:
        _say(answers, TICK, (steps, doing))

    try:
        result = call(tick=tick)
    except BrokenPipeError:
        raise
    except OSError as error:  # as it is: the number says whether the disk is full
        _say(answers, FAILED, error)
    except Exception as error:  # noqa: BLE001 - whatever it is, the process that asked has to say it
        _say(answers, FAILED, in_words(error))
    else:
        _say(answers, DONE, result)


def in_words(error: Exception) -> str:
    """An error on one line, for where it cannot be sent as it is."""
    return " ".join(f"{type(error).__name__}: {error}".split())


def _say(answers: IO[bytes], kind: str, what: Any) -> None:
    answers.write(pickle.dumps((kind, what), protocol=pickle.HIGHEST_PROTOCOL))
    answers.flush()


if __name__ == "__main__":
    sys.exit(main())
