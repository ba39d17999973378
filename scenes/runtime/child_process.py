"""What processes of our own are started with, and how they are ended."""

from __future__ import annotations

import os
import subprocess
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

WINDOW_VARIABLE = (
    "VTK_DEFAULT_OPENGL_WINDOW"  # without it VTK looks for a display, and crashes where even its libraries are missing
)

# Without it the drawing library starts a program to ask for a display (xset, pgrep), which pictures without a window do not need.
NO_QUESTIONS = {"ALLOW_PLOTTING": "true"}


class StopSwitch:
    """Ends drawing from another thread, at once and for good; what was being drawn is left out."""

    def __init__(self) -> None:
        self.stopped = False
        self._children: set[subprocess.Popen[str]] = set()
        self._lock = threading.Lock()

    def stop(self) -> None:
        """End whatever draws."""
        with self._lock:
            self.stopped = True
            for child in self._children:
                child.kill()

    @contextmanager
    def on(self, child: subprocess.Popen[str]) -> Iterator[None]:
        """A child that is ended with all others while the block lasts."""
        with self._lock:
            self._children.add(child)
            if self.stopped:
                child.kill()
        try:
            yield
        finally:
            with self._lock:
                self._children.discard(child)


def child_environment(environment: Mapping[str, str], window: str) -> dict[str, str]:
    """The child's environment: this project first on the path, the kind of window set before the drawing library looks for one."""
    root = str(Path(__file__).resolve().parents[2])
    path = os.pathsep.join(p for p in (root, environment.get("PYTHONPATH", "")) if p)
    chosen = {WINDOW_VARIABLE: window} if window else {}
    return {**environment, **NO_QUESTIONS, "PYTHONPATH": path, **chosen}
