"""What one sample of lens metadata says, in the units of a scene: the same value from every kind of file."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.scene_file.errors import Complaint, SceneError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Polynomial:
    """A distortion as metadata has it, radii in mm: U(r) = r (1 + k1 r^2 + k3 r^4 + k5 r^6) / (1 + k2 r^2 + k4 r^4 + k6 r^6).

    undistorts: whether U turns a radius in the picture into one of a picture without distortion; else the other way round.
    Source: OpenLensIO 1.0.0, equations 16 and 17.
    """

    radial: tuple[float, ...]
    tangential: tuple[float, ...]
    undistorts: bool
    model: str

    def at(self, radius_mm: FloatArray) -> FloatArray:
        """U of radii (N,) [mm]."""
        with np.errstate(all="ignore"):  # wild terms end in nan, which is refused
            over, under = (_series(radius_mm**2, self.radial[start::2]) for start in (0, 1))
            return np.asarray(radius_mm * over / under, dtype=np.float64)

    def shift_mm(self, radius_mm: float) -> float:
        """How far the tangential terms p1, p2 move a point at this radius, at most [mm]: 3 r^2 hypot(p1, p2)."""
        return 3.0 * radius_mm**2 * math.hypot(*self.tangential)


def _series(square: FloatArray, terms: tuple[float, ...]) -> FloatArray:
    """1 + a s + b s^2 + c s^3."""
    return np.asarray(1.0 + sum((k * square ** (n + 1) for n, k in enumerate(terms)), start=np.zeros_like(square)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """The recorded part of the sensor [mm]."""

    width_mm: float
    height_mm: float

    @property
    def half_diagonal_mm(self) -> float:
        """From its middle to a corner."""
        return math.hypot(self.width_mm, self.height_mm) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One sample. Lengths in mm; None where it does not say. `source` is the file and the place in it.

    pupil_from_sensor_mm is from the image plane, toward the scene; pupil_behind_front_mm is measured from the front. projection_mm
    and distortion_mm: (right, down), as OpenLensIO has them; offset_mm: the picture's middle off the lens's axis, (right, up).
    falloff: a1, a2, a3. focus_raw_m: the focus as the file has it, taken as metres. make, model, serial_number: the lens's own,
    as the file names them. overscan, sample_focal_mm, has_custom_terms: what the sample says beside its field; held against that.
    keys: ours -> the source's, for the notes beside a row. remarked: lines of the file that look like rows, behind a remark's mark.
    """

    source: str
    keys: dict[str, str]
    remarked: tuple[str, ...] = ()
    focus_mm: float | None = None
    pupil_from_sensor_mm: float | None = None
    pupil_behind_front_mm: float | None = None
    pinhole_mm: float | None = None
    nominal_mm: float | None = None
    effective_mm: float | None = None
    half_field_deg: float | None = None
    half_field_vertical_deg: float | None = None
    front_travel_mm: float | None = None
    pupil_magnification: float | None = None
    f_number: float | None = None
    t_number: float | None = None
    zoom: float | None = None
    squeeze: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    pixels: tuple[int, int] | None = None
    polynomial: Polynomial | None = None
    projection_mm: tuple[float, float] | None = None
    distortion_mm: tuple[float, float] | None = None
    offset_mm: tuple[float, float] | None = None
    falloff: tuple[float, ...] | None = None
    focus_raw_m: float | None = None
    make: str | None = None
    model: str | None = None
    serial_number: str | None = None
    overscan: float | None = None
    sample_focal_mm: float | None = None
    has_custom_terms: bool = False

    @property
    def off_axis_mm(self) -> tuple[float, float]:
        """How far the lens's axis is off the picture's middle, across and down, without signs."""
        across, down = self.projection_mm or self.offset_mm or (0.0, 0.0)
        return abs(across), abs(down)


def refusal(source: str, where: str, problem: str) -> SceneError:
    """An error about a value of a file: where, the rule, what was found, the way out."""
    return SceneError([Complaint(where=where, problem=problem, source=source)])
