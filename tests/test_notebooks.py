"""The notebooks and the Python page of the documentation run as they stand, and show what they promise."""

import base64
import importlib.util
import json
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
NOTEBOOKS = sorted((DOCS / "notebooks").glob("*.ipynb"))
PNG = b"\x89PNG"


@pytest.fixture(scope="module")
def pages():
    spec = importlib.util.spec_from_file_location("notebook_pages", DOCS / "notebook_pages.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_runs_and_shows_a_picture(pages, path):
    if not pages.can_run(path):
        pytest.skip("this machine has no OpenGL to draw with")
    shown = pages.run(path)
    pictures = [base64.b64decode(cell["png"]) for cell in shown if "png" in cell]
    assert pictures
    assert all(picture.startswith(PNG) for picture in pictures)


@pytest.mark.slow
def test_the_page_about_python_runs(pages):
    if not pages.can_run(DOCS / "python.md"):
        pytest.skip("this machine has no OpenGL to draw with")
    shown = pages.run(DOCS / "python.md")
    assert len(shown) == 5
    assert base64.b64decode(shown[1]["png"]).startswith(PNG)
    assert shown[2]["text"].startswith("Beam 40 mm ahead")
    assert "<table" in shown[3]["html"]


def test_a_cell_that_fails_fails_the_build_with_its_last_words(pages, tmp_path):
    page = tmp_path / "page.md"
    page.write_text("```python\n1 / 0\n```\n")
    with pytest.raises(RuntimeError, match=r"page\.md does not run:[\s\S]*ZeroDivisionError"):
        pages.run(page)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_kept_without_outputs_in_the_open_format(path):
    book = json.loads(path.read_text(encoding="utf-8"))
    assert (book["nbformat"], book["nbformat_minor"]) == (4, 5)  # nbformat 4.5: cells have ids, code cells outputs and a count
    ids = [cell["id"] for cell in book["cells"]]
    assert len(set(ids)) == len(ids) > 4
    assert all(cell["outputs"] == [] and cell["execution_count"] is None for cell in book["cells"] if cell["cell_type"] == "code")


def test_every_notebook_stands_on_the_page():
    page = (DOCS / "python.md").read_text(encoding="utf-8")
    assert NOTEBOOKS
    assert all(f"notebooks/{path.stem}\n" in page for path in NOTEBOOKS)
