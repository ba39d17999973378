"""The very first run on a machine: fast code is prepared once, with a word on the screen. No heavy imports."""

from __future__ import annotations

import atexit
from functools import cache
from subprocess import Popen

from raytrace.coverage.kernel_tasks import COVERING, LISTING, kernels_seem_missing
from raytrace.jit.start_early import begin
from scenes.runtime.progress import tell

FIRST_RUN = "The very first run prepares its fast code once, which takes some ten seconds; later runs start at once."

_begun: list[Popen[bytes]] = []


def begin_early() -> None:
    """Begin to compile beside all that the program itself has still to load, if this looks like the very first run."""
    if kernels_seem_missing():
        _begun.extend(child for task in (LISTING, COVERING) if (child := begin(task)) is not None)
        atexit.register(_end)


@cache
def prepare() -> None:
    """Compile what is not on disk yet."""
    if _begun:
        tell(FIRST_RUN)
        for child in _begun:
            child.wait()
    from raytrace.coverage.warm_up import are_compiled, compile_ahead
    from raytrace.jit.disk_cache import kept_in_temporary_folder

    folder = kept_in_temporary_folder()
    if folder is not None:
        tell(f"Fast code is kept in {folder}: neither the program's own folder nor your home folder can be written.")
    if not are_compiled():
        if not _begun:
            tell(FIRST_RUN)
        compile_ahead()


def _end() -> None:
    """Leave no process behind where the program ends before it needed what they compile."""
    for child in _begun:
        child.kill()
        child.wait()
