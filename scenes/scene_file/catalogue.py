"""Camera formats, filter sizes and rod standards, each value with its source; looked up by name."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from scenes.scene_file.messages import did_you_mean, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """A camera aperture or sensor: recorded width and height, where they are from and how sure they are."""

    name: str
    title: str
    width_mm: float
    height_mm: float
    source: str
    confidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterSize:
    """A filter glass as it sits in a holder: rectangular (width, height) or round (diameter)."""

    name: str
    source: str
    confidence: str
    width_mm: float | None = None
    height_mm: float | None = None
    diameter_mm: float | None = None
    thickness_mm: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rods:
    """A pair of support rods: rod diameter, spacing between centres, drop of their centres below the lens axis."""

    name: str
    title: str
    diameter_mm: float
    spacing_mm: float
    drop_mm: float
    source: str
    confidence: str


@lru_cache(maxsize=8)
def _table(name: str) -> dict[str, Any]:
    return tomllib.loads(files("scenes").joinpath("data", f"{name}.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def formats() -> Mapping[str, Format]:
    """Camera formats by name, in catalogue order."""
    return {row["name"]: Format(**row) for row in _table("formats")["format"]}


@lru_cache(maxsize=1)
def filter_sizes() -> Mapping[str, FilterSize]:
    """Filter sizes by name, in catalogue order."""
    return {row["name"]: FilterSize(**row) for row in _table("filters")["filter"]}


@lru_cache(maxsize=1)
def rods() -> Mapping[str, Rods]:
    """Rod standards by name, in catalogue order."""
    return {row["name"]: Rods(**row) for row in _table("rods")["rods"]}


def unknown_name(kind: str, name: str, known: Mapping[str, object], otherwise: str = "") -> str:
    """The complaint about a name that a catalogue does not hold, with the nearest one that it does."""
    near = did_you_mean(name, list(known))
    way_out = near if near.startswith("did") else f"take one of {', '.join(known)}"
    return f"{shown(name)} is no {kind} of the catalogue; {otherwise}{way_out}"
