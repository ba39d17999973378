"""How often Python looks for cycles among objects: seldom, for what a run makes lives on or goes by itself; not as it ends."""

from __future__ import annotations

import atexit
import gc

YOUNG_OBJECTS = 20_000  # that are made between two looks; Python's own choice of 700 looks some 250 times in a run


def look_seldom() -> None:
    """Look for garbage a few dozen times in a run; whoever has asked for less still is heard. None is looked for as Python ends."""
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)  # else every class and compiled kernel is taken apart before memory goes anyway: a fifth of a second
    young, *older = gc.get_threshold()
    if young:
        gc.set_threshold(max(young, YOUNG_OBJECTS), *older)
