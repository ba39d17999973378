"""A worker of a run: reads calls from its input and answers each, until nobody is left to ask.

The first call prepares and gets no answer. Only scenes/runtime/worker_pool.py starts
`python -m scenes.runtime.worker_process`.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import IO, Any

from scenes.runtime.terminal import hush_libraries

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
        while True:
            _answer(pickle.load(calls), answers)
    return 0


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
        _say(answers, FAILED, " ".join(f"{type(error).__name__}: {error}".split()))
    else:
        _say(answers, DONE, result)


def _say(answers: IO[bytes], kind: str, what: Any) -> None:
    answers.write(pickle.dumps((kind, what), protocol=pickle.HIGHEST_PROTOCOL))
    answers.flush()


if __name__ == "__main__":
    sys.exit(main())
