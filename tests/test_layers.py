"""Data goes one way: geometry <- raytrace <- scenes, and each layer uses only the libraries that are its business."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ALLOWED = {
    "geometry": {"numpy", "scipy", "shapely", "trimesh", "manifold3d"},
    "raytrace": {"geometry", "numpy", "scipy", "shapely", "trimesh", "embreex", "numba", "llvmlite", "cupy"},
    "scenes": {
        "geometry", "raytrace", "numpy", "scipy", "shapely", "trimesh", "click", "pydantic", "pydantic_core", "matplotlib",
        "pyvista", "vtkmodules", "ezdxf", "reportlab",
    },
}  # fmt: skip


def imports_of(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports relatively"
            yield node.module


@pytest.mark.parametrize("layer", ALLOWED)
def test_a_layer_imports_only_what_lies_below_it(layer):
    files = sorted((ROOT / layer).rglob("*.py"))
    assert files
    for path in files:
        tops = {name.split(".")[0] for name in imports_of(path)}
        stray = tops - ALLOWED[layer] - {layer, "__future__"} - sys.stdlib_module_names
        assert not stray, f"{path.relative_to(ROOT)} imports {sorted(stray)}"


@pytest.mark.parametrize("layer", ALLOWED)
def test_no_module_imports_through_a_package_face(layer):
    for path in sorted((ROOT / layer).rglob("*.py")):
        faces = [name for name in imports_of(path) if name in ALLOWED]
        assert not faces, f"{path.relative_to(ROOT)}: import the module, not the package ({faces})"


@pytest.mark.parametrize("layer", ALLOWED)
def test_package_faces_hold_a_docstring_and_nothing_else(layer):
    for path in sorted((ROOT / layer).rglob("__init__.py")):
        body = ast.parse(path.read_text()).body
        assert all(isinstance(node, ast.Expr) for node in body), path


@pytest.mark.parametrize("layer", ["geometry", "raytrace"])
def test_only_scenes_opens_files_and_prints(layer):
    for path in sorted((ROOT / layer).rglob("*.py")):
        tree = ast.parse(path.read_text())
        calls = [n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)]
        assert not {"open", "print", "input"} & set(calls), path
