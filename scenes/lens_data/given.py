"""What no standard holds, from the person who has the lens in hand; and what that person is to be told."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields

from scenes.lens_data.reading import Reading, refusal
from scenes.scene_file.messages import plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """Measures of one's own. `confirmed`: keys that were checked although numbers disagree. Travel is that at the nearest focus."""

    name: str
    f_number: float | None = None
    front_diameter_mm: float | None = None
    front_to_sensor_mm: float | None = None
    front_travel_mm: float | None = None
    front_glass_mm: float | None = None
    close_focus_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    squeeze: float | None = None
    no_distortion: bool = False
    confirmed: tuple[str, ...] = ()


@dataclass(slots=True)
class Told:
    """Cautions in the order in which they came up, each once."""

    cautions: list[str] = field(default_factory=list)

    def say(self, sentence: str) -> None:
        """Add a caution, without its full stop."""
        if sentence not in self.cautions:
            self.cautions.append(sentence)


def insist_on_numbers(given: Given) -> None:
    """Infinity and what is no number are no measures."""
    for one in fields(given):
        value = getattr(given, one.name)
        if isinstance(value, float) and not math.isfinite(value):
            raise refusal("brimline lens", f"--{one.name.replace('_', '-')}", f"must be a number, got {value}")


def insist_on_sense(reading: Reading) -> None:
    """A squeeze below 1 and a T-stop below the f-number cannot be: SceneError."""
    if reading.squeeze is not None and reading.squeeze < 1.0:
        turned = f"; its writer may have turned it over: {plain(1 / reading.squeeze)}" if reading.squeeze > 0.0 else "; check it"
        raise refusal(
            reading.source,
            reading.keys["squeeze"],
            f"must be 1 or more, the height over the width of a square's picture, got {plain(reading.squeeze)}{turned}",
        )
    if reading.t_number is not None and reading.f_number is not None and reading.t_number < reading.f_number - 1e-6:
        raise refusal(
            reading.source,
            reading.keys["t_number"],
            f"must not be below the f-number {plain(reading.f_number)}, since no lens lets more through than falls on it, got "
            f"{plain(reading.t_number)}; the two may be swapped",
        )
