"""3D pictures without a display, drawn in a child process: where there is no OpenGL, a sentence comes instead of a crash."""

from __future__ import annotations

import ctypes
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from scenes.io.files import write_whole
from scenes.runtime.child_process import StopSwitch, child_environment
from scenes.view3d.content import Scene3D
from scenes.view3d.content_file import packed

Job = tuple[Scene3D, Path, tuple[int, int]]

WINDOWS = (("libEGL.so.1", "vtkEGLRenderWindow"), ("libOSMesa.so.8", "vtkOSOpenGLRenderWindow"))
OTHER_SYSTEMS = ("",)  # macOS and Windows bring OpenGL along and have but one kind of window
START_S, PICTURE_S = 90.0, 45.0  # a start takes about 2 s, a picture 1; beyond this the child is taken to hang

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


def render_batch(jobs: Sequence[Job], stop: StopSwitch | None = None) -> RenderReport:
    """Draw scenes into PNG files (scene, path, (width, height) pixels); never raises for want of OpenGL.

    A file is written whole or not at all. One start serves all pictures: hand over as many as there are.
    """
    stop = stop or StopSwitch()
    if not jobs:
        return RenderReport()
    if find_spec("pyvista") is None:
        return RenderReport(problem=NO_LIBRARY)
    for window in offscreen_windows():
        report = _render_with(window, jobs, stop)
        if report.written or report.problem != NO_OPENGL:
            return report
    return RenderReport(problem=NO_OPENGL)


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


def _render_with(window: str, jobs: Sequence[Job], stop: StopSwitch) -> RenderReport:
    """All jobs in one child, and what a crash left over in a second one; NO_OPENGL where not even the first picture came."""
    report, left = RenderReport(), list(jobs)
    while left:
        done, crash = _one_child(window, left, stop)
        if stop.stopped:
            return report
        if not done and not report.written:
            return replace(report, problem=NO_OPENGL)
        report = _joined(report, left, done)
        left = left[len(done) :]
        if left:
            report = replace(report, failed=(*report.failed, (left[0][1], crash)))
            left = left[1:]
    return report


def _joined(report: RenderReport, jobs: Sequence[Job], done: Sequence[str]) -> RenderReport:
    paths = [path for _, path, _ in jobs]
    written = tuple(path for path, why in zip(paths, done, strict=False) if not why)
    failed = tuple((path, why) for path, why in zip(paths, done, strict=False) if why)
    return replace(report, written=report.written + written, failed=report.failed + failed)


def _one_child(window: str, jobs: Sequence[Job], stop: StopSwitch) -> tuple[list[str], str]:
    """For each picture the child got to, in order, why it failed or an empty text; and how the child ended, for the one after."""
    with tempfile.TemporaryDirectory(prefix="brimline-") as name:
        folder = Path(name)
        for number, (scene, _, size) in enumerate(jobs):
            np.savez(folder / f"{number}.npz", allow_pickle=False, size=np.array(size), **packed(scene))
        said, crash = _run([str(folder)], window, START_S + PICTURE_S * len(jobs), stop)
        done = [str(line["why"]) for line in said]
        for number, why in enumerate(done):
            if not why:
                write_whole(jobs[number][1], (folder / f"{number}.png").read_bytes())
    return done, crash


def _run(arguments: Sequence[str], window: str, timeout_s: float, stop: StopSwitch) -> tuple[list[dict[str, Any]], str]:
    """What a child said, and how it ended in a sentence."""
    try:
        ended = run_child(arguments, window, timeout_s, stop)
    except subprocess.TimeoutExpired as late:
        out = late.stdout or b""
        return _lines(out if isinstance(out, str) else out.decode(errors="replace")), f"drawing took longer than {timeout_s:.0f} s"
    return _lines(ended.stdout), f"drawing stopped with status {ended.returncode}"


def run_child(arguments: Sequence[str], window: str, timeout_s: float, stop: StopSwitch) -> subprocess.CompletedProcess[str]:
    """The drawing process, run to its end with a kind of window; TimeoutExpired where it hangs."""
    command = [sys.executable, "-P", "-m", "scenes.view3d.render_process", *arguments]
    environment, pipe = child_environment(os.environ, window), subprocess.PIPE
    with subprocess.Popen(command, env=environment, stdout=pipe, stderr=pipe, text=True) as child, stop.on(child):
        try:
            out, err = child.communicate(timeout=timeout_s)
        except BaseException:  # Ctrl-C included
            child.kill()
            raise
    return subprocess.CompletedProcess(command, child.returncode, out, err)


def _lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines() if line.startswith("{") and line.endswith("}")]
