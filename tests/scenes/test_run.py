"""What the closing line of a run says about the folder: no more than lies in it."""

from dataclasses import replace
from pathlib import Path

import pytest

from scenes.check import CheckResult
from scenes.run import Done, written_words
from scenes.verdict import Limits
from tests.scenes.test_results import FAILED, state

OUT = Path("out")
PICTURED = replace(state(), files=("18/map.npz", "18/map.png"))
PLAIN = replace(state(), files=("18/map.npz",))


@pytest.mark.parametrize(
    ("states", "failed", "words"),
    [
        ((PICTURED,), (), "Pictures, maps and results.json are in out"),
        ((PLAIN,), (), "Maps and results.json, no pictures, are in out"),
        (
            (PICTURED,),
            FAILED,
            "Pictures, maps and results.json are in out; there are none for the 1 state that could not be computed",
        ),
        ((), FAILED, "No state could be computed, so no maps and no pictures were written; out/results.json says why."),
    ],
)
def test_the_closing_line_tells_what_was_written(states, failed, words):
    check = CheckResult(states=states, failed=failed, limits=Limits())
    assert written_words([Done(check=check, results={}, trouble=())], OUT) == words
