"""A pipe that lies in a folder of results by the name of one of its files is not read: nobody may ever write into it."""

import os

import pytest

from scenes.io.folders.kept_files import MANIFEST, hashes_in
from scenes.io.folders.left_results import results_in
from scenes.io.plain_text import plain_text

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")


def test_a_pipe_is_no_plain_text(tmp_path):
    for name in (MANIFEST, "masks.json"):
        os.mkfifo(tmp_path / name)
        with pytest.raises(FileNotFoundError):
            plain_text(tmp_path / name)
    assert hashes_in(tmp_path) == {}
    assert results_in(tmp_path, "masks.json") == {}
