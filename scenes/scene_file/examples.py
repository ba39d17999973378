"""Lines of the worked example that show how a missing key or table is written."""

from functools import cache
from importlib.resources import files

from scenes.scene_file.messages import KeyPath
from scenes.scene_file.toml_lines import key_lines

LINES_OF_TABLE = 2  # its heading and its first key: enough to see how it goes on


def example_line(place: KeyPath) -> str:
    """How a key is written in the worked example, such as 'f_number = 2.0'; '' where the example has no such key."""
    return "".join(_lines(place, 1))


def example_table(place: KeyPath) -> str:
    """Heading and first key of a table as in the worked example, a line each; '' where the example has no such table."""
    return "\n".join(_lines(place, LINES_OF_TABLE))


def _lines(place: KeyPath, count: int) -> list[str]:
    line = _first_lines().get(_names(place))
    if line is None:
        return []
    return [row.partition("#")[0].strip() for row in example_text().splitlines()[line - 1 : line - 1 + count]]


@cache
def _first_lines() -> dict[KeyPath, int]:
    """Line of each key's first stand in the example, by its path without places in arrays."""
    return {_names(path): line for path, line in reversed(key_lines(example_text()).items())}


def _names(path: KeyPath) -> KeyPath:
    return tuple(step for step in path if isinstance(step, str))


def starter_text() -> str:
    """Text of the starter scene file."""
    return _data("starter.toml")


def design_text() -> str:
    """Text of a scene with an empty box, for `brimline design` to fill."""
    return _data("design.toml")


def example_text() -> str:
    """Text of the worked example: every part of a box once, ready to run."""
    return _data("example.toml")


def _data(name: str) -> str:
    return files("scenes").joinpath("data", name).read_text(encoding="utf-8")
