"""The worked example of the page about lens metadata: whole, ready to run, and what it shows is what comes out."""

import re
import shlex
from pathlib import Path

from scenes.cli import main

PAGE = (Path(__file__).parents[3] / "docs" / "lens-data.md").read_text(encoding="utf-8")


def block(kind):
    (text,) = re.findall(rf"```{kind}\n(.*?)```", PAGE, re.DOTALL)
    return text


def test_the_page_shows_what_its_command_prints(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("clip.json").write_text(block("json"), encoding="utf-8")
    assert main(shlex.split(block("sh"))[1:]) == 0
    assert capsys.readouterr().out == block("toml")
