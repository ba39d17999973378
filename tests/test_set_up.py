"""The README's commands and the pins beside it: the same on every system, and nothing that the program needs left out."""

import importlib.util
import itertools
import re
import shutil
import subprocess
import tomllib
from importlib import import_module
from pathlib import Path

import pytest

from scenes.registry import COMMANDS

ROOT = Path(__file__).parents[1]
PINS = ROOT / ".requirements"
README = (ROOT / "README.md").read_text(encoding="utf-8")


def renewer():
    spec = importlib.util.spec_from_file_location("renew", PINS / "renew.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def commands(language, first):
    return [
        line for block in re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL) for line in block.splitlines() if first in line
    ]


def test_powershell_gets_the_same_steps_each_only_after_the_one_before():
    unix, windows = commands("sh", "-m venv .venv &&"), commands("powershell", "-m venv .venv;")
    assert len(unix) == len(windows) == 2
    for there, here in zip(windows, unix, strict=True):
        steps = here.replace("python3 ", "py -3 ").replace(".venv/bin/", ".venv\\Scripts\\").split(" && ")
        assert there == "; if ($?) { ".join(steps) + " }" * (len(steps) - 1)


def test_every_library_that_the_program_names_is_pinned():
    needs = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {re.match(r"[\w-]+", need)[0].lower() for need in needs["dependencies"]}
    extras = {re.match(r"[\w-]+", need)[0].lower() for need in needs["optional-dependencies"]["test"]}
    for file, wanted in (("run.txt", names), ("test.txt", names | extras), ("all.txt", names | extras)):
        assert wanted <= {name for name, _ in renewer().pins((PINS / file).read_text(encoding="utf-8"))}


def test_tests_and_tools_get_the_versions_that_run():
    run, *others = (renewer().pins((PINS / name).read_text(encoding="utf-8")) for name in ("run.txt", "test.txt", "all.txt"))
    assert len(run) > 30
    for other in others:
        assert {key: other.get(key) for key in run} == run


def test_what_is_new_in_pins_is_told():
    before = "a==1.0 \\\n    --hash=sha256:00\nb==2.0 ; python_full_version < '3.12' \\\n    --hash=sha256:01\n"
    after = before.replace("a==1.0", "a==1.1").replace("b==2.0", "c==3.0")
    assert renewer().what_is_new(before, before) == []
    assert renewer().what_is_new(before, after) == [
        "a: 1.0 -> 1.1",
        "b (python_full_version < '3.12'): 2.0 -> gone",
        "c (python_full_version < '3.12'): not there -> 3.0",
    ]


@pytest.mark.parametrize("part", ["pytest -q", "demo", "ruff check", "mypy", "sphinx-build", "-m tests.fuzz"])
def test_the_public_forge_runs_the_parts_of_the_continuous_check(part):
    workflow = (ROOT / ".github/workflows/checks.yml").read_text(encoding="utf-8")
    assert part in (ROOT / ".ci/run").read_text(encoding="utf-8")
    assert part in workflow
    assert all(system in workflow for system in ("ubuntu", "macos", "windows"))


def steps_of_the_forge():
    """The shell lines of each step of the workflow."""
    lines = (ROOT / ".github/workflows/checks.yml").read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        found = re.match(r"( *)(?:- )?run: (.+)", line)
        if found and found[2] != "|":
            yield found[2].strip("'")
        elif found:
            deeper = " " * (len(found[1]) + 1)
            inside = list(itertools.takewhile(re.compile(rf"\s*$|{deeper}").match, lines[number + 1 :]))
            yield "\n".join(one.strip() for one in inside)


def test_each_step_of_the_forge_is_shell_that_runs_here_and_asks_for_what_there_is():
    steps = list(steps_of_the_forge())
    assert len(steps) >= 7
    shell = shutil.which("bash")
    for step in steps:
        assert shell is None or subprocess.run([shell, "-n", "-c", step], check=False).returncode == 0, step
        for file in re.findall(r"-r (\S+)", step):
            assert (ROOT / file).is_file()
        for words in re.findall(r'brimline"? (.+)', step):
            command, *options = words.split()
            known = {name for one in import_module(COMMANDS[command][0]).command.params for name in one.opts}
            assert {word for word in options if word.startswith("--")} <= known
