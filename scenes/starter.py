"""The scene that `brimline new` writes: small, commented, ready to run."""

from importlib.resources import files


def starter_text() -> str:
    """Text of the starter scene file."""
    return files("scenes").joinpath("data", "starter.toml").read_text(encoding="utf-8")
