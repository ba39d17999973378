"""Notebooks as pages of the documentation: their cells are run when it is built, and shown with what came out.

`python docs/notebook_pages.py FILE` runs the cells of a notebook, or the Python blocks of a page, in a new folder with the starter
scene `my-show.toml`, and prints what each one showed as JSON. A cell that fails fails the run.
"""

import ast
import base64
import io
import json
import os
import re
import subprocess
import sys
import tempfile
from contextlib import redirect_stdout
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PICTURES = Path("_build/notebooks")
NEEDS_OPENGL = re.compile(r"pyvista|\.view\(")
BLOCK = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def cells_of(text):
    """(kind, source) of each cell of a notebook: kind is "code" or "markdown"."""
    return [(cell["cell_type"], "".join(cell["source"])) for cell in json.loads(text)["cells"]]


def code_of(path):
    """The pieces of Python in a notebook or a page, in order."""
    text = path.read_text(encoding="utf-8")
    return [source for kind, source in cells_of(text) if kind == "code"] if path.suffix == ".ipynb" else BLOCK.findall(text)


def can_run(path):
    """Whether this machine can: what draws in 3D takes OpenGL."""
    from scenes.view3d.render import offscreen_windows

    return bool(offscreen_windows()) or not NEEDS_OPENGL.search(path.read_text(encoding="utf-8"))


def run(path):
    """What each piece of code of a file showed, run in a process of its own; RuntimeError, with its last words, where one fails."""
    from scenes.runtime.child_process import child_environment
    from scenes.view3d.render import offscreen_windows

    environment = child_environment(os.environ, next(iter(offscreen_windows()), ""))
    environment |= {"PYVISTA_OFF_SCREEN": "true", "MPLBACKEND": "agg"}
    command = [sys.executable, __file__, str(path)]
    ended = subprocess.run(command, env=environment, capture_output=True, text=True, encoding="utf-8", check=False)
    if ended.returncode:
        raise RuntimeError(f"{path.name} does not run:\n{ended.stderr}")
    return json.loads(ended.stdout.splitlines()[-1])


def showings(sources):
    """What pieces of code show, run one after another in one namespace."""
    if find_spec("brimline") is None:  # this checkout is not installed
        sys.modules["brimline"] = import_module("scenes.face.brimline")
    names = {"__name__": "__main__"}
    return [_showing(source, names) for source in sources]


def _showing(source, names):
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    with redirect_stdout(io.StringIO()) as said:
        exec(compile(tree, "<cell>", "exec"), names)
        value = None if last is None else eval(compile(ast.Expression(last.value), "<cell>", "eval"), names)
    text = {"text": said.getvalue()} if said.getvalue() else {}
    return text | _plots() | ({} if value is None else _as_shown(value))


def _plots():
    """The plot that a cell has made with pyplot, as a notebook shows it at the cell's end."""
    pyplot = sys.modules.get("matplotlib.pyplot")
    if pyplot is None or not pyplot.get_fignums():
        return {}
    shown = _as_shown(pyplot.gcf())
    pyplot.close("all")
    return shown


def _as_shown(value):
    """A value as a notebook shows it: a picture, a piece of a page, or its repr."""
    if hasattr(value, "savefig"):
        stream = io.BytesIO()
        value.savefig(stream, format="png", dpi=100)
        return {"png": base64.b64encode(stream.getvalue()).decode()}
    if hasattr(value, "_repr_png_"):
        return {"png": base64.b64encode(value._repr_png_()).decode()}
    return {"html": value._repr_html_()} if hasattr(value, "_repr_html_") else {"repr": repr(value)}


def page_of(path):
    """A notebook that was run, as Markdown; its pictures are written for the page to show."""
    shown = iter(run(path) if can_run(path) else [{"text": "This machine has no OpenGL to draw with."}] * len(code_of(path)))
    pieces = []
    for number, (kind, source) in enumerate(cells_of(path.read_text(encoding="utf-8"))):
        pieces.append(source if kind == "markdown" else f"```python\n{source}\n```")
        if kind == "code":
            pieces += _output(next(shown), f"{path.stem}-{number}.png")
    return "\n\n".join(pieces)


def _output(shown, picture):
    yield from (f"```text\n{shown[key].rstrip()}\n```" for key in ("text", "repr") if key in shown)
    if "html" in shown:
        yield f"```{{raw}} html\n{shown['html']}\n```"
    if "png" in shown:
        place = ROOT / "docs" / PICTURES / picture
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(base64.b64decode(shown["png"]))
        yield f"![What this cell shows](/{PICTURES.as_posix()}/{picture})"


def notebook_parser():
    """A parser of Sphinx for notebooks: runs each, and reads it as Markdown."""
    from myst_parser.parsers.sphinx_ import MystParser

    class NotebookParser(MystParser):
        supported = ("ipynb",)

        def parse(self, inputstring, document):  # noqa: ARG002 - Sphinx's signature
            super().parse(page_of(Path(document["source"])), document)

    return NotebookParser


def main(path):
    """Print what the code of a file showed."""
    from scenes.scene_file.examples import starter_text

    sources = code_of(Path(path).resolve())
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        Path("my-show.toml").write_text(starter_text(), encoding="utf-8")
        found = showings(sources)
        os.chdir(ROOT)
    print(json.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1])
