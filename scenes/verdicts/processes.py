"""How many processes judge the states of a run side by side, and what is said of a state that cost its process."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from scenes.runtime.engines import AREAS, engine_of
from scenes.runtime.worker_pool import WorkerDied, processes_that_fit
from scenes.verdicts.check import map_grid

if TYPE_CHECKING:
    from scenes.states.state import State

STEPS_PER_STATE = 100  # of a progress bar
# Of processes that work on states: what one takes without maps and with its drawing process, and what each pixel of a map takes;
# the least states for each, for it takes as long to start as two.
PROCESS_BYTES, PIXEL_BYTES, STATES_PER_PROCESS = 1.0e9, 30.0, 4


def processes_beside(
    states: Sequence[State],
    threads: int,
    *,
    engine: str = AREAS,
    columns: int | str | None = None,
    least: int = STATES_PER_PROCESS,
) -> int:
    """How many processes to judge states beside this one, `least` states for each: none where these, or memory, are few."""
    room = processes_that_fit(_process_bytes(states, engine, columns))
    return max(min(threads, len(states) // least, room) - 1, 0)


def _process_bytes(states: Sequence[State], engine: str, columns: int | str | None) -> float:
    """What a process takes at most, with a drawing process that it waits for: libraries, and maps of all pupil depths at once."""
    grids = [(map_grid(state, engine_of(engine), columns), len(state.variants)) for state in states]
    return PROCESS_BYTES + PIXEL_BYTES * max(grid.columns * grid.rows * (count + 2) for grid, count in grids)


def died_words(died: WorkerDied) -> str:
    """Why a state could not be computed that has cost its process twice."""
    return f"the process at work on it ended twice, with status {died.status}, perhaps for want of memory"
