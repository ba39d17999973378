"""Calls for processes to make: what each does depends on whether it is the process that asks."""

import errno
import os
import time

PATIENCE_S = 60.0


def wait_for(path):
    end = time.monotonic() + PATIENCE_S
    while not path.exists() and time.monotonic() < end:
        time.sleep(0.01)
    assert path.exists()


def pid_of_maker(*, tick):
    tick(1)
    return os.getpid()


def number_after(number, wait_s, *, tick):  # noqa: ARG001
    time.sleep(wait_s)
    return number


def slow_mark(path, *, tick):  # noqa: ARG001
    time.sleep(1.0)
    path.touch()
    return True


def is_marked(path, *, tick):  # noqa: ARG001
    return path.exists()


def here_or(asker, sign, elsewhere, *, tick):  # noqa: ARG001
    """In the process that asks, wait until another has shown its sign; in another, show it and do something else."""
    if os.getpid() == asker:
        wait_for(sign)
        return "here"
    partial = sign.with_suffix(".partial")
    partial.write_text(str(os.getpid()))
    partial.rename(sign)
    return elsewhere()


def interrupted_here(asker, sign, *, tick):
    here_or(asker, sign, long_sleep, tick=tick)
    raise KeyboardInterrupt


def die():
    os._exit(9)


def fail():
    raise KeyError("lost")


def find_the_disk_full():
    raise OSError(errno.ENOSPC, "No space left on device")


def long_sleep():
    time.sleep(600)


def patience():
    return PATIENCE_S


def no_more_than_a_name():
    return "elsewhere"
