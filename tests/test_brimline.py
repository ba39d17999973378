"""`import brimline`, as installing puts it beside the packages: light to import, typed, and the command line as a module."""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A folder with what hatchling adds to wheel and editable install alike, before the packages on the path."""
    place = tmp_path_factory.mktemp("site")
    wheel = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    for source, target in wheel["force-include"].items():
        (place / target).parent.mkdir(exist_ok=True)
        shutil.copy(ROOT / source, place / target)
    return place


def python(installed, *arguments):
    environment = {**os.environ, "PYTHONPATH": f"{installed}{os.pathsep}{ROOT}"}
    command = [sys.executable, *arguments]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False, cwd=installed)


def test_importing_takes_no_time_and_loads_no_library(installed):
    ended = python(
        installed,
        "-c",
        "import sys, time; before = set(sys.modules); start = time.process_time(); import brimline\n"
        "took = time.process_time() - start; dir(brimline)\n"
        "print(took < 0.15, sorted({name.split('.')[0] for name in set(sys.modules) - before} - sys.stdlib_module_names))",
    )
    assert (ended.stdout, ended.stderr) == ("True ['brimline']\n", "")


def test_a_scene_is_loaded_and_changed_without_numba_or_a_drawing_library(installed):
    program = (
        "import sys, brimline\n"
        "show = brimline.load('s.toml')\n"
        "print(show, show.with_values({'box.flag[top flag].angle_deg': 42}), isinstance(show, brimline.Show))\n"
        "print(sorted({'numba', 'llvmlite', 'vtkmodules', 'pyvista', 'matplotlib'} & set(sys.modules)))\n"
        "try: show.with_values({'box.flag[top flag].angle_deg': 9999})\n"
        "except brimline.SceneError as error: print(error)\n"
    )
    assert python(installed, "-m", "brimline", "new", "s.toml").returncode == 0
    ended = python(installed, "-c", program)
    assert ended.stderr == ""
    assert ended.stdout.splitlines() == [
        "<Show 'My show, A camera': 25> <Show 'My show, A camera': 25> True",
        "[]",
        's.toml, changed: box.flag[1 "top flag"].angle_deg: must be -30 to 180 deg, got 9999; for example angle_deg = 50',
    ]


def test_the_module_runs_as_the_command(installed):
    ended = python(installed, "-m", "brimline", "list", "nothing")
    assert ended.returncode == 2
    assert ended.stderr.startswith("error: ")
    assert python(installed, "-m", "brimline", "--version").stdout.startswith("brimline ")


def test_every_name_that_it_offers_is_there_and_no_other(installed):
    ended = python(
        installed,
        "-c",
        "from brimline import *\nimport brimline\n"
        "names = brimline.__all__\n"
        "print([getattr(brimline, name).__name__ for name in names] == names, len(brimline.__version__) > 0)\n"
        "print(load.__doc__)\nbrimline.lod",
    )
    assert ended.stdout.startswith("True True\nThe show of a scene file")
    assert ended.stderr.splitlines()[-1].startswith('AttributeError: brimline has no "lod"; it has ')


@pytest.mark.slow
def test_programs_that_import_it_are_type_checked(installed):
    assert (installed / "brimline" / "py.typed").exists()
    pytest.importorskip("mypy", reason="mypy comes with the extra dev")
    program = installed / "own.py"
    program.write_text(
        "import brimline\n"
        "show = brimline.load('s.toml').with_values({'box.tilt_deg': 3})\n"
        "reveal_type(show)\nreveal_type(show.map('25').loss_stops)\nreveal_type(show.flags)\nbrimline.load(3)\n"
    )
    # The packages' own checks are `mypy`'s business; here only what a user's program sees, without the libraries' types.
    options = ["--strict", "--follow-imports=silent", "--ignore-missing-imports", "--no-incremental", "--no-error-summary"]
    told = python(installed, "-m", "mypy", *options, "own.py").stdout.splitlines()
    assert "scenes.show.Show" in told[0]
    assert "ndarray" in told[1]
    assert "scenes.replies.Reply" in told[2]
    assert 'Argument 1 to "load" has incompatible type "int"' in told[3]
    assert len(told) == 4
