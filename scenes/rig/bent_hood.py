"""A hood with round inside corners, as it is bent from one sheet: what `make` and `design` judge; no scene file says it."""

from __future__ import annotations

from scenes.scene_file.tables.box import Hood


class BentHood(Hood):
    """A hood whose inside corners are round."""

    corner_mm: float = 0.0


def corner_of(hood: Hood) -> float:
    """Radius of its inside corners [mm]."""
    return hood.corner_mm if isinstance(hood, BentHood) else 0.0


def bent_hood(hood: Hood, corner_mm: float) -> Hood:
    """The hood with round inside corners; itself where they are sharp."""
    if corner_mm <= 0:
        return hood
    return BentHood.model_construct(**{name: getattr(hood, name) for name in Hood.model_fields}, corner_mm=corner_mm)
