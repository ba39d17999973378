"""Data goes one way: geometry <- raytrace <- scenes, and each layer uses only the libraries that are its business."""

import ast
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ALLOWED = {
    "geometry": {"numpy", "scipy", "shapely", "trimesh", "manifold3d", "mapbox_earcut"},
    "raytrace": {"geometry", "numpy", "scipy", "shapely", "trimesh", "embreex", "numba", "llvmlite", "cupy"},
    "scenes": {
        "geometry", "raytrace", "numpy", "scipy", "shapely", "trimesh", "click", "pydantic", "pydantic_core", "matplotlib",
        "pyvista", "vtkmodules", "ezdxf", "reportlab", "platformdirs", "tifffile", "imagecodecs", "OpenEXR", "tomlkit", "rawpy",
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


# The house, floor by floor: a room may use rooms on lower floors alone. Rooms of one floor know nothing of each other.
DRAW_IN_3D = {"questions.check", "questions.leaks"}  # one floor up, for they use the room that draws
ASKS_OTHERS = {"questions.design"}  # one floor up, for the boxes that it finds have to do what other questions ask
QUESTIONS = {f"questions.{folder.name}" for folder in (ROOT / "scenes/questions").iterdir() if (folder / "__init__.py").exists()}
FLOORS = {
    "raytrace": (
        {"box", "shares", "tolerance", "sun", "lights", "kept", "jit"},
        {"optics"},
        {"reference", "intersect", "embree", "beam", "judge"},
        {"bokeh", "stray", "ghosts", "coverage"},
    ),
    "scenes": (
        {"scene_file", "registry", "proof"},
        {"io", "runtime", "rig"},
        {"cautions"},
        {"states", "stills", "lens_data"},
        {"sheets", "answers", "changes", "verdicts", "unknowns"},
        {"view3d", *(QUESTIONS - DRAW_IN_3D - ASKS_OTHERS)},
        DRAW_IN_3D | ASKS_OTHERS,
        {"cli", "commands", "show", "replies", "face"},
    ),
}
WITHIN = {
    "raytrace": {("reference", "intersect"), ("embree", "reference")},
    "scenes": {("face", "show"), ("face", "replies"), ("face", "cli"), ("show", "replies")},
}  # on one floor, one way


def modules_of(package):
    return {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in sorted((ROOT / package).rglob("*.py"))}


def room_of(module):
    parts = module.split(".")[1:]
    return ".".join(parts[:2]) if parts[0] == "questions" else parts[0]


def inner_imports(path, known):
    """Modules of a package that a module imports, whether `from a.b import c` names a module or something in one."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom):
            yield from ({node.module, *(f"{node.module}.{alias.name}" for alias in node.names)} & known)


@pytest.mark.parametrize("package", FLOORS)
def test_a_room_uses_only_rooms_on_lower_floors(package):
    floor_of = {room: number for number, rooms in enumerate(FLOORS[package]) for room in rooms}
    modules = modules_of(package)
    checked = 0
    for module, path in modules.items():
        if path.name == "__init__.py":
            continue
        own = room_of(module)
        for other in map(room_of, inner_imports(path, set(modules))):
            if other != own and (own, other) not in WITHIN[package]:
                assert floor_of[other] < floor_of[own], f"{module} reaches up or across to {other}"
                checked += 1
    assert checked > 20


@pytest.mark.parametrize("package", ALLOWED)
def test_no_modules_import_each_other_in_a_circle(package):
    modules = modules_of(package)
    graph = {module: set(inner_imports(path, set(modules))) - {module} for module, path in modules.items()}
    try:
        order = list(TopologicalSorter(graph).static_order())
    except CycleError as circle:
        pytest.fail(f"a circle: {circle.args[1]}")
    assert len(order) == len(modules)
