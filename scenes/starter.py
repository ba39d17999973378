"""The scenes that come with the program: the one `brimline new` writes, and the worked example of the reference page."""

from importlib.resources import files


def starter_text() -> str:
    """Text of the starter scene file."""
    return _data("starter.toml")


def example_text() -> str:
    """Text of the worked example: every part of a box once, ready to run."""
    return _data("example.toml")


def _data(name: str) -> str:
    return files("scenes").joinpath("data", name).read_text(encoding="utf-8")
