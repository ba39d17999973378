"""Every output of the program stays as it was stored: a quick part of the golden set. `golden.py compare` does the whole of it."""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parent / "golden.py"


def golden_module():
    spec = importlib.util.spec_from_file_location("golden", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
@pytest.mark.parametrize("part", ["anamorphic/(beam|flags|builds)", "patent/beam", "list/", "schema/", "new/"])
def test_outputs_are_those_stored(part):
    golden = golden_module()
    others = golden.other_versions(json.loads(golden.STORE.read_text(encoding="utf-8"))["versions"])
    if others:
        pytest.skip(f"the stored outputs were made with other libraries: {'; '.join(others)}")
    done = subprocess.run([sys.executable, SCRIPT, "compare", "--only", part], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
