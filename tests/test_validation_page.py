"""Every row of the validation page holds."""

import importlib.util
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[1] / "docs" / "validation_rows.py"


def load():
    spec = importlib.util.spec_from_file_location("validation_rows", PAGE)
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules["validation_rows"] = module
    spec.loader.exec_module(module)
    return module


ROWS = list(load().rows())


@pytest.mark.parametrize("row", ROWS, ids=[f"{k}-{row.what[:40]}" for k, row in enumerate(ROWS)])
def test_the_program_finds_the_published_number(row):
    assert row.found() == pytest.approx(row.expected, abs=row.tolerance)


def test_the_page_has_every_chapter():
    assert len({row.chapter for row in ROWS}) >= 7
