"""What a loss of light shows as on the waveform: percent of the signal and code values, for a stated transfer function.

Source: the standards of `scenes.stills.transfer`; line-up levels of grey ITU-R BT.2408: 26 cd/m2, and 75 % HLG for diffuse white.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scenes.scene_file.tables.plan import Plan
from scenes.stills.transfer import FROM_LIGHT, PQ_PEAK, code_of_signal, hlg_to_light, light_to_pq, pq_camera_to_light
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS

GREY = 0.18  # of diffuse white
GREY_CD_M2 = 26.0
HLG_WHITE = 0.75  # signal of diffuse white
CURVE_WORDS = {
    "linear": "linear light",
    "srgb": "sRGB",
    "rec709": "BT.709",
    "bt1886": "power 1/2.4, the inverse of BT.1886",
    "pq": "PQ of display light",
    "pq-camera": "PQ of scene light",
    "hlg": "HLG",
}


@dataclass(frozen=True, slots=True)
class Reading:
    """A level on the waveform: percent of the signal, and its code in narrow range."""

    percent: float
    code: int

    @property
    def words(self) -> str:
        """'27.3 %'."""
        return f"{self.percent:.1f} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What the place looked at reads with the box off (`bare`) and on, from `dark` to `light`; `least` to `most` is as predicted.

    low_stops and high_stops are the least and the most loss, over the pupil depths in question and the errors of computing;
    glass_stops what the filters take there more than in the middle, which the readings hold.
    """

    low_stops: float
    high_stops: float
    glass_stops: float
    bare: Reading
    light: Reading
    dark: Reading
    least: Reading
    most: Reading

    @property
    def loses(self) -> bool:
        """Whether any loss is expected that two decimals show."""
        return self.high_stops >= SHOWN_LOSS_STOPS

    @property
    def words(self) -> str:
        """'27.3 %', 'from 27.3 to 40.9 %'."""
        low, high = f"{self.dark.percent:.1f}", f"{self.light.percent:.1f}"
        return f"{low} %" if low == high else f"from {low} to {high} %"

    @property
    def band_words(self) -> str:
        """'from 38.1 to 40.1 %, codes 398 to 415 (box off less 2.8 to less 0.8)'."""
        codes = f"codes {self.least.code} to {self.most.code}"
        to_bare = " to ".join(self._to_bare(one) for one in (self.least, self.most))
        return f"{self.range_words}, {codes} (box off {to_bare})"

    @property
    def range_words(self) -> str:
        """'from 38.1 to 40.1 %'."""
        return f"from {self.least.percent:.1f} to {self.most.percent:.1f} %"

    def _to_bare(self, one: Reading) -> str:
        more = round(one.percent, 1) - round(self.bare.percent, 1)
        return f"{'less' if more < 0.0 else 'plus'} {abs(more):.1f}"


def grey_light(curve: str) -> float:
    """The light of a grey card that the waveform is set to, in the unit of the curve."""
    if curve == "pq":
        return GREY_CD_M2 / PQ_PEAK
    if curve == "pq-camera":
        return float(pq_camera_to_light(light_to_pq(GREY_CD_M2 / PQ_PEAK)))
    return GREY * float(hlg_to_light(HLG_WHITE)) if curve == "hlg" else GREY


def signal_percent(curve: str, loss_stops: float) -> float:
    """Percent of the signal that the grey card reads after a loss of light."""
    left = 0.0 if math.isinf(loss_stops) else 2.0**-loss_stops
    return 100.0 * float(FROM_LIGHT[curve](grey_light(curve) * left))


def expected(
    plan: Plan, low_stops: float, high_stops: float, worst_stops: float, glass_stops: tuple[float, float] = (0.0, 0.0)
) -> Expected:
    """The readings of a loss between two bounds; what errors of computing add to the worst counts as predicted too.

    glass_stops is what filters take at the places to look at more than in the middle: the least and the most.
    """
    curve, slack = plan.curve, plan.reading_percent
    least_glass, most_glass = glass_stops
    dark, light = signal_percent(curve, high_stops + most_glass), signal_percent(curve, low_stops + least_glass)
    least = signal_percent(curve, max(worst_stops, high_stops) + most_glass)
    return Expected(
        low_stops=low_stops,
        high_stops=high_stops,
        glass_stops=most_glass,
        bare=_reading(plan, signal_percent(curve, 0.0)),
        light=_reading(plan, light),
        dark=_reading(plan, dark),
        least=_reading(plan, max(least - slack, 0.0)),
        most=_reading(plan, light + slack),
    )


def _reading(plan: Plan, percent: float) -> Reading:
    return Reading(percent=percent, code=int(np.max(code_of_signal(percent / 100.0, plan.bits))))
