"""Whether flags that come in meet each other, or other parts. Opens no file, prints nothing."""

from __future__ import annotations

from dataclasses import dataclass

from scenes.flags import STEP_DEG, rounded_up
from scenes.model_box import Box
from scenes.tilt_fit import Refit, meetings

HALVED_DEG = STEP_DEG / 2


@dataclass(frozen=True, slots=True)
class Apart:
    """How far in a flag may come before it meets another part [deg], and which; '' where nothing is in its way."""

    angle_deg: float
    meets: str = ""


def with_flag(box: Box, place: int, angle_deg: float) -> Box:
    """The box with one of its flags set otherwise."""
    flags = list(box.flag)
    flags[place] = flags[place].model_copy(update={"angle_deg": angle_deg})
    return box.model_copy(update={"flag": tuple(flags)})


def met_by_flags(refit: Refit, box: Box) -> tuple[tuple[str, str], ...]:
    """Pairs of parts that stand in each other's way in a box and do not as it is now."""
    assembly, _ = refit.built(box)
    return tuple(sorted(meetings(assembly) - refit.meets_now))


def come_in(refit: Refit, box: Box, place: int, to_deg: float) -> Apart:
    """A flag brought in from where it stands in `box`, as far as nothing meets: to the angle asked for, or short of it."""
    from_deg = box.flag[place].angle_deg
    met = met_by_flags(refit, with_flag(box, place, to_deg))
    if not met or to_deg >= from_deg:
        return Apart(to_deg)
    free, shut = from_deg, to_deg
    while free - shut > HALVED_DEG:
        middle = (free + shut) / 2
        found = met_by_flags(refit, with_flag(box, place, middle))
        free, shut, met = (free, middle, found) if found else (middle, shut, met)
    return Apart(min(rounded_up(free), from_deg), _other(box, place, met))


def _other(box: Box, place: int, met: tuple[tuple[str, str], ...]) -> str:
    """What a flag meets: of the first pair the one that is not of this flag."""
    flag = box.flag[place]
    name = flag.name or f"{flag.side} flag"
    others = [part for pair in met for part in pair if not part.startswith(name)]
    return others[0] if others else met[0][1]
