"""3D pictures without a display, drawn in processes that stay: where there is no OpenGL, a sentence comes and no crash."""

from __future__ import annotations

import ctypes
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import Protocol, Self

import numpy as np

from scenes.io.folders.own_folder import own_folder
from scenes.io.writing import write_whole
from scenes.runtime.child_process import StopSwitch, child_environment
from scenes.view3d.content import Scene3D
from scenes.view3d.content_file import packed

Job = tuple[Scene3D, Path, tuple[int, int]]

WINDOWS = (("libEGL.so.1", "vtkEGLRenderWindow"), ("libOSMesa.so.8", "vtkOSOpenGLRenderWindow"))
OTHER_SYSTEMS = ("",)  # macOS and Windows bring OpenGL along and have but one kind of window
START_S, PICTURE_S = 90.0, 45.0  # a start takes about 2 s, a picture 1; beyond this the child is taken to hang
TRIES = 2  # of a picture whose process is ended from outside
KILLED = (-signal.SIGTERM, -getattr(signal, "SIGKILL", signal.SIGTERM))
PICTURES_PER_START = 3  # pictures that take as long as a start
PICTURES_PER_CHILD = 64  # so that what the drawing library keeps of each picture does not add up

INSTALL = "on Debian and Ubuntu: apt install libegl1 libegl-mesa0 libgl1-mesa-dri"
NO_OPENGL = f"3D pictures were left out: this machine has no OpenGL to draw with; {INSTALL}"
NO_LIBRARY_HERE = "the drawing library is missing; pip install pyvista"
NO_LIBRARY = f"3D pictures were left out: {NO_LIBRARY_HERE}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderReport:
    """What came of a batch: files written, files that failed and why, and one sentence where nothing could be drawn at all."""

    written: tuple[Path, ...] = ()
    failed: tuple[tuple[Path, str], ...] = ()
    problem: str = ""

    def and_then(self, other: RenderReport) -> RenderReport:
        """This and a later one as one."""
        return RenderReport(
            written=self.written + other.written, failed=self.failed + other.failed, problem=self.problem or other.problem
        )


class ChildGone(Exception):  # noqa: N818 - it says what happened
    """A drawing process ended, or was given up, while at work on a picture."""


class ChildKilled(ChildGone):
    """A drawing process was ended from outside, as the system does where memory runs out: it says nothing of what can draw."""


class Child(Protocol):
    """A process that draws one picture at a time."""

    @property
    def is_worn(self) -> bool:
        """Whether it has drawn enough, and a new one is to go on."""

    def draw(self, scene: Scene3D, path: Path, size: tuple[int, int]) -> str:
        """Draw into a PNG file; empty, or in a sentence why not; ChildGone where the process does not get over it."""

    def end(self) -> None:
        """End the process."""


class RenderChild:
    """A drawing process that stays: `python -m scenes.view3d.render_process`, told a file at a time."""

    def __init__(self, window: str, stop: StopSwitch) -> None:
        self._held = ExitStack()
        self._folder = self._held.enter_context(own_folder())
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "scenes.view3d.render_process"],
            env=child_environment(os.environ, window),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self._held.enter_context(stop.on(self._process))
        self._drawn = 0

    def draw(self, scene: Scene3D, path: Path, size: tuple[int, int]) -> str:
        """Draw into a PNG file, whole or not at all; empty, or in a sentence why not."""
        source = self._folder / f"{self._drawn}.npz"
        np.savez(source, allow_pickle=False, size=np.array(size), **packed(scene))
        limit_s = PICTURE_S + (0 if self._drawn else START_S)
        self._drawn += 1
        why = self._answer(str(source), limit_s)
        if not why:
            write_whole(path, source.with_suffix(".png").read_bytes())
        for file in (source, source.with_suffix(".png")):
            file.unlink(missing_ok=True)
        return why

    @property
    def is_worn(self) -> bool:
        """Whether it has drawn enough, and a new one is to go on."""
        return self._drawn >= PICTURES_PER_CHILD

    def _answer(self, line: str, limit_s: float) -> str:
        late = threading.Event()
        timer = threading.Timer(limit_s, self._give_up, [late])
        timer.daemon = True
        timer.start()
        try:
            return self._asked(line)
        except (OSError, EOFError):
            status = self._process.wait()
            if status in KILLED and not late.is_set():
                raise ChildKilled("its process was ended from outside, as happens where memory runs out; run it again") from None
            words = f"drawing took longer than {limit_s:.0f} s" if late.is_set() else f"drawing stopped with status {status}"
            raise ChildGone(words) from None
        finally:
            timer.cancel()

    def _give_up(self, late: threading.Event) -> None:
        late.set()
        self._process.kill()

    def _asked(self, line: str) -> str:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        for answer in self._process.stdout:  # between answers the libraries may have words of their own
            if answer.startswith("{") and answer.endswith("}\n"):
                return str(json.loads(answer)["why"])
        raise EOFError

    def end(self) -> None:
        """End the process, whatever it is at, and drop its files."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            with suppress(OSError):  # what was not sent yet finds nobody
                assert pipe is not None
                pipe.close()
        self._held.close()


@dataclass(slots=True, kw_only=True)
class Drawers:
    """Drawing processes that stay while the block lasts, one for each picture that is drawn at a time; for any threads."""

    stop: StopSwitch = field(default_factory=StopSwitch)
    child_of: Callable[[str, StopSwitch], Child] = RenderChild
    _idle: list[Child] = field(default_factory=list)
    _at_work: int = 0
    _window: str | None = None  # the kind that has answered once
    _problem: str = ""
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __enter__(self) -> Self:
        """Itself; its processes end with the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """End all processes."""
        while self._idle:
            self._idle.pop().end()

    def start_early(self) -> None:
        """Have a process load what it draws with before there is anything to draw; that none can is said at the first picture."""
        windows = offscreen_windows() if find_spec("pyvista") is not None else ()
        with suppress(OSError):
            self._idle += [self.child_of(window, self.stop) for window in windows[:1]]

    def worth_another(self, waiting: int) -> bool:
        """Whether so many pictures are to have one more process at work: one that is idle, the first, or where a start pays."""
        with self._lock:
            return waiting > (0 if self._idle or not self._at_work else PICTURES_PER_START)

    def draw(self, jobs: Sequence[Job]) -> RenderReport:
        """Draw scenes into PNG files (scene, path, (width, height) pixels); never raises for want of OpenGL.

        A file is written whole or not at all.
        """
        report = RenderReport()
        for job in jobs:
            if self.stop.stopped or report.problem:
                break
            report = report.and_then(self._draw(job))
        return report

    def _draw(self, job: Job) -> RenderReport:
        if not self._problem and find_spec("pyvista") is None:
            self._problem = NO_LIBRARY
        if self._problem:
            return RenderReport(problem=self._problem)
        gone: ChildGone | None = None
        for window in offscreen_windows() if self._window is None else (self._window,):
            for _ in range(TRIES):
                try:
                    return self._drawn_with(window, job)
                except ChildGone as words:
                    gone = words
                if self.stop.stopped:
                    return RenderReport()
                if not isinstance(gone, ChildKilled):
                    break
        if gone is None or (self._window is None and not isinstance(gone, ChildKilled)):
            self._problem = NO_OPENGL
            return RenderReport(problem=NO_OPENGL)
        return RenderReport(failed=((job[1], str(gone)),))

    def _drawn_with(self, window: str, job: Job) -> RenderReport:
        with self._lock:
            child = self._idle.pop() if self._idle else None
            self._at_work += 1
        try:
            child = self.child_of(window, self.stop) if child is None else child
            why = child.draw(*job)
        except BaseException:  # Ctrl-C included
            if child is not None:
                child.end()
            raise
        finally:
            with self._lock:
                self._at_work -= 1
        with self._lock:
            self._window = window
            if not child.is_worn:
                self._idle.append(child)
        if child.is_worn:
            child.end()
        return RenderReport(failed=((job[1], why),)) if why else RenderReport(written=(job[1],))


def render_batch(jobs: Sequence[Job], stop: StopSwitch | None = None) -> RenderReport:
    """Draw scenes as `Drawers.draw` does, in one process that ends with the last."""
    with Drawers(stop=stop or StopSwitch()) as drawers:
        return drawers.draw(jobs)


def offscreen_windows() -> tuple[str, ...]:
    """Kinds of off-screen window whose library is there, best first; loading it says nothing yet about its driver."""
    if not sys.platform.startswith("linux"):
        return OTHER_SYSTEMS
    return tuple(window for library, window in WINDOWS if _loads(library))


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def run_child(arguments: Sequence[str], window: str, timeout_s: float) -> subprocess.CompletedProcess[str]:
    """The drawing process, run to its end with a kind of window; TimeoutExpired where it hangs."""
    command = [sys.executable, "-P", "-m", "scenes.view3d.render_process", *arguments]
    environment = child_environment(os.environ, window)
    return subprocess.run(command, env=environment, capture_output=True, text=True, timeout=timeout_s, check=False)
