"""Renews the pinned versions, says what is new, and looks whether wheels of every pin exist for each system and Python.

python .requirements/renew.py            renew, then look
python .requirements/renew.py --look     only look: nothing is written
python .requirements/renew.py --test     look, then run the quick tests with every Python that can be had here

Needs uv (on the PATH, or named by UV). Wheels are looked for by their tags: nothing is downloaded but the index's word.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
HERE = ROOT / ".requirements"
UV = os.environ.get("UV", "uv")
FILES = {  # file: what of pyproject.toml it holds besides the program's own needs
    "run.txt": (),
    "test.txt": ("test",),
    "all.txt": ("test", "renderer", "readers", "dev", "docs", "exr", "raw"),
}
SYSTEMS = {"macOS on Apple silicon": "aarch64-apple-darwin", "Windows": "x86_64-pc-windows-msvc", "Linux": "x86_64-manylinux_2_28"}
PYTHONS = ("3.11", "3.12", "3.13")
NEXT_PYTHON = "3.14"  # told, but no reason to stop
PIN = re.compile(r"^([\w.-]+)==([^\s\\;]+)(?:\s*;\s*(.*?))?\s*\\?$", re.MULTILINE)
COMPILE = ("pip", "compile", "-q", "--no-header", "--no-annotate")


def uv(*arguments: str) -> subprocess.CompletedProcess[str]:
    """What uv says; a sentence, and the end, where there is none."""
    try:
        return subprocess.run([UV, *arguments], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False)
    except OSError as error:
        raise SystemExit(f"{UV}: cannot be run; install uv, or name it by UV in the environment ({error.strerror})") from None


def pins(text: str) -> dict[tuple[str, str], str]:
    """Versions by package and the condition that a pin has."""
    return {(name, condition or ""): version for name, version, condition in PIN.findall(text)}


def what_is_new(before: str, after: str) -> list[str]:
    """A line for each pin that came, went or changed."""
    old, new = pins(before), pins(after)
    changed = [key for key in sorted({*old, *new}) if old.get(key) != new.get(key)]
    return [f"{_words(key)}: {old.get(key, 'not there')} -> {new.get(key, 'gone')}" for key in changed]


def _words(key: tuple[str, str]) -> str:
    name, condition = key
    return f"{name} ({condition})" if condition else name


def renew(name: str) -> list[str]:
    """Write one file anew; what is new in it."""
    path = HERE / name
    before = path.read_text(encoding="utf-8")
    extras = [part for extra in FILES[name] for part in ("--extra", extra)]
    like_run = [] if name == "run.txt" else ["-c", str(HERE / "run.txt")]
    done = uv(*COMPILE, "pyproject.toml", "--universal", "--upgrade", "--generate-hashes", *extras, *like_run, "-o", str(path))
    if done.returncode:
        raise SystemExit(f"{name} could not be renewed:\n{done.stderr}")
    return what_is_new(before, path.read_text(encoding="utf-8"))


def lacking(name: str, system: str, python: str) -> str:
    """Why the pins of a file cannot all be had as wheels there; empty where they can."""
    done = uv(*COMPILE, str(HERE / name), "--python-platform", system, "--python-version", python, "--only-binary", ":all:")
    reasons = [line.strip() for line in done.stderr.splitlines() if "ecause" in line]
    return (reasons or [done.stderr.strip()])[0] if done.returncode else ""


def look() -> bool:
    """Say for each system and Python whether there are wheels; False where one that is promised has not all."""
    good = True
    for words, system in SYSTEMS.items():
        for python in (*PYTHONS, NEXT_PYTHON):
            why = lacking("test.txt", system, python)
            print(f"{words}, Python {python}: {why or 'a wheel of every pin'}")
            good = good and (not why or python == NEXT_PYTHON)
    return good


def interpreters() -> Iterator[tuple[str, str]]:
    """Versions and paths of Pythons on this machine."""
    for python in (*PYTHONS, NEXT_PYTHON):
        found = uv("python", "find", "--no-python-downloads", python)
        if found.returncode:
            print(f"Python {python}: none here")
        else:
            yield python, found.stdout.strip()


def tested(python: str, path: str) -> bool:
    """Whether the quick tests pass with a Python, in an environment of their own."""
    with tempfile.TemporaryDirectory() as folder:
        place = str(Path(folder, "venv"))
        steps = (
            ("venv", "-q", "--python", path, place),
            ("pip", "install", "-q", "--python", place, "--require-hashes", "-r", str(HERE / "test.txt")),
            ("pip", "install", "-q", "--python", place, "--no-deps", "-e", str(ROOT)),
            ("run", "--no-project", "--python", place, "python", "-m", "pytest", "-q", "-m", "not slow and not renderer"),
        )
        for step in steps:
            done = uv(*step)
            if done.returncode:
                print(f"Python {python}: {' '.join(step[:2])} failed\n{done.stdout[-3000:]}{done.stderr[-3000:]}")
                return False
    print(f"Python {python}: {done.stdout.strip().splitlines()[-1]}")
    return True


def main() -> int:
    """0 where every promised system has its wheels and what was tested passed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--look", action="store_true", help="renew nothing")
    parser.add_argument("--test", action="store_true", help="renew nothing, and run the quick tests")
    asked = parser.parse_args()
    for name in () if asked.look or asked.test else FILES:
        print(f"{name}:", *(renew(name) or ["nothing new"]), sep="\n  ")
    good = look()
    for python, path in interpreters() if asked.test else ():
        good = tested(python, path) and good
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
