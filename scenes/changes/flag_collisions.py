"""Whether flags that come in meet each other, or other parts. Opens no file, prints nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from geometry.body import Kind
from scenes.changes.angle_steps import STEP_DEG, rounded_up
from scenes.changes.tilts import Refit, meetings
from scenes.rig.box import flag_name
from scenes.scene_file.tables.box import Box
from scenes.states.select import first_of_each_lens
from scenes.states.state import State

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
    name = flag_name(flag)
    others = [part for pair in met for part in pair if not part.startswith(name)]
    return others[0] if others else met[0][1]


class FlagCollisions:
    """A show's boxes, one for each lens, to ask whether flags set together would meet."""

    def __init__(self, plans: Sequence[State]) -> None:
        self._refits = [Refit(plan) for plan in first_of_each_lens(plans)]
        self._known: dict[tuple[str, tuple[tuple[str, float], ...]], str] = {}

    def met_as_set(self) -> str:
        """What meets a flag as the box is, with the first lens with which it does: 'a meets b (21)'; else ''."""
        for refit in self._refits:
            flags = {part.name for part in refit.plan.box.parts if part.kind in (Kind.FLAG, Kind.EXTENSION)}
            pairs = sorted(pair for pair in refit.meets_now if flags.intersection(pair))
            if pairs:
                return f"{pairs[0][0]} meets {pairs[0][1]} ({refit.plan.lens_name})"
        return ""

    def met(self, angles_deg: Mapping[str, float], change: Callable[[Box], Box] | None = None, words: str = "") -> str:
        """What meets when flags are set to other angles by name, with the first lens with which it does: 'a meets b (21)'; else ''.

        `words` name a change of the box that is made first.
        """
        key = (words, tuple(sorted(angles_deg.items())))
        if key not in self._known:
            self._known[key] = next((met for refit in self._refits if (met := _met(refit, angles_deg, change))), "")
        return self._known[key]


def _met(refit: Refit, angles_deg: Mapping[str, float], change: Callable[[Box], Box] | None) -> str:
    box = refit.box if change is None else change(refit.box)
    for place, flag in enumerate(box.flag):
        name = flag_name(flag)
        if name in angles_deg:
            box = with_flag(box, place, angles_deg[name])
    pairs = met_by_flags(refit, box)
    return f"{pairs[0][0]} meets {pairs[0][1]} ({refit.plan.lens_name})" if pairs else ""
