"""Finished states of a run that was stopped, for the next run: result, files, and what is still to be drawn of them."""

from __future__ import annotations

import io
import pickle
import sys
from collections.abc import Sequence
from dataclasses import dataclass, is_dataclass, replace
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scenes.io.kept_work import KeptWork, kept_work, program_digest
from scenes.io.value_digest import value_digest
from scenes.questions.check.one_state import Kept, Recorded, StateRequest

if TYPE_CHECKING:
    from scenes.states.state import State

LEAST_STATES = 2  # of a run for which keeping them is worth a file each
OWN = ("geometry.", "raytrace.", "scenes.")
ARRAYS = {"_reconstruct", "_frombuffer", "ndarray", "dtype", "scalar"}  # what numpy's arrays are pickled by


@dataclass(frozen=True, slots=True)
class Keeping:
    """Where states are kept, and the program that they come from; `fresh` takes none, but still keeps them."""

    work: KeptWork
    program: str
    fresh: bool = False

    def taken(self, plan: State, request: StateRequest) -> Recorded | None:
        """The state as an earlier run has left it, its files written; None where it has to be checked."""
        if self.fresh:
            return None
        name = name_of(plan, request, self.program)
        found = _taken(self.work, name, request)
        return None if found is None else replace(found, kept=Kept(name=name, taken=True))

    def kept(self, plan: State, request: StateRequest, recorded: Recorded) -> Recorded:
        """A checked state, kept for the next run; one that failed, or whose drawing did, is not: the next run tries again."""
        if not recorded.check.states or recorded.trouble:
            return recorded
        name = name_of(plan, request, self.program)
        return replace(recorded, kept=Kept(name=name, trouble=self.work.put(name, _packed(recorded, request))))


def keeping_of(count: int, *, fresh: bool) -> Keeping | None:
    """How the states of a run of so many are kept; None where that is not worth it."""
    return Keeping(kept_work(), program_digest(), fresh) if count >= LEAST_STATES else None


def name_of(plan: State, request: StateRequest, program: str) -> str:
    """What a state's piece is called: by everything that its result and its files come from."""
    asked = replace(request, staging=None, folder="", threads=1)  # where files go and on how many threads changes none of them
    return value_digest(program, plan, asked, request.staging is not None)


def picture_name(kept: Kept, path: Path) -> str:
    """What a picture of a state is called."""
    return f"{kept.name}-{path.stem}"


def told(recorded: Sequence[Kept], count: int) -> list[str]:
    """Sentences about states that were taken, or could not be kept."""
    taken = sum(one.taken for one in recorded)
    said = [f"{taken} of {count} states taken from an earlier run that was stopped; --fresh computes them anew"] if taken else []
    return [*said, *dict.fromkeys(one.trouble for one in recorded if one.trouble)]


def _packed(recorded: Recorded, request: StateRequest) -> bytes:
    """A state and its files as bytes; pictures that are still to be drawn are named without their folder."""
    views = tuple((scene, path.name, size) for scene, path, size in recorded.views)
    files = {name: request.path(name).read_bytes() for name in _written(recorded, request)}
    return pickle.dumps((recorded.check, recorded.entry, views, files), protocol=5)


def _written(recorded: Recorded, request: StateRequest) -> list[str]:
    if request.staging is None:
        return []
    return [name for state in recorded.check.states for name in state.files if request.path(name).exists()]


def _taken(work: KeptWork, name: str, request: StateRequest) -> Recorded | None:
    """A kept state with its files written; None where it is not there, or is none."""
    data = work.get(name)
    if data is None:
        return None
    try:
        check, entry, views, files = _Values(io.BytesIO(data)).load()
    except Exception:  # noqa: BLE001 - whatever it is, it is no state of ours
        return None
    for file, content in files.items():
        assert request.staging is not None
        request.staging.write(request.name(file), content)
    key = check.states[0].key
    jobs = tuple((scene, request.path(f"{key}/{file}"), size) for scene, file, size in views)
    return Recorded(check=check, entry=entry, views=jobs)


class _Values(pickle.Unpickler):
    """Reads values of ours and arrays, and calls nothing else: a file that somebody else made cannot run anything."""

    def find_class(self, module: str, name: str) -> Any:
        """A class of values, or what makes an array."""
        if module.startswith(OWN):
            __import__(module)
            found = getattr(sys.modules[module], name)
            if isinstance(found, type) and (is_dataclass(found) or issubclass(found, Enum)):
                return found
        elif module.partition(".")[0] == "numpy" and name in ARRAYS:
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name} is no value")
