"""A length or angle that was not measured, the scene at other values of it, and the part of the sensor that a still shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raytrace.optics.camera import PixelGrid
from scenes.rig.placement import shifted_with_lenses
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import Spot
from scenes.states.keys import Setting
from scenes.states.state import State

STILLS = "stills"  # in place of a table of the scene: how the stills were framed
FRAMING = (("scale", 100.0, (50.0, 200.0)), ("right", 0.0, (-30.0, 30.0)), ("up", 0.0, (-30.0, 30.0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """A length or angle that was not measured: its path as the notes have it, and where it stands in the scene."""

    path: str
    spot: Spot

    @property
    def nominal(self) -> float:
        """The value as the scene has it."""
        return self.spot.nominal

    @property
    def unit(self) -> str:
        """Mm or deg."""
        return self.spot.unit

    @property
    def limits(self) -> tuple[float, float]:
        """What a scene file allows."""
        return self.spot.limits


def nominal_values(unknowns: Sequence[Unknown]) -> NDArray[np.float64]:
    """The values (U,) as the scene has them."""
    return np.array([item.nominal for item in unknowns])


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A state, and the part of the sensor that a still of it shows."""

    state: State
    area: PixelGrid

    @property
    def setting(self) -> Setting:
        """Zoom, focus and stop."""
        return Setting(focal_mm=self.state.focal_mm, focus_mm=self.state.focus_mm, f_number=self.state.f_number)


def framing() -> tuple[Unknown, ...]:
    """What of its area a still shows, as unknown values in percent: its size, and how far its middle lies off, of the width."""
    spots = (Spot(table=(STILLS,), key=key, part="", unit="%", nominal=at, limits=limits) for key, at, limits in FRAMING)
    return tuple(Unknown(path=f"{STILLS}.{spot.key}", spot=spot) for spot in spots)


def framed(view: View, unknowns: Sequence[Unknown], values: Sequence[float]) -> View:
    """The view with the part of the sensor that it shows at these values."""
    asked = {item.spot.key: value for item, value in zip(unknowns, values, strict=True) if item.spot.table == (STILLS,)}
    if not asked:
        return view
    area, share = view.area, asked.get("scale", 100.0) / 100.0
    right, up = (area.offset_mm[k] + area.width_mm * asked.get(key, 0.0) / 100.0 for k, key in enumerate(("right", "up")))
    shown = replace(area, width_mm=area.width_mm * share, height_mm=area.height_mm * share, offset_mm=(right, up))
    return replace(view, area=shown)


def moved(scene: Scene, unknowns: tuple[Unknown, ...], values: tuple[float, ...]) -> Scene:
    """The scene with other values of what was not measured. Where a lens places the box itself, that moves along."""
    own = {item.spot.place for item in unknowns}
    for item, value in zip(unknowns, values, strict=True):
        if item.spot.table != (STILLS,):
            scene = shifted_with_lenses(scene, item.spot, value - item.nominal, own)
    return scene
