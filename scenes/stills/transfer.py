"""Transfer functions of stills: signal to light and back. All are arrays in, arrays out, of the same shape.

Signal runs from 0 to 1. Light is relative, 1 for white, but for PQ, whose light is a share of 10000 cd/m2.
Sources: IEC 61966-2-1, ITU-R BT.709-6, BT.1886, BT.2100-3, SMPTE ST 2084.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

M1, M2 = 2610 / 16384, 2523 / 4096 * 128
C1, C2, C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
HLG_A = 0.17883277
HLG_B, HLG_C = 1 - 4 * HLG_A, 0.5 - HLG_A * float(np.log(4 * HLG_A))
PQ_PEAK = 10000.0  # cd/m2 at signal 1
OOTF_SCALE, OOTF_LINEAR, OOTF_JOIN = 59.5208, 267.84, 0.0003024  # BT.2100, PQ reference OOTF


def srgb_to_light(signal: ArrayLike) -> Floats:
    """V / 12.92 up to 0.04045, else ((V + 0.055) / 1.055)^2.4. Source: IEC 61966-2-1."""
    v = np.asarray(signal, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def light_to_srgb(light: ArrayLike) -> Floats:
    """12.92 L up to 0.0031308, else 1.055 L^(1/2.4) - 0.055. Source: IEC 61966-2-1."""
    x = np.asarray(light, dtype=np.float64)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 0.0) ** (1 / 2.4) - 0.055)


def rec709_to_light(signal: ArrayLike) -> Floats:
    """V / 4.5 below 0.081, else ((V + 0.099) / 1.099)^(1/0.45). Source: BT.709, inverted."""
    v = np.asarray(signal, dtype=np.float64)
    return np.where(v < 0.081, v / 4.5, ((np.maximum(v, 0.0) + 0.099) / 1.099) ** (1 / 0.45))


def light_to_rec709(light: ArrayLike) -> Floats:
    """4.5 L below 0.018, else 1.099 L^0.45 - 0.099. Source: BT.709."""
    x = np.asarray(light, dtype=np.float64)
    return np.where(x < 0.018, 4.5 * x, 1.099 * np.maximum(x, 0.0) ** 0.45 - 0.099)


def bt1886_to_light(signal: ArrayLike, white: float = 1.0, black: float = 0.0) -> Floats:
    """L = a max(V + b, 0)^2.4, in the unit of white and black. Source: BT.1886, annex 1."""
    root_white, root_black = white ** (1 / 2.4), black ** (1 / 2.4)
    gain, lift = (root_white - root_black) ** 2.4, root_black / (root_white - root_black)
    return gain * np.maximum(np.asarray(signal, dtype=np.float64) + lift, 0.0) ** 2.4


def light_to_bt1886(light: ArrayLike) -> Floats:
    """L^(1/2.4): the inverse for black 0 and white 1."""
    return np.maximum(np.asarray(light, dtype=np.float64), 0.0) ** (1 / 2.4)


def pq_to_light(signal: ArrayLike) -> Floats:
    """Share of 10000 cd/m2: (max(V^(1/m2) - c1, 0) / (c2 - c3 V^(1/m2)))^(1/m1). Source: ST 2084."""
    root = np.maximum(np.asarray(signal, dtype=np.float64), 0.0) ** (1 / M2)
    return (np.maximum(root - C1, 0.0) / (C2 - C3 * root)) ** (1 / M1)


def light_to_pq(light: ArrayLike) -> Floats:
    """((c1 + c2 y) / (1 + c3 y))^m2, y = L^m1, L a share of 10000 cd/m2. Source: ST 2084."""
    y = np.maximum(np.asarray(light, dtype=np.float64), 0.0) ** M1
    return ((C1 + C2 * y) / (1 + C3 * y)) ** M2


def pq_camera_to_light(signal: ArrayLike) -> Floats:
    """Scene light E of a PQ signal, the reference OOTF undone: F = 100 V709^2.4. Source: BT.2100, table 4."""
    v709 = (pq_to_light(signal) * PQ_PEAK / 100.0) ** (1 / 2.4)
    join = OOTF_LINEAR * OOTF_JOIN
    return np.where(v709 <= join, v709 / OOTF_LINEAR, ((v709 + 0.099) / 1.099) ** (1 / 0.45) / OOTF_SCALE)


def light_to_pq_camera(light: ArrayLike) -> Floats:
    """PQ signal of scene light E through the reference OOTF. Source: BT.2100, table 4."""
    e = np.maximum(np.asarray(light, dtype=np.float64), 0.0)
    v709 = np.where(e <= OOTF_JOIN, OOTF_LINEAR * e, 1.099 * (OOTF_SCALE * e) ** 0.45 - 0.099)
    return light_to_pq(100.0 * v709**2.4 / PQ_PEAK)


def hlg_to_light(signal: ArrayLike) -> Floats:
    """Scene light E: V^2 / 3 up to 0.5, else (exp((V - c) / a) + b) / 12. Source: BT.2100, table 5."""
    v = np.asarray(signal, dtype=np.float64)
    return np.where(v <= 0.5, np.maximum(v, 0.0) ** 2 / 3, (np.exp((v - HLG_C) / HLG_A) + HLG_B) / 12)


def light_to_hlg(light: ArrayLike) -> Floats:
    """sqrt(3 E) up to 1/12, else a ln(12 E - b) + c. Source: BT.2100, table 5."""
    e = np.maximum(np.asarray(light, dtype=np.float64), 0.0)
    return np.where(e <= 1 / 12, np.sqrt(3 * e), HLG_A * np.log(np.maximum(12 * e - HLG_B, 1e-12)) + HLG_C)


def table_to_light(signal: ArrayLike, rows: Sequence[tuple[float, float]]) -> Floats:
    """Straight lines between rows of (signal, light)."""
    known, light = zip(*rows, strict=True)
    return np.interp(np.asarray(signal, dtype=np.float64), known, light)


def linear_to_light(signal: ArrayLike) -> Floats:
    """The signal itself."""
    return np.asarray(signal, dtype=np.float64)


TO_LIGHT: dict[str, Callable[[ArrayLike], Floats]] = {
    "linear": linear_to_light,
    "srgb": srgb_to_light,
    "rec709": rec709_to_light,
    "bt1886": bt1886_to_light,
    "pq": pq_to_light,
    "pq-camera": pq_camera_to_light,
    "hlg": hlg_to_light,
}


FROM_LIGHT: dict[str, Callable[[ArrayLike], Floats]] = {
    "linear": linear_to_light,
    "srgb": light_to_srgb,
    "rec709": light_to_rec709,
    "bt1886": light_to_bt1886,
    "pq": light_to_pq,
    "pq-camera": light_to_pq_camera,
    "hlg": light_to_hlg,
}


def to_light(signal: ArrayLike, curve: str, rows: Sequence[tuple[float, float]] = ()) -> Floats:
    """Light of a signal by the curve's name, or by the rows of a table."""
    return table_to_light(signal, rows) if curve == "table" else TO_LIGHT[curve](signal)


def signal_of_code(code: ArrayLike, bits: int, code_range: str = "full") -> Floats:
    """Signal of whole-number codes: D / (2^n - 1), or (D / 2^(n-8) - 16) / 219 in narrow range. Source: BT.2100, table 9."""
    d = np.asarray(code, dtype=np.float64)
    return (d / 2.0 ** (bits - 8) - 16.0) / 219.0 if code_range == "narrow" else d / (2.0**bits - 1.0)


def code_of_signal(signal: ArrayLike, bits: int, code_range: str = "narrow") -> NDArray[np.int64]:
    """Code of a signal, halves up: floor((219 V + 16) 2^(n-8) + 0.5), or floor((2^n - 1) V + 0.5). Source: BT.2100, table 9."""
    v = np.asarray(signal, dtype=np.float64)
    code = (219.0 * v + 16.0) * 2.0 ** (bits - 8) if code_range == "narrow" else (2.0**bits - 1.0) * v
    return np.floor(code + 0.5).astype(np.int64)
