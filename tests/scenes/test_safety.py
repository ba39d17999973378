"""What a command does to the machine beyond its answer: it runs nothing from a scene, listens to nobody, and writes where it says.

Python's audit events (PEP 578) tell of every file opened to write, every process begun and every socket, in child processes too.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HOOK = """
import os, sys
log = os.open(os.environ["AUDIT_LOG"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
allowed = [os.path.realpath(p) for p in os.environ["AUDIT_ALLOWED"].split(os.pathsep)]
scene = os.path.realpath(os.environ["AUDIT_SCENE"])
TOUCH = {"os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.chmod", "shutil.rmtree"}
RUN = {"os.system", "os.exec", "os.posix_spawn", "os.spawn"}
NET = {"socket.bind", "socket.listen", "socket.connect", "socket.sendto", "socket.getaddrinfo", "urllib.Request"}

def say(event, what):
    os.write(log, f"{event} {what!r}\\n".encode())

def fine(path, folder=-1):
    if isinstance(path, int):
        return True
    if isinstance(folder, int) and folder >= 0:  # a name in an open folder
        path = os.path.join(os.readlink(f"/proc/self/fd/{folder}"), os.fsdecode(path))
    path = os.path.realpath(os.fsdecode(path))
    return path == os.devnull or "__pycache__" in path or any(path.startswith(start) for start in allowed)

def hook(event, args):
    if event == "open":
        path, mode, flags = args
        if path is not None and (flags or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC) and not fine(path):
            say(event, path)
    elif event in TOUCH:
        args = args[1:] if event == "os.symlink" else args
        count = 2 if event in {"os.rename", "os.link"} else 1
        for path, folder in zip(args[:count], args[-count:] if len(args) > count else (-1, -1)):
            if not fine(path, folder):
                say(event, path)
    elif event in RUN or event in NET:
        say(event, args)
    elif event == "subprocess.Popen":  # the drawing library asks for the machine's fonts
        if args[0] != "fc-list" and os.path.realpath(os.fsdecode(args[0])) != os.path.realpath(sys.executable):
            say(event, args[:2])
    elif event == "compile":
        source, name = args[0] or b"", os.fsdecode(args[1] or "")
        text = source if isinstance(source, str) else bytes(source).decode("utf-8", "replace") if isinstance(source, bytes) else ""
        if "touch pwned" in text or (name[:1] != "<" and os.path.realpath(name).startswith(scene + os.sep)):
            say(event, name)

sys.addaudithook(hook)
"""
EVIL = 'open(__file__ + ".was-run", "w").close()\n'
QUICK = ["list formats", "schema", "new {out}/mine.toml", "beam {scene} --at 60 --out {out}"]
SLOW = [
    "check {scene} --lens 18 --out {out} --pixels 12",
    "demo --out {out} --pixels 8 --no-pictures",
    "masks {scene} --out {out}",
    "filters {scene} --lens 18 --out {out}",
    "flags {scene} --lens 18 --out {out}",
    "leaks {scene} --lens 18 --out {out} --columns 64",
    "ghosts {scene} --lens 18 --out {out}",
    "sun {scene} --lens 18 --out {out}",
    "widest {scene} --out {out}",
    "bokeh {scene} --lens 18 --out {out} --ahead 1000",
    "tolerances {scene} --out {out}",
    "make {scene} --lens 18 --out {out}",
    "view {scene} --out {out}.png",
]


def events(folder, words):
    """What the audit hook objects to while a command runs in the scene's folder."""
    scene = folder / "scene"
    for name in ("hook", "out", "tmp"):
        (folder / name).mkdir()
    (folder / "hook/sitecustomize.py").write_text(HOOK)
    demo = ROOT / "scenes/demo"
    scene.mkdir()
    for path in demo.rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            (scene / path.relative_to(demo)).parent.mkdir(exist_ok=True)
            (scene / path.relative_to(demo)).write_bytes(path.read_bytes())
    text = (scene / "demo-36x24.toml").read_text()
    (scene / "s.toml").write_text(text.replace('title = "', "title = \"{0.__class__} $(touch pwned) __import__('os') ", 1))
    for name in ("geometry.py", "raytrace.py", "numpy.py", "click.py", "sitecustomize.py", "usercustomize.py", "matplotlibrc"):
        (scene / name).write_text(EVIL)
    tmp = str(folder / "tmp")
    env = {
        **os.environ, "PYTHONPATH": os.pathsep.join([str(folder / "hook"), str(ROOT)]), "PYTHONDONTWRITEBYTECODE": "1",
        "AUDIT_LOG": str(folder / "log"), "AUDIT_SCENE": str(scene), "TMPDIR": tmp, "MPLCONFIGDIR": tmp, "XDG_CACHE_HOME": tmp,
        "AUDIT_ALLOWED": os.pathsep.join([str(folder / "out"), str(folder / ".out."), tmp, str(folder / "log")]),
    }  # fmt: skip
    env.pop("BRIMLINE_CACHE", None)
    filled = [word.format(scene="s.toml", out=folder / "out" / "r") for word in words.split()]
    command = [sys.executable, "-P", "-m", "scenes.cli", *filled]
    ended = subprocess.run(command, env=env, cwd=scene, capture_output=True, text=True, check=False)
    assert ended.returncode in {0, 1}, ended.stderr
    assert not list(folder.rglob("*was-run"))
    assert not list(folder.rglob("pwned"))
    return (folder / "log").read_text().splitlines()


@pytest.mark.skipif(sys.platform != "linux", reason="names of open folders as Linux has them")
@pytest.mark.parametrize("words", [*QUICK, *(pytest.param(words, marks=pytest.mark.slow) for words in SLOW)])
def test_a_command_runs_nothing_of_a_scene_listens_to_nobody_and_writes_only_its_results_and_caches(tmp_path, words):
    assert events(tmp_path, words) == []


def test_the_hook_tells_of_what_it_is_for(tmp_path):
    (tmp_path / "sitecustomize.py").write_text(HOOK)
    env = {
        **os.environ,
        "PYTHONPATH": str(tmp_path),
        "AUDIT_LOG": str(tmp_path / "log"),
        "AUDIT_ALLOWED": "/nowhere",
        "AUDIT_SCENE": "/s",
    }
    code = "import socket, subprocess; open('a', 'w'); socket.socket().bind(('127.0.0.1', 0)); subprocess.run(['true'])"
    subprocess.run([sys.executable, "-c", code], env=env, cwd=tmp_path, check=True)
    assert [line.split()[0] for line in (tmp_path / "log").read_text().splitlines()] == ["open", "socket.bind", "subprocess.Popen"]


def test_a_foreign_geometry_on_the_path_is_told_in_a_sentence(tmp_path):
    (tmp_path / "geometry").mkdir()
    (tmp_path / "geometry/__init__.py").write_text(EVIL)
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), str(ROOT)])}
    command = [sys.executable, "-P", "-m", "scenes.cli", "beam", str(ROOT / "scenes/demo/demo.toml"), "--at", "60"]
    ended = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    assert ended.returncode == 2
    assert ended.stderr.count("\n") == 1
    assert 'is another "geometry", which Python finds before the one of this program' in ended.stderr
    assert not list(tmp_path.rglob("*was-run"))
