"""`--device gpu`: what is said where there is no graphics processor, and that results tell which device made a map."""

import json
import sys

import pytest

from scenes.cli import main
from scenes.runtime.engines import device_trouble, engine_of
from tests.raytrace.coverage import gpu_on_host
from tests.scenes.test_cli import SMALL

needs_compiler = pytest.mark.skipif(gpu_on_host.COMPILER is None, reason="no C++ compiler here")


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "show.toml"
    path.write_text(SMALL.replace("{angle}", "20"))
    return path


def run(capsys, *argv):
    status = main([str(word) for word in argv])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.mark.parametrize("command", ["check", "demo"])
def test_without_a_graphics_processor_one_sentence_says_what_to_do(capsys, scene, monkeypatch, command):
    monkeypatch.setitem(sys.modules, "cupy", None)
    status, out, err = run(capsys, command, *([scene] if command == "check" else []), "--device", "gpu")
    assert (status, out, err.count("\n")) == (2, "", 1)
    needs = "a graphics processor needs the package CuPy, which is not installed"
    assert err == f'error: {needs}: install brimline with its extra "gpu". See `brimline {command} --help`.\n'


def test_only_the_coverage_way_takes_the_device(capsys, scene):
    status, out, err = run(capsys, "check", scene, "--engine", "reference", "--device", "gpu")
    assert (status, out) == (2, "")
    assert "only the coverage way computes on a graphics processor" in err


def test_an_engine_is_not_made_for_a_device_that_is_not_there(monkeypatch):
    monkeypatch.setitem(sys.modules, "cupy", None)
    assert device_trouble("coverage", "cpu") is None
    with pytest.raises(ValueError, match="CuPy"):
        engine_of("coverage", "gpu")


@needs_compiler
def test_results_say_which_device_made_the_map_and_what_it_left(capsys, scene):
    """On the kernels' stand-in: a hood and a flag go over, a picture of few pixels stays."""
    argv = ["check", scene, "--device", "gpu", "--json", "--threads", "1", "--pixels"]
    with gpu_on_host.kernels_on_host():
        large = json.loads(run(capsys, *argv, "80")[1])["states"][0]
        small = json.loads(run(capsys, *argv, "40")[1])["states"][0]
    assert (large["map"]["made"]["device"], large["map"]["made"]["device_note"]) == ("gpu", "")
    assert small["map"]["made"]["device"] == "cpu"
    assert small["map"]["made"]["device_note"] == "worked out on the processor, because the picture is small"
    # The verdict rests on single points, which the processor works out.
    assert large["worst"]["loss_stops"] == small["worst"]["loss_stops"]


@needs_compiler
def test_the_table_says_which_states_the_device_made(capsys, scene):
    with gpu_on_host.kernels_on_host():
        out = run(capsys, "check", scene, "--device", "gpu", "--pixels", "40", "--threads", "1")[1]
    assert "device: maps of 0 of 1 states come from the graphics processor" in out
    assert "device: 1 state worked out on the processor, because the picture is small" in out
    assert "device" not in run(capsys, "check", scene, "--pixels", "40", "--threads", "1")[1]
