"""Camera formats, filter sizes, rod standards and materials, each value with its source; looked up by name."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material of sheets, prints or rods: density and its range [g/cm3], Young's modulus [GPa], how it bends.

    bend holds (up to this thickness [mm], least inside radius in thicknesses); without it the sheet is not bent. k is the share of
    the thickness at which a bend neither stretches nor shrinks.
    """

    name: str
    title: str
    density_g_cm3: float
    range_g_cm3: tuple[float, float]
    modulus_gpa: float | None
    source: str
    confidence: str
    joint: str
    bend: tuple[tuple[float, float], ...] = ()
    k: float = 0.4
    sheet_mm: tuple[float, float] = (1000.0, 2000.0)
    bend_radius_mm: float | None = None

    def least_radius_mm(self, thickness_mm: float) -> float | None:
        """The least inside radius of a bend in a sheet [mm]; None where it is not to be bent."""
        if self.bend_radius_mm is not None:
            return self.bend_radius_mm
        return next((times * thickness_mm for most, times in self.bend if thickness_mm <= most), None)


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


@lru_cache(maxsize=1)
def materials() -> Mapping[str, Material]:
    """Materials by name, in catalogue order."""
    return {row["name"]: _material(row) for row in _table("materials")["material"]}


def _material(row: dict[str, Any]) -> Material:
    bend = tuple((most, times) for most, times in row.get("bend", ()))
    return Material(**{**row, "bend": bend, **{key: tuple(row[key]) for key in ("range_g_cm3", "sheet_mm")}})


def unknown_name(kind: str, name: str, known: Mapping[str, object], otherwise: str = "") -> str:
    """The complaint about a name that a catalogue does not hold, with the nearest one that it does."""
    near = did_you_mean(name, list(known))
    way_out = near if near.startswith("did") else f"take one of {', '.join(known)}"
    return f"{shown(name)} is no {kind} of the catalogue; {otherwise}{way_out}"
