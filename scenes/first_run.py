"""The very first run on a machine: fast code is prepared once, with a word on the screen."""

from __future__ import annotations

from functools import cache

from scenes.progress import tell

FIRST_RUN = "The very first run prepares its fast code once, which takes some ten seconds; later runs start at once."


@cache
def prepare() -> None:
    """Compile what is not on disk yet."""
    from raytrace.coverage.ahead import are_compiled, compile_ahead

    if not are_compiled():
        tell(FIRST_RUN)
        compile_ahead()
