"""The very first run on a machine: fast code is prepared once, with a word on the screen. No heavy imports."""

from __future__ import annotations

import atexit
from functools import cache
from subprocess import Popen

from raytrace.beam import kernel_tasks as beam_tasks
from raytrace.coverage import kernel_tasks as coverage_tasks
from raytrace.jit.start_early import begin
from raytrace.judge import kernel_tasks as judge_tasks
from scenes.runtime.progress import tell

FIRST_RUN = "The very first run prepares its fast code once, which takes some ten seconds; later runs start at once."

_begun: list[Popen[bytes]] = []


def begin_early() -> None:
    """Begin to compile beside all that the program itself has still to load, if this looks like the very first run."""
    tasks = tasks_seen()
    _begun.extend(child for some in tasks if (child := begin(*some)) is not None)
    if tasks:
        atexit.register(_end)


def tasks_seen() -> list[tuple[str, ...]]:
    """What there seems to be to compile, for one process each: two halves of about the same work, and no third start."""
    judge = (judge_tasks.JUDGING,) if judge_tasks.kernels_seem_missing() else ()
    beam = (beam_tasks.TRACING,) if beam_tasks.kernels_seem_missing() else ()
    if coverage_tasks.kernels_seem_missing():
        return [(coverage_tasks.LISTING, *judge), (coverage_tasks.COVERING, *beam)]
    return [(*judge, *beam)] if judge or beam else []


@cache
def prepare() -> None:
    """Compile what is not on disk yet."""
    if _begun:
        _say()
        for child in _begun:
            child.wait()
    from raytrace.beam import warm_up as beam
    from raytrace.coverage import warm_up as coverage
    from raytrace.jit.disk_cache import kept_in_temporary_folder
    from raytrace.judge import warm_up as judge

    folder = kept_in_temporary_folder()
    if folder is not None:
        tell(f"Fast code is kept in {folder}: neither the program's own folder nor your home folder can be written.")
    missing = [engine for engine in (judge, beam, coverage) if not engine.are_compiled()]
    if missing:
        _say()
    for engine in missing:
        engine.compile_ahead()


@cache
def prepare_judge() -> None:
    """Compile what the judge needs, if it is not on disk yet."""
    from raytrace.judge import warm_up as judge

    if judge.are_compiled():
        return
    _say()
    for child in _begun[:1]:  # that with the judge's kernels
        child.wait()
    if not judge.are_compiled():
        judge.compile_ahead()


@cache
def _say() -> None:
    tell(FIRST_RUN)


def _end() -> None:
    """Leave no process behind where the program ends before it needed what they compile."""
    for child in _begun:
        child.kill()
        child.wait()
