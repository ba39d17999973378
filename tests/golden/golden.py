"""Every output of the program for the demo show and six lopsided scenes, as hashes: has a new structure changed an answer?

    python tests/golden/golden.py compare [--only SUBSTRING] [--keep DIR]
    python tests/golden/golden.py write   [--only SUBSTRING] [--keep DIR]

`compare` ends with 0 where every output is as stored, 1 where one differs. SUBSTRING picks runs by `scene/command`; a regular
expression does too. `--keep` leaves outputs in DIR to be looked at: of `compare` those that differ, of `write` all. To see
what changed, `write --keep DIR` at the commit before as well. It knows the program by its command line alone, so that inner
modules may move.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import io
import json
import os
import platform
import re
import shutil
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from importlib.metadata import version
from pathlib import Path, PurePosixPath
from typing import NamedTuple

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
STORE = HERE / "golden.json"
LIBRARIES = "numpy scipy shapely numba trimesh embreex matplotlib pillow ezdxf reportlab pydantic click"

# What may differ between two runs of the same program, and is made the same before hashing: file names, what, by what, why.
RULES = (
    (r"\.json$|/json$", r'("name": "brimline",\s+"version": )"[^"]*"', r'\1"-"', "the installed program's version"),
    (r"\.dxf$", r"(\$TD(?:U)?(?:CREATE|UPDATE)\r?\n *40\r?\n)[^\r\n]*", r"\1-", "when a drawing was made"),
    (r"\.dxf$", r"(\$(?:FINGERPRINT|VERSION)GUID\r?\n *2\r?\n)[^\r\n]*", r"\1-", "random names of a drawing"),
    (r"\.dxf$", r"\d+\.\d+\.\d+ @ \d{4}-\d\d-\d\dT[^\r\n]*", "-", "the drawing library's version, and when"),
    (r"\.pdf$", r"/(CreationDate|ModDate) \([^)]*\)", r"/\1 ()", "when a page was made"),
    (r"\.pdf$", r"/ID\s*\[<[^\]]*>\]", "/ID []", "a hash over the page and its dates"),
    (r"/errors$", r"The very first run prepares its fast code[^\n]*\n", "", "said once in the life of an installation"),
)
INTERRUPTED = 130
SOLID = re.compile(r"(^|/)(box|section|front|ways-3d)\.png$")  # 3D pictures: the machine's graphics library may draw them otherwise


class Run(NamedTuple):
    """One call of the program: its name in the store, its words, and whether it also writes a folder and prints JSON."""

    name: str
    words: tuple[str, ...]
    out: bool = True
    as_json: bool = True


def calls(scene: str, state: str, lens: str, few: str, beam_at: str, commands: str) -> Iterator[Run]:
    """The questions about one scene; `state` picks one state, `lens` one lens, `few` one focus of it."""
    every = {
        "check": f"check {scene} {state} --no-3d",
        "check-parts": f"check {scene} {state} --no-pictures --pixels 48 --parts",
        "check-reference": f"check {scene} {state} --no-pictures --engine reference --pixels 4",
        "check-mesh": f"check {scene} {state} --no-pictures --engine mesh --pixels 4",
        "beam": f"beam {scene} --at {beam_at} {few}",
        "masks": f"masks {scene} {lens}",
        "filters": f"filters {scene} {lens}",
        "flags": f"flags {scene} {state}",
        "builds": f"builds {scene} {few} --builds 10",
        "widest": f"widest {scene} --from 20 --to 40 --no-lenses",
        "bokeh": f"bokeh {scene} {state}",
        "ghosts": f"ghosts {scene} {few}",
        "sun": f"sun {scene} {few}",
        "leaks": f"leaks {scene} {state} --columns 64 --no-3d",
    }
    for name, words in every.items():
        if name in commands.split():
            as_json = name in QUICK or scene == SAYS_JSON  # elsewhere the same JSON lies in the folder
            yield Run(f"{PurePosixPath(scene).stem}/{name}", split(words), as_json=as_json)


def split(words: str) -> tuple[str, ...]:
    """Words of a command; `_` stands for a space inside one."""
    return tuple(word.replace("_", " ") for word in words.split())


ALL = "check beam masks filters flags builds widest bokeh ghosts sun leaks"
BUT_SLOW = "check beam masks filters flags builds bokeh ghosts sun"
QUICK = ("beam", "bokeh", "masks")
SAYS_JSON = "anamorphic.toml"  # one state: every question can be asked twice
NAMES = "demo check beam masks filters flags builds widest bokeh ghosts sun leaks plan design compare verify"
MORE_NAMES = "lens view new list schema"


def every_run() -> list[Run]:
    """The whole set, in a fixed order."""
    first = "--focus infinity --f-number"
    return [
        *calls("demo.toml", f"--lens 35 {first} 2.8", "--lens 35", "--lens 35 --focus infinity", "28", ALL),
        *calls("demo-36x24.toml", f"--lens 18 {first} 5.6", "--lens 25", "--lens 25 --focus infinity", "28", BUT_SLOW),
        Run("demo/check-3d", split(f"check demo.toml --lens 50 {first} 5.6"), as_json=False),
        Run("demo/flags-24", split(f"flags demo.toml --lens 24 {first} 5.6"), as_json=False),
        Run("demo/check-close", split("check demo.toml --lens 24 --focus close --f-number 2.8 --no-3d"), as_json=False),
        Run("demo/whole", split("demo --no-pictures --pixels 48"), as_json=False),
        Run("demo/plan", split(f"plan demo.toml --lens 35 {first} 2.8"), as_json=False),
        Run("design/design", split("design design.toml"), as_json=False),
        *calls("anamorphic.toml", "", "", "", "19", ALL),
        *calls("zoom.toml", "--focus infinity", "", "--focus infinity", "26", BUT_SLOW),
        *calls("lights.toml", "", "", "", "20", BUT_SLOW + " leaks"),
        Run("lights/flags-changes", split("flags lights.toml --changes"), as_json=False),
        Run("lights/ghosts-grid", split("ghosts lights.toml --grid"), as_json=False),
        *calls("patent.toml", "", "", "", "18", BUT_SLOW),
        *calls("turned.toml", "", "", "", "20", BUT_SLOW + " leaks check-mesh"),
        *calls("walking.toml", "", "", "", "9", BUT_SLOW + " widest check-parts check-reference"),
        *(Run(f"list/{what}", ("list", what), out=False) for what in ("formats", "filters", "rods", "words")),
        Run("schema/schema", ("schema",), out=False, as_json=False),
        Run("new/new", ("new", "out/mine.toml"), out=False, as_json=False),
        Run("errors/no-scene", split("check nowhere.toml"), out=False),
        Run("errors/no-lens", split("check demo.toml --lens 1000"), out=False),
        Run("help/brimline", ("--help",), out=False, as_json=False),
        *(Run(f"help/{name}", (name, "--help"), out=False, as_json=False) for name in f"{NAMES} {MORE_NAMES}".split()),
    ]


def program() -> Callable[[list[str]], int]:
    """What the command `brimline` calls, as pyproject.toml says."""
    sys.path.insert(0, str(ROOT))
    os.environ["PYTHONPATH"] = str(ROOT)  # for the processes that the program starts
    where = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["scripts"]["brimline"]
    module, function = where.split(":")
    found: Callable[[list[str]], int] = getattr(importlib.import_module(module), function)
    return found


def lay_out(folder: Path) -> None:
    """The scene files side by side, so that no path of this machine gets into an output."""
    show = next(path.parent for path in sorted(ROOT.rglob("demo-36x24.toml")) if not {".venv", "build"} & set(path.parts))
    for source in (show, HERE / "scenes"):
        shutil.copytree(source, folder, dirs_exist_ok=True)


def called(main: Callable[[list[str]], int], words: list[str]) -> tuple[int, bytes, bytes]:
    """Exit status, page and error sentences of one call."""
    page, errors = io.TextIOWrapper(io.BytesIO(), encoding="utf-8"), io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    with contextlib.redirect_stdout(page), contextlib.redirect_stderr(errors):
        status = main(words)
        page.flush()
        errors.flush()
    if status == INTERRUPTED:  # the program takes Ctrl-C for itself
        raise KeyboardInterrupt
    return status, page.buffer.getvalue(), errors.buffer.getvalue()  # type: ignore[attr-defined]


def outputs(main: Callable[[list[str]], int], run: Run, folder: Path) -> dict[str, bytes]:
    """Every output of a run by its key in the store: page, JSON, error sentences, exit status, files."""
    shutil.rmtree(folder / "out", ignore_errors=True)
    if "new" in run.words:
        (folder / "out").mkdir()
    status, page, errors = called(main, [*run.words, *(("--out", "out") if run.out else ())])
    found = {"status": str(status).encode(), "page": page, "errors": errors}
    for path in sorted((folder / "out").rglob("*")):
        if path.is_file() and path.name != ".brimline-files.json":  # which says of the others what the store says of them
            found[path.relative_to(folder).as_posix()] = path.read_bytes()
    if run.as_json:
        status, found["json"], found["json-errors"] = called(main, [*run.words, "--json"])
        found["json-status"] = str(status).encode()
    return {f"{run.name}/{key}": content for key, content in found.items()}


def marks(key: str, content: bytes) -> dict[str, str]:
    """What the store holds of an output; an archive of arrays has a line for each array."""
    if key.endswith("status"):
        return {key: content.decode()}
    if key.endswith(".png"):
        return {key: picture_mark(key, content)}
    if key.endswith(".npz"):
        return array_marks(key, content)
    return {key: sha256(normal(key, content))}


def normal(key: str, content: bytes) -> bytes:
    """A text without what may differ between two runs."""
    text = content.decode("latin-1")
    for files, what, by, _ in RULES:
        if re.search(files, key):
            text = re.sub(what, by, text)
    return text.encode("latin-1")


def picture_mark(key: str, content: bytes) -> str:
    """Hash of a flat picture's pixels; of a 3D picture only its size."""
    from PIL import Image

    with Image.open(io.BytesIO(content)) as picture:
        size = f"{picture.width} x {picture.height} pixels"
        return f"3D, {size}" if SOLID.search(key) else f"{sha256(picture.convert('RGBA').tobytes())} {size}"


def array_marks(key: str, content: bytes) -> dict[str, str]:
    """Hashes of the arrays in an archive: type, shape and numbers."""
    import numpy as np

    with np.load(io.BytesIO(content)) as arrays:
        numbers = {name: np.ascontiguousarray(arrays[name]) for name in arrays.files}
    return {f"{key}:{name}": sha256(f"{a.dtype} {a.shape} ".encode() + a.tobytes()) for name, a in numbers.items()}


def sha256(content: bytes) -> str:
    """Hash in hexadecimals."""
    return hashlib.sha256(content).hexdigest()


def versions() -> dict[str, str]:
    """What the outputs rest on beside the program."""
    libraries = {name: version(name) for name in LIBRARIES.split()}
    return {"python": platform.python_version(), "machine": platform.machine(), **libraries}


def other_versions(stored: dict[str, str]) -> list[str]:
    """Sentences on the libraries that are not those the store was written with."""
    now = versions()
    return [f"{name} is {now.get(name)}, stored with {was}" for name, was in stored.items() if now.get(name) != was]


def cpu_s() -> float:
    """Time that this process and those it has waited for have spent on processors [s]: the same on a busy machine."""
    return sum(os.times()[:4])


def say(words: str) -> None:
    """A line for whoever waits."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def keep(kept: Path | None, found: dict[str, bytes], which: set[str] | None) -> None:
    """Write outputs to look at; `which` picks some, by key or by the archive that a key lies in."""
    for key, content in found.items():
        if kept is not None and (which is None or any(name.split(":")[0] == key for name in which)):
            path = kept / key
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content if key.endswith((".png", ".npz")) else normal(key, content))


def differences(stored: dict[str, str], now: dict[str, str]) -> dict[str, str]:
    """What became of each key that is not as stored."""
    words = {key: "is new" for key in now if key not in stored} | {key: "is gone" for key in stored if key not in now}
    return words | {key: "differs" for key in now if key in stored and now[key] != stored[key]}


def save(marked: dict[str, str]) -> None:
    """Put what outputs are now into the store."""
    store = {"versions": versions(), "outputs": dict(sorted(marked.items()))}
    STORE.write_text(json.dumps(store, indent=1) + "\n", encoding="utf-8")


def go(asked: argparse.Namespace) -> int:
    """Make the outputs asked for; compare them with the store, or put them there."""
    main, begun, kept = program(), time.monotonic(), asked.keep and asked.keep.resolve()
    store = json.loads(STORE.read_text(encoding="utf-8")) if STORE.exists() else {"versions": {}, "outputs": {}}
    for sentence in other_versions(store["versions"]):
        say(f"note: {sentence}")
    runs = [run for run in every_run() if re.search(asked.only, run.name)]
    differing: dict[str, str] = {}
    home = Path.cwd()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        lay_out(folder)
        os.chdir(folder)
        try:
            for run in runs:
                start = cpu_s()
                found = outputs(main, run, folder)
                now = {key: mark for name, content in found.items() for key, mark in marks(name, content).items()}
                stored = {key: mark for key, mark in store["outputs"].items() if key.startswith(f"{run.name}/")}
                wrong = differences(stored, now)
                differing |= wrong
                keep(kept, found, None if asked.what == "write" else set(wrong))
                if asked.what == "write":
                    store["outputs"] = {key: mark for key, mark in store["outputs"].items() if key not in stored} | now
                    save(store["outputs"])
                say(f"{'differs' if wrong else 'equal  '} {run.name}: {len(now)} outputs, {cpu_s() - start:.1f} s of processor")
                for key, words in sorted(wrong.items()) if asked.what == "compare" else ():
                    say(f"    {key} {words}")
        finally:
            os.chdir(home)
    if not asked.only:
        names = tuple(f"{run.name}/" for run in runs)
        left = [key for key in store["outputs"] if not key.startswith(names)]
        differing |= dict.fromkeys(left, "belongs to no run")
        store["outputs"] = {key: mark for key, mark in store["outputs"].items() if key not in left}
    told = f"{time.monotonic() - begun:.0f} s, {cpu_s():.0f} s of processor"
    say(f"{len(runs)} runs, {len(differing)} outputs not as stored, {told}")
    if asked.what == "write":
        save(store["outputs"])
        return 0
    return 1 if differing or not runs else 0


def main() -> int:
    """The command line of this script."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("compare", "write"))
    parser.add_argument("--only", default="", metavar="SUBSTRING")
    parser.add_argument("--keep", type=Path, metavar="DIR")
    return go(parser.parse_args())


if __name__ == "__main__":
    sys.exit(main())
