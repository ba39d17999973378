"""Names from scenes and command lines cannot steer the terminal, and no code page ends a run."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from scenes.cli import main
from scenes.io.writing import as_json
from scenes.runtime.progress import progress
from scenes.runtime.terminal import VisibleStream, visible
from scenes.scene_file.examples import example_text

ROOT = Path(__file__).parents[3]
SCENE = (ROOT / "scenes/demo/demo-36x24.toml").read_text()


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("24 mm\tf/2\n", "24 mm\tf/2\n"),
        ("a\x1b[2Jb", "a\\x1b[2Jb"),
        ("clear\rdark", "clear\\rdark"),
        ("\x9b2J", "\\x9b2J"),  # the same by one byte of C1 (ECMA-48)
        ("a\u202eb", "a\\u202eb"),
        ("Dünne ✓ 日本", "Dünne ✓ 日本"),
        ("\ud800", "\\ud800"),
    ],
)
def test_control_characters_are_written_out(text, shown):
    assert visible(text) == shown


def test_a_letter_that_a_code_page_lacks_is_written_out():
    raw = io.BytesIO()
    stream = VisibleStream(io.TextIOWrapper(raw, encoding="cp1252", write_through=True))
    stream.write("ü ✓")
    assert raw.getvalue() == b"\xfc \\u2713"


def test_an_error_about_a_file_whose_name_holds_an_escape_does_not_send_it(capsys):
    assert main(["check", "no\x07\rsuch.toml"]) == 2
    out, err = capsys.readouterr()
    assert not {"\x07", "\r"} & set(out + err)
    assert "no\\x07\\rsuch.toml" in err


def test_the_bar_shows_no_escape_of_a_title():
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    stream = Terminal()
    with progress(2, "show\x1b]0;owned\x07", stream) as tick:
        tick(1, "24\x1b[2J")
    assert "\x1b]0" not in stream.getvalue()
    assert "\x1b[2J" not in stream.getvalue()


def test_json_is_ascii_where_it_is_printed_and_reads_the_same_in_a_file():
    data = {"title": "Dünne 日本 😀\x1b"}
    assert as_json(data).isascii()
    assert json.loads(as_json(data)) == json.loads(as_json(data, for_file=True)) == data
    assert "Dünne 日本" in as_json(data, for_file=True)


@pytest.mark.parametrize("page", ["cp1252", "ascii", "utf-8"])
def test_every_code_page_gets_the_same_json_of_a_scene_with_wide_letters(tmp_path, page):
    (tmp_path / "s.toml").write_text(SCENE.replace('title = "', 'title = "日本 😀 ', 1), encoding="utf-8")
    for name in ("glass", "meshes"):
        if (ROOT / "scenes/demo" / name).exists():
            (tmp_path / name).symlink_to(ROOT / "scenes/demo" / name)
    for file in (ROOT / "scenes/demo").glob("*"):
        if file.is_file() and not (tmp_path / file.name).exists():
            (tmp_path / file.name).symlink_to(file)
    env = {**os.environ, "PYTHONIOENCODING": page, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "scenes.cli", "beam", str(tmp_path / "s.toml"), "--at", "60"]
    json_run = subprocess.run([*command, "--json"], env=env, capture_output=True, check=False)
    assert json_run.returncode in {0, 1}, json_run.stderr
    assert json.loads(json_run.stdout)["scene"]["title"].startswith("日本 😀")
    page_run = subprocess.run(command, env=env, capture_output=True, check=False)
    assert page_run.returncode in {0, 1}, page_run.stderr


@pytest.mark.skipif(os.name == "nt", reason="closes streams by a shell of POSIX")
@pytest.mark.parametrize("closed", [">&-", "<&- >&- 2>&-"])
def test_a_run_whose_streams_are_closed_ends_as_any_other_and_leaves_its_result_whole(tmp_path, closed):
    """As where it is started without a console, or by a job of the night that closed them."""
    scene = example_text().replace('"infinity", "close"', '"infinity"')
    (tmp_path / "s.toml").write_text(scene, encoding="utf-8")
    options = "--no-pictures --pixels 8 --threads 1 --no-range --lens 21"
    command = f'"{sys.executable}" -m scenes.cli check s.toml {options} --out out {closed}'
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    status = subprocess.run(["/bin/sh", "-c", command], cwd=tmp_path, env=env, check=False).returncode
    results = json.loads((tmp_path / "out/results.json").read_text(encoding="utf-8"))
    assert status == results["exit_status"] <= 1
