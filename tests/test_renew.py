"""The script that renews the pins, with a stand-in for uv: what it asks for, and what it says where something is amiss."""

import importlib.util
import os
import stat
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
pytestmark = pytest.mark.skipif(os.name == "nt", reason="the stand-in is a script with a first line")
NOT_PINNED = {"gpu"}  # its wheels are for Linux alone, and no test needs them
PINS = "numpy==1.0 \\\n    --hash=sha256:1\nscipy==1.0 ; python_version < '3.12' \\\n    --hash=sha256:2\n"
STAND_IN = """#!{python}
import sys
from pathlib import Path

words = sys.argv[1:]
Path("{log}").open("a").write(" ".join(words) + "\\n")
if "{fails}" and "{fails}" in " ".join(words):
    sys.exit("error: Because there is no wheel of numba for that")
if "-o" in words:
    Path(words[words.index("-o") + 1]).write_text("numpy==9.9 \\\\\\n    --hash=sha256:0\\n")
if words[:2] == ["python", "find"]:
    print("{python}")
if "pytest" in words:
    print("12 passed")
"""


@pytest.fixture
def renewed(tmp_path, monkeypatch):
    """The script as a module, its pins in a folder of its own, with a stand-in that fails where told to."""
    spec = importlib.util.spec_from_file_location("renew", ROOT / ".requirements/renew.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "HERE", tmp_path)
    for name in module.FILES:
        (tmp_path / name).write_text(
            "numpy==1.0 \\\n    --hash=sha256:1\nscipy==1.0 ; python_version < '3.12' \\\n    --hash=sha256:2\n"
        )

    def run(*options, fails=""):
        uv = tmp_path / "uv"
        uv.write_text(STAND_IN.format(python=sys.executable, log=tmp_path / "log", fails=fails))
        uv.chmod(uv.stat().st_mode | stat.S_IXUSR)
        monkeypatch.setattr(module, "UV", str(uv))
        monkeypatch.setattr(sys, "argv", ["renew.py", *options])
        return module.main()

    run.module, run.log = module, tmp_path / "log"
    return run


def test_every_extra_that_tests_need_is_pinned_so_that_renewing_drops_none(renewed):
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    assert set(renewed.module.FILES["all.txt"]) == set(extras) - NOT_PINNED
    pinned = {name.lower() for name, _ in renewed.module.pins((ROOT / ".requirements/all.txt").read_text(encoding="utf-8"))}
    words = [word for extra in set(extras) - NOT_PINNED for word in extras[extra]]
    assert {word.partition(">")[0].lower() for word in words} <= pinned


def test_renewing_says_what_is_new_and_keeps_all_files_at_one_version(renewed, capsys):
    assert renewed() == 0
    said = capsys.readouterr().out
    assert said.count("numpy: 1.0 -> 9.9") == len(renewed.module.FILES)
    assert "scipy (python_version < '3.12'): 1.0 -> gone" in said
    asked = [line for line in renewed.log.read_text().splitlines() if "--upgrade" in line]
    assert [f"-c {renewed.module.HERE / 'run.txt'}" in line for line in asked] == [False, True, True]


def test_looking_writes_nothing_and_fails_where_a_promised_system_lacks_a_wheel(renewed, capsys):
    before = (renewed.module.HERE / "all.txt").read_text()
    assert renewed("--look") == 0
    assert renewed("--look", fails="windows-msvc --python-version 3.12") == 1
    assert "Windows, Python 3.12: error: Because there is no wheel of numba" in capsys.readouterr().out
    assert renewed("--look", fails="--python-version 3.14") == 0  # told, but not promised yet
    assert (renewed.module.HERE / "all.txt").read_text() == before


def test_testing_says_how_each_python_did_and_which_step_failed(renewed, capsys):
    assert renewed("--test") == 0
    assert "Python 3.11: 12 passed" in capsys.readouterr().out
    assert renewed("--test", fails="pip install") == 1
    assert "Python 3.11: pip install failed\n" in capsys.readouterr().out
    assert renewed("--test", fails="python find") == 0
    assert "Python 3.12: none here" in capsys.readouterr().out


def test_a_file_that_cannot_be_renewed_stays_and_is_named(renewed):
    before = (renewed.module.HERE / "test.txt").read_text()
    with pytest.raises(SystemExit, match=r"test\.txt could not be renewed"):
        renewed(fails="--extra test")
    assert (renewed.module.HERE / "test.txt").read_text() == before


def test_without_uv_a_sentence_says_where_it_is_looked_for(renewed, monkeypatch):
    monkeypatch.setattr(renewed.module, "UV", "/nowhere/uv")
    monkeypatch.setattr(sys, "argv", ["renew.py", "--look"])
    with pytest.raises(SystemExit, match="/nowhere/uv: cannot be run; install uv, or name it by UV in the environment"):
        renewed.module.main()
