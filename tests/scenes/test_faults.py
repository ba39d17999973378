"""Every command that writes, ended before any of its steps on the disk: one result is there whole, nobody's file is lost.

Python's audit events (PEP 578) tell of each step: a file opened to write, a folder made, a name given, exchanged or removed. A run
is ended at one of them by kill -9 or by a request to end, or finds the disk full from there on. BRIMLINE_FAULTS tries so many
steps of each command instead of a few.
"""

import errno
import hashlib
import json
import os
import signal
import sys
import traceback
from pathlib import Path

import numpy as np
import pytest

from scenes.cli import main
from scenes.io.folders.kept_files import MANIFEST

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="fork and kill -9 as Linux has them")
ROOT = Path(__file__).parents[2]
SCENE = """
brimline = 1
title = "{title}"
[camera]
width_mm = 36
height_mm = 24
pixels = [360, 240]
[[lens]]
name = "40"
focal_mm = 40
f_number = 4
front_diameter_mm = 80
front_to_sensor_mm = 160
pupil_behind_front_mm = 40
close_focus_mm = 800
[box]
ahead_mm = 4
[[box.stage]]
at_mm = 6
depth_mm = 6
opening_mm = [150, 120]
filter = {{ width_mm = 160, height_mm = 130, thickness_mm = 4 }}
[[box.mask]]
name = "plate"
at_mm = 20
thickness_mm = 2
opening_mm = [140, 100]
[box.hood]
at_mm = 30
depth_mm = 50
rear_mm = [160, 110]
front_mm = [250, 180]
[[box.flag]]
side = "top"
angle_deg = 60
length_mm = 60
width_mm = 200
[[light]]
name = "sun"
[light.sun]
latitude_deg = 40.8
longitude_deg = -113.8
time = 2026-09-18T17:30:00-06:00
camera_heading_deg = 202
camera_tilt_deg = 2
[[light]]
name = "lamp"
azimuth_deg = 20
elevation_deg = 30
[[tolerance]]
of = "box.mask[plate].at_mm"
plus_minus = 0.5
[check]
f_numbers = [4, 8]
focus_mm = ["infinity"]
"""
TOUCH = {"os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.link", "shutil.rmtree", "ctypes.dlsym"}
GROWS = {"open", "os.mkdir", "os.link"}  # what a full disk refuses
COMMANDS = {
    "beam": "beam {scene} --at 60 --out {out}",
    "check": "check {scene} --out {out} --engine reference --pixels 6 --no-3d --threads 1",
    "masks": "masks {scene} --out {out}",
    "filters": "filters {scene} --out {out}",
    "flags": "flags {scene} --out {out}",
    "leaks": "leaks {scene} --out {out} --no-3d --columns 32",
    "ghosts": "ghosts {scene} --out {out}",
    "sun": "sun {scene} --out {out}",
    "widest": "widest {scene} --out {out}",
    "bokeh": "bokeh {scene} --out {out} --ahead 1000",
    "tolerances": "tolerances {scene} --out {out}",
    "make": "make {scene} --out {out}",
}
MINE = b"my words\n"  # what a person has written over one of the files
ENDS = ("kill", "term", "full")


class Steps:
    """Counts the steps on the disk within a folder, and does `end` at one of them."""

    def __init__(self, folder, number, end):
        self.folder, self.number, self.end, self.count = str(folder), number, end, 0

    def __call__(self, event, args):
        if not self._is_step(event, args):
            return
        self.count += 1
        if self.count == self.number and self.end == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        if self.count == self.number and self.end == "term":
            os.kill(os.getpid(), signal.SIGTERM)
        if self.number is not None and self.count >= self.number and self.end == "full" and event in GROWS:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def _is_step(self, event, args):
        if event == "open":
            path, _, flags = args
            written = (flags or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC)
            return bool(written) and isinstance(path, str | bytes | os.PathLike) and os.fsdecode(path).startswith(self.folder)
        return event in TOUCH and (event == "ctypes.dlsym" or str(args[0]).startswith(self.folder))


def in_a_child(argv, folder, number=None, end=""):
    """How the command ends in a process of its own: its status, None where killed, what it says, and the number of its steps."""
    said, steps = folder / "said", folder / "steps"
    child = os.fork()
    if not child:
        status = 99
        try:
            handle = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, 1)
            os.dup2(handle, 2)
            sys.stdout, sys.stderr = os.fdopen(1, "w", buffering=1), os.fdopen(2, "w", buffering=1)
            hook = Steps(folder / "show", number, end)
            sys.addaudithook(hook)
            status = main(argv)
            hook.number = None
            sys.stdout.flush()
            steps.write_text(str(hook.count))
        except BaseException:  # noqa: BLE001 - the child must never go on as the test
            traceback.print_exc()
        finally:
            os._exit(status)
    _, ended = os.waitpid(child, 0)
    status = None if os.WIFSIGNALED(ended) else os.waitstatus_to_exitcode(ended)
    return status, said.read_text(), int(steps.read_text()) if steps.exists() else 0


def whole(out, command):
    """The title of a result that is there with every file that it lists, each as it was written or as a person has changed it."""
    (data,) = [json.loads(path.read_text()) for path in out.glob("*.json") if not path.name.startswith(".")]
    written = json.loads((out / MANIFEST).read_text())[command]
    for name in data["files"]:
        assert (out / name).is_file(), name
        content = (out / name).read_bytes()
        assert content == MINE or hashlib.sha256(content).hexdigest() == written[name], name
    assert (out / "mine/notes.txt").read_text() == "ask about the flag"
    assert MINE in [path.read_bytes() for path in out.rglob("*") if path.is_file()]
    return data["scene"]["title"]


def tried(command, tmp_path, rng, count):
    """A command ended at so many steps, by each end in turn: how often the old and the new result was found."""
    show = tmp_path / "show"
    show.mkdir()
    scene, out = show / "s.toml", show / "out"
    argv = COMMANDS[command].format(scene=scene, out=out).split()
    scene.write_text(SCENE.format(title="run 0"))
    assert main(argv) in {0, 1}  # compiles, and loads what children then have
    (out / "mine").mkdir()
    (out / "mine/notes.txt").write_text("ask about the flag")
    min(path for path in out.rglob("*") if path.suffix in {".png", ".svg", ".txt"} and path.name != "notes.txt").write_bytes(MINE)
    scene.write_text(SCENE.format(title="run 0"))
    _, _, steps = in_a_child(argv, tmp_path)
    assert steps > 5
    assert whole(out, command) == "run 0"
    found = {"old": 0, "new": 0}
    for number in range(1, count + 1):
        before, end = whole(out, command), ENDS[number % len(ENDS)]
        scene.write_text(SCENE.format(title=f"run {number}"))
        status, said, _ = in_a_child(argv, tmp_path, int(rng.integers(1, steps + 1)), end)
        title = whole(out, command)
        assert title in {before, f"run {number}"}
        found["old" if title == before else "new"] += 1
        assert "Traceback" not in said, said
        if status is not None:
            assert status in ({"term": {130}, "full": {2}}[end] if title == before else {0, 1, 130}), (end, status, said)
            assert said.count("error:") <= 1
            assert sorted(path.name for path in show.iterdir()) == ["out", "s.toml"]
    scene.write_text(SCENE.format(title="last"))
    assert in_a_child(argv, tmp_path)[0] in {0, 1}
    assert whole(out, command) == "last"
    assert sorted(path.name for path in show.iterdir()) == ["out", "s.toml"]
    return found


@pytest.mark.parametrize("command", ["beam", *(pytest.param(name, marks=pytest.mark.slow) for name in COMMANDS if name != "beam")])
def test_a_command_ended_at_any_step_leaves_a_whole_result_and_every_file_of_a_person(command, tmp_path):
    count = int(os.environ.get("BRIMLINE_FAULTS", "9" if command == "beam" else "3"))
    found = tried(command, tmp_path, np.random.default_rng(20262), count)
    sys.stdout.write(f"{command}: {found}\n")
    assert sum(found.values()) == count
